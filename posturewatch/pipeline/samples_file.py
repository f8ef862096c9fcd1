"""The table that `posturewatch analyse` writes: one row per frame and hand."""

from __future__ import annotations

import csv
from pathlib import Path
from types import TracebackType

from posturewatch.errors import InputError
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement
from posturewatch.model.observation import SIDES
from posturewatch.model.quantities import in_group
from posturewatch.review.samples_csv import cell, csv_header, csv_row

__all__ = ["COLUMNS", "SamplesFile", "row"]

_WRIST, _FINGERS = in_group("wrist"), in_group("finger")

COLUMNS: tuple[str, ...] = tuple(csv_header(_WRIST, _FINGERS))


def row(time_s: float, hand: HandMeasurement) -> list[str]:
    """One hand in one frame; see `posturewatch.review.samples_csv`."""
    wrist, fingers = ([cell(hand.values[entry.name]) for entry in group] for group in (_WRIST, _FINGERS))
    return csv_row(f"{time_s:.4f}", hand.side, wrist, fingers, hand.lift_plane)


class SamplesFile:
    """Writes rows as they come, so that an interrupted run keeps them. Raises InputError where it cannot."""

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            self._file = path.open("w", newline="", encoding="utf-8")
        except OSError as error:
            raise InputError(
                f"{path} cannot be written ({error.strerror}); choose another folder with --out."
            ) from error
        self._writer = csv.writer(self._file)
        self.write_cells(list(COLUMNS))

    def write(self, measurement: FrameMeasurement) -> None:
        """Both hands of one frame."""
        for side in SIDES:
            self.write_cells(row(measurement.time_s, measurement.hand(side)))

    def write_cells(self, cells: list[str]) -> None:
        try:
            self._writer.writerow(cells)
        except OSError as error:
            raise self._full(error) from error

    def close(self) -> None:
        """May be called twice."""
        try:
            self._file.close()
        except OSError as error:
            raise self._full(error) from error

    def _full(self, error: OSError) -> InputError:
        return InputError(f"{self.path} cannot be written to its end ({error.strerror}); free some space.")

    def __enter__(self) -> SamplesFile:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
