"""Crops around a hand: their geometry against OpenCV, and what is true of every such network."""

from __future__ import annotations

from typing import Any, cast

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from test_tracking_roi import flat_hand, placed

from posturewatch.config.resources import calibration_dir
from posturewatch.errors import UnavailableError
from posturewatch.model.frame import Frame
from posturewatch.tracking import FingerNet, ForearmNet, Tracker
from posturewatch.tracking.crop import CLOSE, WIDE, Crop, CropNet, hand_scale_px
from posturewatch.tracking.hands import Detection

both = pytest.mark.parametrize("crop", [WIDE, CLOSE])


def through(affine: NDArray[Any], points: NDArray[Any]) -> NDArray[Any]:
    return np.asarray(cv2.transform(points[None, :, :2], affine)[0])


@both
@pytest.mark.parametrize("angle_deg", [0.0, 37.0, 120.0, -90.0, 180.0])
@pytest.mark.parametrize("scale", [0.3, 1.0, 2.5])
def test_every_left_hand_looks_the_same_in_its_crop(crop: Crop, angle_deg: float, scale: float) -> None:
    hand = placed(flat_hand(), angle_deg, scale, (400.0, 250.0))
    seen = through(crop.transform(hand, "left"), hand)
    reference = through(crop.transform(flat_hand(), "left"), flat_hand())
    assert seen == pytest.approx(reference, abs=1e-6)
    assert seen[0] == pytest.approx(np.array(crop.wrist_at) * crop.size_px)
    knuckles = seen[[5, 9, 13, 17]].mean(axis=0)
    assert knuckles[0] == pytest.approx(0.5 * crop.size_px)
    assert knuckles[1] < seen[0, 1]


@both
def test_a_right_hand_looks_like_the_left_one(crop: Crop) -> None:
    left = placed(flat_hand(), 50, 1.3, (300.0, 200.0))
    right = left * [-1.0, 1.0, 1.0] + [900.0, 0.0, 0.0]
    assert through(crop.transform(right, "right"), right) == pytest.approx(
        through(crop.transform(left, "left"), left), abs=1e-6
    )


def test_a_crop_is_as_many_hand_scales_wide_as_it_says() -> None:
    hand = placed(flat_hand(), 20, 1.7, (300.0, 200.0))
    affine = Crop(200, 5.0, (0.5, 0.5)).transform(hand, "left")
    assert np.sqrt(abs(np.linalg.det(affine[:, :2]))) == pytest.approx(200 / (5 * hand_scale_px(hand)))


def test_stretched_fingers_lie_whole_in_the_close_crop_and_the_forearm_in_the_wide_one() -> None:
    hand = placed(flat_hand(), 65, 1.1, (300.0, 200.0))
    tips = through(CLOSE.transform(hand, "left"), hand)[[4, 8, 12, 16, 20]]
    assert (tips > 0).all()
    assert (tips < CLOSE.size_px).all()
    # The forearm is 1.4 hands long (268 and 193 mm, ANSUR II): most of it lies below the wrist.
    below = (1 - WIDE.wrist_at[1]) * WIDE.hands_across
    assert below == pytest.approx(3.0)


def test_the_scale_outlives_a_foreshortened_palm() -> None:
    # HeatmapPlaces the palm at the camera leaves 30 % of its length; its breadth still tells the size.
    hand = flat_hand()
    short = hand * [1, 0.3, 1]
    assert hand_scale_px(hand) == pytest.approx(100, rel=0.05)
    assert hand_scale_px(short) > 0.9 * hand_scale_px(hand)


@both
def test_the_crop_is_where_the_transform_says(crop: Crop) -> None:
    image = np.zeros((480, 640, 3), np.uint8)
    hand = placed(flat_hand(), 70, 1.2, (330.0, 260.0))
    mark = hand[9, :2] + [5.0, 12.0]
    cv2.circle(image, tuple(round(v) for v in mark), 9, (0, 255, 0), -1)
    affine = crop.transform(hand, "right")
    rows, columns = np.nonzero(crop.cut(image, affine)[:, :, 1] > 127)
    assert [columns.mean(), rows.mean()] == pytest.approx(through(affine, mark[None])[0], abs=1.5)


@pytest.mark.parametrize(("side", "points"), [("middle", flat_hand()), ("left", np.zeros((21, 3)))])
def test_what_cannot_be_cut_raises(side: str, points: NDArray[Any]) -> None:
    with pytest.raises(ValueError, match=r"side|extent"):
        WIDE.transform(points, side)  # type: ignore[arg-type]


@pytest.mark.models
@pytest.mark.parametrize(
    ("kind", "name"), [(ForearmNet, "forearm.onnx"), (FingerNet, "fingers.onnx")], ids=["forearm", "fingers"]
)
def test_networks_say_what_opencv_makes_of_them(kind: type[CropNet], name: str) -> None:
    """Against OpenCV's network module, which is handed RGB from -1 to 1, each two by two pixels behind one another."""
    rng = np.random.default_rng(4)
    size = kind.crop.size_px
    coarse = [rng.integers(0, 256, (9, 9, 3), dtype=np.uint8) for _ in range(5)]
    crops = [np.asarray(cv2.resize(one, (size, size)), np.uint8) for one in coarse]
    plain = cv2.dnn.blobFromImages(crops, 1 / 127.5, mean=(127.5, 127.5, 127.5), swapRB=True)
    blocks = [plain[:, :, down::2, right::2] for down, right in ((0, 0), (0, 1), (1, 0), (1, 1))]
    weights = calibration_dir() / "weights" / name
    theirs = cv2.dnn.readNetFromONNX(str(weights))
    theirs.setInput(np.concatenate(blocks, axis=1))
    ours = kind(weights)
    # Five crops are more than are computed at the same time, and one follows them.
    assert ours.outputs(crops) == pytest.approx(theirs.forward(), abs=1e-3)
    assert ours.outputs(crops[3:4]) == pytest.approx(theirs.forward()[3:4], abs=1e-3)
    assert ours.look(
        np.zeros((400, 400, 3), np.uint8), [(placed(flat_hand(), 0, 0.5, (200.0, 200.0)), "left")]
    )[1][0] == pytest.approx(kind.crop.transform(placed(flat_hand(), 0, 0.5, (200.0, 200.0)), "left"))


def test_no_hand_needs_no_network() -> None:
    blank = np.zeros((9, 9, 3), np.uint8)
    assert ForearmNet.measure(object.__new__(ForearmNet), blank, []) == []
    assert FingerNet.measure(object.__new__(FingerNet), blank, []) == []


@pytest.mark.parametrize("kind", [ForearmNet, FingerNet])
@pytest.mark.parametrize("source", [b"not a network", "no/such/file.onnx"])
def test_an_unreadable_network_is_said_in_a_sentence(source: bytes | str, kind: type[CropNet]) -> None:
    with pytest.raises(UnavailableError, match="install posturewatch again"):
        kind(source)


class Noting:
    """A network that notes when it is started and when it is waited for."""

    def __init__(self, name: str, notes: list[str], seen: Any) -> None:
        self.name, self.notes, self.seen = name, notes, seen

    def start(self, image_bgr: Any, hands: Any) -> None:
        self.notes.append(f"{self.name} starts on {len(hands)}")

    def wait(self) -> list[Any]:
        self.notes.append(f"{self.name} is waited for")
        return [self.seen, self.seen]


class TwoHands:
    """Finds two hands at once."""

    def find(self, image_bgr: Any, time_s: float) -> tuple[list[Any], None]:
        flat = placed(flat_hand(), 0, 0.5, (200.0, 200.0))
        seen = Detection(flat, flat, 1.0, 0.5)
        return [("left", 0.9, seen), ("right", 0.9, seen)], None

    def close(self) -> None:
        return


def test_both_networks_start_before_the_first_is_waited_for() -> None:
    notes: list[str] = []
    nothing = Noting("forearm", notes, None)
    tracker = Tracker(
        "still",
        forearm=cast(Any, nothing),
        fingers=cast(Any, Noting("fingers", notes, None)),
        finder=TwoHands(),
    )
    assert len(tracker.observe(Frame(0, 0.0, np.zeros((400, 400, 3), np.uint8))).hands) == 2
    assert notes == [
        "forearm starts on 2",
        "fingers starts on 2",
        "forearm is waited for",
        "fingers is waited for",
    ]


@pytest.mark.models
def test_what_a_network_saw_before_leaves_no_trace() -> None:
    """Its memory is used again for every frame: a fresh network, which has none, says the same."""
    rng = np.random.default_rng(7)
    weights = calibration_dir() / "weights" / "forearm.onnx"
    size = ForearmNet.crop.size_px
    crops = [rng.integers(0, 256, (size, size, 3), dtype=np.uint8) for _ in range(3)]
    used = ForearmNet(weights)
    first = used.outputs(crops)
    kept = first.copy()
    again = used.outputs(crops[::-1])
    assert (first == kept).all()
    assert again == pytest.approx(ForearmNet(weights).outputs(crops[::-1]), abs=1e-6)
