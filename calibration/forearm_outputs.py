"""Runs a forearm network over the cuttings of a data folder, as the program does.

    python -m calibration.forearm_outputs --data DIR --network calibration/weights/forearm.onnx --splits cal test

writes `forearm-<split>.npz` beside the shards, which `calibration.table` then reads.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.table import read_shards
from posturewatch.resources import calibration_dir
from posturewatch.tracking.forearm import CROP_PX, ForearmNet

BATCH = 64


def _cutting(data: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """RGB; cuttings that were kept smaller, for an earlier network, are enlarged."""
    picture = np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)[:, :, ::-1]
    if len(picture) != CROP_PX:
        picture = cv2.resize(picture, (CROP_PX, CROP_PX), interpolation=cv2.INTER_LINEAR)
    return np.asarray(picture, np.uint8)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--network", type=Path, default=calibration_dir() / "weights" / "forearm.onnx")
    parser.add_argument("--splits", nargs="+", default=["cal", "test"])
    args = parser.parse_args()
    net = ForearmNet(args.network)
    for split in args.splits:
        columns = read_shards(args.data, split)
        lengths = columns["crop_length"].astype(int)
        ends = np.cumsum(lengths)
        outputs = []
        for first in range(0, len(lengths), BATCH):
            crops = [
                _cutting(columns["crop_bytes"][ends[k] - lengths[k] : ends[k]])
                for k in range(first, min(first + BATCH, len(lengths)))
            ]
            outputs.append(net.outputs(np.stack(crops)))
        np.savez(args.data / f"forearm-{split}.npz", output=np.concatenate(outputs).astype(np.float32))
        print(f"{split}: {len(lengths)} cuttings")


if __name__ == "__main__":
    main()
