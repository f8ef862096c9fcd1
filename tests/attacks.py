"""All that is done to lose, damage or get at what is kept: `python tests/attacks.py` runs it and prints a table.

`--rounds 200` adds so many practices that something goes wrong with at random (`faults/rounds.py`), instead of a few.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent

# This tree, wherever another one is installed.
sys.path.insert(0, str(HERE.parent))

#: Files of tests that are marked `attack` as a whole, and what they try.
ATTACKS = {
    "test_server_guard": "foreign hosts, origins and paths",
    "test_admission": "other users of the machine",
    "test_private": "rights of files and folders",
    "test_live_endings": "signals, one or several, on a slow disk",
    "test_worker_faults": "parts of the program that fail",
    "test_recorder_faults": "what cannot be written, a folder that goes",
    "test_session_folders": "a kill, two programs, torn databases",
    "test_random_faults": "faults at random while recording",
    "test_damage": "flipped bits and overwritten pages",
    "test_damaged_rows": "flipped bits in what can be changed",
    "test_deleting": "what is deleted, links, clips without a name",
    "test_archive": "hostile and damaged archives",
    "test_backup": "hostile backups, crashes while restoring",
    "test_capture_odd_videos": "cut, odd and immense videos, pipes",
    "test_odd_paths": "odd names of folders and files",
}


class Tally:
    """A plugin that counts by file."""

    def __init__(self) -> None:
        self.counts: dict[str, dict[str, float]] = {}

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        own = self.counts.setdefault(
            Path(report.location[0]).stem, {"passed": 0, "failed": 0, "skipped": 0, "s": 0.0}
        )
        own["s"] += report.duration
        if report.when == "call" or report.outcome != "passed":
            own[report.outcome] += 1

    def table(self) -> str:
        """What was tried, how often, and how it went."""
        lines = [f"{'what is tried':<46}{'attacks':>8}{'held':>6}{'failed':>8}{'seconds':>9}"]
        rows = [(ATTACKS.get(name, name), one) for name, one in sorted(self.counts.items())]
        for label, one in rows:
            tried = one["passed"] + one["failed"]
            lines.append(
                f"{label:<46}{tried:>8.0f}{one['passed']:>6.0f}{one['failed']:>8.0f}{one['s']:>9.1f}"
            )
        total = {key: sum(one[key] for _, one in rows) for key in ("passed", "failed", "s")}
        tried = total["passed"] + total["failed"]
        lines.append(
            f"{'all':<46}{tried:>8.0f}{total['passed']:>6.0f}{total['failed']:>8.0f}{total['s']:>9.1f}"
        )
        return "\n".join(lines)


def main() -> int:
    """1 where something did not hold."""
    parser = argparse.ArgumentParser(description="Tries to lose, damage or get at what is kept.")
    parser.add_argument(
        "--rounds", type=int, default=0, help="practices with faults at random, beside the few"
    )
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    began, tally = time.monotonic(), Tally()
    code = pytest.main(["-m", "attack", "-q", "-p", "no:cacheprovider", str(HERE)], plugins=[tally])
    print(f"{tally.table()}\nin {time.monotonic() - began:.0f} s")
    if args.rounds:
        script = str(HERE / "faults" / "rounds.py")
        rounds = [sys.executable, script, "--rounds", str(args.rounds), "--seed", str(args.seed)]
        code = code or subprocess.run(rounds, check=False).returncode
    return int(code != 0)


if __name__ == "__main__":
    raise SystemExit(main())
