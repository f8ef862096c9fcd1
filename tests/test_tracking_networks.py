"""The tracking library's models as the program runs them, against mediapipe 0.10.21's own graphs of calculators."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import library_graphs
import numpy as np
import pytest

from posturewatch.model.arrays import Image
from posturewatch.tracking import networks
from posturewatch.tracking.detector import anchors, suppress

PICTURES = Path(__file__).resolve().parents[1] / "calibration" / "evaluate" / "data" / "pictures"

pytestmark = pytest.mark.models


def squares(side_px: int) -> list[Image]:
    """RGB squares of rendered players, of hands, bodies and neither."""
    found = []
    for path in sorted(PICTURES.glob("*.jpg"))[:8]:
        image = cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB)
        side = min(image.shape[:2])
        for left in (0, image.shape[1] - side):
            found.append(
                np.asarray(cv2.resize(image[:side, left : left + side], (side_px, side_px)), np.uint8)
            )
    return found


def hands(side_px: int) -> list[Image]:
    """The same around hands, as the truth of the pictures has them."""
    found = []
    for line in (PICTURES / "labels.jsonl").read_text(encoding="utf-8").splitlines()[:6]:
        label = json.loads(line)
        image = cv2.cvtColor(cv2.imread(str(PICTURES / label["image"])), cv2.COLOR_BGR2RGB)
        for hand in label["hands"]:
            points = np.array(hand["joints_px"], np.float32)
            low, high = points.min(axis=0), points.max(axis=0)
            corner, size = (low + high) / 2 - (high - low).max(), 2 * (high - low).max()
            affine = np.array([[side_px / size, 0, 0], [0, side_px / size, 0]])
            affine[:, 2] = -affine[:, :2] @ corner
            found.append(np.asarray(cv2.warpAffine(image, affine, (side_px, side_px)), np.uint8))
    return found


@pytest.mark.parametrize(
    ("name", "side_px"), [("PalmNet", networks.PALM_INPUT_PX), ("PersonNet", networks.PERSON_INPUT_PX)]
)
def test_detectors_find_what_the_librarys_graphs_find(name: str, side_px: int) -> None:
    ours, theirs = getattr(networks, name)(), getattr(library_graphs, name)()
    count = 0
    for image in squares(side_px):
        ours.start(image)
        theirs.start(image)
        found, expected = ours.wait(), theirs.wait()
        count += len(expected)
        # A score within rounding of the threshold may fall on either side of it.
        assert [one.score for one in found if one.score > 0.201] == pytest.approx(
            [one.score for one in expected if one.score > 0.201], abs=1e-4
        )
        for one, other in zip(found, expected, strict=False):
            assert one.box == pytest.approx(other.box, abs=1e-4)
            assert one.keypoints == pytest.approx(other.keypoints, abs=1e-4)
    assert count >= 5


def test_hand_landmarks_are_those_of_the_librarys_graph() -> None:
    ours, theirs = networks.HandNet(), library_graphs.HandNet()
    for image in hands(networks.HAND_INPUT_PX):
        ours.start(image)
        theirs.start(image)
        seen, expected = ours.wait(), theirs.wait()
        assert seen.landmarks_px == pytest.approx(expected.landmarks_px, abs=0.02)
        assert seen.landmarks_m == pytest.approx(expected.landmarks_m, abs=1e-4)
        assert (seen.presence, seen.label_left) == pytest.approx(
            (expected.presence, expected.label_left), abs=1e-3
        )


def test_body_landmarks_are_those_of_the_librarys_graph() -> None:
    ours, theirs = networks.BodyNet(), library_graphs.BodyNet()
    for image in squares(networks.BODY_INPUT_PX):
        ours.start(image)
        theirs.start(image)
        seen, expected = ours.wait(), theirs.wait()
        assert seen.presence == pytest.approx(expected.presence, abs=1e-3)
        assert seen.visibility == pytest.approx(expected.visibility, abs=1e-3)
        assert seen.landmarks_m == pytest.approx(expected.landmarks_m, abs=1e-3)
        # A heatmap within rounding of the threshold may refine a point in the one and not in the other.
        close = np.abs(seen.landmarks_px - expected.landmarks_px).max(axis=1) < 0.05
        assert close.mean() > 0.97


def test_two_requests_of_one_network_do_not_mix() -> None:
    first, second = networks.HandNet(), networks.HandNet()
    image, other = hands(networks.HAND_INPUT_PX)[:2]
    first.start(image)
    alone = first.wait().landmarks_px
    first.start(image)
    second.start(other)
    beside = second.wait().landmarks_px
    assert first.wait().landmarks_px == pytest.approx(alone, abs=1e-3)
    assert np.abs(alone - beside).max() > 1


def test_a_closed_network_says_so() -> None:
    net = networks.HandNet()
    net.close()
    net.close()
    with pytest.raises(ValueError, match="closed"):
        net.start(np.zeros((224, 224, 3), np.uint8))


def test_there_is_an_anchor_for_every_candidate() -> None:
    # 24 x 24 cells with two anchors and 12 x 12 with six: the 2,016 rows of the palm model's output.
    centres = anchors(192, (8, 16, 16, 16))
    assert len(centres) == 24 * 24 * 2 + 12 * 12 * 6
    assert centres[0] == pytest.approx([0.5 / 24, 0.5 / 24])
    assert centres[-1] == pytest.approx([11.5 / 12, 11.5 / 12])


def test_candidates_upon_one_another_are_one_by_weight() -> None:
    # Worked by hand: two boxes that share 0.08 of 0.12, weights 0.75 and 0.25, and one far away.
    boxes = np.array([[0.0, 0.0, 0.5, 0.2], [0.1, 0.0, 0.5, 0.2], [0.8, 0.8, 0.1, 0.1]])
    keypoints = boxes[:, None, :2]
    found = suppress(boxes, keypoints, np.array([0.9, 0.3, 0.25]))
    assert [one.score for one in found] == [0.9, 0.25]
    assert found[0].box == pytest.approx([0.025, 0.0, 0.5, 0.2])
    assert found[0].keypoints == pytest.approx(np.array([[0.025, 0.0]]))
