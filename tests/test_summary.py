"""The summary against worked examples and numpy's and scipy's percentiles."""

from __future__ import annotations

import json

import numpy as np
import pytest
from scipy.stats.mstats import mquantiles

from posturewatch.comfort.limits import Band, Limit, LimitProfile
from posturewatch.comfort.watch import zone_of
from posturewatch.exposure.summary import (
    NO_PICTURE,
    SampleSeries,
    sample_seconds,
    summarise,
    weighted_percentiles,
)
from posturewatch.model.measurement import Refusal
from posturewatch.model.quantities import QUANTITIES, quantity
from posturewatch.model.verdict import Excursion, HoldWarning, Zone

FLEX = "wrist_flexion"
SMALL = 1 + tuple(Refusal).index(Refusal.HAND_TOO_SMALL)
UNSEEN = 1 + tuple(Refusal).index(Refusal.HAND_NOT_SEEN)


def profile(comfort: float | None = 20.0, extreme: float | None = 40.0) -> LimitProfile:
    def limit(value: float | None) -> Limit | None:
        return None if value is None else Limit(value, "a made-up profile", "D")

    band = Band(limit(comfort), limit(extreme))
    return LimitProfile("t", "t", "t", {(q.name, d): band for q in QUANTITIES for d in q.directions})


def series(time_s: list[float], value: list[float | None], refusal: list[int] | None = None) -> SampleSeries:
    numbers = np.array([np.nan if v is None else v for v in value], dtype=float)
    codes = [UNSEEN if v is None else 0 for v in value] if refusal is None else refusal
    return SampleSeries(
        "left",
        FLEX,
        np.array(time_s, dtype=float),
        numbers,
        np.where(np.isnan(numbers), np.nan, 5.0),
        np.array(codes, dtype=np.uint8),
    )


def excursion(level: str, direction: str, start_s: float, end_s: float | None, peak: float) -> Excursion:
    return Excursion("left", FLEX, direction, level, 20.0, start_s, peak, start_s, end_s)  # type: ignore[arg-type]


def test_a_worked_session() -> None:
    """Session from 0 to 2.0 s, samples speak for at most 0.25 s:

    t    value    speaks for          counts as
    0.0   10      0.1                 within, flexion
    0.1   30      0.1                 beyond, flexion
    0.2   50      0.2                 extreme, flexion
    0.4  -25      0.1                 beyond, extension
    0.5  refused  0.1                 hand not seen
    0.6  refused  0.25 of 0.4         too small; 0.15 no picture
    1.0   -5      0.25 of 0.5         within, extension; 0.25 no picture
    1.5   45      0.25 of 0.5 (end)   extreme, flexion; 0.25 no picture

    measured 0.1 + 0.1 + 0.2 + 0.1 + 0.25 + 0.25 = 1.0 s of 2.0.
    """
    one = series(
        [0.0, 0.1, 0.2, 0.4, 0.5, 0.6, 1.0, 1.5],
        [10, 30, 50, -25, None, None, -5, 45],
        [0, 0, 0, 0, UNSEEN, SMALL, 0, 0],
    )
    (found,) = summarise([one], [], [], profile(), end_s=2.0).quantities
    assert found.total_s == 2.0
    assert found.measured_s == pytest.approx(1.0)
    assert found.measured_share == pytest.approx(0.5)
    assert found.unseen_s == pytest.approx(
        {NO_PICTURE: 0.65, "hand too small in the picture": 0.25, "hand not seen": 0.1}
    )
    assert list(found.unseen_s) == [NO_PICTURE, "hand too small in the picture", "hand not seen"]
    seconds = {(z.zone, z.direction): z.seconds for z in found.zones}
    assert seconds == pytest.approx(
        {
            (Zone.WITHIN, "flexion"): 0.1,
            (Zone.BEYOND, "flexion"): 0.1,
            (Zone.EXTREME, "flexion"): 0.45,
            (Zone.WITHIN, "extension"): 0.25,
            (Zone.BEYOND, "extension"): 0.1,
            (Zone.EXTREME, "extension"): 0.0,
        }
    )
    assert sum(z.share or 0.0 for z in found.zones) == pytest.approx(1.0)
    # Sorted with their weights: -25 (.1) -5 (.25) 10 (.1) 30 (.1) 45 (.25) 50 (.2); the middles of the weights
    # lie at .05 .225 .40 .50 .675 .90, so P10 is -25 + 20 x .05/.175, P50 is 30 and P90 is 50.
    assert found.percentiles == pytest.approx((-25 + 20 * 0.05 / 0.175, 30.0, 50.0))


def test_time_that_is_surely_beyond_a_limit() -> None:
    # Limits 20 and 40. By the table of the normal distribution a chance of 0.8 lies at 0.8416 deviations.
    value = np.array([42.0, 42.0, 25.0, 25.0, 10.0])
    one = SampleSeries(
        "left",
        "wrist_flexion",
        np.arange(5) * 0.2,
        value,
        np.array([2.0 / 0.83, 2.0 / 0.85, 5.0 / 0.83, 5.0 / 0.85, 1.0]),
        np.zeros(5, np.uint8),
    )
    (found,) = summarise([one], [], [], profile(), end_s=1.0).quantities
    sure = {(z.zone, z.direction): z.sure_s for z in found.zones if z.direction == "flexion"}
    assert sure == {
        (Zone.WITHIN, "flexion"): None,
        (Zone.BEYOND, "flexion"): pytest.approx(0.2),
        (Zone.EXTREME, "flexion"): pytest.approx(0.2),
    }


def test_time_before_the_first_sample_has_no_picture() -> None:
    (found,) = summarise([series([1.0], [0.0])], [], [], profile(), start_s=0.5, end_s=1.2).quantities
    assert found.unseen_s == pytest.approx({NO_PICTURE: 0.5})
    assert found.measured_s == pytest.approx(0.2)


@pytest.mark.parametrize("seed", range(5))
def test_percentiles_on_uniform_sampling(seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = rng.normal(10, 20, 301)
    (found,) = summarise(
        [series([i / 20 for i in range(301)], list(values))], [], [], profile(), end_s=301 / 20
    ).quantities
    assert found.percentiles == pytest.approx(np.percentile(values, (10, 50, 90), method="hazen"))
    assert found.percentiles == pytest.approx(mquantiles(values, (0.1, 0.5, 0.9), alphap=0.5, betap=0.5))


def test_a_weight_of_three_is_nearly_three_samples() -> None:
    rng = np.random.default_rng(1)
    values, weights = rng.normal(size=2000), rng.integers(1, 4, 2000)
    repeated = np.repeat(values, weights)
    assert weighted_percentiles(values, weights.astype(float), (10, 50, 90)) == pytest.approx(
        np.percentile(repeated, (10, 50, 90), method="hazen"), abs=5e-3
    )


def test_zones_agree_with_the_watch() -> None:
    values = np.linspace(-60, 60, 241)
    limits = profile()
    (found,) = summarise(
        [series(list(np.arange(241) * 0.1), list(values))], [], [], limits, end_s=24.1
    ).quantities
    for entry in found.zones:
        expected = sum(zone_of(v, quantity(FLEX), limits) == (entry.zone, entry.direction) for v in values)
        assert entry.seconds == pytest.approx(0.1 * expected)


def test_excursions_and_warnings() -> None:
    stays = [
        excursion("comfort", "flexion", 1.0, 2.5, 30.0),
        excursion("comfort", "flexion", 4.0, 8.0, 26.0),
        excursion("extreme", "extension", 9.0, None, -55.0),  # still open: lasts until the end
        Excursion("right", FLEX, "flexion", "comfort", 20.0, 0.0, 90.0, 0.0, 9.0),  # the other hand
    ]
    fired = [HoldWarning("left", FLEX, "extension", 40.0, 9.0, 12.0)]
    (found,) = summarise([series([0.0], [0.0])], stays, fired, profile(), end_s=15.0).quantities
    by_key = {(e.level, e.direction): e for e in found.excursions}
    both = by_key["comfort", "flexion"]
    assert (both.count, both.total_s, both.longest_s, both.longest_start_s, both.peak) == (
        2,
        5.5,
        4.0,
        4.0,
        30.0,
    )
    last = by_key["extreme", "extension"]
    assert (last.count, last.longest_s, last.peak) == (1, 6.0, -55.0)
    none = by_key["extreme", "flexion"]
    assert (none.count, none.longest_s, none.peak) == (0, None, None)
    assert found.warnings == 1


def test_nothing_measured_is_missing_and_not_zero() -> None:
    summary = summarise([series([0.0, 0.1], [None, None])], [], [], profile(), end_s=0.2)
    text = json.loads(json.dumps(summary.to_json(), allow_nan=False))
    (found,) = text["quantities"]
    assert found["percentiles"] is None
    assert found["measured_share"] == 0.0
    assert {zone["share"] for zone in found["zones"]} == {None}


@pytest.mark.parametrize("seconds", [0.0, 3.0])
def test_a_session_without_samples(seconds: float) -> None:
    (found,) = summarise([series([], [])], [], [], profile(), end_s=seconds).to_json()["quantities"]
    assert found["measured_s"] == 0.0
    assert found["measured_share"] == (0.0 if seconds else None)
    assert found["unseen_s"] == ({NO_PICTURE: 3.0} if seconds else {})


def test_without_limits_everything_is_within() -> None:
    (found,) = summarise(
        [series([0.0, 0.1], [80.0, -80.0])], [], [], profile(None, None), end_s=0.2
    ).quantities
    assert found.excursions == ()
    assert {z.zone for z in found.zones if z.seconds > 0} == {Zone.WITHIN}


def test_an_end_before_the_last_sample_leaves_it_no_time() -> None:
    assert list(sample_seconds(np.array([0.0, 0.2]), 0.1995, 0.25)) == [0.2, 0.0]


def test_times_out_of_order_are_refused() -> None:
    with pytest.raises(ValueError, match="backwards"):
        sample_seconds(np.array([0.0, 0.2, 0.1]), 1.0, 0.25)
    with pytest.raises(ValueError, match="before the start"):
        summarise([series([0.0], [0.0])], [], [], profile(), start_s=0.1, end_s=1.0)


def test_a_series_is_checked() -> None:
    with pytest.raises(ValueError, match="one shape"):
        series([0.0, 0.1], [1.0])
    with pytest.raises(ValueError, match="NaN exactly"):
        series([0.0], [1.0], [UNSEEN])
    with pytest.raises(ValueError, match="at least one value"):
        weighted_percentiles(np.array([1.0]), np.array([0.0]), (50,))
