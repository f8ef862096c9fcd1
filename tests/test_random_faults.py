"""A few of the rounds of `tests/faults/rounds.py`: each fault once, with either ending by turns.

What may be lost is two seconds beside the time for which the machine did not let the practice run: others may run
beside this.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "faults"))

from rounds import Disk, plan, run_rounds

SEED = 1

#: So many practices at a time: a small machine has others to run beside them.
AT_ONCE = 3


def test_whatever_goes_wrong_little_is_lost_and_the_next_start_is_clean(tmp_path: Path) -> None:
    disk = Disk(tmp_path)
    plans = [plan(number, SEED, disk.kinds) for number in range(len(disk.kinds))]
    assert {one.ending for one in plans} == {"kill", "signal"}
    results = run_rounds(plans, tmp_path, disk, at_once=AT_ONCE, on_result=lambda result: None)
    assert [(one.plan, one.wrong) for one in results if one.wrong] == []
    assert all(one.kept_s > 0.0 for one in results)


def test_rounds_are_the_same_for_the_same_seed() -> None:
    assert plan(17, 3) == plan(17, 3) != plan(17, 4)
