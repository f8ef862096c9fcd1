"""A measured film as a session of the practice log, with clips of its flagged moments, like any practice."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from posturewatch.capture import Stretch, open_film
from posturewatch.errors import ConflictError
from posturewatch.model.reading import Reading
from posturewatch.pipeline.build import Parts
from posturewatch.pipeline.clip_recording import ClipRecording
from posturewatch.pipeline.films.replay import replay
from posturewatch.pipeline.films.results import FilmFacts
from posturewatch.pipeline.films.work import MeasuredFilm
from posturewatch.storage.own_data import FILMS_FOLDER
from posturewatch.storage.store import Store

__all__ = ["NOTHING", "FilmKeeping", "Kept", "Played", "parts_folder"]


@dataclass(frozen=True)
class Played:
    """What is played in a film from its beginning to its end; piece None for nothing in particular."""

    piece: str | None = None
    bars: str = ""


NOTHING = Played()


@dataclass(frozen=True)
class Kept:
    """A film in the practice log. faults: what was not kept of it, in sentences."""

    session_id: str
    faults: tuple[str, ...]


class FilmKeeping:
    """Keeps films in one practice log.

    Parameters
    ----------
    begun
        Called when one that is measured is about to be kept.
    """

    def __init__(self, store: Store, parts: Parts, begun: Callable[[], None] = lambda: None) -> None:
        self._begun = begun
        self._store = store
        self._parts = parts
        self._clips = ClipRecording(store, parts.settings.clips)

    def refuse_known(self, facts: FilmFacts) -> None:
        """Does nothing for a film that is not in the log yet.

        Raises
        ------
        ConflictError
            For one that is.
        """
        known = self.known(facts)
        if known is not None:
            raise ConflictError(
                f"{facts.name} is in the practice log already, as session {known}; delete that first "
                f"(posturewatch forget {known}), or leave --keep out."
            )

    def keep(
        self, film: MeasuredFilm, facts: FilmFacts, played: Played, stop: threading.Event | None = None
    ) -> Kept:
        """Keeps a film that is measured as a whole.

        Raises
        ------
        ConflictError
            Where it is in the log already.
        StoreError
            Where the session cannot be begun.
        """
        self.refuse_known(facts)
        self._begun()
        # Images are only looked at again where there is something to see.
        pictures = self._parts.settings.clips.enabled and self._flagged(film, facts)
        start = self._parts.described_start(facts.described, facts.started_at)
        recorder = self._store.begin(start, of_a_film=True)
        if not pictures:
            if played.piece is not None:
                recorder.passage(0.0, played.piece, played.bars)
            recorder.finish(replay(film.measured, self._parts, (recorder,), shift_s=facts.from_s, stop=stop))
            return Kept(recorder.session_id, _faults(recorder.fault, None))
        source = open_film(film.task.path, Stretch(facts.from_s, facts.to_s, film.task.parts[0].seeks))
        try:
            both = self._clips.begin(recorder, film.task.path, from_s=facts.from_s, waits=True)
            if played.piece is not None:
                both.passage(0.0, played.piece, played.bars)
            both.finish(
                replay(film.measured, self._parts, (both,), shift_s=facts.from_s, film=source, stop=stop)
            )
        finally:
            source.close()
        return Kept(recorder.session_id, _faults(both.fault, getattr(both, "clip_fault", None)))

    def known(self, facts: FilmFacts) -> str | None:
        """The session of the log that is this film, or None."""
        return next(
            (
                one.id
                for one in self._store.sessions()
                if (one.source_name, one.started_at) == (facts.name, facts.started_at)
            ),
            None,
        )

    def _flagged(self, film: MeasuredFilm, facts: FilmFacts) -> bool:
        flags = _Flags()
        replay(film.measured, self._parts, (flags,), shift_s=facts.from_s)
        return flags.seen


class _Flags:
    """Whether anything is warned of: what clips are made of."""

    def __init__(self) -> None:
        self.seen = False

    def put(self, reading: Reading) -> None:
        self.seen = self.seen or bool(reading.verdict.fired)


def _faults(*sentences: str | None) -> tuple[str, ...]:
    return tuple(one for one in sentences if one is not None)


def parts_folder(data_dir: Path) -> Path:
    """Where parts of films wait that are to be kept and are not measured to their end."""
    return data_dir / FILMS_FOLDER / "unfinished"
