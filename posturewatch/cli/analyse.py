"""`posturewatch analyse`: every frame of a film through the monitor, as fast as it goes."""

from __future__ import annotations

import argparse
import json
import signal
import sys
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from posturewatch import __version__
from posturewatch.cli.options import Subparsers, add_command, add_settings, add_view, with_view
from posturewatch.errors import InputError, SourceError
from posturewatch.model.quantities import in_group

if TYPE_CHECKING:
    from posturewatch.capture import Source
    from posturewatch.cli.samples_file import SamplesFile
    from posturewatch.model.measurement import Refusal
    from posturewatch.model.outcome import Outcome
    from posturewatch.model.reading import Reading
    from posturewatch.pipeline.build import Parts
    from posturewatch.storage.in_memory import InMemorySession

__all__ = ["add"]

SAMPLES_NAME = "samples.csv"
SUMMARY_NAME = "summary.json"

EXIT_INTERRUPTED = 130


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "analyse",
        "measure every frame of a film",
        "Measures every frame of a film as fast as it goes and writes DIR/samples.csv (one row per frame and "
        "hand, angles in degrees, flexion and ulnar deviation positive) and DIR/summary.json. "
        "Your kept sessions are not touched. Ctrl-C keeps what was measured until then.",
        """
posturewatch analyse lesson.mp4 --out lesson
posturewatch analyse demo --out demo --profile rula
posturewatch analyse phone.mp4 --out phone --hfov-deg 68 --hand-length-mm 192
""",
    )
    parser.add_argument("film", metavar="FILM", help="a film file, or demo for the bundled one")
    parser.add_argument(
        "--out", type=Path, required=True, metavar="DIR", help="folder for the results, made if missing"
    )
    add_view(parser)
    add_settings(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.capture import open_source
    from posturewatch.cli.samples_file import SamplesFile
    from posturewatch.pipeline.build import load_parts

    parts = load_parts(args.settings, args.profile)
    parts = replace(parts, settings=with_view(parts.settings, args))
    source = open_source(args.film, pace="asap")
    try:
        if source.info.kind != "film":
            raise InputError(
                f"{args.film} is no film; for cameras and streams use: posturewatch live --source {args.film}"
            )
        make_folder(args.out)
        with SamplesFile(args.out / SAMPLES_NAME) as samples:
            return Analysis(source, parts, samples, args.out / SUMMARY_NAME).run()
    finally:
        source.close()


def make_folder(folder: Path) -> None:
    """Raises InputError with one sentence where it cannot be made."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"The folder {folder} cannot be made ({error.strerror}); choose another with --out."
        ) from error


class Analysis:
    """One film's run: rows as they come, the summary at the end."""

    def __init__(self, source: Source, parts: Parts, samples: SamplesFile, summary_path: Path) -> None:
        self._source = source
        self._parts = parts
        self._samples = samples
        self._summary_path = summary_path

    def run(self) -> int:
        """The exit code; what was measured is written whatever happens."""
        from posturewatch.storage.in_memory import InMemorySession

        session = InMemorySession()
        tally = Tally()
        stop = threading.Event()
        with progress(self._source) as bar, interrupt_sets(stop):
            sinks = (_Rows(self._samples), session, tally, bar)
            monitor, release = self._parts.monitor("video", self._source, sinks)
            try:
                outcome = monitor.run(stop)
            finally:
                release()
        self._samples.close()
        if outcome.frames == 0 and not stop.is_set():
            raise SourceError(f"No picture could be read from {self._source.info.name}; is it a whole film?")
        self._write_summary(session, outcome, interrupted=stop.is_set())
        return self._last_words(tally, outcome, interrupted=stop.is_set())

    def _write_summary(self, session: InMemorySession, outcome: Outcome, *, interrupted: bool) -> None:
        from posturewatch.config.versions import package_versions
        from posturewatch.review.summaries import summarise_record
        from posturewatch.storage.limits_json import limits_to_json
        from posturewatch.storage.records import SessionInfo, now_utc

        now = now_utc()
        name, kind = self._source.info.name, self._source.info.kind
        info = SessionInfo("", now, now, outcome.ending, outcome.end_s, name, kind, None, __version__, 0, 0)
        parts = self._parts
        record = session.record(
            info,
            limits=parts.limits,
            rules=parts.rules,
            settings=parts.settings_json,
            closed=outcome.closed,
        )
        summary = summarise_record(record)
        for of_kept_sessions in ("session", "marks", "limits"):
            del summary[of_kept_sessions]
        document = {
            "program": "posturewatch",
            "program_version": __version__,
            "versions": package_versions(),
            "analysed_at": now,
            "interrupted": interrupted,
            "source": self._source.describe(),
            "notice": self._source.notice,
            "frames": outcome.frames,
            "limits": limits_to_json(parts.limits),
            "settings": dict(parts.settings_json),
            **summary,
        }
        try:
            self._summary_path.write_text(json.dumps(document, indent=2) + "\n", encoding="utf-8")
        except OSError as error:
            raise InputError(
                f"{self._summary_path} cannot be written ({error.strerror}); choose another folder with --out."
            ) from error

    def _last_words(self, tally: Tally, outcome: Outcome, *, interrupted: bool) -> int:
        name = self._source.info.name
        if self._source.notice is not None:
            print(f"posturewatch: {self._source.notice}", file=sys.stderr)
        if interrupted:
            print(
                f"Stopped at {outcome.end_s:.1f} s of {name}; "
                f"the frames until then are in {self._summary_path.parent}.",
                file=sys.stderr,
            )
            return EXIT_INTERRUPTED
        sentence = tally.sentence(name)
        if sentence is not None:
            print(f"posturewatch: {sentence}", file=sys.stderr)
            return SourceError.exit_code
        print(f"{outcome.frames} frames measured; results in {self._summary_path.parent}:")
        print(f"  {self._samples.path.name}, {self._summary_path.name}")
        return 0


class _Rows:
    """The sink that writes the table."""

    def __init__(self, samples: SamplesFile) -> None:
        self._samples = samples

    def put(self, reading: Reading) -> None:
        self._samples.write(reading.measurement)


class Tally:
    """Counts what was measured of the wrists and why the rest was not, for the last line."""

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
        """Why the film gave no number at all, with what would help; None where it gave some."""
        from posturewatch.model.measurement import Refusal

        if self.measured:
            return None
        others = self.reasons.copy()
        not_seen = others.pop(Refusal.HAND_NOT_SEEN, 0)
        # A hand that was taken for one in a few frames is none.
        if sum(others.values()) < 0.02 * (not_seen + sum(others.values())) or not others:
            return f"No hand was seen in {name}. {Refusal.HAND_NOT_SEEN.help}"
        reason = others.most_common(1)[0][0]
        return f"Nothing could be measured in {name}, mostly because: {reason.value}. {reason.help}"


class _Bar:
    """The sink behind the progress bar, which shows frames where their count is known."""

    def __init__(self, bar: Any) -> None:
        self._bar = bar

    def put(self, reading: Reading) -> None:
        self._bar.update(1)


@contextmanager
def progress(source: Source) -> Iterator[_Bar]:
    """A progress bar on stderr; off where that is no terminal."""
    from tqdm import tqdm

    with tqdm(total=source.info.frame_count, unit="frame", desc=source.info.name, disable=None) as bar:
        yield _Bar(bar)


@contextmanager
def interrupt_sets(stop: threading.Event) -> Iterator[None]:
    """Ctrl-C sets `stop` meanwhile, so that the frame in work is finished and everything is written."""
    if threading.current_thread() is not threading.main_thread():
        yield  # only the main thread may say what a signal does
        return
    before = signal.signal(signal.SIGINT, lambda number, frame: stop.set())
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
