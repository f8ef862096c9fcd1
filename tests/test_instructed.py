"""Following what is said of a view: where the camera goes, and what the report makes of it, by numbers worked by hand.

World axes: x to the player's left, y up, z to the front (`calibration.scene.player`).
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import numpy as np
import pytest

from calibration.body.bodies import load_bodies
from calibration.dataset.film import Hindrance
from calibration.dataset.scenes import Studio, dressed
from calibration.evaluate.followed import (
    A_LITTLE_DEG,
    SLEEVE_UP,
    facing,
    follow,
    forearm_points,
    moved_as_told,
)
from calibration.evaluate.instructed import judged, look_json, read_look, word
from calibration.evaluate.instructed_report import Followed, Seen, lines
from calibration.evaluate.moved_view import (
    inside,
    nearer,
    round_player,
    target_m,
    turned_inside,
    until_inside,
)
from calibration.scene.camera import look_at
from calibration.scene.view import View
from posturewatch.comfort.looks import Advice, HandLook, Help, Look, Placement
from posturewatch.model.measurement import Refusal
from posturewatch.model.quantities import QUANTITY_NAMES

if TYPE_CHECKING:
    from calibration.render.render import Renderer

BODIES = Path(__file__).parent / "data" / "few_bodies.npz"
SPOT = np.array([0.1, 0.5, 0.3])


def view(azimuth_deg: float = 0.0, distance_m: float = 2.0, elevation_deg: float = 0.0) -> View:
    """From that side, looking at `SPOT`; 90 degrees wide and as high, so that at 2 m it sees 2 m to every side."""
    camera = look_at(SPOT, azimuth_deg, elevation_deg, distance_m, 0.0, (600, 600), 90.0)
    return View(camera, azimuth_deg, elevation_deg, distance_m)


class Stand:
    """A player who does not move: both hands flat, fingers up, 0.19 m long, forearms 0.25 m straight down from them."""

    def __init__(
        self, handedness: str, left: tuple[float, float, float], right: tuple[float, float, float]
    ) -> None:
        self.handedness = handedness
        self._wrists = {"left": np.array(left), "right": np.array(right)}

    def landmarks_m(self, side: str) -> Any:
        up = np.zeros(21)
        up[[5, 9, 13, 17]], up[[6, 10, 14, 18]], up[[7, 11, 15, 19]], up[[8, 12, 16, 20]] = (
            0.1,
            0.14,
            0.17,
            0.19,
        )
        return self._wrists[side] + np.stack([0 * up, up, 0 * up], axis=1)

    def joint_m(self, name: str, side: str) -> Any:
        assert name == "lowerarm01"
        return self._wrists[side] - [0.0, 0.25, 0.0]


def told(advice: Advice, seen: View, *players: Any) -> View | None:
    return moved_as_told(advice, seen, list(players))


def same_spot(a: View, b: View) -> None:
    np.testing.assert_allclose(target_m(a), target_m(b), atol=1e-9)


def test_round_the_player_keeps_spot_height_and_distance() -> None:
    moved = round_player(view(), 90.0)
    # From 2 m ahead of the spot to 2 m beside it, on the player's left.
    np.testing.assert_allclose(moved.camera.eye_m, [2.1, 0.5, 0.3], atol=1e-9)
    np.testing.assert_allclose(
        moved.camera.axes, look_at(SPOT, 90.0, 0.0, 2.0, 0.0, (600, 600), 90.0).axes, atol=1e-9
    )
    assert (moved.azimuth_deg, moved.distance_m) == (90.0, 2.0)
    same_spot(moved, view())


def test_nearer_keeps_the_spot() -> None:
    near = nearer(view(), 0.6)
    np.testing.assert_allclose(near.camera.eye_m, SPOT + np.array([0.0, 0.0, 1.2]), atol=1e-9)
    assert near.distance_m == 1.2
    same_spot(near, view())


RIGHT_HANDED = Stand("right", (0.5, 0.5, 0.3), (-0.2, 0.5, 0.3))
LEFT_HANDED = Stand("left", (0.2, 0.5, 0.3), (-0.5, 0.5, 0.3))


@pytest.mark.parametrize(
    ("player", "at_deg", "advice", "expected_deg"),
    [
        # The head of a right-handed player's instrument is on the left, where azimuths are positive.
        (RIGHT_HANDED, -40.0, Advice(Help.TOWARDS_HEAD, "left", 70.0), 30.0),
        (RIGHT_HANDED, 90.0, Advice(Help.TOWARDS_FRONT, "left", 60.0), 30.0),
        (LEFT_HANDED, 40.0, Advice(Help.TOWARDS_HEAD, "right", 70.0), -30.0),
        (LEFT_HANDED, -90.0, Advice(Help.TOWARDS_FRONT, "right", 60.0), -30.0),
    ],
)
def test_towards_the_head_is_to_the_side_of_the_fretting_hand(
    player: Any, at_deg: float, advice: Advice, expected_deg: float
) -> None:
    moved = told(advice, view(at_deg), player)
    assert moved is not None
    assert moved.azimuth_deg == pytest.approx(expected_deg)
    np.testing.assert_allclose(moved.camera.eye_m, view(expected_deg).camera.eye_m, atol=1e-9)
    assert facing(player) * expected_deg == 30.0


def test_closer_goes_as_near_as_both_hands_stay_in_the_picture() -> None:
    advice = Advice(Help.CLOSER, "left")
    moved = told(advice, view(), RIGHT_HANDED)
    assert moved is not None
    assert moved.distance_m == pytest.approx(1.2)
    # At d metres the picture reaches d to every side, 0.96 d within its margin; the far hand is 1.25 m from the middle:
    # of 1.2, 1.4, 1.6 and 1.8 m only from 1.4 on is it inside.
    wide = Stand("right", (1.35, 0.5, 0.3), (-0.2, 0.5, 0.3))
    moved = told(advice, view(), wide)
    assert moved is not None
    assert moved.distance_m == pytest.approx(1.4)
    assert told(advice, view(), Stand("right", (1.95, 0.5, 0.3), (-0.2, 0.5, 0.3))) is None


def test_back_until_a_hand_s_length_of_forearm_is_in_the_picture() -> None:
    # The wrist is 0.4 m below the spot, a hand's length of forearm 0.59 m: inside from 0.59 / 0.96 = 0.615 m on.
    low = Stand("right", (0.1, 0.1, 0.3), (-0.2, 0.5, 0.3))
    np.testing.assert_allclose(forearm_points([low], "left"), [[0.1, -0.09, 0.3]])  # type: ignore[list-item]
    seen = view(distance_m=0.5)
    moved = told(Advice(Help.FOREARM, "left"), seen, low)
    assert moved is not None
    assert 0.614 < moved.distance_m < 0.615 * 1.08 + 1e-6
    further = told(Advice(Help.FURTHER, "left"), seen, low)
    assert further is not None
    assert further.distance_m == pytest.approx(0.7)
    # Of a forearm that is in the picture already the camera is moved back a little all the same.
    moved = told(Advice(Help.FOREARM, "left"), view(), low)
    assert moved is not None
    assert moved.distance_m == pytest.approx(2.3)


def test_turned_until_the_hand_is_in_the_picture_and_no_further() -> None:
    aside = Stand("right", (2.6, 0.5, 0.3), (-0.2, 0.5, 0.3))
    points = aside.landmarks_m("left")
    assert not inside(view(), points)
    moved = told(Advice(Help.SHOW_HANDS, "left"), view(), aside)
    assert moved is not None
    assert inside(moved, points)
    np.testing.assert_allclose(moved.camera.eye_m, view().camera.eye_m)
    turned_deg = math.degrees(math.acos(moved.camera.axes[2] @ view().camera.axes[2]))
    # It is 51.4 degrees aside; the picture's edge is at 45, its margin at 43.8: 7.6 degrees, in steps of 2.6.
    assert 7.5 < turned_deg < 7.6 + 2.7
    # One that is in the picture already, and is not seen, is seen from nearer, if the other hand stays in the picture.
    assert told(Advice(Help.SHOW_HANDS, "right"), view(), aside) is None
    nearer_by = told(Advice(Help.SHOW_HANDS, "right"), view(), RIGHT_HANDED)
    assert nearer_by is not None
    assert nearer_by.distance_m == pytest.approx(1.2)


def test_a_hand_cut_off_is_turned_to_a_little_and_then_moved_back_from() -> None:
    aside = Stand("right", (4.1, 0.5, 0.3), (-0.2, 0.5, 0.3))
    moved = told(Advice(Help.WHOLE_HAND, "left"), view(), aside)
    turned = turned_inside(view(), aside.landmarks_m("left"), A_LITTLE_DEG)
    assert moved is not None
    assert math.degrees(math.acos(turned.camera.axes[2] @ view().camera.axes[2])) <= A_LITTLE_DEG * 1.1
    assert inside(moved, aside.landmarks_m("left"))
    np.testing.assert_allclose(moved.camera.axes, until_inside(turned, aside.landmarks_m("left")).camera.axes)


def test_where_no_hand_is_seen_the_camera_comes_to_a_metre_and_a_half() -> None:
    moved = told(Advice(Help.SHOW_HANDS), view(distance_m=4.0), RIGHT_HANDED)
    assert moved is not None
    assert moved.distance_m == pytest.approx(1.5)
    assert told(Advice(Help.SHOW_HANDS), view(distance_m=1.7), RIGHT_HANDED) is None


def test_what_is_kept_of_a_look_says_the_same_again() -> None:
    hand = HandLook(dict.fromkeys(QUANTITY_NAMES, Refusal.FOREARM_NOT_SEEN), 60.0, 0.1, None, 14.0, 0.6, 0.14)
    looks = [Look(k / 7.5, {"left": hand, "right": replace(hand, axis_sd_deg=2.0)}, 30.0) for k in range(31)]
    assert read_look(look_json(looks[0])) == looks[0]
    # Left-handed: the fretting hand, which is warned of, is the right one.
    for handedness, side in (("right", "left"), ("left", "right")):
        found = judged([look_json(one) for one in looks], handedness)
        assert found.advice == Advice(Help.SLEEVE, side)  # type: ignore[arg-type]
    assert word(Advice(Help.TOWARDS_HEAD, "left", 70.0)) == "towards_head_left_70"


def test_a_film_plays_the_same_movement_again_in_other_clothes() -> None:
    bodies = load_bodies(BODIES)
    studio = Studio(bodies, cast("Renderer", None), "plain")  # nothing is rendered here
    film = studio.film(3, "train", "upper", 2.0, (64, 36))

    times_s = [0.0, 0.5, 1.0, 1.5]
    first, again = list(film.players(times_s)), list(film.players(times_s))
    for a, b in zip(first, again, strict=True):
        np.testing.assert_array_equal(a.turns, b.turns)
    assert not np.array_equal(first[0].turns, first[-1].turns)
    look = film.figure.look
    np.testing.assert_array_equal(dressed(film, look).figure.garments["shirt"], film.figure.garments["shirt"])
    up = follow(Advice(Help.SLEEVE, "left"), dressed(film, replace(look, sleeves=(2.0, 2.0))), first)
    assert up is not None
    assert up.figure.look.sleeves == (SLEEVE_UP, 2.0)
    assert up.performance is film.performance
    assert follow(Advice(Help.SLEEVE, "left"), up, first) is None

    lit = follow(Advice(Help.LIGHT, "left"), replace(film, hindrance=Hindrance(dim=0.05)), first)
    assert lit is not None
    assert (lit.hindrance.dim, lit.view) == (1.0, film.view)
    assert follow(Advice(Help.LIGHT, "left"), lit, first) is None


def player(number: int, before: float, after: float, missing: int = 0) -> Followed:
    """Ten moments of four angles, off by that much; `missing` moments of both flexions have no number before."""
    true = np.zeros((10, 2, 2))
    value = np.full((10, 2, 2), before)
    value[:missing, :, 0] = np.nan
    first = Placement((), Advice(Help.TOWARDS_HEAD, "left", 40.0), 0.0, 7.5, True)
    last = replace(first, advice=None)
    looks = (Seen(value, true, first), Seen(np.full((10, 2, 2), -after), true, last))
    return Followed(number, "side", False, 0, number % 2 == 0, looks, False)


def test_the_report_counts_the_same_moments() -> None:
    # Six players get better by 6 degrees, one worse by 4: sign test 2 (7 choose 0 + 7 choose 1) / 2^7 = 0.125.
    players = [player(number, 12.0, 6.0, 4) for number in range(6)] + [player(6, 6.0, 10.0)]
    row = next(line for line in lines(players) if line.startswith("the first instruction alone"))
    # 6 of 7 players lack four of ten flexions: 24 of 70 moments lack an angle of either hand. Within 10 degrees are the
    # seventh player's 40 of 280 before, all after.
    assert "7; 66% 66% -> 100% 100%; 14% -> 100%" in row
    # Flexion at the same moments: (36 * 12 + 10 * 6) / 46; deviation (60 * 12 + 10 * 6) / 70.
    assert "10.7 11.1 ->  6.9  6.6" in row
    assert "6/1 of 7, sign 0.12" in row
    # Of the six all angles come within 10 degrees; the seventh player's stay there.
    assert "6/0 of 7, sign 0.031" in row
