"""The summary against worked examples and numpy's and scipy's percentiles."""

from __future__ import annotations

import json

import numpy as np
import pytest
from exposure_series import FLEX, profile
from scipy.stats.mstats import mquantiles

from posturewatch.comfort.limits import LimitProfile
from posturewatch.comfort.zones import zone_of
from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.percentiles import weighted_percentiles
from posturewatch.exposure.rules import ExposureRules
from posturewatch.exposure.series import NO_PICTURE, SampleSeries, sample_seconds
from posturewatch.exposure.summary import summarise
from posturewatch.exposure.values import Exposure
from posturewatch.model.measurement import Refusal
from posturewatch.model.quantities import quantity
from posturewatch.model.verdict import HoldWarning, Zone

SMALL = 1 + tuple(Refusal).index(Refusal.HAND_TOO_SMALL)
UNSEEN = 1 + tuple(Refusal).index(Refusal.HAND_NOT_SEEN)


def series(time_s: list[float], value: list[float | None], refusal: list[int] | None = None) -> SampleSeries:
    numbers = np.array([np.nan if v is None else v for v in value], dtype=float)
    codes = [UNSEEN if v is None else 0 for v in value] if refusal is None else refusal
    return SampleSeries(
        "left",
        FLEX,
        np.array(time_s, dtype=float),
        numbers,
        np.where(np.isnan(numbers), np.nan, 1.0),
        np.array(codes, dtype=np.uint8),
    )


def summed(one: SampleSeries, end_s: float, limits: LimitProfile | None = None) -> Exposure:
    """Of the signal as it is, so that numbers can be worked by hand."""
    made = ExposureSeries(one, limits or profile(), rules=ExposureRules(cutoff_hz=None))
    (found,) = summarise([made], [], "t", end_s).exposures
    return found


def states(found: Exposure) -> dict[str, list[float]]:
    """Seconds in comfort, unsure, past comfort, extreme, by direction."""
    return {one.direction: list(one.states_s.values()) for one in found.directions}


def test_a_worked_session() -> None:
    """Session from 0 to 2.0 s, samples speak for at most 0.25 s:

    t    value    speaks for          counts as
    0.0   10      0.1                 in comfort, flexion
    0.1   30      0.1                 past comfort, flexion
    0.2   50      0.2                 extreme, flexion
    0.4  -25      0.1                 past comfort, extension
    0.5  refused  0.1                 hand not seen
    0.6  refused  0.25 of 0.4         too small; 0.15 no picture
    1.0   -5      0.25 of 0.5         in comfort, extension; 0.25 no picture
    1.5   45      0.25 of 0.5 (end)   extreme, flexion; 0.25 no picture

    measured 0.1 + 0.1 + 0.2 + 0.1 + 0.25 + 0.25 = 1.0 s of 2.0.
    """
    one = series(
        [0.0, 0.1, 0.2, 0.4, 0.5, 0.6, 1.0, 1.5],
        [10, 30, 50, -25, None, None, -5, 45],
        [0, 0, 0, 0, UNSEEN, SMALL, 0, 0],
    )
    found = summed(one, 2.0)
    assert found.total_s == 2.0
    assert found.measured_s == pytest.approx(1.0)
    assert found.measured_share == pytest.approx(0.5)
    assert found.unseen_s == pytest.approx(
        {NO_PICTURE: 0.65, "hand too small in the picture": 0.25, "hand not seen": 0.1}
    )
    assert list(found.unseen_s) == [NO_PICTURE, "hand too small in the picture", "hand not seen"]
    assert states(found)["flexion"] == pytest.approx([0.1, 0.0, 0.1, 0.45])
    assert states(found)["extension"] == pytest.approx([0.25, 0.0, 0.1, 0.0])
    # Sorted with their weights: -25 (.1) -5 (.25) 10 (.1) 30 (.1) 45 (.25) 50 (.2); the middles of the weights
    # lie at .05 .225 .40 .50 .675 .90, so P10 is -25 + 20 x .05/.175, P50 is 30 and P90 is 50.
    assert found.percentiles == pytest.approx((-25 + 20 * 0.05 / 0.175, 30.0, 50.0))


def test_time_that_is_certainly_beyond_a_limit() -> None:
    # Limits 20 and 40. By the table of the normal distribution a probability of 0.9 lies at 1.2816 deviations.
    one = SampleSeries(
        "left",
        "wrist_flexion",
        np.arange(5) * 0.2,
        np.array([42.0, 42.0, 25.0, 25.0, 10.0]),
        np.array([2.0 / 1.28, 2.0 / 1.29, 5.0 / 1.28, 5.0 / 1.29, 1.0]),
        np.zeros(5, np.uint8),
    )
    comfort, extreme = summed(one, 1.0).direction("flexion").levels
    assert (comfort.seconds, comfort.certain_s) == pytest.approx((0.8, 0.6))
    assert (extreme.seconds, extreme.certain_s) == pytest.approx((0.4, 0.2))


def test_time_before_the_first_sample_has_no_picture() -> None:
    found = summed(series([0.5], [0.0]), 0.7)
    assert found.unseen_s == pytest.approx({NO_PICTURE: 0.5})
    assert found.measured_s == pytest.approx(0.2)


@pytest.mark.parametrize("seed", range(5))
def test_percentiles_on_uniform_sampling(seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = rng.normal(10, 20, 301)
    found = summed(series([i / 20 for i in range(301)], list(values)), 301 / 20)
    assert found.percentiles == pytest.approx(np.percentile(values, (10, 50, 90), method="hazen"))
    assert found.percentiles == pytest.approx(mquantiles(values, (0.1, 0.5, 0.9), alphap=0.5, betap=0.5))


def test_a_weight_of_three_is_nearly_three_samples() -> None:
    rng = np.random.default_rng(1)
    values, weights = rng.normal(size=2000), rng.integers(1, 4, 2000)
    repeated = np.repeat(values, weights)
    assert weighted_percentiles(values, weights.astype(float), (10, 50, 90)) == pytest.approx(
        np.percentile(repeated, (10, 50, 90), method="hazen"), abs=5e-3
    )


def test_time_beyond_limits_agrees_with_the_zones_of_the_watch() -> None:
    values = np.linspace(-60, 60, 241)
    limits = profile()
    found = summed(series(list(np.arange(241) * 0.1), list(values)), 24.1, limits)
    named = [zone_of(v, quantity(FLEX), limits) for v in values]
    for one in found.directions:
        comfort, extreme = one.levels
        count = {zone: named.count((zone, one.direction)) for zone in Zone}
        assert comfort.seconds == pytest.approx(0.1 * (count[Zone.BEYOND] + count[Zone.EXTREME]))
        assert extreme.seconds == pytest.approx(0.1 * count[Zone.EXTREME])


def test_warnings_are_counted_where_they_belong() -> None:
    fired = [HoldWarning(side, FLEX, "extension", 40.0, 9.0, 12.0) for side in ("left", "right")]
    made = ExposureSeries(series([0.0], [0.0]), profile())
    told = summarise([made], fired, "t", 15.0).to_json()
    assert (told["warnings"], [one["warnings"] for one in told["quantities"]]) == (2, [1])


def test_nothing_measured_is_missing_and_not_zero() -> None:
    found = json.loads(json.dumps(summed(series([0.0, 0.1], [None, None]), 0.2).to_json(), allow_nan=False))
    assert found["percentiles_deg"] is None
    assert found["measured_share"] == 0.0
    assert {level["share"] for one in found["directions"] for level in one["levels"]} == {None}


def test_a_session_without_samples() -> None:
    found = summed(series([], []), 3.0)
    assert (found.measured_s, found.measured_share, found.unseen_s) == (0.0, 0.0, {NO_PICTURE: 3.0})


def test_without_limits_nothing_says_what_comfort_is() -> None:
    found = summed(series([0.0, 0.1], [80.0, -80.0]), 0.2, profile(None, None))
    assert [one.levels for one in found.directions] == [(), ()]
    assert states(found)["flexion"] == states(found)["extension"] == pytest.approx([0.0, 0.1, 0.0, 0.0])


def test_an_end_before_the_last_sample_leaves_it_no_time() -> None:
    assert list(sample_seconds(np.array([0.0, 0.2]), 0.1995, 0.25)) == [0.2, 0.0]


def test_times_out_of_order_are_refused() -> None:
    with pytest.raises(ValueError, match="backwards"):
        sample_seconds(np.array([0.0, 0.2, 0.1]), 1.0, 0.25)


def test_a_series_is_checked() -> None:
    with pytest.raises(ValueError, match="one shape"):
        series([0.0, 0.1], [1.0])
    with pytest.raises(ValueError, match="NaN exactly"):
        series([0.0], [1.0], [UNSEEN])
    with pytest.raises(ValueError, match="at least one value"):
        weighted_percentiles(np.array([1.0]), np.array([0.0]), (50,))


def test_the_timeline_and_the_time_that_pictures_came() -> None:
    """60 s at 10 samples a second, without a picture from 20 to 50 s; flexion beyond every limit from 10 to 20 s. A
    gap counts for 2 s of practice at most."""
    times = [i / 10 for i in range(600) if not 200 <= i < 500]
    one = series(times, [80.0 if 10 <= t < 20 else 10.0 for t in times])
    made = ExposureSeries(one, profile(), rules=ExposureRules(cutoff_hz=None))
    document = summarise([made], [], "t", 60.0).to_json()
    assert document["watched_s"] == pytest.approx(30.0 + 2.0 - 0.1, abs=0.11)
    timeline = document["timeline"]
    assert timeline["bin_s"] == 0.5
    (hand,) = timeline["hands"]
    extreme = [place * 0.5 for place, share in enumerate(hand["shares"]["extreme"]) if share == 1.0]
    assert (extreme[0], extreme[-1], len(extreme)) == (10.0, 19.5, 20)
    assert hand["shares"]["not seen"][42:99] == [1.0] * 57
    for shares in zip(*hand["shares"].values(), strict=True):
        assert sum(shares) == pytest.approx(1.0, abs=0.03)
