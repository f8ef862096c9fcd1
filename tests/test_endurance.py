"""What a long run tells of memory, threads and open files: the slopes, and notes that do not grow themselves."""

from __future__ import annotations

import threading
import tracemalloc
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import linregress

from posturewatch.bench.figures import live_figures, with_usage
from posturewatch.bench.probes import Put, Usage, UsageProbe, memory_mb, usage_now
from posturewatch.bench.report import endurance_report
from posturewatch.bench.trend import Trend, trend

LIVE = live_figures([Put(i / 30, i / 30, 0, 2, i / 60) for i in range(31)], [], None, warm_up_s=0.0)


def test_what_is_held_after_the_last_frame_is_the_most_and_no_growth() -> None:
    looks = [Usage(float(at_s), 500.0 if at_s <= 3600 else 640.0, 9, None) for at_s in range(0, 3640, 2)]
    held = with_usage(LIVE, looks, 10.0, 3600.0)
    assert held.memory_mb is not None
    assert (held.memory_mb.start, held.memory_mb.end, held.memory_mb.most) == (500.0, 500.0, 640.0)
    assert held.memory_mb.per_hour == pytest.approx(0.0, abs=1e-9)
    assert held.handles is None


def test_the_notes_of_a_long_run_take_their_room_at_its_beginning() -> None:
    usage = UsageProbe(2000)
    usage.look()
    tracemalloc.start()
    try:
        before = tracemalloc.get_traced_memory()[0]
        for _ in range(1999):
            usage.look()
        grown = tracemalloc.get_traced_memory()[0] - before
    finally:
        tracemalloc.stop()
    # 1,999 rows of 4 numbers of 8 bytes are 64 kB; asking the system leaves some kB of its own.
    assert grown < 24_000
    usage.look()
    looks = usage.usage
    assert len(looks) == 2001
    assert sorted(one.at_s for one in looks) == [one.at_s for one in looks]
    assert looks[0].threads == usage_now().threads
    assert looks[0].memory_mb is not None


def test_slope_of_a_long_run_is_that_of_scipy() -> None:
    """Means of thirty equal stretches, against `scipy.stats.linregress` of the same."""
    rng = np.random.default_rng(3)
    at_s = np.arange(1200) * 0.5 + 77.0
    memory = 500 + 12.0 * at_s / 3600 + rng.normal(scale=2.0, size=len(at_s))
    found = trend(list(zip(at_s.tolist(), memory.tolist(), strict=True)))
    assert found is not None
    assert (found.start, found.end, found.most) == (memory[0], memory[-1], memory.max())
    line = linregress(at_s.reshape(30, 40).mean(axis=1) / 3600, memory.reshape(30, 40).mean(axis=1))
    assert found.per_hour == pytest.approx(line.slope)
    assert found.per_hour_se == pytest.approx(line.stderr)
    assert abs(line.slope - 12.0) < 3 * line.stderr, "the example is a usual one"


def test_a_short_run_says_nothing_of_an_hour_and_an_unknown_number_nothing_at_all() -> None:
    short = trend([(float(i), 5.0 + i) for i in range(100)])
    assert short == Trend(5.0, 104.0, 104.0)
    assert trend([(1.0, None), (2.0, None)]) is None


def test_a_long_run_is_told_with_its_slopes() -> None:
    text = endurance_report(replace(LIVE, memory_mb=Trend(500.0, 502.0, 510.0, 1.25, 0.5)))
    assert "500 MB, 502 MB  (most: 510 MB)  +1.25 +- 0.50 MB an hour" in text
    assert "threads" not in text


@pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="only Linux tells threads and open files")
def test_what_is_held_counts_a_thread_and_a_file(tmp_path: Path) -> None:
    stop, before = threading.Event(), usage_now()
    thread = threading.Thread(target=stop.wait)
    with (tmp_path / "open").open("w"):
        thread.start()
        during = usage_now()
        stop.set()
        thread.join()
    assert before.threads is not None
    assert before.handles is not None
    assert (during.threads, during.handles) == (before.threads + 1, before.handles + 1)


def test_memory_of_this_process_is_plausible() -> None:
    memory = memory_mb()
    assert memory is not None
    before = memory
    block = np.ones(25_000_000)  # 200 MB, written to and so in memory
    after = memory_mb()
    assert after is not None
    assert 150 < after - before < 300
    assert block.size
