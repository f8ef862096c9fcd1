"""Runs both networks over the crops of a data folder, as the program does.

    python -m calibration.dataset.network_outputs --data DIR --splits cal test

writes `forearm-<split>.npz` and `fingers-<split>.npz` beside the shards, which `calibration.dataset.table` then reads.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.dataset.table import Columns, read_shards
from posturewatch.config.resources import calibration_dir
from posturewatch.tracking import FingerNet, ForearmNet
from posturewatch.tracking.crop import CropNet

BATCH = 64


def outputs(net: CropNet, columns: Columns, prefix: str) -> NDArray[np.float32]:
    """(n, k) what the network says of every row's crop."""
    lengths, data = columns[f"{prefix}_length"].astype(int), columns[f"{prefix}_bytes"]
    ends = np.cumsum(lengths)
    parts = []
    for first in range(0, len(lengths), BATCH):
        rows = range(first, min(first + BATCH, len(lengths)))
        pictures = [cv2.imdecode(data[ends[k] - lengths[k] : ends[k]], cv2.IMREAD_COLOR) for k in rows]
        parts.append(net.outputs(pictures))
    return np.concatenate(parts).astype(np.float32)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--networks", type=Path, default=calibration_dir() / "weights", help="their folder")
    parser.add_argument("--splits", nargs="+", default=["cal", "test"])
    args = parser.parse_args()
    nets: tuple[tuple[str, str, CropNet], ...] = (
        ("forearm", "crop", ForearmNet(args.networks / "forearm.onnx")),
        ("fingers", "close", FingerNet(args.networks / "fingers.onnx")),
    )
    for split in args.splits:
        columns = read_shards(args.data, split)
        for name, prefix, net in nets:
            np.savez(args.data / f"{name}-{split}.npz", output=outputs(net, columns, prefix))
        print(f"{split}: {len(columns['side'])} hands", file=sys.stderr)


if __name__ == "__main__":
    main()
