"""What becomes of a film that has been measured: a table of samples and a summary, a session of the practice log, or
both."""

from __future__ import annotations

import contextlib
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from posturewatch import __version__
from posturewatch.config.versions import package_versions
from posturewatch.errors import InputError, PosturewatchError, SourceError
from posturewatch.model.measurement import Refusal
from posturewatch.model.outcome import Outcome
from posturewatch.model.quantities import in_group
from posturewatch.model.reading import Reading
from posturewatch.pipeline.build import Parts
from posturewatch.pipeline.films.replay import replay
from posturewatch.pipeline.films.work import MeasuredFilm
from posturewatch.pipeline.monitor import Sink
from posturewatch.pipeline.samples_file import SamplesFile
from posturewatch.review.summaries import summarise_record
from posturewatch.storage.in_memory import InMemorySession
from posturewatch.storage.limits_json import limits_to_json
from posturewatch.storage.records import SessionInfo, now_utc

__all__ = [
    "SAMPLES_NAME",
    "SUMMARY_NAME",
    "Analysed",
    "FilmFacts",
    "check_folder",
    "finish_film",
    "finished_summary",
]

SAMPLES_NAME = "samples.csv"
SUMMARY_NAME = "summary.json"


@dataclass(frozen=True)
class FilmFacts:
    """What is known of a film beside its frames.

    Attributes
    ----------
    described
        Its source, in JSON's types (see `posturewatch.capture.source.describe`).
    from_s, to_s
        The stretch of it that is measured, in its own seconds; to_s None for its end. Second 0 of all results is
        from_s.
    started_at
        When second 0 was filmed: UTC, ISO 8601.
    about
        What the measurements follow from, in JSON's types, by which a later run knows that they are done.
    """

    described: dict[str, Any]
    from_s: float
    to_s: float | None
    started_at: str
    about: Mapping[str, Any] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """As the player knows it."""
        return str(self.described["name"])


@dataclass(frozen=True)
class Analysed:
    """What came of a film.

    Attributes
    ----------
    outcome
        How it ended.
    interrupted
        Whether it was stopped before the film's end.
    nothing_measured
        Why no wrist was measured in any frame, in one sentence with what would help; None where one was.
    notice
        What the film's reader said, or None.
    incomplete
        Whether the film held less than it states.
    summary
        As it is written to the folder.
    """

    outcome: Outcome
    interrupted: bool
    nothing_measured: str | None
    notice: str | None
    incomplete: bool
    summary: dict[str, Any]


def finish_film(
    film: MeasuredFilm,
    facts: FilmFacts,
    parts: Parts,
    folder: Path | None,
    *,
    sinks: Sequence[Sink] = (),
) -> Analysed:
    """Works out a film's results from its measurements; writes them where a folder is named.

    Raises
    ------
    SourceError
        Where no frame of it could be read.
    InputError
        Where a file cannot be written.
    PosturewatchError
        What kept the film from being measured.
    """
    if film.fault is not None:
        raise film.fault
    interrupted = not film.whole
    if not interrupted and not any(len(one.time_s) for one in film.measured):
        raise _no_frames(facts)
    session, tally = InMemorySession(), Tally()
    with contextlib.ExitStack() as cleanup:
        rows: tuple[Sink, ...] = ()
        if folder is not None:
            samples = cleanup.enter_context(SamplesFile(folder / SAMPLES_NAME))
            rows = (_Rows(samples),)
        outcome = replay(film.measured, parts, (*rows, session, tally, *sinks), shift_s=facts.from_s)
    notice = next((one.notice for one in film.measured if one.notice is not None), None)
    summary = film_summary(facts, parts, session, outcome, notice, interrupted=interrupted)
    if folder is not None:
        _write(folder / SUMMARY_NAME, summary)
    return Analysed(
        outcome,
        interrupted,
        tally.sentence(facts.name),
        notice,
        any(one.incomplete for one in film.measured),
        summary,
    )


def _no_frames(facts: FilmFacts) -> PosturewatchError:
    if facts.from_s > 0:
        return InputError(f"{facts.name} has no frame from {facts.from_s:g} s on; choose an earlier --from.")
    return SourceError(f"No frame could be read from {facts.name}; is it a whole video?")


def film_summary(
    facts: FilmFacts,
    parts: Parts,
    session: InMemorySession,
    outcome: Outcome,
    notice: str | None,
    *,
    interrupted: bool,
) -> dict[str, Any]:
    """What a film adds up to, in JSON's types, as it is written beside its table."""
    now = now_utc()
    record = session.record(
        SessionInfo("", now, now, outcome.ending, outcome.end_s, facts.name, "film", None, __version__, 0, 0),
        limits=parts.limits,
        rules=parts.rules,
        settings=parts.settings_json,
        closed=outcome.closed,
    )
    summary = summarise_record(record)
    for of_kept_sessions in ("session", "marks", "limits", "damage"):
        del summary[of_kept_sessions]
    return {
        "program": "posturewatch",
        "program_version": __version__,
        "versions": package_versions(),
        "analysed_at": now,
        "interrupted": interrupted,
        "source": {**facts.described, "from_s": facts.from_s, "to_s": facts.to_s},
        "filmed_at": facts.started_at,
        "notice": notice,
        "frames": outcome.frames,
        "measured_from": dict(facts.about),
        "limits": limits_to_json(parts.limits),
        "settings": dict(parts.settings_json),
        **summary,
    }


def _write(path: Path, document: dict[str, Any]) -> None:
    try:
        path.write_text(json.dumps(document, indent=2) + "\n", encoding="utf-8")
    except OSError as error:
        raise InputError(
            f"{path} cannot be written ({error.strerror}); choose another folder with --out."
        ) from error


def finished_summary(folder: Path, about: Mapping[str, Any]) -> dict[str, Any] | None:
    """The summary of an earlier run that measured the very same film to its end; None without one."""
    try:
        found = json.loads((folder / SUMMARY_NAME).read_text(encoding="utf-8"))
        same = found["measured_from"] == dict(about) and not found["interrupted"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return dict(found) if same and (folder / SAMPLES_NAME).is_file() else None


def check_folder(folder: Path) -> None:
    """Makes the folder for a film's tables, and sees whether they can be written there.

    Raises
    ------
    InputError
        Where they cannot.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"The folder {folder} cannot be made ({error.strerror}); choose another with --out."
        ) from error
    SamplesFile(folder / SAMPLES_NAME).close()


class _Rows:
    """The sink that writes the table."""

    def __init__(self, samples: SamplesFile) -> None:
        self._samples = samples

    def put(self, reading: Reading) -> None:
        self._samples.write(reading.measurement)


class Tally:
    """Counts what was measured of the wrists and why the rest was not, for whoever asked."""

    def __init__(self) -> None:
        self.measured = 0
        self.reasons: Counter[Refusal] = Counter()

    def put(self, reading: Reading) -> None:
        for hand in (reading.measurement.left, reading.measurement.right):
            for entry in in_group("wrist"):
                one = hand.values[entry.name]
                if one.refusal is None:
                    self.measured += 1
                else:
                    self.reasons[one.refusal] += 1

    def sentence(self, name: str) -> str | None:
        """Why the video gave no number at all, with what would help; None where it gave some."""
        if self.measured:
            return None
        others = self.reasons.copy()
        not_seen = others.pop(Refusal.HAND_NOT_SEEN, 0)
        # A hand that was taken for one in a few frames is none.
        if sum(others.values()) < 0.02 * (not_seen + sum(others.values())) or not others:
            return f"No hand was seen in {name}. {Refusal.HAND_NOT_SEEN.help}"
        reason = others.most_common(1)[0][0]
        return f"Nothing could be measured in {name}, mostly because: {reason.value}. {reason.help}"
