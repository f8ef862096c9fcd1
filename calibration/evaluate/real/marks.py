"""Wrists as several cameras show them to two readers, neither network nor tracker having a say.

`marks.csv` holds where each of two readers, without sight of the other or of any number, saw the wrist, the four
knuckles and two places on the middle line of the forearm, in pictures of one hand by all cameras at one moment. What
follows is made of them as of the networks' places (`calibration.evaluate.real.truth`).
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.evaluate.real.cameras import Camera
from calibration.evaluate.real.multiview import Session
from calibration.evaluate.real.truth import PALM, Group, Truth, View, mean_palm, truth_of
from posturewatch.model.observation import Side
from posturewatch.tracking.crop import hand_scale_px

__all__ = ["Hand", "Marks", "marks_lines", "off_lines", "read_marks", "truths", "view_of"]

Array = NDArray[np.float64]
#: By place: (3,) x, y and how far it may be off (one standard deviation), pixels.
Marks = dict[str, Array]
#: Session, moment, side.
Hand = tuple[str, int, Side]

_MARKS = Path(__file__).with_name("marks.csv")
_KNUCKLES = ("wrist", "index", "middle", "ring", "little")
_FOREARM = ("forearm", "elbow")
_MIDDLE = 9
_ANGLES = ("flexion", "deviation")
#: `truth` takes this share of what a network says of its own spread for a standard deviation.
_OF_A_SPREAD = 0.4


def read_marks(path: Path = _MARKS) -> dict[str, dict[Hand, dict[int, Marks]]]:
    """By reader, hand and camera."""
    out: dict[str, dict[Hand, dict[int, Marks]]] = {}
    with path.open(newline="", encoding="utf-8") as lines:
        for line in csv.DictReader(lines):
            side: Side = "left" if line["side"] == "left" else "right"
            hands = out.setdefault(line["reader"], {})
            views = hands.setdefault((line["session"], int(line["moment"]), side), {})
            at = np.array([float(line[name]) for name in ("x_px", "y_px", "sd_px")])
            views.setdefault(int(line["camera"]), {})[line["place"]] = at
    return out


def view_of(camera: int, marks: Marks, side: Side) -> View | None:
    """None where one of the five places of the palm, or the forearm, could not be marked."""
    if not {*_KNUCKLES, *_FOREARM} <= marks.keys():
        return None
    places = np.tile(marks["middle"][:2], (21, 1))  # fingers are not marked, and not asked for
    spread = np.zeros(21)
    for joint, name in zip(PALM, _KNUCKLES, strict=True):
        places[joint] = marks[name][:2]
    scale_px = max(hand_scale_px(places), 1.0)
    for joint, name in zip(PALM, _KNUCKLES, strict=True):
        spread[joint] = marks[name][2] / scale_px / _OF_A_SPREAD
    axis = np.stack([marks[name][:2] for name in _FOREARM])
    apart = max(float(np.linalg.norm(axis[1] - axis[0])), 1.0)
    off = float(np.hypot(*(marks[name][2] for name in _FOREARM)))
    return View(
        camera, -1, places, axis, float(np.degrees(off / apart)), 1.0 if side == "left" else -1.0, spread
    )


def truths(hands: dict[Hand, dict[int, Marks]], cameras: dict[str, dict[int, Camera]]) -> dict[Hand, Truth]:
    """What one reader's marks say of those wrists that were marked in two pictures and more; cameras by session."""
    groups = {}
    for hand, views in hands.items():
        seen = [view_of(camera, marks, hand[2]) for camera, marks in views.items()]
        group = Group(hand[2], tuple(view for view in seen if view is not None))
        if hand[0] in cameras and len(group.views) > 1:
            groups[hand] = group
    out = {}
    for name in {hand[0] for hand in groups}:
        here = {hand: group for hand, group in groups.items() if hand[0] == name}
        palm = mean_palm([(group, cameras[name]) for group in here.values()])
        for hand, group in here.items():
            truth = truth_of(group, cameras[name], palm[hand[2]])
            if truth is not None:
                out[hand] = truth
    return out


def marks_lines(sessions: Sequence[Session]) -> list[str]:
    """How the readers differ, and what the networks' places and single views make of the same wrists."""
    cameras = {session.name: session.rig.cameras for session in sessions}
    by_reader = [truths(hands, cameras) for hands in read_marks().values()]
    hands = [hand for hand in by_reader[0] if all(hand in one for one in by_reader)] if by_reader else []
    read = {hand: np.array([one[hand].angles_deg for one in by_reader]) for hand in hands}
    between, everybody, single = [], [], []
    for session in sessions:
        told: set[Hand] = set()
        for view in session.views:
            hand: Hand = (session.name, view.moment, view.side)
            if hand not in read:
                continue
            if hand not in told:
                told.add(hand)
                between.append(read[hand][0] - read[hand][-1])
                everybody.append(view.everybody.angles_deg - read[hand].mean(axis=0))
            if view.row is not None:
                m = session.measured[view.camera]
                shown = np.where(m.reported[view.row], m.value[view.row], np.nan)
                single.append(shown - read[hand].mean(axis=0))
    if not between:
        return []
    return [
        "Against places of the palm and the forearm that two readers marked in all cameras' pictures",
        *off_lines("the readers differ by", between),
        *off_lines("what the networks' places say is off by", everybody),
        *off_lines("what is reported of single views is off by", single),
    ]


def off_lines(what: str, of: Iterable[Array]) -> list[str]:
    """A line on differences (2,) of flexion and deviation, degrees, NaN where unknown; none where all are."""
    off = np.array(list(of)).reshape(-1, 2)
    cells = []
    for k, angle in enumerate(_ANGLES):
        known = off[np.isfinite(off[:, k]), k]
        if len(known):
            cells.append(f"{angle} {np.abs(known).mean():.1f}, bias {known.mean():+.1f} (n={len(known)})")
    return [f"  {what}: {'; '.join(cells)}"] if cells else []
