"""Zones, excursions and warnings: worked cases, and properties that hold whatever the input."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, Literal, get_args, overload

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from posturewatch.comfort.exceedance import exceedance_probability
from posturewatch.comfort.limits import Band, Limit, LimitProfile
from posturewatch.comfort.rules import WatchRules
from posturewatch.comfort.watch import Watch
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, Measurement, Refusal
from posturewatch.model.observation import Side
from posturewatch.model.quantities import QUANTITIES, QUANTITY_NAMES
from posturewatch.model.verdict import Excursion, HoldWarning, Verdict, Zone

FLEX = "wrist_flexion"
RULES = WatchRules(warn_sides=("left",))


def profile(comfort: float | None = 20.0, extreme: float | None = 40.0) -> LimitProfile:
    def limit(value: float | None) -> Limit | None:
        return None if value is None else Limit(value, "a made-up profile", "D")

    band = Band(limit(comfort), limit(extreme))
    return LimitProfile("t", "t", "t", {(q.name, d): band for q in QUANTITIES for d in q.directions})


def frame(
    index: int, time_s: float, value: float | None, sd: float = 1.0, side: Side = "left"
) -> FrameMeasurement:
    """One frame in which only wrist flexion of one side is measured."""
    hands = {s: HandMeasurement.refused(s, QUANTITY_NAMES, Refusal.HAND_NOT_SEEN) for s in get_args(Side)}
    if value is not None:
        hands[side] = replace(hands[side], values={**hands[side].values, FLEX: Measurement.of(value, sd)})
    return FrameMeasurement(index, time_s, hands["left"], hands["right"])


def play(
    watch: Watch, pieces: Sequence[tuple[float, float | None]], rate_hz: float = 20.0, sd: float = 1.0
) -> list[Verdict]:
    """Feeds pieces of (seconds, constant value) one after the other."""
    values = [value for seconds, value in pieces for _ in range(round(seconds * rate_hz))]
    return [watch.update(frame(i, i / rate_hz, value, sd)) for i, value in enumerate(values)]


@overload
def events(verdicts: Iterable[Verdict], name: Literal["opened", "closed"]) -> list[Excursion]: ...
@overload
def events(verdicts: Iterable[Verdict], name: Literal["fired", "cleared"]) -> list[HoldWarning]: ...
def events(verdicts: Iterable[Verdict], name: str) -> list[Any]:
    return [event for verdict in verdicts for event in getattr(verdict, name)]


@pytest.mark.parametrize(
    ("value", "zone", "direction"),
    [
        (0.0, Zone.WITHIN, "flexion"),
        (-20.0, Zone.WITHIN, "extension"),
        (20.1, Zone.BEYOND, "flexion"),
        (-40.0, Zone.BEYOND, "extension"),
        (-40.1, Zone.EXTREME, "extension"),
        (None, Zone.UNSEEN, None),
    ],
)
def test_zones(value: float | None, zone: Zone, direction: str | None) -> None:
    state = Watch(profile(), RULES).update(frame(0, 0.0, value)).zones["left", FLEX]
    assert (state.zone, state.direction) == (zone, direction)


def test_a_profile_without_limits_knows_only_within_and_unseen() -> None:
    watch = Watch(profile(None, None), RULES)
    verdicts = play(watch, [(5, 80.0), (1, None)])
    assert {v.zones["left", FLEX].zone for v in verdicts} == {Zone.WITHIN, Zone.UNSEEN}
    assert watch.finish(6.0) == ()


@pytest.mark.parametrize("value", [-12.0, 3.0, 14.9, 15.0, 30.0])
@pytest.mark.parametrize("sd", [0.5, 7.0, 25.0])
def test_the_chance_of_being_beyond_is_the_normal_tail(value: float, sd: float) -> None:
    assert exceedance_probability(15.0, value, sd) == pytest.approx(
        norm.sf(15.0, loc=value, scale=sd), abs=1e-12
    )


def test_a_frame_states_the_chance_of_its_own_direction() -> None:
    state = Watch(profile(), RULES).update(frame(0, 0.0, -43.0, sd=6.0)).zones["left", FLEX]
    assert state.extreme_probability == pytest.approx(norm.cdf(0.5))


def test_an_excursion_from_entry_to_return_with_its_peak() -> None:
    """20 samples a second. Beyond 20 degrees from 1.0 s; 16 degrees is within the hysteresis of 5, so it
    ends with the first sample below 15, at 2.5 s."""
    watch = Watch(profile(), RULES)
    verdicts = play(watch, [(1, 10.0), (0.5, -25.0), (0.5, -31.0), (0.5, -16.0), (1, -14.0)])
    (opened,) = events(verdicts, "opened")
    (closed,) = events(verdicts, "closed")
    assert (opened.direction, opened.level, opened.start_s, opened.end_s) == (
        "extension",
        "comfort",
        1.0,
        None,
    )
    assert closed == replace(opened, peak=-31.0, peak_s=1.5, end_s=2.5, end="returned")
    announced = next(v.time_s for v in verdicts if v.opened)
    assert announced == pytest.approx(1.3)
    assert watch.finish(9.0) == ()


def test_both_levels_are_excursions_of_their_own() -> None:
    verdicts = play(Watch(profile(), RULES), [(1, 25.0), (1, 45.0), (1, 30.0), (1, 0.0)])
    spans = {(e.level, e.start_s, e.end_s, e.limit) for e in events(verdicts, "closed")}
    assert spans == {("comfort", 0.0, 3.0, 20.0), ("extreme", 1.0, 2.0, 40.0)}


def test_a_single_noisy_frame_is_no_excursion() -> None:
    verdicts = play(Watch(profile(), RULES), [(1, 0.0), (0.05, 90.0), (1, 0.0)])
    assert events(verdicts, "opened") == events(verdicts, "closed") == []


def test_a_swing_to_the_other_direction_ends_the_first_excursion() -> None:
    verdicts = play(Watch(profile(), RULES), [(1, 30.0), (1, -30.0), (1, 0.0)])
    assert [(e.direction, e.start_s, e.end_s) for e in events(verdicts, "closed")] == [
        ("flexion", 0.0, 1.0),
        ("extension", 1.0, 2.0),
    ]


def test_a_short_blindness_is_bridged_and_a_long_one_ends_at_the_last_seen_time() -> None:
    watch = Watch(profile(), RULES)
    verdicts = play(watch, [(1, 30.0), (0.8, None), (1, 30.0), (1.5, None), (1, 30.0)])
    (closed,) = events(verdicts, "closed")
    assert (closed.start_s, closed.end_s, closed.end) == (0.0, 2.75, "unseen")  # the sample before 2.8 s
    (lasting,) = watch.finish(5.3)
    assert lasting.start_s == pytest.approx(4.3)


def test_a_return_after_blindness_ends_where_it_was_last_seen() -> None:
    verdicts = play(Watch(profile(), RULES), [(1, 30.0), (0.8, None), (1, 0.0)])
    (closed,) = events(verdicts, "closed")
    assert (closed.end_s, closed.end) == (0.95, "returned")


def test_stopping_closes_what_is_open() -> None:
    watch = Watch(profile(), RULES)
    play(watch, [(1, 30.0)])
    (closed,) = watch.finish(1.0)
    assert (closed.end_s, closed.end) == (1.0, "stopped")
    assert watch.finish(1.0) == ()
    assert watch.update(frame(0, 0.0, 0.0)).closed == ()  # and it may start anew, from 0


def test_a_hand_lost_before_the_stop_ends_when_it_was_last_seen() -> None:
    watch = Watch(profile(), RULES)
    play(watch, [(1, 30.0), (0.5, None)])
    assert [e.end_s for e in watch.finish(1.5)] == [0.95]


@pytest.mark.parametrize("value", [50.0, -50.0])
def test_a_held_extreme_warns_after_the_hold_time_and_clears_on_return(value: float) -> None:
    watch = Watch(profile(), RULES)
    verdicts = play(watch, [(2, 0.0), (6, value), (2, 0.0)])
    (fired,) = events(verdicts, "fired")
    assert (fired.since_s, fired.fired_s, fired.limit) == (2.0, 5.0, 40.0)
    assert fired.direction == ("flexion" if value > 0 else "extension")
    assert events(verdicts, "cleared") == [fired]
    cleared_s = next(v.time_s for v in verdicts if v.cleared)
    assert cleared_s == pytest.approx(8.0 + RULES.dip_s)
    assert all((fired in v.active) == (5.0 <= v.time_s < cleared_s) for v in verdicts)
    warned = [e for e in events(verdicts, "closed") if e.warned_s is not None]
    assert [(e.level, e.warned_s) for e in warned] == [("extreme", 5.0)]


@pytest.mark.parametrize(
    ("pieces", "sd", "why"),
    [
        ([(2.9, 50.0), (3, 0.0)], 1.0, "too short"),
        ([(20, 42.0)], 9.0, "beyond the limit, but too uncertain: the chance is only 0.59"),
        ([(2.5, 50.0), (1.2, None), (2.5, 50.0)], 1.0, "unseen for longer than the grace"),
        ([(2.5, 50.0), (0.6, 0.0), (2.5, 50.0)], 1.0, "a dip longer than is overlooked"),
        ([(0.2, 50.0), (0.3, 0.0)] * 60, 1.0, "mostly comfortable"),
        ([(0.05, 50.0), (0.5, None)] * 60, 1.0, "single glimpses"),
        ([(20, 30.0)], 1.0, "beyond comfort is no extreme"),
    ],
)
def test_no_warning(pieces: list[tuple[float, float | None]], sd: float, why: str) -> None:
    assert events(play(Watch(profile(), RULES), pieces, sd=sd), "fired") == [], why


def test_a_slow_source_counts_no_more_than_its_samples_speak_for() -> None:
    """A sample every 0.9 s speaks for 0.25 s: 3 s of evidence take 12 intervals."""
    watch = Watch(profile(), RULES)
    verdicts = [watch.update(frame(i, i * 0.9, 50.0)) for i in range(20)]
    assert [fired.fired_s for fired in events(verdicts, "fired")] == [pytest.approx(12 * 0.9)]


@pytest.mark.parametrize(
    ("pieces", "fired_s"),
    [
        # a dip of 0.3 s counts against the hold: 1 s - 0.3 s, so 2.3 s more are needed
        ([(1, 50.0), (0.3, 0.0), (4, 50.0)], 1.3 + 2.3),
        # 0.8 s unseen neither count nor reset; nor does the interval into them, of 0.05 s
        ([(1, 50.0), (0.8, None), (4, 50.0)], 1.8 + 2.05),
    ],
)
def test_brief_interruptions_delay_a_warning(
    pieces: list[tuple[float, float | None]], fired_s: float
) -> None:
    (fired,) = events(play(Watch(profile(), RULES), pieces), "fired")
    assert fired.since_s == 0.0
    assert fired.fired_s == pytest.approx(fired_s)


def test_a_warning_clears_when_the_hand_is_unseen() -> None:
    verdicts = play(Watch(profile(), RULES), [(4, 50.0), (3, None)])
    assert len(events(verdicts, "cleared")) == 1
    assert next(v.time_s for v in verdicts if v.cleared) == pytest.approx(3.95 + 1.0 + 0.05)


def test_the_same_warning_waits_for_its_rearm_time() -> None:
    rules = replace(RULES, rearm_s=10.0)
    verdicts = play(Watch(profile(), rules), [(4, 50.0), (1, 0.0), (20, 50.0)])
    first, second = events(verdicts, "fired")
    assert first.fired_s == 3.0
    assert second.fired_s == pytest.approx(4.0 + rules.dip_s + 10.0)
    assert second.since_s == pytest.approx(5.0)


def test_a_moment_below_the_clearing_level_does_not_clear() -> None:
    verdicts = play(Watch(profile(), RULES), [(4, 50.0), (0.1, 0.0), (4, 50.0)])
    assert events(verdicts, "cleared") == []
    assert len(events(verdicts, "fired")) == 1


def test_only_the_chosen_hands_are_warned_of() -> None:
    choices: list[tuple[tuple[Side, ...], int]] = [((), 0), (("left",), 0), (("right",), 1)]
    for sides, count in choices:
        watch = Watch(profile(), replace(RULES, warn_sides=sides))
        verdicts = [watch.update(frame(i, i / 20, 50.0, side="right")) for i in range(100)]
        assert len(events(verdicts, "fired")) == count
        assert {e.level for e in watch.finish(5.0)} == {"comfort", "extreme"}


def test_of_a_wrist_one_angle_is_warned_of_at_a_time_and_the_other_once_that_has_cleared() -> None:
    watch, told = Watch(profile(), RULES), []
    for index in range(260):
        now = frame(index, index / 20.0, 50.0 if index < 140 else 10.0)
        both = replace(
            now.left, values={**now.left.values, "wrist_ulnar_deviation": Measurement.of(50.0, 1.0)}
        )
        verdict = watch.update(replace(now, left=both))
        told += [(one.quantity, one.fired_s) for one in verdict.fired]
        assert len(verdict.active) <= 1
    # Flexion after the three seconds of the hold; deviation, held from the beginning as well, as soon as flexion's
    # warning has cleared: 0.4 s (`dip_s`) after the return at 7 s.
    assert [name for name, _ in told] == ["wrist_flexion", "wrist_ulnar_deviation"]
    assert [time_s for _, time_s in told] == pytest.approx([3.0, 7.4], abs=0.1)
    excursions = watch.finish(13.0)
    assert {one.quantity for one in excursions} >= {"wrist_ulnar_deviation"}
    assert min(one.start_s for one in excursions if one.quantity == "wrist_ulnar_deviation") == 0.0


def test_hands_are_switched_on_and_off_while_it_runs() -> None:
    watch = Watch(profile(), RULES)

    def held(first: int, last: int) -> list[Verdict]:
        return [watch.update(frame(i, i / 20, 50.0, side="right")) for i in range(first, last)]

    assert events(held(0, 100), "fired") == []
    watch.warn(frozenset({"right"}))
    warned = held(100, 200)
    # Evidence counts from the switch on, not from before it.
    (fired,) = events(warned, "fired")
    assert fired.fired_s == pytest.approx(5.0 + RULES.hold_s, abs=0.051)
    watch.warn(())
    quiet = held(200, 300)
    assert [one.since_s for one in events(quiet, "cleared")] == [fired.since_s]
    assert events(quiet, "fired") == []
    assert quiet[-1].active == ()


def test_time_may_stand_but_not_run_backwards() -> None:
    watch = Watch(profile(), RULES)
    watch.update(frame(0, 1.0, 0.0))
    watch.update(frame(1, 1.0, 0.0))
    with pytest.raises(ValueError, match="backwards"):
        watch.update(frame(2, 0.9, 0.0))


@pytest.mark.parametrize(
    "change",
    [
        {"warn_probability": 0.5},
        {"warn_probability": 1.0},
        {"clear_probability": 0.9},
        {"hold_s": 0.0},
        {"dip_s": -0.1},
        {"warn_sides": ("both",)},
    ],
)
def test_rules_without_sense_are_refused(change: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="got"):
        replace(RULES, **change)


STEPS = st.lists(
    st.tuples(
        st.floats(0.0, 1.5) | st.just(1 / 30),
        st.none() | st.floats(-90, 90) | st.just(60.0),
        st.sampled_from([0.5, 5.0, 15.0]),
    ),
    max_size=250,
)
LONG_HOLDS = st.lists(
    st.tuples(st.sampled_from([1, 5, 40, 120]), st.none() | st.sampled_from([0.0, 44.0, 60.0, -60.0])),
    max_size=12,
).map(lambda runs: [(1 / 30, value, 1.0) for length, value in runs for _ in range(length)])


def end_of(excursion: Excursion) -> float:
    assert excursion.end_s is not None
    return excursion.end_s


@settings(max_examples=150, deadline=None)
@given(steps=STEPS | LONG_HOLDS)
def test_whatever_the_input(steps: list[tuple[float, float | None, float]]) -> None:
    watch = Watch(profile(), RULES)
    time_s, frames, verdicts = 0.0, [], []
    for index, (step_s, value, sd) in enumerate(steps):
        time_s += step_s
        frames.append(frame(index, time_s, value, sd))
        verdicts.append(watch.update(frames[-1]))
    stopped = watch.finish(time_s)

    # Each warning rests on at least hold_s of seen evidence, and its own frame is seen and beyond the limit.
    for number, verdict in enumerate(verdicts):
        for fired in verdict.fired:
            sign = 1 if fired.direction == "flexion" else -1
            evidence_s = 0.0
            for i in range(1, number + 1):
                before = frames[i - 1].left.values[FLEX]
                if (
                    frames[i].left.values[FLEX].measured
                    and before.value is not None
                    and before.sd is not None
                    and frames[i - 1].time_s >= fired.since_s
                ):
                    chance = exceedance_probability(40.0, before.value * sign, before.sd)
                    if chance >= RULES.warn_probability:
                        evidence_s += min(frames[i].time_s - frames[i - 1].time_s, RULES.max_gap_s)
            assert evidence_s >= RULES.hold_s - 1e-5
            own = frames[number].left.values[FLEX]
            assert own.value is not None
            assert own.value * sign > 40.0
            assert verdict.time_s - fired.since_s >= RULES.hold_s - 1e-5

    # A refused frame opens and fires nothing.
    for single, verdict in zip(frames, verdicts, strict=True):
        if not single.left.values[FLEX].measured:
            assert (verdict.opened, verdict.fired) == ((), ())

    # What opened closes exactly once; excursions of one key never overlap; times are in order.
    opened = events(verdicts, "opened")
    closed = [*events(verdicts, "closed"), *stopped]
    assert sorted((e.key, e.start_s) for e in opened) == sorted((e.key, e.start_s) for e in closed)
    assert len(opened) - len(events(verdicts, "closed")) == len(stopped)
    for key in {e.key for e in closed}:
        spans = sorted((e.start_s, end_of(e)) for e in closed if e.key == key)
        assert all(start <= end for start, end in spans)
        assert all(a[1] <= b[0] for a, b in pairwise(spans))
    for excursion in closed:
        assert excursion.start_s <= excursion.peak_s <= end_of(excursion)
        assert math.copysign(1, excursion.peak) == (1 if excursion.direction == "flexion" else -1)
        assert abs(excursion.peak) > excursion.limit
        assert end_of(excursion) - excursion.start_s >= RULES.min_excursion_s - 1e-9 or excursion.warned_s

    # What fired clears at most once, and is active in between.
    warned, cleared = events(verdicts, "fired"), events(verdicts, "cleared")
    assert len(warned) - len(cleared) == (len(verdicts[-1].active) if verdicts else 0)
    assert set(cleared) <= set(warned)
