"""A network between two others of the same form: the mean of their weights.

    python -m calibration.train.between BEFORE AFTER --share 0.5 --out FILE

A network that went on learning from another one's weights, on other pictures, got better on these and a little worse on
the first; one between them keeps most of both (Wortsman et al. 2022, arXiv:2109.01903). All three are ONNX files of
`calibration.train.network`, whose convolutions hold their normalisations.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import onnx
from onnx import numpy_helper

__all__ = ["between"]

_WEIGHED = ("Conv", "Gemm")


def between(before: Path, after: Path, share: float) -> onnx.ModelProto:
    """The network that lies so far, 0 to 1, on the way from one to the other.

    Raises
    ------
    ValueError
        Where the two have not the same layers.
    """
    models = [onnx.load(str(path)) for path in (before, after)]
    layers = [[node for node in model.graph.node if node.op_type in _WEIGHED] for model in models]
    if len(layers[0]) != len(layers[1]):
        raise ValueError(f"{before} and {after} have not the same layers")
    first, last = ({one.name: one for one in model.graph.initializer} for model in models)
    for old, new in zip(*layers, strict=True):
        for name, other in zip(new.input[1:], old.input[1:], strict=True):
            a, b = numpy_helper.to_array(first[other]), numpy_helper.to_array(last[name])
            if a.shape != b.shape:
                raise ValueError(f"{before} and {after} have not the same layers: {a.shape} and {b.shape}")
            mean = ((1 - share) * a + share * b).astype(b.dtype)
            last[name].CopyFrom(numpy_helper.from_array(mean, name))
    return models[1]


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("before", type=Path)
    parser.add_argument("after", type=Path)
    parser.add_argument("--share", type=float, default=0.5, help="0 is the first, 1 the second")
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    args.out.parent.mkdir(parents=True, exist_ok=True)
    onnx.save(between(args.before, args.after, args.share), str(args.out))
    print(f"wrote {args.out}")


if __name__ == "__main__":
    main()
