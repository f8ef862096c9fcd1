"""What stands in for a look that is saved: it is never taken for one, and its spread says so."""

from __future__ import annotations

import csv
import math
from dataclasses import replace

import numpy as np
import pytest
from test_features import HAND_PX, axis, seen
from test_staying import PLAIN, RULES, of

from posturewatch.capture import VideoFileSource, demo_video
from posturewatch.config.resources import calibration_dir
from posturewatch.config.settings import Settings
from posturewatch.kinematics.network import COVERAGE_Z
from posturewatch.kinematics.temporal_estimator import TemporalEstimator
from posturewatch.model.measurement import FrameMeasurement, Measurement, Refusal
from posturewatch.model.observation import SIDES, Observation, Side
from posturewatch.model.quantities import QUANTITIES
from posturewatch.pipeline.build import build
from posturewatch.tracking.forearm import TURN_DEG_PER_S, carried
from posturewatch.tracking.turns import ForearmTurns

BOTH: list[tuple[Side, np.ndarray]] = [("left", HAND_PX), ("right", HAND_PX)]  # type: ignore[type-arg]


def test_an_axis_goes_along_with_the_wrist_and_keeps_its_direction() -> None:
    before = axis()
    moved = carried(before, before.wrist_px + np.array([7.0, -3.0]), 0.04)
    assert moved.wrist_px == pytest.approx(before.wrist_px + np.array([7.0, -3.0]))
    assert moved.towards_elbow_px - moved.wrist_px == pytest.approx(before.towards_elbow_px - before.wrist_px)
    assert moved.carried_sd_deg == pytest.approx(TURN_DEG_PER_S * 0.04)
    assert before.carried_sd_deg == 0.0


def test_no_axis_is_carried_twice_running_and_both_hands_are_looked_at_in_the_same_frames() -> None:
    turns, kept = ForearmTurns(), []
    for frame in range(9):
        now_s = frame / 30
        stands_in = turns.to_carry(BOTH, now_s)
        kept.append(set(stands_in))
        turns.take([(side, stands_in.get(side, axis())) for side in SIDES], now_s)
    assert kept[0] == set()
    assert kept[1:] == [{"left", "right"}, set()] * 4


def test_a_hand_is_looked_at_with_one_that_must_be() -> None:
    turns = ForearmTurns()
    turns.take([("left", axis())], 5.0)
    assert set(turns.to_carry(BOTH[:1], 5.03)) == {"left"}
    assert turns.to_carry(BOTH, 5.03) == {}, "the right one was never seen"


def test_where_it_may_be_carried_twice_every_third_frame_is_looked_at() -> None:
    turns, kept = ForearmTurns(), []
    for frame in range(9):
        now_s = frame / 30
        stands_in = turns.to_carry(BOTH, now_s, running=2)
        kept.append(len(stands_in))
        turns.take([(side, stands_in.get(side, axis())) for side in SIDES], now_s)
    assert kept == [0, 2, 2] * 3


@pytest.mark.parametrize(("moved_px", "later_s"), [(0.0, 1.0), (1000.0, 0.03), (0.0, -0.5)])
def test_an_axis_of_long_ago_or_of_another_place_is_not_carried(moved_px: float, later_s: float) -> None:
    turns = ForearmTurns()
    turns.take([("left", axis())], 5.0)
    hand = HAND_PX + np.array([moved_px, 0.0, 0.0])
    assert turns.to_carry([("left", hand)], 5.0 + later_s) == {}


def test_wrist_angles_from_a_carried_axis_have_its_spread_too() -> None:
    """Deviations that know nothing of each other add up as squares do."""
    fresh, moved = axis(), replace(axis(), carried_sd_deg=3.0)
    one, other = (
        of(sd=4.0).look(seen(forearm=each), seen(forearm=each).hands[0]).values for each in (fresh, moved)
    )
    assert other["wrist_flexion"][0] == one["wrist_flexion"][0]
    assert other["wrist_flexion"][1] == pytest.approx(math.hypot(one["wrist_flexion"][1], 3.0))
    fingers = [entry.output for entry in QUANTITIES if entry.group == "finger" and entry.output in one]
    assert fingers
    assert [other[name] for name in fingers] == [one[name] for name in fingers]


def estimates(looked_at: list[bool]) -> list[FrameMeasurement]:
    measurer = TemporalEstimator(of(), rules=PLAIN, staying=RULES)
    observation = seen(forearm=axis())
    hand = observation.hands[0]
    return [
        measurer.measure(
            replace(observation, time_s=k / 10, hands=(replace(hand, looked_at=fresh),), body=None)
        )
        for k, fresh in enumerate(looked_at)
    ]


def test_a_hand_whose_turn_it_is_not_keeps_its_angles_with_a_wider_spread() -> None:
    first, between, after = (one.left.values["wrist_flexion"] for one in estimates([True, False, True]))
    assert first.sd is not None
    assert between.value == first.value
    assert between.sd == pytest.approx(math.sqrt(first.sd**2 + RULES.drift**2 / 10))
    assert after.measured, "nothing of it went, so nothing has to come back"


def test_what_is_not_looked_at_for_long_has_no_number() -> None:
    assert estimates([True, *[False] * 9])[-1].left.values["wrist_flexion"].refusal is Refusal.HAND_NOT_SEEN


def test_lifts_are_refused_where_nobody_looked() -> None:
    for one in estimates([True, False])[1].left.values.items():
        assert not (one[0].endswith("_lift") and one[1].measured)


FRAMES = 150


def demo_measured(savings: frozenset[str]) -> list[tuple[Observation, FrameMeasurement]]:
    built, source = build("video", Settings()), VideoFileSource(demo_video())
    assert built.ease is not None
    built.ease(savings)
    found: list[tuple[Observation, FrameMeasurement]] = []
    try:
        while len(found) < FRAMES:
            taken = source.read(1.0)
            if taken is not None:
                observation = built.tracker.observe(taken.frame)
                found.append((observation, built.measurer.measure(observation)))
    finally:
        source.close()
        built.release()
    return found


@pytest.mark.models
def test_savings_keep_the_demo_videos_angles_within_their_intervals() -> None:
    """Against the angles that the demo video was rendered from (calibration/demo/truth.csv)."""
    with (calibration_dir() / "demo" / "truth.csv").open(newline="", encoding="utf-8") as file:
        truth = list(csv.DictReader(file))
    found = demo_measured(frozenset({"body", "forearm", "second hand"}))[30:]
    for side in SIDES:
        seen_at = [observation.hand(side) for observation, _ in found]
        hands = [hand for hand in seen_at if hand is not None]
        assert len(hands) == len(found)
        assert 0.4 < np.mean([hand.looked_at for hand in hands]) < 0.6
        values: list[Measurement] = [measured.hand(side).values["wrist_flexion"] for _, measured in found]
        true = [float(truth[observation.frame_index][f"{side}_flexion_deg"]) for observation, _ in found]
        inside = [
            abs(one.value - at) < COVERAGE_Z * one.sd
            for one, at in zip(values, true, strict=True)
            if one.value is not None and one.sd is not None
        ]
        assert len(inside) > 0.9 * len(found)
        assert np.mean(inside) >= 0.9
        looked, not_looked = (
            np.mean(
                [
                    one.sd
                    for one, hand in zip(values, hands, strict=True)
                    if one.sd and hand.looked_at is fresh
                ]
            )
            for fresh in (True, False)
        )
        assert not_looked > looked
