"""What several cameras say of a wrist: synthetic cameras, of which the truth is known by construction."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hand_chain import BONES, LEFT, chains
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation
from test_estimator import weights

from calibration.evaluate.real import consensus
from calibration.evaluate.real.cameras import Camera, Rig
from calibration.evaluate.real.changes import switches, switches_once_shown
from calibration.evaluate.real.consensus import Sighting, looked_again
from calibration.evaluate.real.marks import Marks, read_marks, truths
from calibration.evaluate.real.outlines import forearm_off, read_outlines, triangulated
from calibration.evaluate.real.report import real_report
from calibration.evaluate.real.truth import (
    PALM,
    Group,
    Truth,
    View,
    agreeing,
    mean_palm,
    points_of,
    triangulate,
    truth_of,
)
from posturewatch.kinematics.estimator import Estimator
from posturewatch.kinematics.geometry import angles_from_axis, hand_frame
from posturewatch.kinematics.network import Ensemble
from posturewatch.model.observation import Side

Array = NDArray[np.float64]
NAMES = ("wrist", "index", "middle", "ring", "little")
MATRIX = np.array([[800.0, 0, 640], [0, 800, 360], [0, 0, 1]])


def hand_points(side: Side) -> Array:
    """(21, 3) metres, of bones of known lengths (`hand_chain`), wrist at the origin, turned somehow."""
    points = np.zeros((21, 3))
    for k, finger in enumerate(BONES):
        points[5 + 4 * k : 9 + 4 * k] = chains(finger, np.array([25.0]), (30.0, 15.0))[0]
    points[1:5] = points[5:9] * [1.0, 0.4, 1.0] + [15.0, 0.0, 25.0]  # a thumb of a kind
    if side == "left":
        points = points * LEFT
    return np.asarray(Rotation.from_rotvec([0.4, -0.7, 2.0]).apply(points / 1000))


def camera_at(place: Array) -> Camera:
    """One that looks at the world's origin from that place, its picture upright (y down)."""
    away = -place / np.linalg.norm(place)
    right = np.cross(np.array([0.0, 1.0, 0.0]), away)
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(away, right), away])
    return Camera(MATRIX, np.zeros(5), rotation, -rotation @ place)


CAMERAS = {
    k: camera_at(np.array(place))
    for k, place in enumerate([(0.0, 0, -0.8), (0.6, 0.1, -0.6), (-0.6, -0.2, -0.5), (0.1, -0.6, -0.6)])
}


def group_of(side: Side, flexion: float, deviation: float, noise_px: float = 0.0) -> Group:
    """What the cameras see of a hand with these wrist angles."""
    rng = np.random.default_rng(7)
    points = hand_points(side)
    points = points - points[0]
    # Wu et al. 2005, J Biomech 38:981-992: flexion about Z, then deviation about the floating X'.
    wrist = Rotation.from_euler("ZX", [flexion, deviation], degrees=True)
    elbow = 0.25 * hand_frame(points, side) @ wrist.inv().apply([0.0, 1.0, 0.0])
    views = []
    for number, camera in CAMERAS.items():
        places = camera.project(points) + noise_px * rng.normal(size=(21, 2))
        axis = camera.project(np.stack([points[0], points[0] + 0.3 * elbow]))
        odds = 1.0 if side == "left" else -1.0
        views.append(View(number, 0, places, axis, 2.0, odds, np.full(21, 0.1)))
    return Group(side, tuple(views))


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(("flexion", "deviation"), [(0.0, 0.0), (40.0, -10.0), (-35.0, 20.0)])
def test_the_angles_that_a_hand_was_posed_with_come_back(
    side: Side, flexion: float, deviation: float
) -> None:
    group = group_of(side, flexion, deviation)
    truth = truth_of(group, CAMERAS, mean_palm([(group, CAMERAS)] * 4)[side], without=1)
    assert truth is not None
    assert truth.angles_deg == pytest.approx([flexion, deviation], abs=0.3)


def test_two_views_alone_judge_nobody() -> None:
    group = group_of("left", 10.0, 5.0)
    two = Group("left", group.views[:2])
    truth = truth_of(two, CAMERAS, mean_palm([(group, CAMERAS)] * 4)["left"])
    assert truth is not None
    assert np.isnan(truth.angles_deg).all()
    assert truth_of(two, CAMERAS, mean_palm([(group, CAMERAS)] * 4)["left"], without=0) is None


def test_a_second_look_that_was_kept_is_of_the_very_same_sightings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of two runs through one folder that found other hands, neither is handed the other's second look."""

    def as_sighted(sightings: list[Sighting], *_: object) -> Array:
        return np.array(
            [
                [k, view.camera, *np.c_[view.places_px, view.spread].ravel(), *view.axis_px.ravel(), 2.0]
                for k, one in enumerate(sightings)
                for view in one.group.views
            ]
        )

    monkeypatch.setattr(consensus, "_looks", as_sighted)
    frames = dict.fromkeys(CAMERAS, 5)
    first, second = (Sighting(0, frames, {}, group_of(side, 10.0, 0.0)) for side in ("left", "right"))
    for sightings in ([first, second], [second], [first, second]):
        again = looked_again(sightings, [], Rig(CAMERAS, 0.5, 9), tmp_path, "session")
        for one, seen in zip(sightings, again, strict=True):
            assert [v.places_px.tolist() for v in seen.group.views] == [
                v.places_px.tolist() for v in one.group.views
            ]
    assert len(list(tmp_path.iterdir())) == 2


def test_a_hand_that_is_looked_at_again_keeps_its_size(monkeypatch: pytest.MonkeyPatch) -> None:
    """The places that a network points at follow the crop: of one a third too wide they lie a sixth too far apart."""
    hands = [group_of("left", 10.0, 0.0), group_of("right", -20.0, 5.0)]
    small = [
        replace(v, places_px=v.places_px[0] + 0.8 * (v.places_px - v.places_px[0])) for v in hands[0].views
    ]
    frames = dict.fromkeys(CAMERAS, 5)
    sightings = [Sighting(0, frames, {}, one) for one in (Group("left", tuple(small)), hands[1], hands[1])]

    class Shots:
        camera = 0

    def following(
        video: Shots, camera: Camera, seen: list[Sighting], joints: list[Array | None], *_: object
    ) -> list[Array]:
        out = []
        for k, points in enumerate(joints):
            assert points is not None
            placed = camera.project(points)
            true = seen[k].group.side
            view = next(v for g in hands if g.side == true for v in g.views if CAMERAS[v.camera] is camera)
            wider = np.linalg.norm(placed[9] - placed[0]) / np.linalg.norm(
                view.places_px[9] - view.places_px[0]
            )
            places = view.places_px[0] + wider**0.5 * (view.places_px - view.places_px[0])
            number = next(c for c, one in CAMERAS.items() if one is camera)
            row = [k, number, *np.c_[places, view.spread].ravel(), *view.axis_px.ravel(), 2.0]
            out.append(np.array(row))
        return out

    monkeypatch.setattr(consensus, "_in_video", following)
    monkeypatch.setattr(consensus, "ForearmNet", lambda _: None)
    monkeypatch.setattr(consensus, "HeatmapPlaces", lambda _: None)
    videos = []
    for number in CAMERAS:
        one = Shots()
        one.camera = number
        videos.append(one)
    rows = consensus._looks(sightings, videos, Rig(CAMERAS, 0.5, 9))  # type: ignore[arg-type]
    true_m = np.linalg.norm(hand_points("left")[9] - hand_points("left")[0])
    for k in range(len(sightings)):
        points = points_of([consensus._view(row) for row in rows if int(row[0]) == k], CAMERAS)
        assert np.linalg.norm(points[9] - points[0]) == pytest.approx(true_m, rel=0.03)


def marked(side: Side, flexion: float, deviation: float, off_px: float) -> dict[int, Marks]:
    """What a reader would mark of such a hand, every place off somehow by so much."""
    rng = np.random.default_rng(3)
    out = {}
    for view in group_of(side, flexion, deviation).views:
        places = {name: view.places_px[j] for name, j in zip(NAMES, (0, 5, 9, 13, 17), strict=True)}
        places |= {"forearm": view.axis_px[0], "elbow": view.axis_px[1]}
        out[view.camera] = {
            name: np.array([*(at + off_px * rng.normal(size=2)), 2.0]) for name, at in places.items()
        }
    return out


def test_what_readers_mark_gives_the_angles_that_the_hand_was_posed_with() -> None:
    posed: dict[tuple[str, int, Side], tuple[float, float]] = {
        ("one", 3, "left"): (30.0, -8.0),
        ("one", 9, "right"): (-20.0, 15.0),
        ("two", 3, "left"): (5.0, 0.0),
    }
    hands = {hand: marked(hand[2], *angles, off_px=0.0) for hand, angles in posed.items()}
    for hand, truth in truths(hands, {"one": CAMERAS, "two": CAMERAS}).items():
        assert truth.angles_deg == pytest.approx(posed[hand], abs=0.5)
    assert set(truths(hands, {"one": CAMERAS})) == {hand for hand in posed if hand[0] == "one"}

    del hands["one", 3, "left"][1]["ring"]  # a picture in which one knuckle could not be marked tells nothing
    del hands["one", 3, "left"][2]["elbow"]
    left = truths(hands, {"one": CAMERAS})
    assert np.isnan(left["one", 3, "left"].angles_deg).all()  # two pictures judge nobody
    assert left["one", 9, "right"].angles_deg == pytest.approx(posed["one", 9, "right"], abs=0.5)


def test_the_marks_that_are_kept_can_be_read() -> None:
    readers = read_marks()
    assert len(readers) == 2
    first, second = readers.values()
    assert first.keys() == second.keys()
    for hands in (first, second):
        for views in hands.values():
            assert len(views) >= 3
            for marks in views.values():
                assert set(marks) <= {*NAMES, "forearm", "elbow"}
                assert all(at[2] > 0 for at in marks.values())


@pytest.mark.parametrize("side", ["left", "right"])
def test_outlines_tell_how_far_a_forearm_is_turned(side: Side) -> None:
    """A hand in line with its forearm, and a truth whose forearm leans by known angles: what outlines make of it is
    these very angles, by construction."""
    points = hand_points(side) - hand_points(side)[0]
    frame = hand_frame(points, side)
    _, proximal, radial = frame.T
    lean = 12.0  # degrees to the radial side, from which the hand deviates to the radial side by as much
    said = np.cos(np.radians(lean)) * proximal + np.sin(np.radians(lean)) * radial
    truth = Truth(np.zeros(2), np.ones(2), points[0], said, points[list(PALM)])
    places = {
        "wrist": 0.004 * radial,
        "two_thirds": 0.004 * radial + 0.17 * proximal,
        "elbow": 0.26 * proximal,
    }
    views = {
        k: {name: np.append(camera.project(at[None])[0], 3.0) for name, at in places.items()}
        for k, camera in CAMERAS.items()
    }
    off = forearm_off(truth, views, side, CAMERAS)
    assert off["two thirds"] == pytest.approx([0.0, -lean], abs=0.05)
    expected = (
        angles_from_axis(frame, said)[1] - angles_from_axis(frame, places["elbow"] - places["wrist"])[1]
    )
    assert off["the elbow joint"][1] == pytest.approx(float(expected), abs=0.05)
    assert off["wrist"] == pytest.approx([0.0, 0.0, 4.0], abs=0.05)
    one = {0: views[0]}
    assert forearm_off(truth, one, side, CAMERAS) == {}


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("flexion", [-40.0, 0.0, 55.0])
def test_what_midlines_make_too_great_is_taken_off_the_deviation_alone(side: Side, flexion: float) -> None:
    group = group_of(side, flexion, 10.0)
    palm = mean_palm([(group, CAMERAS)])[side]
    truth = truth_of(group, CAMERAS, palm, axis_bias_deg=3.0)
    assert truth is not None
    assert truth.angles_deg == pytest.approx([flexion, 7.0], abs=0.05)


def test_a_mark_far_from_what_the_others_say_counts_less() -> None:
    at = np.array([0.02, -0.01, 0.03])
    views = {k: {"wrist": np.append(camera.project(at[None])[0], 3.0)} for k, camera in CAMERAS.items()}
    views[2]["wrist"] = views[2]["wrist"] + np.array([60.0, 0.0, 0.0])
    found = triangulated(views, "wrist", CAMERAS)
    assert found is not None
    plain = triangulate(
        [(CAMERAS[k].centre_m, CAMERAS[k].rays(v["wrist"][None, :2])) for k, v in views.items()]
    )[0]
    assert np.linalg.norm(found - at) < 0.5 * np.linalg.norm(plain - at)


def test_the_outlines_that_are_kept_can_be_read() -> None:
    readers = read_outlines()
    assert len(readers) == 2
    for hands in readers.values():
        for views in hands.values():
            for marks in views.values():
                assert set(marks) <= {"wrist", "third", "two_thirds", "elbow"}
                assert all(at[2] > 0 for at in marks.values())


def test_joints_are_triangulated_where_they_are() -> None:
    group = group_of("right", 20.0, 0.0)
    points = hand_points("right")
    assert points_of(group.views, CAMERAS) == pytest.approx(points - points[0], abs=1e-5)


def test_parallel_rays_do_not_break_the_triangulation() -> None:
    ray = np.array([[0.0, 0.0, 1.0]])
    assert np.isfinite(triangulate([(np.zeros(3), ray), (np.array([0.1, 0, 0]), ray)])).all()


def test_views_that_show_one_hand_are_found_whatever_side_each_took_it_for() -> None:
    group = group_of("left", 10.0, 0.0, noise_px=2.0)
    wrong = replace(group.views[1], left_odds=-0.5)
    elsewhere = replace(group.views[2], row=1, places_px=group.views[2].places_px + 300.0)
    found = agreeing([group.views[0], wrong, group.views[2], group.views[3], elsewhere], CAMERAS)
    assert [one.side for one in found] == ["left"]
    assert sorted(view.camera for view in found[0].views) == [0, 1, 2, 3]
    assert all(view.row == 0 for view in found[0].views)


def test_without_the_folder_one_sentence_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ensemble = Ensemble(weights())
    real_report(tmp_path / "absent", Estimator(ensemble), ensemble, cache=tmp_path / "cache")
    said = capsys.readouterr().out
    assert said.count("\n") == 1
    assert str(tmp_path / "absent") in said
    assert not (tmp_path / "cache").exists()


def test_what_comes_and_goes_is_counted() -> None:
    shown = np.array([False, True, True, False, True])
    assert switches(shown) == 3
    assert switches_once_shown(shown) == 2
    assert switches_once_shown(np.array([False, False])) == 0
