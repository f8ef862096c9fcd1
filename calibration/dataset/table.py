"""What `calibration.dataset.tracked` wrote, as the matrices that training and evaluation read."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.kinematics.features import features
from posturewatch.kinematics.outputs import OUTPUTS
from posturewatch.model.observation import BodyObservation, ForearmAxis, HandObservation, Observation, Side
from posturewatch.tracking.crop import WIDE
from posturewatch.tracking.forearm import axis_of

__all__ = ["OUTPUTS", "Table", "add_forearm", "load", "observation_of", "read", "read_shards", "together"]

Columns = dict[str, NDArray[Any]]


@dataclass(frozen=True)
class Table:
    """x (n, features), y (n, outputs; NaN where unknown), valid (n,) whether the landmarks are those of a real
    hand of the stated side, identity (n,), and the raw columns of the same rows."""

    x: NDArray[np.float32]
    y: NDArray[np.float32]
    valid: NDArray[np.bool_]
    identity: NDArray[np.int32]
    columns: Columns


def read_shards(folder: Path, split: str) -> Columns:
    """All columns of one split, shards joined in the order of their names."""
    shards = sorted(folder.glob(f"{split}-*.npz"))
    if not shards:
        raise SystemExit(
            f"There are no {split}-*.npz in {folder}; run python -m calibration.dataset.tracked first."
        )
    parts = [dict(np.load(shard)) for shard in shards]
    names = max((part.keys() for part in parts), key=len)
    return {name: np.concatenate([part[name] for part in parts if name in part]) for name in names}


def observation_of(
    columns: Columns, row: int, *, with_forearm: bool = True, with_body: bool = True
) -> Observation:
    """The observation of one row, holding that one hand."""
    side: Side = "right" if columns["side"][row] else "left"
    forearm = None
    if with_forearm and "forearm" in columns and np.isfinite(columns["forearm"][row]).all():
        values = columns["forearm"][row].astype(float)
        forearm = ForearmAxis(
            values[0:2], values[2:4], float(values[4]), float(values[5]), values[7:], float(values[6])
        )
    hand = HandObservation(
        side=side,
        side_confidence=float(columns["side_confidence"][row]),
        score=float(columns["score"][row]),
        landmarks_px=columns["landmarks_px"][row].astype(float),
        landmarks_m=columns["landmarks_m"][row].astype(float),
        label_agrees=bool(columns["label_agrees"][row]),
        forearm=forearm,
        fingers=columns["fingers"][row].astype(float) if "fingers" in columns else None,
    )
    body = None
    if with_body and columns["has_body"][row]:
        body = BodyObservation(
            columns["body_px"][row].astype(float),
            columns["body_m"][row].astype(float),
            columns["body_visibility"][row].astype(float),
            0.0,
        )
    width, height = (int(v) for v in columns["size"][row])
    return Observation(0, 0.0, width, height, (hand,), body)


def add_forearm(columns: Columns, outputs: NDArray[np.floating[Any]]) -> None:
    """The column `forearm` from the network's outputs: wrist (2) and a point towards the elbow (2) in pixels, sd in
    degrees, depth slope, chance that the strings are seen, further features; one row for each row of the columns."""
    rows = []
    for row, output in enumerate(outputs):
        side: Side = "right" if columns["side"][row] else "left"
        axis = axis_of(output.astype(float), WIDE.transform(columns["landmarks_px"][row].astype(float), side))
        rows.append(
            [
                *(*axis.wrist_px, *axis.towards_elbow_px),
                *(axis.sd_deg, axis.depth_slope, axis.strings_visible, *axis.features),
            ]
        )
    columns["forearm"] = np.asarray(rows, np.float32)


def table_of(columns: Columns) -> Table:
    """Rows rendered before an output was thought of have it at NaN: outputs are only ever added at the end."""
    missing = len(OUTPUTS) - columns["y"].shape[1]
    rows = []
    for row in range(len(columns["side"])):
        observation = observation_of(columns, row)
        rows.append(features(observation, observation.hands[0]))
    return Table(
        x=np.asarray(rows, np.float32),
        y=np.pad(columns["y"].astype(np.float32), ((0, 0), (0, missing)), constant_values=np.nan),
        valid=columns["valid"].astype(bool),
        identity=columns["identity"].astype(np.int32),
        columns=columns,
    )


def read(folder: Path, split: str) -> Columns:
    """One split's columns, with the networks' outputs where `forearm-<split>.npz` and `fingers-<split>.npz` lie beside
    them."""
    columns = read_shards(folder, split)
    forearm, fingers = (folder / f"{name}-{split}.npz" for name in ("forearm", "fingers"))
    if forearm.exists():
        add_forearm(columns, np.load(forearm)["output"])
    if fingers.exists():
        columns["fingers"] = np.load(fingers)["output"].astype(np.float32)
    return columns


def load(folder: Path, split: str) -> Table:
    return table_of(read(folder, split))


def together(tables: list[Table]) -> Table:
    """The rows of several tables, without their raw columns."""
    return Table(
        *(np.concatenate([getattr(table, name) for table in tables]) for name in _ROWS),  # type: ignore[arg-type]
        columns={},
    )


_ROWS = ("x", "y", "valid", "identity")
