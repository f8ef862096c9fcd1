"""A video measured frame by frame, as fast as it goes: a table of samples and a summary, kept nowhere else."""

from __future__ import annotations

import json
import threading
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from posturewatch import __version__
from posturewatch.capture import Source
from posturewatch.config.versions import package_versions
from posturewatch.errors import InputError, SourceError
from posturewatch.model.measurement import Refusal
from posturewatch.model.outcome import Outcome
from posturewatch.model.quantities import in_group
from posturewatch.model.reading import Reading
from posturewatch.pipeline.build import Parts
from posturewatch.pipeline.monitor import Sink
from posturewatch.pipeline.samples_file import SamplesFile
from posturewatch.review.summaries import summarise_record
from posturewatch.storage.in_memory import InMemorySession
from posturewatch.storage.limits_json import limits_to_json
from posturewatch.storage.records import SessionInfo, now_utc

__all__ = ["Analysed", "analyse"]


@dataclass(frozen=True)
class Analysed:
    """What came of a run.

    Attributes
    ----------
    outcome
        How it ended.
    interrupted
        Whether it was stopped before the video's end.
    nothing_measured
        Why no wrist was measured in any frame, in one sentence with what would help; None where one was.
    """

    outcome: Outcome
    interrupted: bool
    nothing_measured: str | None


def analyse(
    source: Source,
    parts: Parts,
    samples: SamplesFile,
    summary_path: Path,
    *,
    stop: threading.Event,
    sinks: Sequence[Sink] = (),
) -> Analysed:
    """Measures every frame; what was measured is written whatever happens.

    Parameters
    ----------
    samples
        Takes the rows as they come; closed at the end.
    summary_path
        Where the summary goes, as JSON.
    stop
        Set from outside, the frame in work is finished and everything is written.
    sinks
        Further takers of readings.

    Raises
    ------
    SourceError
        Where no frame could be read.
    InputError
        Where a file cannot be written.
    """
    session, tally = InMemorySession(), Tally()
    monitor, release = parts.monitor("video", source, (_Rows(samples), session, tally, *sinks))
    try:
        outcome = monitor.run(stop)
    finally:
        release()
    samples.close()
    if outcome.frames == 0 and not stop.is_set():
        raise SourceError(f"No frame could be read from {source.info.name}; is it a whole video?")
    _write_summary(source, parts, session, outcome, summary_path, interrupted=stop.is_set())
    return Analysed(outcome, stop.is_set(), tally.sentence(source.info.name))


def _write_summary(
    source: Source,
    parts: Parts,
    session: InMemorySession,
    outcome: Outcome,
    path: Path,
    *,
    interrupted: bool,
) -> None:
    now = now_utc()
    name, kind = source.info.name, source.info.kind
    record = session.record(
        SessionInfo("", now, now, outcome.ending, outcome.end_s, name, kind, None, __version__, 0, 0),
        limits=parts.limits,
        rules=parts.rules,
        settings=parts.settings_json,
        closed=outcome.closed,
    )
    summary = summarise_record(record)
    for of_kept_sessions in ("session", "marks", "limits", "damage"):
        del summary[of_kept_sessions]
    document = {
        "program": "posturewatch",
        "program_version": __version__,
        "versions": package_versions(),
        "analysed_at": now,
        "interrupted": interrupted,
        "source": source.describe(),
        "notice": source.notice,
        "frames": outcome.frames,
        "limits": limits_to_json(parts.limits),
        "settings": dict(parts.settings_json),
        **summary,
    }
    try:
        path.write_text(json.dumps(document, indent=2) + "\n", encoding="utf-8")
    except OSError as error:
        raise InputError(
            f"{path} cannot be written ({error.strerror}); choose another folder with --out."
        ) from error


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
