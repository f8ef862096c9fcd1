"""What `calibration.dataset.tracked` wrote, as the matrices that training and evaluation read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.kinematics.features import features
from posturewatch.model.estimator_outputs import OUTPUTS
from posturewatch.model.network_outputs import FingerOutputs, ForearmOutputs
from posturewatch.model.observation import BodyObservation, ForearmAxis, HandObservation, Observation, Side
from posturewatch.tracking.crop import WIDE
from posturewatch.tracking.forearm import axis_of

__all__ = [
    "OUTPUTS",
    "Table",
    "add_forearm",
    "load",
    "observation_of",
    "present",
    "read",
    "read_shards",
    "together",
]

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


def present(folder: Path, splits: Sequence[str]) -> list[str]:
    """Those of the splits of which the folder holds something; all of them where it holds nothing."""
    return [split for split in splits if any(folder.glob(f"{split}-*.npz"))] or list(splits)


def observation_of(
    columns: Columns, row: int, *, with_forearm: bool = True, with_body: bool = True
) -> Observation:
    """The observation of one row, holding that one hand."""
    side: Side = "right" if columns["side"][row] else "left"
    forearm = None
    if with_forearm and "forearm" in columns and np.isfinite(columns["forearm"][row]).all():
        forearm = ForearmAxis(
            columns["axis_wrist_px"][row].astype(float),
            columns["axis_towards_elbow_px"][row].astype(float),
            float(columns["axis_sd_deg"][row]),
            ForearmOutputs.from_rows(columns["forearm"][row].astype(float)),
        )
    fingers: FingerOutputs[Any] | None = None
    if "fingers" in columns:
        fingers = FingerOutputs.from_rows(columns["fingers"][row].astype(float))
    hand = HandObservation(
        side=side,
        side_confidence=float(columns["side_confidence"][row]),
        score=float(columns["score"][row]),
        landmarks_px=columns["landmarks_px"][row].astype(float),
        landmarks_m=columns["landmarks_m"][row].astype(float),
        label_agrees=bool(columns["label_agrees"][row]),
        forearm=forearm,
        fingers=fingers,
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


def add_forearm(columns: Columns, rows: NDArray[np.floating[Any]]) -> None:
    """Adds what the forearm network says of every row, as the column `forearm` (n, 21), and the axis in the picture
    that follows: `axis_wrist_px` (n, 2), `axis_towards_elbow_px` (n, 2), `axis_sd_deg` (n,)."""
    axes = []
    for row, said in enumerate(rows):
        side: Side = "right" if columns["side"][row] else "left"
        affine = WIDE.transform(columns["landmarks_px"][row].astype(float), side)
        axes.append(axis_of(ForearmOutputs.from_rows(said.astype(float)), affine))
    columns["forearm"] = np.asarray(rows, np.float32)
    columns["axis_wrist_px"] = np.array([axis.wrist_px for axis in axes], np.float32)
    columns["axis_towards_elbow_px"] = np.array([axis.towards_elbow_px for axis in axes], np.float32)
    columns["axis_sd_deg"] = np.array([axis.sd_deg for axis in axes], np.float32)


def makers_hfov_deg(columns: Columns) -> NDArray[np.float64]:
    """(n,) the field of view that each row's camera would be stated with: across the picture's longer side, as makers
    and the settings do, where the column `hfov_deg` is across its width."""
    width, height = columns["size"].astype(float).T
    across = np.tan(np.radians(columns["hfov_deg"].astype(float)) / 2)
    return np.asarray(np.degrees(2 * np.arctan(across * np.maximum(width, height) / width)))


def stated_rows(columns: Columns, share: float) -> NDArray[np.bool_]:
    """(n,) for which rows the field of view counts as stated: about that share of the pictures, the same ones each
    time."""
    frames, of_row = np.unique(columns["frame"], return_inverse=True)
    return np.asarray(np.random.default_rng(len(frames)).random(len(frames))[of_row] < share)


def table_of(columns: Columns, stated_share: float = 0.0) -> Table:
    """The matrices of these columns.

    Rows rendered before an output was thought of have it at NaN: outputs are only ever added at the end.

    Parameters
    ----------
    columns
        As `read` gives them.
    stated_share
        Of how many pictures the estimator knows the camera's field of view; of the others it assumes the usual one,
        as in use where the settings do not state it.
    """
    missing = len(OUTPUTS) - columns["y"].shape[1]
    hfov_deg, stated = makers_hfov_deg(columns), stated_rows(columns, stated_share)
    rows = []
    for row in range(len(columns["side"])):
        observation = observation_of(columns, row)
        known = float(hfov_deg[row]) if stated[row] else None
        rows.append(features(observation, observation.hands[0], known))
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


def load(folder: Path, split: str, stated_share: float = 0.0) -> Table:
    """One split's matrices; see `table_of`."""
    return table_of(read(folder, split), stated_share)


def together(tables: list[Table]) -> Table:
    """The rows of several tables, without their raw columns."""
    rows = {name: np.concatenate([getattr(table, name) for table in tables]) for name in _ROWS}
    return Table(**rows, columns={})


_ROWS = ("x", "y", "valid", "identity")
