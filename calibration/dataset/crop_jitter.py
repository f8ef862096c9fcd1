"""How the tracker's hands lie upon the true ones: what the networks' training crops are moved by.

    python -m calibration.dataset.crop_jitter --data DIR [--out calibration/crop jitters.csv]

A network that was only ever shown crops around exact landmarks is 2 degrees worse on the crops it gets from the
tracker, whose wrist lies a tenth of a palm nearer to the fingers, whose hand is a fifth smaller, and which is now and
then turned far off. The command reads the hands that the tracker found in training pictures and writes how each of them
is placed; the training (`calibration.train.network`) draws from that table.
"""

from __future__ import annotations

import argparse
import math
from pathlib import Path

import numpy as np

from calibration.dataset.table import Columns, read_shards
from posturewatch.model.arrays import FloatArray
from posturewatch.model.observation import Side
from posturewatch.tracking.crop import Crop, hand_angle_rad, hand_scale_px

__all__ = ["CROP_JITTER", "crop_jitter_of", "padded_crop_of", "read_crop_jitter", "usual"]


CROP_JITTER = Path(__file__).parent / "crop_jitter.csv"
NAMES = ("wrist_right", "wrist_down", "turn_rad", "log_scale")

#: A padded crop is so many times as wide as the crop that is taken from it.
MARGIN = 1.4


def crop_jitter_of(found_px: FloatArray, true_px: FloatArray, side: Side) -> FloatArray:
    """(4,) how a found hand lies upon the true one, both (21, 2 or 3), in the picture of a crop around the true one
    (hand up, right hands mirrored): the way of its wrist to the right and down in true hand scales, its turn clockwise,
    and the log of its scale over the true one's."""
    angle, scale = hand_angle_rad(true_px), hand_scale_px(true_px)
    x, y = (found_px[0, :2] - true_px[0, :2]) / scale
    c, s = math.cos(angle), math.sin(angle)
    flip = -1.0 if side == "right" else 1.0
    turn = (hand_angle_rad(found_px) - angle + math.pi) % (2 * math.pi) - math.pi
    return np.array(
        [flip * (c * x + s * y), c * y - s * x, flip * turn, math.log(hand_scale_px(found_px) / scale)]
    )


def read_crop_jitter(path: Path = CROP_JITTER) -> FloatArray:
    """(n, 4) as `crop_jitter_of`."""
    return np.loadtxt(path, delimiter=",", skiprows=1, ndmin=2)


def usual(jitters: FloatArray) -> FloatArray:
    """(4,) the middle one."""
    return np.asarray(np.median(jitters, axis=0))


def padded_crop_of(crop: Crop, jitters: FloatArray) -> Crop:
    """What is cut around exact landmarks for training: as sharp as the usual tracked crop, with that one in its
    middle, and wide enough that nearly every other lies inside."""
    _, down, _, log_scale = usual(jitters)
    size = 2 * round(MARGIN * crop.size_px / 2)
    hand_px = crop.hand_px * math.exp(-log_scale)
    middle = (np.full(2, crop.size_px / 2) - crop.wrist_px) / hand_px + np.array([0.0, down])
    wrist = np.full(2, size / 2) - hand_px * middle
    return Crop(size, size / hand_px, (float(wrist[0]) / size, float(wrist[1]) / size))


def crop_jitters_of(columns: Columns) -> FloatArray:
    """(n, 4) of the found hands among the rows of `calibration.dataset.tracked`."""
    out = []
    for row in np.flatnonzero(columns["valid"] & columns["matched"] & columns["found"]):
        width, height = (int(v) for v in columns["size"][row])
        joints = columns["true_joints_m"][row].astype(float)
        focal = 0.5 * width / math.tan(math.radians(float(columns["hfov_deg"][row])) / 2)
        true_px = joints[:, :2] / joints[:, 2:] * focal + np.array([width, height]) / 2
        side: Side = "right" if columns["side"][row] else "left"
        out.append(crop_jitter_of(columns["landmarks_px"][row].astype(float), true_px, side))
    return np.array(out)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, nargs="+", required=True)
    parser.add_argument("--count", type=int, default=2000, help="how many to write, drawn from all")
    parser.add_argument("--out", type=Path, default=CROP_JITTER)
    args = parser.parse_args()
    found = np.concatenate([crop_jitters_of(read_shards(folder, "train")) for folder in args.data])
    for name, values in zip(NAMES, found.T, strict=True):
        cells = ", ".join(f"{np.percentile(values, p):.3f}" for p in (1, 5, 25, 50, 75, 95, 99))
        print(f"{name}: percentiles 1, 5, 25, 50, 75, 95, 99: {cells}")
    drawn = np.random.default_rng(1).choice(len(found), min(args.count, len(found)), replace=False)
    np.savetxt(args.out, found[drawn], fmt="%.4f", delimiter=",", header=",".join(NAMES), comments="")
    print(f"wrote {args.out}: {len(drawn)} of {len(found)} hands")


if __name__ == "__main__":
    main()
