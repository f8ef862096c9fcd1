"""A small file of three body identities, one of each split, out of a baked one: enough to try everything that renders.

    python -m calibration.body.few --bodies BODIES.npz --out tests/data/few_bodies.npz

The checks render with it where the parametric body itself is not installed.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

from calibration.body.bodies import SPLITS, load_bodies

#: Bodies are told apart to split by their number; these are as few as have a body of every split.
SLOTS = 18


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--bodies", type=Path, required=True, help="as calibration.body.bodies bakes them")
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    bodies = load_bodies(args.bodies)
    chosen = np.zeros(SLOTS, int)
    for split in SPLITS:
        own = bodies.of_split(split)
        chosen[own[own < SLOTS]] = own[0]
    with np.load(args.bodies) as file:
        columns = dict(file)
    vertices = bodies.vertices[chosen]
    columns["base"] = vertices[0]
    columns["delta"] = np.concatenate([np.zeros_like(vertices[:1]), np.diff(vertices, axis=0)])
    for name in ("heads", "tails", "phenotypes"):
        columns[name] = columns[name][chosen]
    np.savez_compressed(args.out, **columns)
    print(f"{len(SPLITS)} bodies in {args.out}, {args.out.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
