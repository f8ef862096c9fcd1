"""Where outlines of the bare forearm put its axis, and the wrist, beside where the networks have them.

`outlines.csv` holds what two readers marked, without sight of each other, of the marks of `marks.csv` or of any number:
both outlines of the forearm at the wrist, a third and two thirds of the way to the elbow, and the middle of the elbow
joint, in pictures of one arm by all cameras at one moment. The middle between two outlines is that of the limb's cross
section; cameras triangulate it. The hand stays as the networks' places have it, so what differs is the forearm alone.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.evaluate.real.cameras import Camera
from calibration.evaluate.real.marks import Hand, Marks, off_lines
from calibration.evaluate.real.multiview import Session
from calibration.evaluate.real.truth import PALM, Truth
from posturewatch.kinematics.geometry import angles_from_axis, hand_frame
from posturewatch.model.observation import Side

__all__ = ["forearm_off", "outline_lines", "read_outlines", "triangulated"]

Array = NDArray[np.float64]

_OUTLINES = Path(__file__).with_name("outlines.csv")
_AXES = {"two thirds": "two_thirds", "the elbow joint": "elbow"}
_ROUNDS = 5
_DOUBTED = 2.0  # standard deviations, beyond which a mark counts less


def read_outlines(path: Path = _OUTLINES) -> dict[str, dict[Hand, dict[int, Marks]]]:
    """By reader, hand and camera; of each place the middle between the outlines."""
    out: dict[str, dict[Hand, dict[int, Marks]]] = {}
    with path.open(newline="", encoding="utf-8") as lines:
        for line in csv.DictReader(lines):
            side: Side = "left" if line["side"] == "left" else "right"
            views = out.setdefault(line["reader"], {}).setdefault(
                (line["session"], int(line["moment"]), side), {}
            )
            x1, y1, x2, y2, sd = (float(line[name]) for name in ("x1_px", "y1_px", "x2_px", "y2_px", "sd_px"))
            views.setdefault(int(line["camera"]), {})[line["place"]] = np.array(
                [(x1 + x2) / 2, (y1 + y2) / 2, sd]
            )
    return out


def triangulated(views: Mapping[int, Marks], place: str, cameras: Mapping[int, Camera]) -> Array | None:
    """(3,) metres of the world, None where fewer than two cameras show the place. Marks far from what the others say
    count less."""
    seen = [(cameras[camera], marks[place]) for camera, marks in views.items() if place in marks]
    if len(seen) < 2:
        return None
    counts, point = np.ones(len(seen)), np.zeros(3)
    for _ in range(_ROUNDS):
        left, right = np.zeros((3, 3)), np.zeros(3)
        for (camera, mark), count in zip(seen, counts, strict=True):
            ray = camera.rays(mark[None, :2])[0]
            across = (np.eye(3) - np.outer(ray, ray)) * count / mark[2] ** 2
            left += across
            right += across @ camera.centre_m
        point = np.linalg.solve(left, right)
        off = [np.linalg.norm(camera.project(point[None])[0] - mark[:2]) / mark[2] for camera, mark in seen]
        counts = 1 / np.maximum(np.array(off) / _DOUBTED, 1)
    return point


def forearm_off(
    truth: Truth, views: Mapping[int, Marks], side: Side, cameras: Mapping[int, Camera]
) -> dict[str, Array]:
    """Of one hand: by the name of each place that the axis is laid through from the wrist, (2,) degrees by which the
    networks' forearm makes flexion and ulnar deviation greater; under "wrist" (3,) millimetres from the networks' wrist
    to the marked one, to the volar, proximal and radial side."""
    landmarks = np.zeros((21, 3))
    landmarks[list(PALM)] = truth.palm_m
    frame = hand_frame(landmarks, side)
    wrist = triangulated(views, "wrist", cameras)
    if wrist is None:
        return {}
    out = {"wrist": 1000 * (wrist - truth.wrist_m) @ frame}
    said = np.array(angles_from_axis(frame, truth.forearm))
    for name, place in _AXES.items():
        far = triangulated(views, place, cameras)
        if far is not None:
            axis = (far - wrist) / np.linalg.norm(far - wrist)
            out[name] = said - np.array(angles_from_axis(frame, axis))
    return out


def outline_lines(sessions: Sequence[Session]) -> list[str]:
    """What the outlines say of the networks' forearm and wrist, reader by reader."""
    lines = []
    for reader, hands in read_outlines().items():
        off = []
        for session in sessions:
            truths = {(session.name, view.moment, view.side): view.everybody for view in session.views}
            off += [
                forearm_off(truths[hand], views, hand[2], session.rig.cameras)
                for hand, views in hands.items()
                if hand in truths
            ]
        for name in _AXES:
            known = [one[name] for one in off if name in one]
            lines += off_lines(f"reader {reader}, the networks' axis against wrist to {name}", known)
        at = np.array([one["wrist"] for one in off if "wrist" in one]).reshape(-1, 3)
        if len(at):
            radial = f"{at[:, 2].mean():+.1f} mm to the radial side, {np.abs(at[:, 2]).mean():.1f} apart"
            lines.append(f"  reader {reader}, the marked wrist from the networks': {radial} (n={len(at)})")
    title = "Against outlines of the forearm that two other readers marked; the hand as the networks' places have it"
    return [title, *lines] if lines else []
