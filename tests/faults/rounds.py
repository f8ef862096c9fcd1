"""Practices that something goes wrong with, at random from a seed, and what was lost of each.

`python tests/faults/rounds.py --rounds 200 --seed 1` prints a table and gives 1 where a practice lost more than two
seconds, the next start failed, or something was said to be kept that was not.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import random
import shutil
import signal
import sqlite3
import struct
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

# Those of this tree, wherever another one is installed.
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from posturewatch.errors import StoreError
from posturewatch.review.derived import open_store
from posturewatch.review.practice_log import PracticeLog
from posturewatch.storage.folder.database import FILE_NAME

HERE = Path(__file__).resolve().parent

RATE_HZ = 20.0

#: What a practice may lose at most, beside the time for which the machine did not let it run.
MOST_LOST_S = 2.0

#: Of the time before the end, in which it is looked up whether the practice could run.
_LOOKED_BACK_S = 5.0

#: The practice says so often that it runs, but for what any machine takes.
_TICK_S = 0.1

ENDINGS = ("kill", "signal")
DISK_FAULTS = ("disk full", "folder gone", "locked")
FAULTS = (*DISK_FAULTS, "slow disk", "camera gone", "none")


@dataclass(frozen=True)
class Plan:
    """What is done in a round. after_s: from the first frame to the fault; for_s: how long it lasts; signals: of the
    ending, with pauses between; late: the practice is ended while the fault lasts; deleted: of the folder that goes
    and comes back empty."""

    number: int
    fault: str
    ending: str
    after_s: float
    for_s: float
    then_s: float
    delay_ms: int
    signals: tuple[tuple[int, float], ...]
    late: bool
    deleted: bool
    marked: bool


@dataclass
class Result:
    """lost_s: of the frames that were handed over to be kept; stood_s: for so long of the last seconds the machine did
    not let the practice run; ended_s: from the request to end to the program's end; wrong: what must not be, in words.
    """

    plan: Plan
    lost_s: float = 0.0
    kept_s: float = 0.0
    ended_s: float = 0.0
    stood_s: float = 0.0
    wrong: list[str] = field(default_factory=list)


def plan(number: int, seed: int, kinds: Sequence[str] = FAULTS) -> Plan:
    """The round of that number; the same for the same seed."""
    draw = random.Random(f"{seed} {number}")
    fault = kinds[number % len(kinds)]
    # The first ones go through all faults with either ending.
    ending = ENDINGS[(number + number // len(kinds)) % 2] if number < 2 * len(kinds) else draw.choice(ENDINGS)
    numbers = [signal.SIGINT, signal.SIGTERM, getattr(signal, "SIGHUP", signal.SIGTERM)]
    signals = tuple(
        (int(draw.choice(numbers)), draw.uniform(0.0, 0.6)) for _ in range(draw.choice((1, 1, 2, 3)))
    )
    return Plan(
        number,
        fault,
        ending,
        after_s=draw.uniform(0.2, 3.0),
        for_s=draw.uniform(0.3, 6.5 if fault == "locked" else 4.0),
        then_s=draw.uniform(0.0, 2.0),
        delay_ms=draw.randrange(50, 800 if ending == "kill" else 3000),
        signals=signals,
        late=fault in DISK_FAULTS and ending == "signal" and draw.random() < 0.4,
        deleted=draw.random() < 0.5,
        marked=draw.random() < 0.5,
    )


class Disk:
    """The library that makes a disk slow or full, built once; without a C compiler there is none."""

    def __init__(self, folder: Path) -> None:
        compiler = shutil.which("cc") or shutil.which("gcc")
        self.library: Path | None = None
        if compiler is not None and sys.platform == "linux":
            self.library = folder / "disk.so"
            source = HERE / "slow_and_full_disk.c"
            subprocess.run(
                [compiler, "-shared", "-fPIC", "-O1", "-o", self.library, source, "-ldl"], check=True
            )

    @property
    def kinds(self) -> tuple[str, ...]:
        """The faults that can be made here."""
        return (
            FAULTS if self.library else tuple(one for one in FAULTS if one not in ("disk full", "slow disk"))
        )


class Round:
    """One practice in a folder of its own, from its beginning to the next start."""

    def __init__(self, plan: Plan, folder: Path, disk: Disk) -> None:
        self._plan = plan
        self._data = folder / "data"
        self._control = folder / "control"
        self._control.mkdir(parents=True)
        (folder / "settings.toml").write_text("", encoding="utf-8")
        self._said = (folder / "said").open("w+b")
        self._asked_s = self._ended_s = 0.0
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
        if disk.library is not None:
            environment |= {
                "LD_PRELOAD": str(disk.library),
                "DISK_FOLDER": str(self._data),
                "DISK_CONTROL": str(self._control),
            }
        options = ["--no-browser", "--port", "0", "--settings", str(folder / "settings.toml"), "--data-dir"]
        self._child = subprocess.Popen(
            [sys.executable, HERE / "practice.py", self._control, str(RATE_HZ), "live", "--source", "0", *options,
             self._data],
            stdout=self._said,
            stderr=subprocess.STDOUT,
            env=environment,
        )  # fmt: skip

    def run(self) -> Result:
        """Goes through it; whatever fails is in the result."""
        try:
            self._play()
            return self._judge()
        except Exception as error:  # noqa: BLE001  a fault of one round must not hide those of the others
            return Result(self._plan, wrong=[f"{type(error).__name__}: {error}"])
        finally:
            if self._child.poll() is None:
                self._child.kill()
                self._child.wait()
            self._said.close()

    def _play(self) -> None:
        plan = self._plan
        self._wait(lambda: self._numbers("written").size > 0, 600.0, "the practice did not begin")
        time.sleep(plan.after_s)
        if plan.marked:
            (self._control / "mark").touch()
        with self._fault():
            time.sleep(min(plan.for_s, 2.5) if plan.late else plan.for_s)
            if plan.late:
                self._ask()
        if not plan.late:
            if plan.fault in DISK_FAULTS:
                # What waited is written with the next commits, seconds later at most where the machine has the time.
                now = self._numbers("handed").max()
                self._wait(
                    lambda: self._numbers("written").max() >= now, 300.0, "nothing is written any more"
                )
            time.sleep(plan.then_s)
            if plan.ending == "kill":
                self._asked_s = time.monotonic()
                self._child.kill()
            else:
                self._ask()
        self._child.wait(300.0)
        self._ended_s = time.monotonic() - self._asked_s

    def _ask(self) -> None:
        self._asked_s = time.monotonic()
        for number, pause_s in self._plan.signals:
            self._child.send_signal(number)
            time.sleep(pause_s)

    @contextlib.contextmanager
    def _fault(self) -> Iterator[None]:
        plan = self._plan
        if plan.fault in ("disk full", "camera gone", "slow disk"):
            flag = (
                self._control
                / {"disk full": "full", "camera gone": "unplugged", "slow disk": "slow"}[plan.fault]
            )
            flag.write_text(str(plan.delay_ms), encoding="ascii")
            yield
            # A slow disk stays slow to the end.
            if plan.fault != "slow disk":
                flag.unlink()
        elif plan.fault == "folder gone":
            away = self._data.with_name("away")
            self._data.rename(away)
            if plan.deleted:
                shutil.rmtree(away)
                away.mkdir()
            yield
            away.rename(self._data)
        elif plan.fault == "locked":
            with contextlib.closing(sqlite3.connect(self._data / FILE_NAME, timeout=30.0)) as other:
                other.execute("BEGIN IMMEDIATE")
                yield
                other.rollback()
        else:
            yield

    def _judge(self) -> Result:
        result = Result(self._plan, ended_s=self._ended_s, stood_s=self._stood_s())
        handed, written = self._numbers("handed"), self._numbers("written")
        said, code = self._words(), self._child.returncode
        if self._plan.ending == "kill" and code != -signal.SIGKILL:
            result.wrong.append(f"it ended by itself with {code}: {said[-200:]!r}")
        try:
            with open_store(self._data) as store:
                if store.notice is not None:
                    result.wrong.append(f"the next start found damage: {store.notice}")
                (info,) = store.sessions()
                record = store.session(info.id)
                PracticeLog(store).session(info.id)
                states = {clip["state"] for clip in PracticeLog(store).clips()}
                marks = len(record.marks)
        except (StoreError, ValueError, OSError) as error:
            result.wrong.append(f"the next start failed: {error}")
            return result
        times = [
            np.round(1000 * one.time_s).astype(np.int64)
            for one in record.series
            if one.quantity == "wrist_flexion"
        ]
        kept = times[0] if times else np.zeros(0, np.int64)
        missing = np.setdiff1d(handed, kept)
        result.kept_s, result.lost_s = kept.size / RATE_HZ, missing.size / RATE_HZ
        if np.any(missing <= written.max(initial=-1)):
            result.wrong.append("frames are lost that were written before others")
        if result.lost_s > MOST_LOST_S + result.stood_s:
            result.wrong.append(
                f"{result.lost_s:.2f} s are lost, and the machine stood still for {result.stood_s:.2f} s"
            )
        if record.damage:
            result.wrong.append(f"damage: {record.damage[0]}")
        if states - {"there"} and not (self._plan.fault == "folder gone" and self._plan.deleted):
            result.wrong.append(f"clips are listed that are {states}")
        if self._plan.ending == "signal":
            whole = code == 0
            if whole and (missing.size or info.end_reason != "stopped"):
                result.wrong.append(f"said to be kept, and {missing.size} frames are not ({info.end_reason})")
            # While the camera is gone, nobody looks whether there is one to be made.
            if whole and self._plan.marked and not marks and not (self._control / "mark").exists():
                result.wrong.append("said to be kept, and the mark is not")
            if not whole and "clip" not in said.lower() and "lost" not in said:
                result.wrong.append(f"it gave {code}, and did not say why: {said[-200:]!r}")
            if "Traceback" in said:
                result.wrong.append(f"a traceback: {said[-300:]!r}")
        return result

    def _stood_s(self) -> float:
        """For how long of the last seconds before the end the machine did not let the practice run."""
        ticks_s = self._numbers("ticks") / 1000
        last_s = ticks_s[(ticks_s > self._asked_s - _LOOKED_BACK_S) & (ticks_s <= self._asked_s)]
        steps_s = np.diff(np.concatenate([[self._asked_s - _LOOKED_BACK_S], last_s, [self._asked_s]]))
        return float(np.maximum(steps_s - _TICK_S, 0.0).sum())

    def _numbers(self, name: str) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
        path = self._control / name
        raw = path.read_bytes() if path.exists() else b""
        return np.array(
            [number for (number,) in struct.iter_unpack("<q", raw[: len(raw) // 8 * 8])], np.int64
        )

    def _words(self) -> str:
        self._said.seek(0)
        return self._said.read().decode("utf-8", "replace")

    def _wait(self, condition: Callable[[], bool], seconds: float, otherwise: str) -> None:
        end_s = time.monotonic() + seconds
        while not condition():
            if self._child.poll() is not None or time.monotonic() > end_s:
                raise RuntimeError(f"{otherwise}: {self._words()[-300:]!r}")
            time.sleep(0.02)


def run_rounds(
    plans: Sequence[Plan], folder: Path, disk: Disk, *, at_once: int, on_result: Callable[[Result], None]
) -> list[Result]:
    """All of them, several at once, in order; folders of rounds that went well are deleted."""

    def one(plan: Plan) -> Result:
        own = folder / str(plan.number)
        result = Round(plan, own, disk).run()
        on_result(result)
        if not result.wrong:
            shutil.rmtree(own)
        return result

    with ThreadPoolExecutor(at_once) as threads:
        return list(threads.map(one, plans))


def table(results: Sequence[Result]) -> str:
    """By fault and ending: rounds, seconds lost, and how often something was wrong."""
    head = f"{'fault':<14}{'ending':<10}{'rounds':>7}{'lost, mean s':>14}{'largest s':>11}"
    lines = [f"{head}{'to the end, largest s':>23}{'wrong':>7}"]

    def line(name: str, own: Sequence[Result]) -> str:
        lost = [one.lost_s for one in own]
        figures = f"{len(own):>7}{sum(lost) / len(lost):>14.2f}{max(lost):>11.2f}"
        ended_s = max(one.ended_s for one in own)
        return f"{name:<24}{figures}{ended_s:>23.1f}{sum(bool(one.wrong) for one in own):>7}"

    for fault in FAULTS:
        for ending in ENDINGS:
            own = [one for one in results if (one.plan.fault, one.plan.ending) == (fault, ending)]
            if own:
                lines.append(line(f"{fault:<14}{ending:<10}", own))
    return "\n".join([*lines, line("all", results)])


def main() -> int:
    """Runs the rounds and prints the table; 1 where something was wrong."""
    parser = argparse.ArgumentParser(
        description="Practices that something goes wrong with, at random from a seed."
    )
    parser.add_argument("--rounds", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--at-once", type=int, default=2, help="so many practices at a time (default: 2)")
    parser.add_argument("--only", type=int, metavar="NUMBER", help="only the round of this number")
    args = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="rounds-"))
    disk = Disk(folder)
    if disk.library is None:
        print("Without a C compiler: no full and no slow disk.")
    numbers = range(args.rounds) if args.only is None else [args.only]
    plans = [plan(number, args.seed, disk.kinds) for number in numbers]

    def tell(one: Result) -> None:
        detail = f"{one.plan.fault}, {one.plan.ending}{' meanwhile' if one.plan.late else ''}"
        print(
            f"{one.plan.number:>4}  {detail:<28} kept {one.kept_s:5.1f} s, lost {one.lost_s:4.2f} s, "
            f"to the end {one.ended_s:5.1f} s",
            flush=True,
        )
        for sentence in one.wrong:
            print(f"      WRONG: {sentence} ({folder / str(one.plan.number)})", flush=True)

    results = run_rounds(plans, folder, disk, at_once=args.at_once, on_result=tell)
    print(table(results))
    if any(one.wrong for one in results):
        return 1
    shutil.rmtree(folder)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
