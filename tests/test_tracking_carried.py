"""Landmarks that are moved along between two looks of the library, against scipy's turns, OpenCV's transform and the
library looking at every frame."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation
from test_tracking import demo_frames
from test_tracking_roi import flat_hand

from posturewatch.config.resources import calibration_dir
from posturewatch.model.frame import Frame
from posturewatch.model.network_outputs import FingerOutputs
from posturewatch.model.observation import SIDES, Observation, Side
from posturewatch.tracking import FingerNet, ForearmNet, Tracker
from posturewatch.tracking.body import BodyFinder
from posturewatch.tracking.crop import CLOSE, hand_scale_px, moved_along
from posturewatch.tracking.effort import VIDEO
from posturewatch.tracking.fingers import joints_px
from posturewatch.tracking.hands import Detection, start_look
from posturewatch.tracking.plausible import hand_distance
from posturewatch.tracking.sides import SideBelief
from posturewatch.tracking.track import Track
from posturewatch.tracking.video import VideoFinder

Array = NDArray[Any]
HAND = flat_hand() * [1.0, 1.0, 0.0] + [600.0, 400.0, 0.0]


def turned(points: Array, angle_rad: float, size: float, by: tuple[float, float]) -> Array:
    turn = Rotation.from_rotvec([0, 0, angle_rad]).as_matrix()[:2, :2]
    return np.asarray(points[:, :2] @ turn.T * size + by)


def test_points_move_turn_and_grow_as_the_others_did() -> None:
    rng = np.random.default_rng(2)
    points, others = (
        np.column_stack([rng.normal(size=(21, 2)), rng.normal(size=21)]),
        rng.normal(size=(30, 2)),
    )
    found = moved_along(points, others, turned(others, 0.6, 1.3, (20.0, -5.0)))
    assert found[:, :2] == pytest.approx(turned(points, 0.6, 1.3, (20.0, -5.0)))
    assert found[:, 2] == pytest.approx(1.3 * points[:, 2])


@pytest.mark.parametrize("side", SIDES)
def test_where_the_network_points_comes_back_to_the_picture(side: Side) -> None:
    placed = HAND * [-1 if side == "right" else 1, 1, 1] + [1200 if side == "right" else 0, 0, 0]
    joints = placed[:, :2] + np.random.default_rng(3).normal(0, 5, (21, 2))
    # As OpenCV takes points to the crop.
    places = cv2.transform(joints[None], CLOSE.transform(placed, side))[0] / CLOSE.size_px
    nothing: FingerOutputs[Any] = FingerOutputs.from_rows(np.zeros(sum(FingerOutputs.widths().values())))
    assert joints_px(replace(nothing, places=places), placed, side) == pytest.approx(joints, abs=1e-6)
    # A network from before its heatmaps were given does not point.
    assert joints_px(FingerOutputs.from_rows(np.zeros(118)), placed, side) is None


def followed(presence: float = 0.98) -> Track:
    track = Track(Detection(HAND, HAND / 1000, presence, 0.9), SideBelief(), "left")
    track.library_s = 1.0
    track.point_at(HAND[:, :2] + 3.0, doubted=False, time_s=1.0)
    return track


def test_a_hand_at_rest_stays_and_one_that_moves_is_expected_half_as_far_again() -> None:
    track = followed()
    resting = track.carried()
    assert resting is not None
    assert resting.landmarks_px == pytest.approx(HAND)
    step = 0.04 * hand_scale_px(HAND)
    track.point_at(HAND[:, :2] + 3.0 + [step, 0.0], doubted=False, time_s=1.03)
    moving = track.carried()
    assert moving is not None
    assert moving.landmarks_px[:, 0] == pytest.approx(HAND[:, 0] + 1.5 * step)


def quick(track: Track) -> None:
    track.point_at(HAND[:, :2] + [0.2 * hand_scale_px(HAND), 0.0], doubted=False, time_s=1.03)


def other_shape(track: Track) -> None:
    bent = HAND[:, :2].copy()
    bent[[7, 8, 11, 12, 15, 16, 19, 20]] = HAND[[5, 5, 9, 9, 13, 13, 17, 17], :2]
    track.point_at(bent, doubted=False, time_s=1.03)


def doubted(track: Track) -> None:
    track.point_at(HAND[:, :2] + 3.0, doubted=True, time_s=1.03)


def pointless(track: Track) -> None:
    track.point_at(None, doubted=False, time_s=1.03)


@pytest.mark.parametrize("happens", [quick, other_shape, doubted, pointless])
def test_where_it_is_not_sure_the_library_is_to_look(happens: Any) -> None:
    track = followed()
    happens(track)
    assert track.carried() is None


def test_where_the_library_sees_it_elsewhere_its_landmarks_last_for_two_frames() -> None:
    together, apart = followed(), Track(Detection(HAND, HAND / 1000, 0.98, 0.9), SideBelief(), "left")
    apart.library_s = 1.0
    apart.point_at(HAND[:, :2] + 0.5 * hand_scale_px(HAND), doubted=False, time_s=1.0)
    assert together.patience_s(0.3) == 0.3
    assert 2 / 30 < apart.patience_s(0.3) < 3 / 30
    assert apart.patience_s(0.05) == 0.05
    # Moved along meanwhile, and looked for as seldom as others once both see it in one place again.
    assert apart.carried() is not None
    apart.point_at(HAND[:, :2] + 3.0, doubted=False, time_s=1.0)
    assert apart.patience_s(0.3) == 0.3


def test_landmarks_of_which_the_library_was_not_sure_are_not_carried() -> None:
    assert followed(presence=0.6).carried() is None


@pytest.mark.models
def test_a_hand_whose_side_is_not_known_is_looked_at_by_the_library() -> None:
    """Our networks look at hands of known sides alone: where they pointed before is not where it is now."""
    finder = VideoFinder(mirrored=False, effort=VIDEO)
    try:
        track = followed()
        finder._tracks, finder._time_s = [track], 1.03
        finder.point_at({"left": HAND[:, :2] + 3.0}, set())
        assert track.carried() is not None
        track.side = None
        finder.point_at({}, set())
        assert track.carried() is None
    finally:
        finder.close()


@pytest.mark.models
def test_a_body_is_looked_for_as_often_as_ever_while_there_is_no_hand(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its wrists say where to search then; the less often is for hands at rest."""
    looks: list[float] = []
    monkeypatch.setattr(BodyFinder, "look", lambda self, image, time_s: looks.append(time_s))
    finder = VideoFinder(mirrored=False, effort=VIDEO)
    try:
        for index in range(31):
            finder.find(np.full((120, 160, 3), 128, np.uint8), index / 30)
    finally:
        finder.close()
    assert np.diff(looks).max() < VIDEO.body_every_s + 1 / 30
    assert len(looks) >= 4


def networks() -> dict[str, Any]:
    weights = calibration_dir() / "weights"
    return {"forearm": ForearmNet(weights / "forearm.onnx"), "fingers": FingerNet(weights / "fingers.onnx")}


def observed(frames: list[Frame], **options: Any) -> list[Observation]:
    with Tracker("video", **options) as tracker:
        return [tracker.observe(frame) for frame in frames]


@pytest.mark.models
def test_the_library_looks_now_and_then_and_hands_lie_where_it_would_see_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    frames = demo_frames(45)
    looks: list[float] = []

    def noted(*args: Any) -> None:
        looks.append(1.0)
        start_look(*args)

    monkeypatch.setattr("posturewatch.tracking.video.start_look", noted)
    own = observed(frames, **networks())
    with_ours = len(looks)
    theirs = observed(frames)
    assert with_ours < 0.3 * (len(looks) - with_ours)
    apart = [
        hand_distance(first.landmarks_px, second.landmarks_px)
        for one, other in zip(own[2:], theirs[2:], strict=True)
        for first, second in zip(one.hands, other.hands, strict=True)
    ]
    assert len(apart) == 2 * len(own[2:])
    assert np.mean(apart) < 0.05
    assert np.max(apart) < 0.2


class NoHand(FingerNet):
    """Sees no hand in any crop."""

    def rows(self) -> Array:
        seen = super().rows()
        seen[:, FingerOutputs.slices()["hand_logit"]] = -9.0
        return seen


@pytest.mark.models
def test_where_our_network_doubts_the_library_looks_at_every_frame(monkeypatch: pytest.MonkeyPatch) -> None:
    frames, looks = demo_frames(12), []

    def noted(*args: Any) -> None:
        looks.append(1.0)
        start_look(*args)

    monkeypatch.setattr("posturewatch.tracking.video.start_look", noted)
    observed(frames, fingers=NoHand(calibration_dir() / "weights" / "fingers.onnx"))
    doubting = len(looks)
    observed(frames)
    assert doubting == len(looks) - doubting
