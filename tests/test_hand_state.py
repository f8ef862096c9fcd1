"""The state of a hand, by table, and over time; the normal distribution's intervals are scipy's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from exposure_series import FLEX, make_series, profile
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from posturewatch.comfort.exceedance import INTERVAL_SD
from posturewatch.comfort.hand_state import hand_state
from posturewatch.comfort.limits import Band, LimitProfile
from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.hand_time import hand_series
from posturewatch.exposure.rules import ExposureRules
from posturewatch.model.measurement import HandMeasurement, Measurement, Refusal
from posturewatch.model.quantities import QUANTITY_NAMES
from posturewatch.model.verdict import HandState

ULNAR = "wrist_ulnar_deviation"
NOT_SEEN, FOREARM, UNCERTAIN = Refusal.HAND_NOT_SEEN, Refusal.FOREARM_NOT_SEEN, Refusal.TOO_UNCERTAIN
#: Limits 20 and 40 in every direction.
LIMITS = profile()
#: With a standard deviation of 1, the 90 % interval reaches so far to either side.
HALF = float(norm.interval(0.9)[1])

Angle = tuple[float, float] | Refusal


def hand(flexion: Angle, deviation: Angle) -> HandMeasurement:
    values = dict(HandMeasurement.refused("left", QUANTITY_NAMES, NOT_SEEN).values)
    for name, one in ((FLEX, flexion), (ULNAR, deviation)):
        values[name] = Measurement.refused(one) if isinstance(one, Refusal) else Measurement.of(*one)
    return HandMeasurement("left", values)


def test_the_interval_is_that_of_nine_cases_in_ten() -> None:
    assert pytest.approx(HALF) == INTERVAL_SD


STRAIGHT = (0.0, 1.0)


@pytest.mark.parametrize(
    ("flexion", "deviation", "state", "quantity"),
    [
        # Both intervals inside the comfort limits, up to their very edge.
        (STRAIGHT, STRAIGHT, HandState.IN_COMFORT, None),
        ((20.0 - HALF - 0.01, 1.0), (-20.0 + HALF + 0.01, 1.0), HandState.IN_COMFORT, None),
        # A value inside whose interval reaches past the comfort limit is no comfort.
        ((20.0 - HALF + 0.01, 1.0), STRAIGHT, HandState.UNSURE, FLEX),
        (STRAIGHT, (-20.0 + HALF - 0.01, 1.0), HandState.UNSURE, ULNAR),
        # A wide interval about the middle reaches past both limits.
        ((0.0, 30.0), STRAIGHT, HandState.UNSURE, FLEX),
        # Past comfort while the interval stays inside the extreme limit.
        ((20.01, 1.0), STRAIGHT, HandState.PAST_COMFORT, FLEX),
        ((-40.0 + HALF + 0.01, 1.0), STRAIGHT, HandState.PAST_COMFORT, FLEX),
        ((40.0 - HALF + 0.01, 1.0), STRAIGHT, HandState.UNSURE, FLEX),
        # Past comfort to one side, and maybe extreme to the other.
        ((21.0, 40.0), STRAIGHT, HandState.UNSURE, FLEX),
        # Extreme is said of the value itself, however wide the interval.
        ((40.01, 1.0), STRAIGHT, HandState.EXTREME, FLEX),
        (STRAIGHT, (-40.01, 30.0), HandState.EXTREME, ULNAR),
        # The worst of the angles decides.
        ((30.0, 1.0), (45.0, 1.0), HandState.EXTREME, ULNAR),
        ((30.0, 1.0), (39.9, 1.0), HandState.UNSURE, ULNAR),
        ((30.0, 1.0), (19.9, 1.0), HandState.PAST_COMFORT, FLEX),
        # Without a number there is no comfort, and the reason is named.
        (STRAIGHT, UNCERTAIN, HandState.PARTLY_SEEN, ULNAR),
        (FOREARM, STRAIGHT, HandState.PARTLY_SEEN, FLEX),
        (FOREARM, (19.9, 1.0), HandState.PARTLY_SEEN, FLEX),
        # What is seen to be strained is said although the other angle is not seen.
        (FOREARM, (30.0, 1.0), HandState.PAST_COMFORT, ULNAR),
        (FOREARM, (39.9, 1.0), HandState.UNSURE, ULNAR),
        (FOREARM, (50.0, 1.0), HandState.EXTREME, ULNAR),
        # A hand that is there without any number is partly seen; one that is not there is not.
        (FOREARM, FOREARM, HandState.PARTLY_SEEN, FLEX),
        (NOT_SEEN, UNCERTAIN, HandState.PARTLY_SEEN, FLEX),
        (NOT_SEEN, NOT_SEEN, HandState.NOT_SEEN, None),
    ],
)
def test_one_moment(flexion: Angle, deviation: Angle, state: HandState, quantity: str | None) -> None:
    found = hand_state(hand(flexion, deviation), LIMITS)
    assert (found.state, found.quantity) == (state, quantity)
    if state is HandState.PARTLY_SEEN:
        assert found.refusal is (flexion if quantity == FLEX else deviation)


def without(*directions: tuple[str, str]) -> LimitProfile:
    return replace(LIMITS, bands={**LIMITS.bands, **dict.fromkeys(directions, Band())})


def test_an_angle_without_any_limit_is_not_watched() -> None:
    limits = without((ULNAR, "ulnar"), (ULNAR, "radial"))
    assert hand_state(hand(STRAIGHT, UNCERTAIN), limits).state is HandState.IN_COMFORT
    # With a limit in one direction alone it is.
    assert hand_state(hand(STRAIGHT, UNCERTAIN), without((ULNAR, "ulnar"))).state is HandState.PARTLY_SEEN
    assert hand_state(hand(STRAIGHT, (90.0, 1.0)), without((ULNAR, "ulnar"))).state is HandState.IN_COMFORT


def test_where_nothing_is_watched_comfort_is_not_claimed() -> None:
    assert hand_state(hand(STRAIGHT, STRAIGHT), profile(None, None)).state is HandState.UNSURE


def test_an_extreme_limit_alone_bounds_comfort_too() -> None:
    assert hand_state(hand((37.0, 1.0), STRAIGHT), profile(None, 40.0)).state is HandState.IN_COMFORT
    assert hand_state(hand((39.0, 1.0), STRAIGHT), profile(None, 40.0)).state is HandState.UNSURE


def over_time(values: Mapping[str, list[float]], end_s: float, sd: float = 1.0) -> dict[str, float]:
    """Ten samples a second, as they are; NaN is not seen."""
    made = [
        ExposureSeries(
            make_series(np.arange(len(own)) / 10.0, own, sd=sd, name=name),
            LIMITS,
            rules=ExposureRules(cutoff_hz=None),
        )
        for name, own in values.items()
    ]
    (one,) = hand_series(made)
    return {state.value: seconds for state, seconds in one.over((0.0, end_s)).states_s.items()}


def test_a_worked_practice() -> None:
    """A second each: straight; deviation not measured; both lost; flexion 30; flexion 39.9; 50; nothing any more."""
    nan = float("nan")
    flexion = [0.0] * 10 + [0.0] * 10 + [nan] * 10 + [30.0] * 10 + [39.9] * 10 + [50.0] * 10
    deviation = [0.0] * 10 + [nan] * 20 + [0.0] * 30
    assert over_time({FLEX: flexion, ULNAR: deviation}, 7.0) == pytest.approx(
        {
            "in comfort": 1.0,
            "partly seen": 1.0,
            # The last sample speaks for a quarter of a second.
            "not seen": 1.0 + 1.0 - 0.15,
            "past comfort": 1.0,
            "unsure": 1.0,
            "extreme": 1.15,
        }
    )


def test_an_angle_that_was_never_recorded_is_not_measured() -> None:
    assert over_time({FLEX: [0.0] * 10}, 1.0)["partly seen"] == pytest.approx(1.0)


angles = st.lists(st.one_of(st.just(float("nan")), st.floats(-80, 80)), min_size=1, max_size=40)


@settings(max_examples=100, deadline=None)
@given(flexion=angles, deviation=angles, sd=st.sampled_from([0.5, 4.0, 20.0]))
def test_states_over_time_are_those_of_the_moments_and_sum_to_the_whole(
    flexion: list[float], deviation: list[float], sd: float
) -> None:
    count = min(len(flexion), len(deviation))
    found = over_time({FLEX: flexion[:count], ULNAR: deviation[:count]}, count / 10.0, sd)
    assert sum(found.values()) == pytest.approx(count / 10.0)
    expected = dict.fromkeys(found, 0.0)
    for pair in zip(flexion[:count], deviation[:count], strict=True):
        one, other = (NOT_SEEN if np.isnan(value) else (value, sd) for value in pair)
        expected[hand_state(hand(one, other), LIMITS).state.value] += 0.1
    assert found == pytest.approx(expected, abs=1e-9)
