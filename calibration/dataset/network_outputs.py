"""Runs both networks over the crops of a data folder, as the program does.

    python -m calibration.dataset.network_outputs --data DIR --splits cal test

writes `forearm-<split>.npz` and `fingers-<split>.npz` beside the shards, which `calibration.dataset.table` then reads.
"""

from __future__ import annotations

import argparse
import itertools
import sys
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.dataset.table import Columns, present, read_shards
from posturewatch.config.resources import calibration_dir
from posturewatch.tracking import FingerNet, ForearmNet
from posturewatch.tracking.crop import CropNet

BATCH = 64


def outputs(net: CropNet, columns: Columns, prefix: str) -> NDArray[np.float32]:
    """(n, k) what the network says of every row's crop."""
    pictures = crops(columns, prefix)
    parts = []
    while batch := list(itertools.islice(pictures, BATCH)):
        parts.append(net.outputs(batch))
    return np.concatenate(parts).astype(np.float32)


def crops(columns: Columns, prefix: str) -> Iterator[NDArray[np.uint8]]:
    """Every row's crop (size, size, 3), BGR."""
    if f"{prefix}_pixels" in columns:
        yield from columns[f"{prefix}_pixels"]
        return
    end = 0
    for length in columns[f"{prefix}_length"]:
        end += int(length)
        jpeg = columns[f"{prefix}_bytes"][end - int(length) : end]
        yield np.asarray(cv2.imdecode(jpeg, cv2.IMREAD_COLOR), np.uint8)


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
    for split in present(args.data, args.splits):
        columns = read_shards(args.data, split)
        for name, prefix, net in nets:
            np.savez(args.data / f"{name}-{split}.npz", output=outputs(net, columns, prefix))
        print(f"{split}: {len(columns['side'])} hands", file=sys.stderr)


if __name__ == "__main__":
    main()
