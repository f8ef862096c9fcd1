"""The tracker with the real models: on the demo film, whose player's hands are known to be in view, and on
pictures with nothing in them. Parity with the library's own pipeline is the check from outside."""

from __future__ import annotations

import subprocess
import sys
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from posturewatch.config.resources import calibration_dir
from posturewatch.model.frame import Frame
from posturewatch.model.network_outputs import ForearmOutputs
from posturewatch.tracking import FingerNet, ForearmNet, Tracker
from posturewatch.tracking.agreement import best_of
from posturewatch.tracking.hands import Detection
from posturewatch.tracking.plausible import hand_distance
from posturewatch.tracking.still import Candidate, StillFinder
from posturewatch.tracking.tracker import TrackerMode

pytestmark = pytest.mark.models

MODES: list[TrackerMode] = ["still", "video", "live"]


def demo_frames(count: int) -> list[Frame]:
    """The first pictures of the demo film, each with its time."""
    path = calibration_dir() / "demo" / "demo.mp4"
    if not path.is_file():
        pytest.skip("the demo film is not there")
    film = cv2.VideoCapture(str(path))
    try:
        rate_hz = film.get(cv2.CAP_PROP_FPS)
        pictures = [film.read()[1] for _ in range(count)]
        return [Frame(i, i / rate_hz, np.asarray(picture, np.uint8)) for i, picture in enumerate(pictures)]
    finally:
        film.release()


@pytest.fixture(scope="module")
def frames() -> list[Frame]:
    return demo_frames(20)


def mirror(frame: Frame) -> Frame:
    return Frame(frame.index, frame.time_s, np.ascontiguousarray(frame.image_bgr[:, ::-1]))


@pytest.mark.parametrize("mode", MODES)
def test_an_empty_picture_holds_no_hand(mode: TrackerMode) -> None:
    with Tracker(mode) as tracker:
        for i in range(3):
            seen = tracker.observe(Frame(i, i / 30, np.full((360, 640, 3), 90, np.uint8)))
            assert seen.hands == ()
            assert seen.body is None
            assert (seen.frame_index, seen.time_s, seen.width_px, seen.height_px) == (i, i / 30, 640, 360)
    tracker.close()  # a second time


def test_an_unknown_mode_raises() -> None:
    with pytest.raises(ValueError, match="'still', 'video' or 'live'"):
        Tracker("photo")  # type: ignore[arg-type]


def test_the_library_starts_quietly() -> None:
    program = (
        "import numpy as np\n"
        "from posturewatch.model.frame import Frame\n"
        "from posturewatch.tracking import Tracker\n"
        "with Tracker('video') as tracker:\n"
        "    tracker.observe(Frame(0, 0.0, np.zeros((90, 160, 3), np.uint8)))\n"
    )
    run = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert (run.stdout, run.stderr) == ("", "")


def test_the_package_does_not_need_the_library_until_it_tracks() -> None:
    program = (
        "import sys; import posturewatch.tracking.forearm; "
        "sys.exit(bool({'mediapipe', 'openvino'} & set(sys.modules)))"
    )
    subprocess.run([sys.executable, "-c", program], check=True)


@pytest.mark.parametrize("mode", MODES)
def test_the_demo_players_left_hand_is_found(frames: list[Frame], mode: TrackerMode) -> None:
    with Tracker(mode) as tracker:
        seen = [tracker.observe(frame) for frame in (frames[:4] if mode == "still" else frames)]
    assert np.mean([one.hand("left") is not None for one in seen]) >= 0.7


def test_a_film_gives_the_same_on_every_run(frames: list[Frame]) -> None:
    runs = []
    for _ in range(2):
        with Tracker("video") as tracker:
            runs.append([tracker.observe(frame) for frame in frames[:10]])
    for first, second in zip(*runs, strict=True):
        assert [hand.side for hand in first.hands] == [hand.side for hand in second.hands]
        for one, other in zip(first.hands, second.hands, strict=True):
            assert np.array_equal(one.landmarks_px, other.landmarks_px)


def test_sides_stay_anatomical_in_a_mirrored_picture(frames: list[Frame]) -> None:
    frame = frames[-1]
    with Tracker("still") as plain, Tracker("still", mirrored=True) as mirrored:
        there, back = plain.observe(frame), mirrored.observe(mirror(frame))
    assert there.body is not None
    assert back.body is not None
    left, same = there.hand("left"), back.hand("left")
    assert left is not None
    assert same is not None
    unmirrored = frame.width_px - same.landmarks_px[:, 0]
    apart = np.hypot(unmirrored - left.landmarks_px[:, 0], same.landmarks_px[:, 1] - left.landmarks_px[:, 1])
    assert np.median(apart) < 0.05 * frame.height_px


def networks() -> tuple[ForearmNet, FingerNet]:
    weights = calibration_dir() / "weights"
    return ForearmNet(weights / "forearm.onnx"), FingerNet(weights / "fingers.onnx")


@pytest.mark.parametrize("mirrored", [False, True])
def test_our_networks_know_the_sides_of_the_demo_players_hands(frames: list[Frame], mirrored: bool) -> None:
    forearm, fingers = networks()
    frame = mirror(frames[-1]) if mirrored else frames[-1]
    with Tracker("still", mirrored=mirrored, forearm=forearm, fingers=fingers) as tracker:
        hands = tracker.observe(frame).hands
        judged = tracker._judge(frame.image_bgr, [hand.landmarks_px for hand in hands])
        said = {hand.side: judgement.evidence for hand, judgement in zip(hands, judged, strict=True)}
        fit = {hand.side: judgement.view(hand.side) for hand, judgement in zip(hands, judged, strict=True)}
    # The player stops the strings with the left hand, which is at the right of a picture from the front.
    across = {hand.side: hand.landmarks_px[0, 0] for hand in hands}
    assert (across["left"] > across["right"]) is not mirrored
    assert said["left"] > 1
    assert said["right"] < -1
    # Each is seen where it was tracked, as a hand of its own side.
    for side, judgement in zip(fit, judged, strict=True):
        assert judgement.view() == fit[side]
        assert fit[side].landmark_error < 0.3
        assert fit[side].odds > 1


def test_a_hand_tracked_inside_out_is_looked_at_again_and_found_as_it_lies(frames: list[Frame]) -> None:
    forearm, fingers = networks()
    image = frames[-1].image_bgr
    with Tracker("still", forearm=forearm, fingers=fingers) as tracker:
        hand = tracker.observe(frames[-1]).hand("left")
        assert hand is not None
        # Thumb for little finger, index for ring finger: what the library does to hands it takes for the other one.
        inside_out = hand.landmarks_px[
            [0, *range(17, 21), *range(13, 17), *range(9, 13), *range(5, 9), *range(1, 5)]
        ]
        finder = tracker._finder
        assert isinstance(finder, StillFinder)
        mistaken = Detection(inside_out, hand.landmarks_m, 0.95, 0.1)
        (judgement,) = tracker._judge(image, [inside_out])
        looks = finder._looks(image, Candidate(mistaken, judgement), None)
        best = looks[best_of([look.judgement for look in looks], "left")]
    assert judgement.view("left").landmark_error > 0.3
    assert judgement.view("left").landmark_error > 2 * best.judgement.view("left").landmark_error
    assert hand_distance(mistaken.landmarks_px, hand.landmarks_px) > 0.3
    assert hand_distance(best.seen.landmarks_px, hand.landmarks_px) < 0.1
    # Two candidates for one hand: the one that the networks see there is kept, whatever the library's presence.
    both = [Candidate(mistaken, judgement)]
    finder._add(both, best)
    assert [place.seen for place in both] == [best.seen]


class Contrary(ForearmNet):
    """Says of every hand that it is not of the side it was cut for."""

    def rows(self) -> NDArray[Any]:
        said = super().rows()
        said[:, ForearmOutputs.slices()["side_logit"]] = -9.0
        return said


def test_what_the_networks_say_of_the_sides_is_heard_on_films(frames: list[Frame]) -> None:
    """Label and body agree on the demo film; networks that always object keep confidence from growing."""
    sure = {}
    for kind in (ForearmNet, Contrary):
        forearm = kind(calibration_dir() / "weights" / "forearm.onnx")
        with Tracker("video", forearm=forearm) as tracker:
            seen = [tracker.observe(frame).hand("left") for frame in frames]
        sure[kind] = [hand.side_confidence for hand in seen if hand is not None]
    assert len(sure[ForearmNet]) > 10
    assert np.median(sure[ForearmNet]) > 0.97
    assert np.mean(sure[Contrary]) < np.mean(sure[ForearmNet])


def test_landmarks_agree_with_the_librarys_own_pipeline(frames: list[Frame]) -> None:
    import mediapipe

    frame = frames[-1]
    rgb = cv2.cvtColor(frame.image_bgr, cv2.COLOR_BGR2RGB)
    with Tracker("still") as tracker:
        ours = tracker.observe(frame).hands
    with mediapipe.solutions.hands.Hands(max_num_hands=2) as hands:
        found = [hands.process(rgb) for _ in range(4)][-1]  # it settles on one picture as ours does
    for points in found.multi_hand_landmarks or []:
        theirs = np.array([(p.x * frame.width_px, p.y * frame.height_px) for p in points.landmark])
        apart = [np.linalg.norm(hand.landmarks_px[:, :2] - theirs, axis=1).mean() for hand in ours]
        assert min(apart, default=np.inf) < 0.08 * np.linalg.norm(np.ptp(theirs, axis=0))
    assert len(ours) >= len(found.multi_hand_landmarks or []) > 0
