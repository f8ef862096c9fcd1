"""Moments that are taken out of playing: the wrists' angles are those of the score, and the arm moves."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, cast

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from calibration.body.bodies import load_bodies
from calibration.dataset.scenes import Studio
from calibration.scene.hands import cuts
from calibration.scene.motion import MOMENTS_APART_S, POSES_A_MOMENT, Performance, moments, random_score
from calibration.scene.player import sample_setting

if TYPE_CHECKING:
    from calibration.render.render import Renderer

BODIES = Path(__file__).parent / "data" / "few_bodies.npz"


@pytest.fixture
def performance() -> Performance:
    rng = np.random.default_rng(5)
    setting = sample_setting(load_bodies(BODIES).body(0), rng)
    score = random_score(setting, 4 * MOMENTS_APART_S, rng, Performance(setting, None, rng))
    return Performance(setting, score, rng, sway_deg=0.0, tremble_deg=0.0)


def test_a_moment_has_the_angles_of_the_score_and_its_fingers_are_on_the_strings(
    performance: Performance,
) -> None:
    players = list(moments(performance, 4))
    assert len(players) == 4
    score = performance.score
    assert score is not None
    steps = np.arange(1, 49) * MOMENTS_APART_S / POSES_A_MOMENT
    expected = np.array([[score.flexion(time_s), score.deviation(time_s)] for time_s in steps])
    at = []
    for player in players:
        hand = player.hand("left")
        # scipy's intrinsic Z-X'-Y'' sequence, the one of Wu et al. 2005 for the wrist.
        turn = Rotation.from_matrix(hand.forearm_frame.T @ hand.hand_frame)
        off = np.abs(turn.as_euler("ZXY", degrees=True)[:2] - expected).max(1)
        assert off.min() < 1e-6
        at.append(steps[off < 1e-6])
        assert np.nanmin(hand.lift_m) > -0.003  # the fingerboard is 2.5 mm below the strings
    assert at[0].max() >= MOMENTS_APART_S
    assert all((after.max() - before.min()) >= MOMENTS_APART_S for before, after in pairwise(at))


def test_a_hand_whose_fingertip_is_in_the_fingerboard_is_not_plausible(performance: Performance) -> None:
    performance.at(0.0)
    assert performance.plausible()
    state = performance._last["left"]
    performance._last["left"] = replace(state, lift_m=np.array([0.0, 0.0, 0.0, -0.005]))
    assert not performance.plausible()


def test_a_hand_whose_knuckles_are_in_the_neck_cuts_it(performance: Performance) -> None:
    setting = performance.setting
    state, hand = setting.fretting, setting.fretting.hand(setting.body)
    player = setting.player()
    wrist, elbow = player.landmarks_m("left")[0], player.joint_m("lowerarm01", "left")
    middle_knuckle = hand.landmarks(state.fingers, state.thumb)[9] @ state.hand_frame.T
    along_m = setting.item.fret_x(5.0)
    in_neck = setting.matrix @ [along_m, 0.0, 0.5 * setting.item.back_z, 1.0]
    for place, expected in ((wrist, False), (in_neck - middle_knuckle, True)):
        found = cuts(
            hand,
            setting.item,
            setting.matrix,
            state.hand_frame,
            place,
            elbow,
            state.fingers,
            state.thumb,
        )
        assert found is expected


def test_several_pictures_of_a_moment_show_the_same_hands(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Studio, "_pictures", lambda self, players, *_: iter(players))
    studio = Studio(load_bodies(BODIES), cast("Renderer", None), "plain")  # nothing is rendered here
    several, once = (
        list(studio.moments(3, "upper", "train", 5, 2)),
        list(studio.moments(3, "upper", "train", 3)),
    )
    assert len(several) == 5
    for shown, moment in zip(several, (0, 0, 1, 1, 2), strict=True):
        np.testing.assert_array_equal(shown.turns, once[moment].turns)  # type: ignore[attr-defined]
    assert not np.array_equal(once[0].turns, once[1].turns)  # type: ignore[attr-defined]
