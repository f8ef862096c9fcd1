"""Of what was tracked in multi-view videos, what is a hand: by what the cameras agree on, and by eye.

Hands that the cameras do not agree on were looked at: `by_eye.csv` names the places that are none, or that nobody could
tell; all others are hands.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.dataset.table import observation_of
from calibration.evaluate.real.multiview import Session
from posturewatch.kinematics.features import FEATURE_COUNT, features

__all__ = ["RealRows", "by_eye", "real_rows"]

Array = NDArray[np.float64]
_BY_EYE = Path(__file__).with_name("by_eye.csv")


@dataclass(frozen=True)
class RealRows:
    """x (n, features); hand (n,) whether it is a hand of the side it was taken for; nothing (n,) whether it is no hand
    of either side; group (n,) words for the video it comes from, by which is held out; true_deg and true_sd_deg (n, 2)
    from the other cameras, NaN where they do not tell."""

    x: NDArray[np.float32]
    hand: NDArray[np.bool_]
    nothing: NDArray[np.bool_]
    group: NDArray[np.str_]
    true_deg: Array
    true_sd_deg: Array


def by_eye(session: Session, camera: int, row: int) -> str:
    """What a look at the picture said of a place: "none", "unsure", or "" where it is a hand."""
    columns = session.columns[camera]
    x, y = columns["landmarks_px"][row, :, :2].astype(float).mean(axis=0)
    frame = int(columns["frame"][row])
    with _BY_EYE.open(newline="", encoding="utf-8") as lines:
        for line in csv.DictReader(lines):
            here = line["session"] == session.name and int(line["camera"]) == camera
            then = int(line["first_frame"]) <= frame <= int(line["last_frame"])
            near = np.hypot(x - float(line["x_px"]), y - float(line["y_px"])) <= float(line["radius_px"])
            if here and then and near:
                return line["what"]
    return ""


def real_rows(sessions: list[Session]) -> RealRows:
    """The rows of all sessions, but for those of which nobody can tell."""
    x, kind, group, true, known = [], [], [], [], []

    def add(session: Session, camera: int, row: int, what: str, truth: Array, sd: Array) -> None:
        observation = observation_of(session.columns[camera], row)
        x.append(features(observation, observation.hands[0]))
        kind.append(what)
        group.append(f"{session.name}-{camera}")
        true.append(truth)
        known.append(sd)

    unknown = np.full(2, np.nan)
    for session in sessions:
        for view in session.views:
            if view.row is None:
                continue
            right = bool(session.columns[view.camera]["side"][view.row]) == (view.side == "right")
            judged = right and view.truth is not None
            angles, sd = (
                (view.truth.angles_deg, view.truth.sd_deg) if judged and view.truth else (unknown, unknown)
            )
            add(session, view.camera, view.row, "" if right else "other side", angles, sd)
        for camera, row in session.strangers:
            seen = by_eye(session, camera, row)
            if seen != "unsure":
                add(session, camera, row, seen, unknown, unknown)
    return RealRows(
        np.array(x, np.float32).reshape(-1, FEATURE_COUNT),
        np.array(kind) == "",
        np.array(kind) == "none",
        np.array(group),
        np.array(true).reshape(-1, 2),
        np.array(known).reshape(-1, 2),
    )
