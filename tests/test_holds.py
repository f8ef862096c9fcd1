"""What is told of a hold past a limit: its time past it, the same number wherever it stands."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from log_factories import START
from session_factories import Ended, make_reading

from posturewatch.comfort.rules import WatchRules
from posturewatch.model.observation import Side
from posturewatch.model.verdict import Excursion
from posturewatch.review.derived import open_store
from posturewatch.review.exposures import excursions_json
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.report.gather import gather
from posturewatch.review.report.phrases import duration, moment_text

LIMIT_DEG = 48.6
#: Past the limit in two parts of 1.5 and 2.5 s; between them, and for 2 s after them, within the hysteresis of 5
#: degrees.
PAST_S = ((4.0, 5.5), (6.0, 8.5))
HELD = Excursion(
    "left", "wrist_flexion", "flexion", "extreme", LIMIT_DEG, 4.0, 56.0, 4.5, end_s=10.5, end="returned"
)
#: Past the limit for one sample at 15 s, and near it for longer.
TOUCHED = replace(HELD, start_s=15.0, peak=49.0, peak_s=15.0, end_s=15.5)


def flexion_deg(time_s: float) -> float:
    if any(start_s <= time_s < end_s for start_s, end_s in PAST_S):
        return 56.0
    if 15.0 <= time_s < 15.05:
        return 49.0
    return 45.0 if 5.5 <= time_s < 10.5 or 15.0 <= time_s < 15.5 else 10.0


def test_one_time_past_the_limit_is_told_everywhere(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        recorder = store.begin(START)
        for index in range(400):
            time_s = index / 20
            values: dict[tuple[Side, str], tuple[float, float]] = {
                ("left", "wrist_flexion"): (flexion_deg(time_s), 3.0)
            }
            closed = tuple(one for one in (HELD, TOUCHED) if one.end_s == time_s)
            opened = tuple(
                replace(one, end_s=None, end=None) for one in (HELD, TOUCHED) if one.start_s == time_s
            )
            recorder.put(make_reading(index, time_s, values, opened=opened, closed=closed))
        identity = recorder.finish(Ended(20.0))
        summary = PracticeLog(store).summary(identity)
        report = gather(store, [identity])
    flexion = next(one for one in summary["quantities"] if one["quantity"] == "wrist_flexion")
    (extreme,) = [
        level
        for each in flexion["directions"] if each["direction"] == "flexion"
        for level in each["levels"] if level["level"] == "extreme"
    ]  # fmt: skip
    held, touched = summary["excursions"]
    assert held["past_s"] == pytest.approx(4.0, abs=0.25)
    assert held["past_s"] == pytest.approx(extreme["seconds"], abs=0.001)
    assert (held["hold"], touched["hold"]) == (True, False)
    # The excursion itself lasts 6.5 s.
    said = duration(extreme["seconds"])
    (moment,) = report.moments
    assert f"Past it for {said} in all." in moment_text(moment)
    (practice,) = report.practices
    # Of the hand's other angle nothing was measured, so that it could not be judged.
    assert practice.finding == (
        f"The left wrist bent in (flexion): past the extreme limit once, for {said}, from 0:04. Most of the time the "
        "angles were too uncertain to judge; help the camera first."
    )
    assert practice.headline.startswith("No warnings, but 1 hold past an extreme limit;")


@pytest.mark.parametrize(("peak", "hold"), [(14.49, False), (14.51, True), (-14.51, True), (14.5, False)])
def test_a_hold_is_past_its_limit_also_as_it_is_shown(peak: float, hold: bool) -> None:
    """A peak that is shown as 14 degrees is not past a limit of 14.3."""
    one = replace(HELD, quantity="wrist_ulnar_deviation", limit=14.3, peak=peak)
    (told,) = excursions_json([one], (), WatchRules(), 20.0)
    assert (told["past_s"], told["hold"]) == (None, hold)
