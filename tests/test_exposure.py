"""Exposure of a series: an example worked by hand, other libraries, and what holds whatever the input."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from exposure_series import FLEX, exposure, make_series, profile
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from posturewatch.comfort.excursions import ExcursionTracker
from posturewatch.comfort.limits import LimitProfile
from posturewatch.comfort.rules import WatchRules
from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.rules import ExposureRules
from posturewatch.exposure.series import NO_PICTURE, minutes
from posturewatch.exposure.values import Exposure
from posturewatch.model.measurement import Refusal
from posturewatch.model.verdict import Excursion, HandState

NAN = float("nan")
#: The signal as it is, so that numbers can be worked by hand.
AS_IT_IS = ExposureRules(cutoff_hz=None)
NOT_SEEN = Refusal.HAND_NOT_SEEN.value


def at(rate_hz: float, *holds: tuple[float, float]) -> tuple[NDArray[Any], NDArray[Any]]:
    """Times and values of (value, seconds) one after another."""
    values = np.concatenate([np.full(round(seconds * rate_hz), value) for value, seconds in holds])
    return np.arange(values.size) / rate_hz, values


def test_a_worked_session() -> None:
    """Ten samples a second, limits 20 and 40 either way, neutral within 10:

    0-3 s at 0, 3-5 s at 30, 5-9 s at 50, 9-11 s not seen, 11-13 s at -25, 13-16 s at 5, and the picture ends;
    the window runs on to 18 s.
    """
    time_s, values = at(10.0, (0, 3), (30, 2), (50, 4), (NAN, 2), (-25, 2), (5, 3))
    found = exposure(make_series(time_s, values), profile(), (0.0, 18.0), rules=AS_IT_IS)

    # The last sample, at 15.9 s, speaks for 0.25 s: measured 9 + 2 + 2.9 + 0.25 = 14.15 of 18 s.
    assert found.measured_s == pytest.approx(14.15)
    assert found.measured_share == pytest.approx(14.15 / 18)
    assert found.unseen_s == pytest.approx({NOT_SEEN: 2.0, NO_PICTURE: 1.85})

    flexion, extension = found.direction("flexion"), found.direction("extension")
    # In comfort 3 + 3.15 (0 counts as flexion), past comfort 2, extreme 4; on the other side past comfort 2.
    assert list(flexion.states_s.values()) == pytest.approx([6.15, 0.0, 2.0, 4.0])
    assert list(extension.states_s.values()) == pytest.approx([0.0, 0.0, 2.0, 0.0])
    # Excess beyond 20: 2 s x 10 + 4 s x 30 = 140 degree-seconds; beyond 40: 4 s x 10; extension 2 s x 5.
    comfort, extreme = flexion.levels
    assert (comfort.seconds, comfort.excess) == pytest.approx((6.0, 140.0))
    assert (extreme.seconds, extreme.excess) == pytest.approx((4.0, 40.0))
    assert extension.levels[0].excess == pytest.approx(10.0)
    assert (comfort.excursions, comfort.longest_s, comfort.longest_start_s) == pytest.approx((1, 6.0, 3.0))
    assert (extreme.excursions, extreme.longest_s, extreme.longest_start_s) == pytest.approx((1, 4.0, 5.0))
    assert (comfort.peak, extreme.peak, extension.levels[0].peak) == (50.0, 50.0, -25.0)
    assert (extension.levels[0].excursions, extension.levels[0].longest_s) == pytest.approx((1, 2.0))
    assert (extension.levels[1].excursions, extension.levels[1].longest_s) == (0, None)

    # Rests within 10 of neutral for 2 s or more: 0-3 s and 13-16.15 s.
    assert found.rests is not None
    assert (found.rests.count, found.rests.seconds) == pytest.approx((2, 6.15))
    assert found.rests.per_minute == pytest.approx(2 / (14.15 / 60))

    # Rows: below -40, to -20, to -10, to 10, to 20, to 40, above. Columns: < 1, 1-3, 3-7, ... seconds.
    table = np.array(found.variation.seconds)
    assert found.variation.amplitude_edges == (-40.0, -20.0, -10.0, 10.0, 20.0, 40.0)
    expected = np.zeros((7, 6))
    expected[3, 2] = 3.0 + 3.15
    expected[5, 1] = 2.0
    expected[6, 2] = 4.0
    expected[1, 1] = 2.0
    assert table == pytest.approx(expected, abs=1e-9)

    # Two steps of 30 and 20 degrees and one of 30 (from -25 to 5), each within 0.1 s, speak for 0.1 s each.
    # A speed is known wherever the next sample is measured too: 14.15 - 0.1 (before unseen) - 0.25 (last).
    assert found.speed is not None
    assert found.speed.mean == pytest.approx((30 + 20 + 30) / 13.8)
    assert found.speed.median == 0.0


def test_a_passage_played_twice() -> None:
    """At 30 from 0 to 4 s and from 10 to 16 s: over the windows 2-6 and 10-12 s it is 2 + 2 of 6 s."""
    time_s, values = at(20.0, (30, 4), (0, 6), (30, 6), (0, 4))
    found = exposure(make_series(time_s, values), profile(), (2.0, 6.0), (10.0, 12.0), rules=AS_IT_IS)
    assert found.total_s == found.measured_s == pytest.approx(6.0)
    assert found.share("flexion", "comfort") == pytest.approx(4 / 6)
    comfort = found.direction("flexion").levels[0]
    # The first began before its window; of each, two seconds lie inside.
    assert (comfort.excursions, comfort.longest_s) == pytest.approx((1, 2.0))
    # A stay keeps its duration of four and six seconds.
    assert found.variation.seconds[5][2] == pytest.approx(4.0)


@pytest.mark.parametrize(
    ("seconds", "column"),
    [(0.9, 0), (1.0, 1), (2.9, 1), (3.0, 2), (7.0, 3), (15.0, 4), (30.9, 4), (31.0, 5), (60.0, 5)],
)
def test_duration_classes_are_half_open(seconds: float, column: int) -> None:
    time_s, values = at(30.0, (0, 5), (50, seconds), (0, 5))
    table = np.array(
        exposure(make_series(time_s, values), profile(), (0.0, 99.0), rules=AS_IT_IS).variation.seconds
    )
    assert table[6, column] == pytest.approx(seconds)
    assert table[6].sum() == pytest.approx(seconds)


def test_a_short_loss_of_the_hand_ends_no_episode_and_adds_nothing() -> None:
    time_s, values = at(20.0, (0, 1.2), (NAN, 0.6), (0, 1.2), (50, 1))
    found = exposure(make_series(time_s, values), profile(), (0.0, 4.0), rules=AS_IT_IS)
    assert found.variation.seconds[3][1] == pytest.approx(2.4)
    assert found.rests is not None
    assert (found.rests.count, found.rests.seconds) == pytest.approx((1, 2.4))
    time_s, values = at(20.0, (0, 1.2), (NAN, 1.6), (0, 1.2), (50, 1))
    longer = exposure(make_series(time_s, values), profile(), (0.0, 5.0), rules=AS_IT_IS)
    assert longer.rests is not None
    assert longer.rests.count == 0


def test_a_narrow_limit_narrows_the_neutral_band_on_its_side() -> None:
    limits = profile(20.0, 40.0)
    bands = dict(limits.bands)
    bands[FLEX, "extension"] = profile(6.0, 8.0).bands[FLEX, "extension"]
    found = exposure(make_series([0.0, 0.1], [1.0, 2.0]), replace(limits, bands=bands), (0.0, 0.2))
    assert found.rests is not None
    assert found.rests.band == (-6.0, 10.0)


@pytest.mark.parametrize("seed", [1, 2])
def test_percentiles_against_numpy(seed: int) -> None:
    """With equal weights they are numpy's of the method "hazen"."""
    values = np.random.default_rng(seed).normal(5, 20, 800)
    found = exposure(make_series(np.arange(800) / 25.0, values), profile(), (0.0, 32.0), rules=AS_IT_IS)
    assert found.percentiles == pytest.approx(tuple(np.percentile(values, (10, 50, 90), method="hazen")))
    assert found.speed is not None
    speeds = np.abs(np.diff(values)) * 25.0
    assert found.speed.mean == pytest.approx(speeds.mean())
    assert found.speed.median == pytest.approx(np.percentile(speeds, 50, method="hazen"))


def test_noise_is_taken_away_before_anything_is_counted() -> None:
    """Flickering between 10 and 30 thirty times a second is a hand at 20 with noise, not one beyond 25."""
    values = 20.0 + 10.0 * (-1.0) ** np.arange(600)
    series = make_series(np.arange(600) / 60.0, values)
    rough = exposure(series, profile(25.0, 40.0), (0.0, 10.0), rules=AS_IT_IS)
    smooth = exposure(series, profile(25.0, 40.0), (0.0, 10.0))
    assert rough.share("flexion", "comfort") == pytest.approx(0.5, abs=0.01)
    assert smooth.share("flexion", "comfort") == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize("values", [[], [NAN] * 30])
def test_nothing_measured_is_missing_and_not_zero(values: list[float]) -> None:
    found = exposure(make_series(np.arange(len(values)) / 30.0, values), profile(), (0.0, 2.0))
    assert found.measured_s == 0.0
    assert (found.percentiles, found.rests, found.speed) == (None, None, None)
    assert found.share("flexion", "comfort") is None
    assert sum(found.unseen_s.values()) == pytest.approx(2.0)
    json.dumps(found.to_json(), allow_nan=False)


def test_without_limits_there_is_nothing_beyond() -> None:
    found = exposure(make_series(*at(20.0, (80, 3))), profile(None, None), (0.0, 3.0), rules=AS_IT_IS)
    flexion = found.direction("flexion")
    assert flexion.levels == ()
    assert flexion.states_s[HandState.UNSURE] == pytest.approx(3.0)
    assert found.share("flexion", "extreme") is None


@pytest.mark.parametrize(("sd", "state"), [(1.0, HandState.IN_COMFORT), (4.0, HandState.UNSURE)])
def test_comfortable_time_needs_evidence(sd: float, state: HandState) -> None:
    """At 15 degrees, with the comfort limit at 20: comfort is known only if 1.645 deviations fit in between."""
    found = exposure(make_series(*at(20.0, (15, 3)), sd=sd), profile(), (0.0, 3.0), rules=AS_IT_IS)
    assert found.direction("flexion").states_s[state] == pytest.approx(3.0)


def test_in_json_every_number_has_its_unit() -> None:
    found = exposure(make_series(*at(20.0, (50, 3))), profile(), (0.0, 3.0)).to_json()
    assert found["percentiles_deg"] == {"p10": 50.0, "p50": 50.0, "p90": 50.0}
    level = found["directions"][0]["levels"][1]
    assert level == {
        "level": "extreme",
        "limit_deg": 40.0,
        "seconds": 3.0,
        "share": 1.0,
        "certain_s": 3.0,
        "excess_deg_s": 30.0,
        "longest_s": 3.0,
        "longest_start_s": 0.0,
        "peak_deg": 50.0,
        "excursions": 1,
    }
    json.dumps(found, allow_nan=False)


@pytest.mark.parametrize(
    "windows", [(), ((1.0, 1.0),), ((2.0, 1.0),), ((0.0, 2.0), (1.0, 3.0)), ((0.0, float("inf")),)]
)
def test_windows_that_are_none_are_refused(windows: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(ValueError, match="window"):
        exposure(make_series([0.0], [1.0]), profile(), *windows)


@pytest.mark.parametrize(
    ("end_s", "expected"),
    [(0.0, ()), (60.0, ((0.0, 60.0),)), (61.5, ((0.0, 60.0), (60.0, 61.5)))],
)
def test_minutes(end_s: float, expected: tuple[tuple[float, float], ...]) -> None:
    assert minutes(end_s) == expected


def test_unknown_words_raise() -> None:
    found = exposure(make_series([0.0], [1.0]), profile(), (0.0, 1.0))
    with pytest.raises(ValueError, match="no direction"):
        found.direction("sideways")
    with pytest.raises(ValueError, match="level"):
        found.directions[0].level("mild")  # type: ignore[arg-type]


steps_s = st.sampled_from([0.0, 0.02, 0.033, 0.1, 0.3, 0.9, 1.5])
angles = st.one_of(
    st.just(NAN), st.sampled_from([-40.0, -20.0, -10.0, 0.0, 2.0, 8.0, 10.0, 20.0, 40.0]), st.floats(-80, 80)
)
samples = st.lists(st.tuples(steps_s, angles), min_size=1, max_size=80)
samples_in_time = st.lists(st.tuples(steps_s.filter(bool), angles), min_size=1, max_size=80)


def series_of(
    pairs: Sequence[tuple[float, float]],
    sign: float = 1.0,
    rules: ExposureRules | None = None,
    limits: LimitProfile | None = None,
) -> ExposureSeries:
    time_s = np.cumsum([step for step, _ in pairs])
    series = make_series(time_s, sign * np.array([value for _, value in pairs]))
    return ExposureSeries(series, profile() if limits is None else limits, rules=rules)


def additive(found: Exposure) -> dict[str, float]:
    """Everything in an exposure that adds up over windows."""
    sums = {"total": found.total_s, "measured": found.measured_s}
    sums |= {f"unseen {reason}": seconds for reason, seconds in found.unseen_s.items()}
    for one in found.directions:
        sums |= {f"{one.direction} {state.value}": seconds for state, seconds in one.states_s.items()}
        for level in one.levels:
            sums[f"{one.direction} {level.level} excess"] = level.excess
            sums[f"{one.direction} {level.level} count"] = level.excursions
    for row, cells in enumerate(found.variation.seconds):
        sums |= {f"cell {row} {column}": seconds for column, seconds in enumerate(cells)}
    if found.rests is not None:
        sums |= {"rests": found.rests.count, "rested": found.rests.seconds}
    return sums


@settings(max_examples=150, deadline=None)
@given(pairs=samples, cut=st.floats(0.01, 0.99))
def test_neighbouring_windows_add_up(pairs: list[tuple[float, float]], cut: float) -> None:
    whole = series_of(pairs)
    end_s = sum(step for step, _ in pairs) + 1.0
    middle_s = cut * end_s
    together = additive(whole.over((0.0, end_s)))
    first, second = additive(whole.over((0.0, middle_s))), additive(whole.over((middle_s, end_s)))
    both = additive(whole.over((0.0, middle_s), (middle_s, end_s)))
    for name in together | first | second:
        apart = first.get(name, 0.0) + second.get(name, 0.0)
        assert apart == pytest.approx(together.get(name, 0.0), abs=1e-5), name
        assert both.get(name, 0.0) == pytest.approx(together.get(name, 0.0), abs=1e-5), name


@settings(max_examples=150, deadline=None)
@given(pairs=samples)
def test_shares_sum_to_one_and_times_to_the_window(pairs: list[tuple[float, float]]) -> None:
    end_s = sum(step for step, _ in pairs) + 1.0
    found = series_of(pairs).over((0.0, end_s))
    assert found.measured_s + sum(found.unseen_s.values()) == pytest.approx(end_s, abs=1e-4)
    states_s = sum(sum(one.states_s.values()) for one in found.directions)
    assert states_s == pytest.approx(found.measured_s, abs=1e-9)
    assert sum(map(sum, found.variation.seconds)) == pytest.approx(found.measured_s, abs=1e-9)
    for one in found.directions:
        comfort, extreme = one.levels
        assert 0.0 <= extreme.seconds <= comfort.seconds <= found.measured_s + 1e-9
        assert extreme.excess <= comfort.excess
        assert one.states_s[HandState.EXTREME] == pytest.approx(extreme.seconds)
        # Farther out by the distance of the limits for as long as it is extreme, at least.
        assert comfort.excess - extreme.excess >= 20.0 * extreme.seconds - 1e-6


@settings(max_examples=300, deadline=None)
@given(pairs=samples, smoothed=st.booleans())
@example(pairs=[(0.0, 40.5), (0.0, NAN), (0.3, 20.0)], smoothed=False)
@example(
    pairs=[(0.02, NAN), (0.02, NAN), (0.033, 40.0), (0.02, NAN), (0.033, -40.0), (0.3, 40.0), (0.3, 22.0)],
    smoothed=False,
)
def test_what_is_said_of_one_limit_is_consistent(pairs: list[tuple[float, float]], smoothed: bool) -> None:
    """Total, longest episode and number of excursions, without and with the low-pass, whatever was measured."""
    rules = ExposureRules() if smoothed else AS_IT_IS
    end_s = sum(step for step, _ in pairs) + 1.0
    ours = series_of(pairs, rules=rules)
    for one in ours.over((0.0, end_s)).directions:
        for level in one.levels:
            assert 0.0 <= level.certain_s <= level.seconds
            if level.longest_s is None:
                assert (level.seconds, level.excess, level.excursions, level.peak) == (0.0, 0.0, 0, None)
                continue
            assert level.longest_s <= level.seconds
            assert level.longest_start_s is not None
            assert 0.0 <= level.longest_start_s < end_s
            assert level.peak is not None
            assert abs(level.peak) > level.limit
            # Every excursion begins with an episode of its own.
            magnitude = ours.magnitude(one.direction)
            beyond = magnitude > level.limit
            torn = np.append(True, np.diff(ours.time_s) > rules.watch.unseen_grace_s)
            episodes = np.count_nonzero(beyond & (torn | ~np.append(False, beyond[:-1])))
            assert level.excursions <= episodes


def test_trembling_about_a_limit_is_one_excursion_of_many_short_episodes() -> None:
    """A second at 41, a second at 39, ten times, with the limit at 40 and an excursion's end at 35."""
    time_s, values = at(20.0, *[(41, 1), (39, 1)] * 10, (0, 5))
    extreme = (
        exposure(make_series(time_s, values), profile(), (0.0, 25.0), rules=AS_IT_IS).directions[0].levels[1]
    )
    assert (extreme.excursions, extreme.seconds, extreme.longest_s) == pytest.approx((1, 10.0, 1.0))


@settings(max_examples=100, deadline=None)
@given(pairs=samples)
def test_the_mirrored_sign_swaps_directions(pairs: list[tuple[float, float]]) -> None:
    end_s = sum(step for step, _ in pairs) + 1.0
    one, mirrored = series_of(pairs).over((0.0, end_s)), series_of(pairs, -1.0).over((0.0, end_s))
    # Exactly 0 counts as leaning to flexion either way, so only what lies beyond a limit has to swap.
    for direction, other in (("flexion", "extension"), ("extension", "flexion")):
        swapped = tuple(
            replace(level, peak=None if level.peak is None else -level.peak)
            for level in mirrored.direction(other).levels
        )
        assert one.direction(direction).levels == swapped
    assert np.array(one.variation.seconds) == pytest.approx(np.array(mirrored.variation.seconds)[::-1])
    measured = [value for _, value in pairs if not np.isnan(value)]
    # Among equal values of unequal weight, the order in time decides a little.
    if len(set(measured)) == len(measured) and one.percentiles and mirrored.percentiles:
        assert one.percentiles == pytest.approx([-value for value in reversed(mirrored.percentiles)])
    assert one.speed == mirrored.speed
    if one.rests is not None and mirrored.rests is not None:
        assert (one.rests.count, one.rests.seconds) == (mirrored.rests.count, mirrored.rests.seconds)


@settings(max_examples=200, deadline=None)
@given(
    pairs=samples_in_time, least_s=st.sampled_from([0.0, 0.3, 1.0]), limit=st.sampled_from([6.0, 20.0, 40.0])
)
def test_excursions_are_those_of_the_live_watch(
    pairs: list[tuple[float, float]], least_s: float, limit: float
) -> None:
    """Found for the whole series at once, and frame by frame as the watch does it."""
    watch = WatchRules(min_excursion_s=least_s)
    tracker = ExcursionTracker("left", FLEX, "flexion", "extreme", limit, watch)
    closed: list[Excursion] = []
    time_s, last_seen_s = 0.0, 0.0
    for step_s, value in pairs:
        time_s += step_s
        last_seen_s = last_seen_s if np.isnan(value) else time_s
        ended, _ = tracker.update(time_s, None if np.isnan(value) else value)
        closed += [] if ended is None else [ended]
    ended = tracker.finish(last_seen_s)
    closed += [] if ended is None else [ended]
    ours = series_of(pairs, rules=ExposureRules(watch, cutoff_hz=None), limits=profile(None, limit))
    spans = ours.excursions("flexion", "extreme")
    assert spans.start_s.tolist() == pytest.approx([one.start_s for one in closed])
    assert spans.end_s.tolist() == pytest.approx([one.end_s for one in closed])
