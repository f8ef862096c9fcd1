"""Lift from resting fingertips, against fingers built over a plane by scipy's rotations."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from hand_chain import FINGERS, HAND_MM, hands, played_lifts, strings
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation
from scipy.special import logit
from test_features import OF_FINGERS, axis, seen

from posturewatch.kinematics.estimator import Estimate
from posturewatch.kinematics.hand_size import TYPICAL_HAND_MM, HandSize
from posturewatch.kinematics.lift import STRINGS_SEEN, Lifts, strings_probability
from posturewatch.kinematics.resting import RestingPlane, RestRules
from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import HandObservation, Side

RATE_HZ = 30.0
SIZE = HandSize(HAND_MM, 3.0)


@dataclass(frozen=True)
class Played:
    """landmarks: (n, 21, 3) in metres in camera axes. lift_mm: (n, 4) true distances from the strings."""

    landmarks_m: NDArray[Any]
    lift_mm: NDArray[Any]
    side: Side


def played(
    seed: int = 0,
    side: Side = "left",
    *,
    lean_deg: float = 0.0,
    tilt_deg: float = 0.0,
    held: str | None = None,
    still: tuple[str, ...] = (),
    highest_mm: float = 20.0,
    noise_mm: float = 1.0,
    seconds: float = 12.0,
) -> Played:
    """All fingers play, but for one that is held 28 mm up, nearly straight, and those that stay on the strings; the
    hand travels and is turned anyhow towards the camera."""
    rng = np.random.default_rng(seed)
    count = round(seconds * RATE_HZ)
    lift = {finger: played_lifts(rng, seconds, RATE_HZ, highest_mm) for finger in FINGERS}
    bend = {finger: (rng.uniform(35, 60), rng.uniform(15, 35)) for finger in FINGERS}
    for finger in still:
        lift[finger] = np.zeros(count)
    if held is not None:
        lift[held], bend[held] = 28.0 + 1.5 * np.sin(np.arange(count) / 9), (20.0, 10.0)
    points = hands(strings(lean_deg, tilt_deg), lift, bend, side)
    points = points + rng.normal(0.0, noise_mm, points.shape)
    turned = Rotation.random(random_state=seed).apply(points.reshape(-1, 3)).reshape(points.shape)
    travel = np.arange(count)[:, None, None] * np.array([0.0005, 0.0, 0.001])
    return Played(turned / 1000 + travel, np.stack([lift[finger] for finger in FINGERS], axis=1), side)


def followed(one: Played, size: HandSize = SIZE) -> tuple[NDArray[Any], NDArray[Any]]:
    """Lift and deviation (n, 4) of each picture, NaN while nothing is said."""
    plane = RestingPlane(one.side, size)
    found = np.full((2, len(one.landmarks_m), 4), np.nan)
    for index, points in enumerate(one.landmarks_m):
        told = plane.lifts(points, index / RATE_HZ)
        if told is not None:
            found[:, index] = told
    return found[0], found[1]


def settled(one: Played, size: HandSize = SIZE) -> tuple[NDArray[Any], NDArray[Any]]:
    """(error, deviation) of the last pictures, when the window is full."""
    lift, sd = followed(one, size)
    last = slice(round(9 * RATE_HZ), None)
    return (lift - one.lift_mm)[last], sd[last]


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(
    "how",
    [
        {},
        {"lean_deg": 12.0},
        {"lean_deg": -15.0, "tilt_deg": 10.0},
        {"tilt_deg": -6.0},
        {"highest_mm": 12.0},
        {"still": ("index", "little")},
    ],
    ids=str,
)
def test_true_lifts_are_found_within_what_is_stated(how: dict[str, Any], side: Side) -> None:
    error, sd = settled(played(3, side, **how))
    assert np.isfinite(error).all()
    # Landmarks jitter by 1 mm along each axis: the tip's, and that of the knuckles which carry the axes.
    assert np.abs(error).mean() < 2.5
    assert (np.abs(error) < 1.645 * sd).mean() > 0.88
    # Without what real landmarks add to it, the deviation is a few millimetres.
    assert sd.mean() / RestRules().factor < 5.0


@pytest.mark.parametrize("finger", ["middle", "little"])
def test_a_finger_held_up_all_the_time_is_measured_from_the_others(finger: str) -> None:
    error, sd = settled(played(1, held=finger))
    place = FINGERS.index(finger)
    assert np.abs(error[:, place]).mean() < 10.0  # of 28 mm; its own bottom would make it 28
    assert (np.abs(error[:, place]) < 1.645 * sd[:, place]).mean() > 0.9
    # What nobody saw it touch is known less well.
    assert sd[:, place].mean() > 1.5 * np.delete(sd, place, axis=1).mean()


def test_a_finger_that_moves_up_and_down_without_coming_down_does_not_rest() -> None:
    one = played(2)
    high = one.lift_mm[:, 2] + 30.0
    rng = np.random.default_rng(0)
    points = hands(
        strings(),
        {finger: high if finger == "ring" else one.lift_mm[:, place] for place, finger in enumerate(FINGERS)},
        {finger: (20.0, 10.0) if finger == "ring" else (45.0, 25.0) for finger in FINGERS},
        "left",
    )
    hovering = Played(
        (points + rng.normal(0, 1, points.shape)) / 1000, one.lift_mm + np.array([0, 0, 30.0, 0]), "left"
    )
    error, sd = settled(hovering)
    assert np.abs(error[:, 2]).mean() < 12.0
    assert (np.abs(error[:, 2]) < 1.645 * sd[:, 2]).mean() > 0.88


def test_lengths_follow_the_size_of_the_hand_and_not_the_unit_of_the_landmarks() -> None:
    one = played(4)
    lift, sd = followed(one)
    other, _ = followed(replace(one, landmarks_m=one.landmarks_m * 37.0))
    assert other == pytest.approx(lift, nan_ok=True)
    larger, _ = followed(one, HandSize(1.1 * HAND_MM, 3.0))
    high = one.lift_mm > 15
    assert np.nanmedian(larger[high]) == pytest.approx(1.1 * np.nanmedian(lift[high]), rel=0.03)
    _, unsure = followed(one, HandSize(HAND_MM, 30.0))
    assert np.nanmean(unsure[high]) > np.nanmean(sd[high])


@pytest.mark.parametrize("how", [{"still": FINGERS}, {"highest_mm": 2.0}], ids=str)
def test_fingers_that_hardly_move_tell_of_no_plane(how: dict[str, Any]) -> None:
    assert np.isnan(followed(played(0, **how))[0]).all()


def test_nothing_is_said_before_enough_was_seen_and_all_is_forgotten_when_time_runs_back() -> None:
    one = played(0)
    lift, _ = followed(one)
    first = int(np.flatnonzero(np.isfinite(lift[:, 0]))[0])
    assert 3.0 <= first / RATE_HZ <= 6.0
    plane = RestingPlane("left", SIZE)
    for index, points in enumerate(one.landmarks_m):
        plane.follow(points, 100.0 + index / RATE_HZ)
    assert plane.lifts(one.landmarks_m[-1], 100.0 + 12.0) is not None
    assert plane.lifts(one.landmarks_m[-1], 0.0) is None
    # Long out of sight, it is forgotten as well, and has to be seen anew.
    for index, points in enumerate(one.landmarks_m):
        plane.follow(points, index / RATE_HZ)
    assert plane.lifts(one.landmarks_m[-1], 60.0) is None


def test_points_without_a_hand_tell_nothing() -> None:
    plane = RestingPlane("left", SIZE)
    assert plane.lifts(np.zeros((21, 3)), 0.0) is None
    assert plane.lifts(np.full((21, 3), np.nan), 0.1) is None


def test_the_hand_of_people_has_their_spread() -> None:
    # ANSUR II (Gordon 2014, NATICK/TR-15/007), as many men (193.3, sd 9.9) as women (181.1, sd 10.1): the variance of
    # a mixture of two is the mean of theirs and the square of half their distance.
    people = HandSize.of(None)
    rng = np.random.default_rng(1)
    both = np.concatenate([rng.normal(193.3, 9.9, 200_000), rng.normal(181.1, 10.1, 200_000)])
    assert (people.length_mm, people.sd_mm) == pytest.approx((both.mean(), both.std()), abs=0.1)
    assert people.length_mm == TYPICAL_HAND_MM
    assert HandSize.of(175.0).over_typical == pytest.approx(175.0 / 187.2)
    assert HandSize.of(175.0).sd_mm < people.sd_mm


# ---- which plane ----

LEARNED = Estimate(
    {f"{finger}_lift": (10.0, 4.0) for finger in FINGERS} | {"wrist_flexion": (5.0, 3.0)}, None
)


def observed(
    one: Played, index: int, strings_visible: float, *, label_agrees: bool = True
) -> HandObservation:
    said = replace(axis().outputs, strings_logit=logit(strings_visible))
    hand = seen(forearm=replace(axis(), outputs=said)).hands[0]
    return replace(
        hand,
        side=one.side,
        landmarks_m=one.landmarks_m[index],
        label_agrees=label_agrees,
    )


def planes(lifts: Lifts, one: Played, strings_visible: float, start_s: float = 0.0) -> list[Estimate]:
    return [
        lifts.of(LEARNED, observed(one, index, strings_visible), start_s + index / RATE_HZ)
        for index in range(len(one.landmarks_m))
    ]


@pytest.mark.parametrize("strings_visible", [float("nan"), 0.5, 0.9])
def test_the_fretting_hand_is_measured_from_the_strings_while_they_are_seen(strings_visible: float) -> None:
    for one in planes(Lifts(frozenset({"left"})), played(0, seconds=4), strings_visible):
        assert (one.lift_plane, one.values) == ("picture", LEARNED.values)


def test_without_the_strings_it_is_measured_from_resting_fingertips_or_refused() -> None:
    one = played(0)
    told = planes(Lifts(frozenset({"left"}), SIZE), one, 0.1)
    assert told[0].lift_plane is None
    assert told[0].refused_outputs == {f"{finger}_lift": Refusal.STRINGS_NOT_SEEN for finger in FINGERS}
    assert told[0].values == {"wrist_flexion": (5.0, 3.0)}
    assert told[-1].lift_plane == "resting fingertips"
    assert told[-1].refused_outputs == {}
    value, sd = told[-1].values["index_lift"]
    assert abs(value - one.lift_mm[-1, 0]) < 3 * sd


@pytest.mark.parametrize(("spread", "plane"), [(0.1, "picture"), (0.3, None)])
def test_strings_that_cannot_be_placed_count_as_not_seen(spread: float, plane: str | None) -> None:
    """Whatever the networks say of their being in view: they say it of hands without an instrument, too."""
    said = replace(OF_FINGERS, strings_spread=np.array(spread))
    hand = replace(observed(played(0), 0, 0.9), fingers=said)
    told = Lifts(frozenset({"left"}), SIZE).of(LEARNED, hand, 0.0)
    assert told.lift_plane == plane
    assert ("index_lift" in told.values) == (plane is not None)
    assert (strings_probability(hand) < STRINGS_SEEN) == (plane is None)
    # Networks without that number leave it to the other one.
    unknown = replace(said, strings_spread=np.array(np.nan))
    assert strings_probability(replace(hand, fingers=unknown)) == pytest.approx(0.9)


def test_the_plucking_hand_never_uses_the_picture() -> None:
    told = planes(Lifts(frozenset({"left"}), SIZE), played(0, "right"), 1.0)
    assert set(told[0].refused_outputs.values()) == {Refusal.NO_PLANE}
    assert {one.lift_plane for one in told} == {None, "resting fingertips"}


def test_a_glimpse_without_strings_changes_nothing_and_losing_them_finds_a_plane_ready() -> None:
    one, lifts = played(0), Lifts(frozenset({"left"}), SIZE)
    planes(lifts, one, 0.95)
    blink = lifts.of(LEARNED, observed(one, 0, 0.0), 12.0)
    assert blink.lift_plane == "picture"
    later = planes(lifts, replace(one, landmarks_m=one.landmarks_m[:60]), 0.05, start_s=12.04)
    assert later[-1].lift_plane == "resting fingertips"
    assert all(one.lift_plane is not None for one in later)


def test_depth_that_is_turned_inside_out_gives_no_lift() -> None:
    one = played(0, "right")
    lifts = Lifts(frozenset(), SIZE)
    planes(lifts, one, 0.0)
    assert lifts.of(LEARNED, observed(one, 0, 0.0, label_agrees=False), 12.1).lift_plane is None


def test_learned_lifts_are_scaled_to_the_players_hand() -> None:
    own = Lifts(size=HandSize.of(2 * TYPICAL_HAND_MM)).of(
        LEARNED, observed(played(0, seconds=1), 0, 1.0), 0.0
    )
    assert own.values["ring_lift"] == (20.0, 8.0)
    assert own.values["wrist_flexion"] == (5.0, 3.0)


def test_one_finger_that_comes_down_makes_no_plane() -> None:
    one = played(5)
    lift = {finger: np.full(len(one.lift_mm), 12.0) for finger in FINGERS} | {"index": one.lift_mm[:, 0]}
    rng = np.random.default_rng(5)
    points = hands(strings(), lift, dict.fromkeys(FINGERS, (45.0, 25.0)), "left")
    alone = Played((points + rng.normal(0, 1, points.shape)) / 1000, one.lift_mm, "left")
    assert np.isnan(followed(alone)[0]).all()
