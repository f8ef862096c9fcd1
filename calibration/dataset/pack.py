"""Makes the small set that `calibration.evaluate` reads by default from what was rendered and tracked.

    python -m calibration.dataset.pack --data DIR --splits test testvideo [--every 2] [--out calibration/evaluate/data]

DIR holds `<split>-*.npz` of `calibration.dataset.tracked` with the outputs of `calibration.dataset.network_outputs`
beside them. The crops are left out, and so is of the body what no feature reads; numbers are rounded to what the
tracker is good for.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.dataset.crops import TARGETS
from calibration.dataset.rows import CROPS, FRAMES_A_VIDEO
from calibration.dataset.table import Columns, present, read_shards
from posturewatch.config.resources import calibration_dir
from posturewatch.model.observation import BODY_LANDMARKS, SIDES

#: What no evaluation reads.
LEFT_OUT = {
    *TARGETS,
    "true_joints_m",
    *(f"{name}_{part}" for name in CROPS for part in ("bytes", "length", "pixels")),
}
#: Steps that columns are rounded to, in pixels and metres.
STEPS = {
    "landmarks_px": 0.1,
    "body_px": 0.5,
    "landmarks_m": 0.0002,
    "body_m": 0.001,
    "body_visibility": 0.005,
}
OUTPUT_STEPS = {"forearm": 0.002, "fingers": 0.01}


def rounded(values: NDArray[Any], step: float) -> NDArray[np.float32]:
    return np.asarray(np.round(values.astype(float) / step) * step, np.float32)


def packed(columns: Columns, every: int) -> tuple[Columns, NDArray[np.bool_]]:
    """The columns worth keeping of every n-th frame, and which rows of hands those are."""
    kept = {"": columns["frame"] % FRAMES_A_VIDEO % every == 0}
    kept["t_"] = columns["t_frame"] % FRAMES_A_VIDEO % every == 0
    read = [BODY_LANDMARKS[f"{side}_{part}"] for side in SIDES for part in ("shoulder", "elbow", "wrist")]
    unread = np.setdiff1d(np.arange(columns["body_px"].shape[1]), read)
    out = {}
    for name, values in columns.items():
        if name in LEFT_OUT:
            continue
        chosen = values[kept["t_" if name.startswith("t_") else ""]]
        if name in STEPS:
            chosen = rounded(chosen, STEPS[name])
        if name.startswith("body_") and chosen.ndim > 1:
            chosen[:, unread] = 0
        out[name] = chosen
    return out, kept[""]


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--splits", nargs="+", default=["test"])
    parser.add_argument("--every", type=int, default=1, help="keep one of so many frames of each video")
    parser.add_argument("--out", type=Path, default=calibration_dir() / "evaluate" / "data")
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    for split in present(args.data, args.splits):
        every = args.every if split.endswith("video") else 1
        columns, kept = packed(read_shards(args.data, split), every)
        np.savez_compressed(args.out / f"{split}-players.npz", **columns)
        for name, step in OUTPUT_STEPS.items():
            output = np.load(args.data / f"{name}-{split}.npz")["output"][kept]
            np.savez_compressed(args.out / f"{name}-{split}.npz", output=rounded(output, step))
        size = sum(file.stat().st_size for file in args.out.glob(f"*{split}[-.]*npz"))
        print(f"{split}: {kept.sum()} hands, {size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
