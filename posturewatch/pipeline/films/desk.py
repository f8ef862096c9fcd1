"""Films that are handed in on the page: taken in, measured one after the other, kept in the practice log.

Each lies in a folder of its own until it is kept, so that the program may end and start anew in between. While a
practice is recorded, films wait: it needs the machine for itself.
"""

from __future__ import annotations

import logging
import shutil
import threading
import time
from collections.abc import Callable
from typing import Any, Protocol

from posturewatch.errors import PosturewatchError, UnknownError
from posturewatch.pipeline.build import Parts
from posturewatch.pipeline.films.handed_in import HandedIn, Incoming, folder_for
from posturewatch.pipeline.films.keeping import FilmKeeping, Played, parts_folder
from posturewatch.pipeline.films.measured import MeasuredPart
from posturewatch.pipeline.films.part import FilmPart
from posturewatch.pipeline.films.run import FilmResult, FilmWish, analyse_films
from posturewatch.pipeline.films.store import PartStore
from posturewatch.pipeline.films.work import FilmTask, PartRunner
from posturewatch.storage.own_data import FILMS_FOLDER
from posturewatch.storage.store import Store

__all__ = ["LIMIT_BYTES", "FilmDesk"]

_LOG = logging.getLogger(__name__)

#: Two hours of a phone's finest film.
LIMIT_BYTES = 40_000_000_000

_LOOK_UP_S = 0.3

#: Longest wait at the end for what is in work.
_END_S = 30.0


class Runner(PartRunner, Protocol):
    """Measures parts; see `posturewatch.pipeline.films.workers`."""

    def close(self) -> None: ...


class FilmDesk:
    """Takes films in and measures them; every method may be called from any thread.

    Parameters
    ----------
    parts
        Gives the settings of now.
    make_runner
        Makes who measures a film; closed after it.
    """

    def __init__(
        self,
        store: Store,
        parts: Callable[[], Parts],
        make_runner: Callable[[], Runner],
        limit_bytes: int = LIMIT_BYTES,
    ) -> None:
        self._store = store
        self._parts = parts
        self._make_runner = make_runner
        self.limit_bytes = limit_bytes
        self._folder = store.data_dir / FILMS_FOLDER
        self._lock = threading.Condition()
        self._films: dict[str, HandedIn] = {}
        self._now: _Progress | None = None
        self._closed = False
        self._over = threading.Event()
        for film in HandedIn.left_in(self._folder):
            self._films[film.id] = film
        self._thread = threading.Thread(target=self._run, name="films", daemon=True)
        self._thread.start()

    def hand_in(
        self, name: str, piece: str | None = None, bars: str = "", modified_s: float | None = None
    ) -> Incoming:
        """Somewhere to write a film that is being handed in.

        Parameters
        ----------
        name
            Of its file, as the player knows it.
        piece, bars
            What is played in it; piece None for nothing in particular.
        modified_s
            When that file was last written, seconds since 1970, where it is known.

        Raises
        ------
        StoreError
            Where it cannot be written.
        """
        return Incoming(
            folder_for(self._folder), name, Played(piece, bars), modified_s, self.limit_bytes, self._take
        )

    def films(self) -> dict[str, Any]:
        """What is handed in and was since the start, in JSON's types; see the routes of the server."""
        with self._lock:
            now = self._now
            found = [
                {
                    **film.to_json(),
                    **(
                        now.to_json()
                        if now is not None and now.of is film and film.phase == "measuring"
                        else {}
                    ),
                }
                for film in self._films.values()
            ]
        return {"films": found, "limit_bytes": self.limit_bytes}

    def remove(self, identity: str) -> None:
        """Takes a film from the list, and stops measuring it where it is in work; its session stays where it is kept.

        Raises
        ------
        UnknownError
            For an unknown one.
        """
        with self._lock:
            film = self._films.pop(identity, None)
            if film is None:
                raise UnknownError("That film is not on the list any more; look at it again.")
            film.removed = True
            in_work = self._now is not None and self._now.of is film
        if not in_work:
            self._forget(film)

    def close(self) -> None:
        """Stops measuring; goes on at the next start. May be called twice."""
        with self._lock:
            self._closed = True
            self._lock.notify_all()
        self._over.wait(_END_S)

    def _take(self, film: HandedIn) -> dict[str, Any]:
        with self._lock:
            self._films[film.id] = film
            self._lock.notify_all()
        return film.to_json()

    def _run(self) -> None:
        try:
            while (film := self._next()) is not None:
                try:
                    self._measure(film)
                # Whatever it is: one film does not stop the others.
                except Exception:  # noqa: BLE001
                    _LOG.exception("the film %s", film.name)
                    film.failed("It could not be measured by a fault of the program; the others go on.")
                finally:
                    with self._lock:
                        self._now = None
                    if film.removed:
                        self._forget(film)
        finally:
            self._over.set()

    def _next(self) -> HandedIn | None:
        """The next film to be measured; None at the end."""
        with self._lock:
            while not self._closed:
                if self._store.running_id is None:
                    found = next((one for one in self._films.values() if one.phase == "waiting"), None)
                    if found is not None:
                        return found
                self._lock.wait(_LOOK_UP_S)
        return None

    def _measure(self, film: HandedIn) -> None:
        runner = self._make_runner()
        progress = _Progress(film, runner)
        with self._lock:
            self._now = progress
        film.phase = "measuring"

        def stopped() -> bool:
            return self._closed or film.removed or self._store.running_id is not None

        try:
            parts = self._parts()
            wish = FilmWish(played=film.played, resume=True, unfinished=parts_folder(self._store.data_dir))
            keeping = FilmKeeping(self._store, parts, begun=lambda: film.enter("keeping"))
            for result in analyse_films(
                [film.path], wish, parts, runner, keeping=keeping, stopped=stopped, progress=progress
            ):
                self._finished(film, result)
        except PosturewatchError as fault:
            film.failed(fault.sentence)
        finally:
            runner.close()

    def _finished(self, film: HandedIn, result: FilmResult) -> None:
        if result.kept is not None:
            sentence = " ".join([*result.kept.faults, result.note]).strip()
            film.kept(result.kept.session_id, sentence)
        elif result.fault is not None:
            film.failed(result.fault.sentence)
        else:
            # A practice began, or the program ends: it goes on later.
            film.phase = "waiting"
            return
        self._forget(film)

    def _forget(self, film: HandedIn) -> None:
        """The film itself, and what of it was measured and not kept."""
        parts = parts_folder(self._store.data_dir) / PartStore.place(film.path)
        shutil.rmtree(parts, ignore_errors=True)
        shutil.rmtree(film.folder, ignore_errors=True)


class _Progress:
    """How far one film has come."""

    def __init__(self, film: HandedIn, runner: Runner) -> None:
        self.of = film
        self._runner = runner
        self._length_s: float | None = None
        self._known_s = 0.0
        self._parts_s = 0.0
        self._began = time.monotonic()

    def is_of(self, film: HandedIn) -> bool:
        """Whether it is this one that is being measured."""
        return self.of is film and film.phase == "measuring"

    def to_json(self) -> dict[str, Any]:
        """share: of the film that is measured, 0 to 1. left_s: how long it will take, None where nobody knows yet."""
        if not self._length_s:
            return {"share": None, "left_s": None}
        measured_s = max(self._parts_s, getattr(self._runner, "measured_s", 0.0))
        share = min(0.99, (self._known_s + measured_s) / self._length_s)
        left_s = None
        if measured_s > 1.0:
            speed = measured_s / (time.monotonic() - self._began)
            left_s = max(0.0, self._length_s - self._known_s - measured_s) / speed
        return {"share": round(share, 3), "left_s": None if left_s is None else round(left_s)}

    def film(self, task: FilmTask, known_s: float) -> None:
        """It is begun, of which so much was known already."""
        self._length_s, self._known_s = task.length_s, known_s

    def part(self, task: FilmTask, part: FilmPart, measured: MeasuredPart) -> None:
        """A part of it is measured."""
        if len(measured.time_s):
            self._parts_s += float(measured.time_s[-1] - part.start_s)
