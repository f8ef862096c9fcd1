"""What the two networks say of one hand, by name: the only place that knows how their numbers lie in a row.

Both look at crops that show every hand as a left one that points up (`posturewatch.tracking.crop`), and say
everything in the crop's own axes: x right, y down, z away from a camera that looks straight at the wrist. The same
classes hold one hand or many: every field keeps the leading axes of the rows it was read from, and their kind, a
numpy array or a torch tensor.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from types import MappingProxyType
from typing import Any, Generic, TypeVar

from posturewatch.model.estimator_outputs import LONG_FINGERS, OUTPUTS

__all__ = ["GUESS_UNIT", "FingerOutputs", "ForearmOutputs", "NetworkOutputs", "Outputs", "slices_of"]

#: The networks guess degrees and millimetres in units of this.
GUESS_UNIT = 30.0

Numbers = TypeVar("Numbers")
Outputs = TypeVar("Outputs", bound="NetworkOutputs[Any]")


def slices_of(widths: Mapping[str, int]) -> Mapping[str, slice]:
    """Where each name lies in a row in which they stand one after the other.

    Parameters
    ----------
    widths
        How many numbers each name has, in the row's order.
    """
    at, found = 0, {}
    for name, width in widths.items():
        found[name] = slice(at, at + width)
        at += width
    return MappingProxyType(found)


def _shaped(*shape: int, optional: bool = False) -> Mapping[str, Any]:
    """Of a field: its shape beyond the leading axes, and whether rows may end before it."""
    return {"shape": shape, "optional": optional}


@dataclass(frozen=True, eq=False)
class NetworkOutputs(Generic[Numbers]):
    """Base of both networks' outputs: the fields are the row's numbers, in the row's order."""

    @classmethod
    @cache
    def widths(cls) -> Mapping[str, int]:
        """How many numbers of a row each field is made of, in the row's order."""
        return MappingProxyType(
            {one.name: math.prod(one.metadata["shape"]) for one in dataclasses.fields(cls)}
        )

    @classmethod
    @cache
    def slices(cls) -> Mapping[str, slice]:
        """Where each field lies in a row."""
        return slices_of(cls.widths())

    @classmethod
    def from_rows(cls: type[Outputs], rows: Any) -> Outputs:
        """Reads raw rows.

        Parameters
        ----------
        rows
            (..., width) the network's output, numpy or torch.

        Returns
        -------
        The outputs by name, each (..., *its shape); an optional one that the rows end before is NaN.

        Raises
        ------
        ValueError
            The rows are not as wide as this network's output.
        """
        named, read = {}, 0
        for one in dataclasses.fields(cls):
            shape, part = one.metadata["shape"], cls.slices()[one.name]
            if part.stop <= rows.shape[-1]:
                named[one.name] = rows[..., part].reshape((*rows.shape[:-1], *shape))
                read = part.stop
            elif one.metadata["optional"]:
                unknown = rows[..., [0] * math.prod(shape)] * math.nan
                named[one.name] = unknown.reshape((*rows.shape[:-1], *shape))
            else:
                break
        if len(named) < len(cls.slices()) or read != rows.shape[-1]:
            width = sum(cls.widths().values())
            raise ValueError(f"{cls.__name__} are read from (..., {width}) numbers, got {tuple(rows.shape)}")
        return cls(**named)


@dataclass(frozen=True, eq=False)
class ForearmOutputs(NetworkOutputs[Numbers]):
    """What `forearm.onnx` says of the wide crop, 21 numbers a hand.

    Attributes
    ----------
    direction
        (2,) from the wrist towards the elbow in the crop, of any length.
    direction_log_scale
        Log of the direction's Laplace scale, radians.
    depth_slope
        Tangent of the forearm's angle out of the crop's plane; positive where the elbow is farther from the camera.
    depth_slope_log_scale
        Log of its Laplace scale.
    forearm_logit
        Logit of the forearm's being in view.
    strings_logit
        Logit of the strings beside the fingers being in view.
    hand_proximal, hand_radial, forearm_radial
        (3,) anatomical directions of hand and forearm, of any length.
    elbow
        (2,) the elbow's place from the wrist, hand scales.
    wrist_guess
        (2,) a first guess at flexion and ulnar deviation, in units of `GUESS_UNIT` degrees.
    side_logit
        Logit of the hand's being of the side it was cut for.
    """

    direction: Numbers = field(metadata=_shaped(2))
    direction_log_scale: Numbers = field(metadata=_shaped())
    depth_slope: Numbers = field(metadata=_shaped())
    depth_slope_log_scale: Numbers = field(metadata=_shaped())
    forearm_logit: Numbers = field(metadata=_shaped())
    strings_logit: Numbers = field(metadata=_shaped())
    hand_proximal: Numbers = field(metadata=_shaped(3))
    hand_radial: Numbers = field(metadata=_shaped(3))
    forearm_radial: Numbers = field(metadata=_shaped(3))
    elbow: Numbers = field(metadata=_shaped(2))
    wrist_guess: Numbers = field(metadata=_shaped(2))
    side_logit: Numbers = field(metadata=_shaped())


@dataclass(frozen=True, eq=False)
class FingerOutputs(NetworkOutputs[Numbers]):
    """What `fingers.onnx` says of the close crop, 160 numbers a hand.

    Attributes
    ----------
    hand_proximal, hand_radial
        (3,) anatomical directions of the hand, of any length.
    guess
        (22,) a first guess at each of `OUTPUTS`, in units of `GUESS_UNIT` degrees or millimetres.
    guess_log_scale
        (22,) log of their Laplace scales, in the same units.
    lifted_logits
        (4,) logits of index to little finger being lifted from the strings.
    strings_logit
        Logit of the strings being in view.
    joints
        (20, 3) places of the joints 1 to 20 from the wrist, palm lengths.
    hand_logit
        Logit of there being a hand at all.
    side_logit
        Logit of the hand's being of the side it was cut for.
    strings_spread
        How widely spread the places are at which the outer strings may be, hand scales. NaN where the rows lack it:
        it is worked out from the network's heatmaps and not learned.
    places
        (21, 2) where in the crop the joints 0 to 20 lie, x and y in shares of its side; of the heatmaps too.
    """

    hand_proximal: Numbers = field(metadata=_shaped(3))
    hand_radial: Numbers = field(metadata=_shaped(3))
    guess: Numbers = field(metadata=_shaped(len(OUTPUTS)))
    guess_log_scale: Numbers = field(metadata=_shaped(len(OUTPUTS)))
    lifted_logits: Numbers = field(metadata=_shaped(len(LONG_FINGERS)))
    strings_logit: Numbers = field(metadata=_shaped())
    joints: Numbers = field(metadata=_shaped(20, 3))
    hand_logit: Numbers = field(metadata=_shaped())
    side_logit: Numbers = field(metadata=_shaped())
    strings_spread: Numbers = field(metadata=_shaped(optional=True))
    places: Numbers = field(metadata=_shaped(21, 2, optional=True))
