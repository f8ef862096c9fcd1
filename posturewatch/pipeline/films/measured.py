"""Measurements of many frames as arrays: what a part of a film leaves in memory, in a file, between processes."""

from __future__ import annotations

import io
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from posturewatch.model.arrays import Array
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, LiftPlane, Measurement, Refusal
from posturewatch.model.observation import SIDES
from posturewatch.model.quantities import QUANTITY_NAMES

__all__ = ["MeasuredPart"]

_REFUSALS = tuple(Refusal)
_PLANES: tuple[LiftPlane | None, ...] = (None, *get_args(LiftPlane))
_ARRAYS = ("time_s", "value", "sd", "refusal", "plane")


@dataclass(frozen=True)
class MeasuredPart:
    """Both hands in n frames, exactly as they were measured.

    Attributes
    ----------
    time_s
        (n,) seconds of the film.
    value, sd
        (n, 2, q) by frame, side and quantity, each in the order of its table; NaN where refused.
    refusal
        (n, 2, q): 0 where measured, otherwise 1 + the place of the reason in `Refusal`.
    plane
        (n, 2) the place of what lifts were measured from, 0 where nothing was.
    notice
        What the film's reader said at the end, or None.
    incomplete
        Whether the film held less than it states.
    whole
        Whether it was measured to its end, and not interrupted.
    """

    time_s: Array
    value: Array
    sd: Array
    refusal: NDArray[np.uint8]
    plane: NDArray[np.uint8]
    notice: str | None = None
    incomplete: bool = False
    whole: bool = True

    @classmethod
    def of(
        cls,
        measured: Sequence[FrameMeasurement],
        notice: str | None = None,
        *,
        incomplete: bool = False,
        whole: bool = True,
    ) -> MeasuredPart:
        """From measurements in the order of their frames."""
        shape = (len(measured), len(SIDES), len(QUANTITY_NAMES))
        value, sd = np.full((2, *shape), np.nan)
        refusal, plane = np.zeros(shape, np.uint8), np.zeros(shape[:2], np.uint8)
        for row, one in enumerate(measured):
            for column, side in enumerate(SIDES):
                hand = one.hand(side)
                plane[row, column] = _PLANES.index(hand.lift_plane)
                for place, name in enumerate(QUANTITY_NAMES):
                    single = hand.values[name]
                    if single.refusal is None:
                        value[row, column, place], sd[row, column, place] = single.value, single.sd
                    else:
                        refusal[row, column, place] = 1 + _REFUSALS.index(single.refusal)
        times = np.array([one.time_s for one in measured], float)
        return cls(times, value, sd, refusal, plane, notice, incomplete, whole)

    def measurements(self, first: int, shift_s: float) -> Iterator[FrameMeasurement]:
        """The measurements again, numbered from `first` on, their times less shift_s."""
        for row, time_s in enumerate(self.time_s.tolist()):
            hands = [self._hand(row, column) for column in range(len(SIDES))]
            yield FrameMeasurement(first + row, time_s - shift_s, *hands)

    def _hand(self, row: int, column: int) -> HandMeasurement:
        numbers = zip(
            QUANTITY_NAMES,
            self.value[row, column].tolist(),
            self.sd[row, column].tolist(),
            self.refusal[row, column].tolist(),
            strict=True,
        )
        values = {
            name: Measurement.refused(_REFUSALS[code - 1]) if code else Measurement(value, sd, None)
            for name, value, sd, code in numbers
        }
        return HandMeasurement(SIDES[column], values, _PLANES[int(self.plane[row, column])])

    def to_bytes(self) -> bytes:
        """As a file or a message; only of a part that was measured to its end."""
        buffer = io.BytesIO()
        np.savez_compressed(
            buffer,
            **{name: getattr(self, name) for name in _ARRAYS},
            notice=np.array("" if self.notice is None else self.notice),
            incomplete=np.array(self.incomplete),
        )
        return buffer.getvalue()

    @classmethod
    def from_bytes(cls, data: bytes) -> MeasuredPart:
        """The opposite of `to_bytes`.

        Raises
        ------
        ValueError
            Where they are no part, or not a whole one.
        """
        try:
            with np.load(io.BytesIO(data), allow_pickle=False) as kept:
                arrays = {name: kept[name] for name in _ARRAYS}
                notice, incomplete = str(kept["notice"]) or None, bool(kept["incomplete"])
        # Of a file that was cut short, numpy's and zipfile's errors are many.
        except Exception as error:
            raise ValueError(f"no part of a film: {error}") from error
        shape = (len(arrays["time_s"]), len(SIDES), len(QUANTITY_NAMES))
        if [one.shape for one in arrays.values()] != [shape[:1], shape, shape, shape, shape[:2]]:
            raise ValueError("a part of a film of another version")
        return cls(**arrays, notice=notice, incomplete=incomplete)

    def save(self, path: Path) -> None:
        """Under another name first, so that what has this name is whole. Raises OSError."""
        beside = path.with_name(path.name + ".part")
        with beside.open("wb") as file:
            file.write(self.to_bytes())
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
