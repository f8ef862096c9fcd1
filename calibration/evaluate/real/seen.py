"""What the tracker and the networks see of the real material, kept in a scratch folder.

Tracking is slow (half a second a picture and more) and kept as `tracked-*.npz`; what the networks say of the tracked
hands is quick and made anew for other weights (`looked-*.npz`). So the tracker's choices among several looks at a hand
stay those of the networks that were in use when the folder was filled: `--fresh` fills it again.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.dataset.table import Columns, add_forearm
from calibration.evaluate.real.material import Source, shots
from posturewatch.model.frame import Frame
from posturewatch.model.observation import HandObservation, Observation, Side, other_side
from posturewatch.pipeline.build import fingers_path, forearm_path, load_tracker
from posturewatch.tracking import FingerNet, ForearmNet

__all__ = ["HeatmapPlaces", "hand_row", "looked", "network_outputs", "pack", "tracked"]

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
JOINTS = 21

_SIDES: tuple[Side, Side] = ("left", "right")


def _body(observation: Observation) -> dict[str, Any]:
    body = observation.body
    return {
        "has_body": np.bool_(body is not None),
        "body_px": np.zeros((33, 3), np.float32) if body is None else body.landmarks_px.astype(np.float32),
        "body_m": np.zeros((33, 3), np.float32) if body is None else body.landmarks_m.astype(np.float32),
        "body_visibility": np.zeros(33, np.float32) if body is None else body.visibility.astype(np.float32),
        "body_age_s": np.float32(0 if body is None else observation.time_s - body.time_s),
    }


def hand_row(observation: Observation, hand: HandObservation) -> dict[str, Any]:
    return {
        "frame": np.int64(observation.frame_index),
        "time_s": np.float64(observation.time_s),
        "size": np.array([observation.width_px, observation.height_px], np.int16),
        "landmarks_px": hand.landmarks_px.astype(np.float32),
        "landmarks_m": hand.landmarks_m.astype(np.float32),
        "side": np.int8(hand.side == "right"),
        "side_confidence": np.float32(hand.side_confidence),
        "score": np.float32(hand.score),
        "label_agrees": np.bool_(hand.label_agrees),
        **_body(observation),
    }


def pack(rows: list[dict[str, Any]]) -> Columns:
    return {name: np.stack([row[name] for row in rows]) for name in rows[0]} if rows else {}


def tracked(
    source: Source, cache: Path, mode: str = "still", *, every: int = 1, fresh: bool = False
) -> Columns:
    """One row for each hand found in each picture, in the layout of `calibration.dataset.table`; mode: the tracker's;
    every: of a video, one picture in so many is looked at.

    `frames_frame`, `frames_time_s` and `frames_body_*` (m,) tell of all pictures that were looked at, with a hand or
    without one."""
    path = cache / f"tracked-{mode}-{every}-{source.name}.npz"
    if path.exists() and not fresh:
        with np.load(path) as archive:
            return dict(archive)
    rows: list[dict[str, Any]] = []
    frames: list[dict[str, Any]] = []
    with load_tracker(mode) as tracker:  # type: ignore[arg-type]
        for shot in shots(source):
            if shot.frame % every:
                continue
            observation = tracker.observe(Frame(shot.frame, shot.time_s, shot.image_bgr))
            frames.append(
                {"frame": np.int64(shot.frame), "time_s": np.float64(shot.time_s), **_body(observation)}
            )
            rows += [hand_row(observation, hand) for hand in observation.hands]
    out = {**pack(rows), **{f"frames_{name}": values for name, values in pack(frames).items()}}
    cache.mkdir(parents=True, exist_ok=True)
    np.savez_compressed(path, **out)
    return out


def networks_name(forearm: Path, fingers: Path) -> str:
    """A short name of what both files hold."""
    return hashlib.sha256(forearm.read_bytes() + fingers.read_bytes()).hexdigest()[:10]


class HeatmapPlaces:
    """Where the finger network points before it says anything: the places of the joints in the picture."""

    def __init__(self, path: Path) -> None:
        self._net = cv2.dnn.readNetFromONNX(str(path))
        names = list(self._net.getLayerNames())
        after = next(k for k, name in enumerate(names) if "Softmax" in name)
        self._name = next(name for name in names[after:] if "MatMul" in name)

    def places(self, image_bgr: Image, hands: list[tuple[Array, Side]]) -> NDArray[np.float32]:
        """(n, 21, 3): x and y in pixels of the picture, and how widely they are spread, in hand scales."""
        crop = FingerNet.crop
        affines = [crop.transform(*hand) for hand in hands]
        plain = cv2.dnn.blobFromImages(
            [crop.cut(image_bgr, affine) for affine in affines],
            1 / 127.5,
            mean=(127.5, 127.5, 127.5),
            swapRB=True,
        )
        # As the network takes them: each two by two pixels behind one another, row by row.
        blocks = [plain[:, :, down::2, right::2] for down, right in ((0, 0), (0, 1), (1, 0), (1, 1))]
        self._net.setInput(np.concatenate(blocks, axis=1))
        moments = np.asarray(self._net.forward(self._name), float).reshape(len(hands), -1, 4)[:, :JOINTS]
        spread = np.sqrt(np.maximum(moments[..., 2:] - moments[..., :2] ** 2, 0)).mean(-1) * crop.hands_across
        out = np.empty((len(hands), JOINTS, 3), np.float32)
        for k, affine in enumerate(affines):
            back = cv2.invertAffineTransform(affine)
            out[k, :, :2] = moments[k, :, :2] * crop.size_px @ back[:, :2].T + back[:, 2]
            out[k, :, 2] = spread[k]
        return out


def looked(
    source: Source, cache: Path, mode: str = "still", *, every: int = 1, fresh: bool = False
) -> Columns:
    """`tracked`, with what the networks in use say of each hand: `forearm` and `fingers` as in
    `calibration.dataset.table`, `forearm_other` and `fingers_other` of the same hand taken for the other side (raw
    outputs), and `places` (`HeatmapPlaces.places`)."""
    columns = tracked(source, cache, mode, every=every, fresh=fresh)
    if "side" not in columns:
        return columns
    name = networks_name(forearm_path(), fingers_path())
    path = cache / f"looked-{mode}-{every}-{name}-{source.name}.npz"
    if path.exists() and not fresh:
        with np.load(path) as archive:
            outputs = dict(archive)
    else:
        outputs = network_outputs(source, columns)
        np.savez_compressed(path, **outputs)
    out = {**columns, **{name: outputs[name] for name in outputs if name != "forearm"}}
    add_forearm(out, outputs["forearm"])
    return out


def network_outputs(source: Source, columns: Columns) -> dict[str, NDArray[np.float32]]:
    """What the networks say of each row's hand, in the picture of its frame."""
    forearm, fingers, heatmap = (
        ForearmNet(forearm_path()),
        FingerNet(fingers_path()),
        HeatmapPlaces(fingers_path()),
    )
    out: dict[str, list[Any]] = {
        name: [] for name in ("forearm", "fingers", "forearm_other", "fingers_other", "places")
    }
    for shot in shots(source):
        at = np.flatnonzero(columns["frame"] == shot.frame)
        if len(at) == 0:
            continue
        hands = [(columns["landmarks_px"][k].astype(float), _SIDES[int(columns["side"][k])]) for k in at]
        other = [(landmarks_px, other_side(side)) for landmarks_px, side in hands]
        out["forearm"].extend(forearm.look(shot.image_bgr, hands)[0])
        out["fingers"].extend(fingers.look(shot.image_bgr, hands)[0])
        out["forearm_other"].extend(forearm.look(shot.image_bgr, other)[0])
        out["fingers_other"].extend(fingers.look(shot.image_bgr, other)[0])
        out["places"].extend(heatmap.places(shot.image_bgr, hands))
    return {name: np.asarray(rows, np.float32) for name, rows in out.items()}
