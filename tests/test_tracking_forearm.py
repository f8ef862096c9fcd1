"""The forearm's cutting: its geometry against scipy and OpenCV, and the network's way back to the picture."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.stats import laplace
from test_tracking_roi import flat_hand, placed

from posturewatch.errors import UnavailableError
from posturewatch.tracking.forearm import (
    CROP_PX,
    ForearmNet,
    crop,
    crop_transform,
    default_sd_deg,
    hand_scale_px,
)


def through(affine: np.ndarray, points: np.ndarray) -> np.ndarray:
    return cv2.transform(points[None, :, :2], affine)[0]


@pytest.mark.parametrize("angle_deg", [0.0, 37.0, 120.0, -90.0, 180.0])
@pytest.mark.parametrize("scale", [0.3, 1.0, 2.5])
def test_every_left_hand_looks_the_same_in_its_cutting(angle_deg: float, scale: float) -> None:
    hand = placed(flat_hand(), angle_deg, scale, (400.0, 250.0))
    seen = through(crop_transform(hand, "left"), hand)
    reference = through(crop_transform(flat_hand(), "left"), flat_hand())
    assert seen == pytest.approx(reference, abs=1e-6)
    assert seen[0] == pytest.approx([0.5 * CROP_PX, 0.4 * CROP_PX])
    knuckles = seen[[5, 9, 13, 17]].mean(axis=0)
    assert knuckles[0] == pytest.approx(0.5 * CROP_PX)
    assert knuckles[1] < seen[0, 1]


def test_a_right_hand_looks_like_the_left_one() -> None:
    left = placed(flat_hand(), 50, 1.3, (300.0, 200.0))
    right = left * [-1, 1, 1] + [900, 0, 0]
    assert through(crop_transform(right, "right"), right) == pytest.approx(
        through(crop_transform(left, "left"), left), abs=1e-6
    )


def test_the_cutting_is_five_hand_scales_wide() -> None:
    hand = placed(flat_hand(), 20, 1.7, (300.0, 200.0))
    affine = crop_transform(hand, "left", size=200)
    assert np.sqrt(abs(np.linalg.det(affine[:, :2]))) == pytest.approx(200 / (5 * hand_scale_px(hand)))


def test_the_scale_outlives_a_foreshortened_palm() -> None:
    # Pointing the palm at the camera leaves 30 % of its length; its breadth still tells the size.
    hand = flat_hand()
    short = hand * [1, 0.3, 1]
    assert hand_scale_px(hand) == pytest.approx(100, rel=0.05)
    assert hand_scale_px(short) > 0.9 * hand_scale_px(hand)


def test_the_crop_is_where_the_transform_says() -> None:
    image = np.zeros((480, 640, 3), np.uint8)
    hand = placed(flat_hand(), 70, 1.2, (330.0, 260.0))
    mark = hand[0, :2] + [30.0, 25.0]
    cv2.circle(image, tuple(round(v) for v in mark), 9, (0, 255, 0), -1)
    affine = crop_transform(hand, "right")
    rows, columns = np.nonzero(crop(image, affine)[:, :, 1] > 127)
    assert [columns.mean(), rows.mean()] == pytest.approx(through(affine, mark[None])[0], abs=1.0)


@pytest.mark.parametrize(("side", "points"), [("middle", flat_hand()), ("left", np.zeros((21, 3)))])
def test_what_cannot_be_cut_raises(side: str, points: np.ndarray) -> None:
    with pytest.raises(ValueError, match=r"side|extent"):
        crop_transform(points, side)  # type: ignore[arg-type]


def test_default_sd_is_that_of_a_laplace_distribution() -> None:
    scale = np.radians(3.0)
    # scipy's own standard deviation of that distribution is the reference.
    assert default_sd_deg(float(np.log(scale))) == pytest.approx(np.degrees(laplace(scale=scale).std()))


class FixedNet(ForearmNet):
    """A network that always answers the same."""

    def __init__(self, row: list[float]) -> None:
        self._row = row
        self._sd_deg = default_sd_deg
        self.crops: np.ndarray | None = None

    def outputs(self, crops_rgb: np.ndarray) -> np.ndarray:
        self.crops = crops_rgb
        return np.tile(self._row, (len(crops_rgb), 1))


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("angle_deg", [0.0, 75.0, -160.0])
def test_the_axis_returns_to_the_picture(side: str, angle_deg: float) -> None:
    # In the cutting of a left hand, (0, 1) continues the hand straight towards the elbow and (1, 0) leads
    # towards the thumb; in the picture they must, for either hand, whichever way it is turned.
    upright = flat_hand() if side == "left" else flat_hand() * [-1, 1, 1]
    hand = placed(upright, angle_deg, 1.5, (400.0, 300.0))
    image = np.zeros((600, 800, 3), np.uint8)
    hand_up = hand[[5, 9, 13, 17], :2].mean(axis=0) - hand[0, :2]
    (straight,) = FixedNet([0.0, 2.0, 0.0, 0.25, 7.0, 8.0, 1.0]).measure(image, [(hand, side)])  # type: ignore[list-item]
    assert straight.wrist_px == pytest.approx(hand[0, :2])
    axis = straight.towards_elbow_px - straight.wrist_px
    assert axis == pytest.approx(-hand_up / np.linalg.norm(hand_up) * hand_scale_px(hand))
    assert straight.depth_slope == 0.25
    assert straight.features == pytest.approx([7.0, 8.0, 1.0])
    # The logistic function at 1, by the table of any textbook.
    assert straight.neck_seen == pytest.approx(0.7311, abs=1e-4)
    (aside,) = FixedNet([1.0, *[0.0] * 6]).measure(image, [(hand, side)])  # type: ignore[list-item]
    thumb = hand[4, :2] - hand[0, :2]
    assert (aside.towards_elbow_px - aside.wrist_px) @ thumb > 0


def test_colours_reach_the_network_as_rgb() -> None:
    image = np.zeros((400, 400, 3), np.uint8)
    image[:] = (10, 20, 30)  # blue, green, red
    net = FixedNet([0.0, 1.0, *[0.0] * 5])
    net.measure(image, [(placed(flat_hand(), 0, 0.5, (200.0, 200.0)), "left")])
    assert net.crops is not None
    assert net.crops[0, 64, 64].tolist() == [30, 20, 10]


def test_no_hand_needs_no_network() -> None:
    assert FixedNet([]).measure(np.zeros((9, 9, 3), np.uint8), []) == []


@pytest.mark.parametrize("source", [b"not a network", "no/such/file.onnx"])
def test_an_unreadable_network_is_said_in_a_sentence(source: bytes | str) -> None:
    with pytest.raises(UnavailableError, match="install posturewatch again"):
        ForearmNet(source)
