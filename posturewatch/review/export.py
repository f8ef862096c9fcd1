"""A session as files for other programs: CSV with one row per sample, and JSON with all that is known of it."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from typing import Any

import numpy as np

from posturewatch.errors import InputError
from posturewatch.model.observation import Side
from posturewatch.model.quantities import GROUPS, in_group, quantity
from posturewatch.review.samples_csv import EMPTY, Cell, csv_header, csv_row
from posturewatch.storage.reader import SessionRecord, StoredSeries

__all__ = ["csv_blocks", "session_json", "write_session"]

#: A row at a time would be slow to send: each block goes through a thread of the server.
_BLOCK_ROWS = 5000


def csv_blocks(record: SessionRecord) -> Iterator[str]:
    """The text in blocks of many lines: the header, then one row per time and hand, units in the header.

    Columns are as in the table that `posturewatch analyse` writes, `status` and `reason` those of the wrist. An
    empty cell was not measured, or not kept: of fingers some samples a second are.
    """
    kept = {one.quantity for one in record.series}
    wrist, fingers = (tuple(one for one in in_group(group) if one.name in kept) for group in GROUPS)
    yield _block([csv_header(wrist, fingers)])
    names = tuple(one.name for one in (*wrist, *fingers))
    sides = tuple(dict.fromkeys(one.side for one in record.series))
    rows = [row for side in sides for row in _rows(record, side, names, len(wrist))]
    # Stable: both hands of a frame stay together, in the order of the sides.
    rows.sort(key=lambda row: row[0])
    for first in range(0, len(rows), _BLOCK_ROWS):
        yield _block([cells for _, cells in rows[first : first + _BLOCK_ROWS]])


def _rows(
    record: SessionRecord, side: Side, names: tuple[str, ...], wrists: int
) -> Iterator[tuple[float, list[str]]]:
    """(time, cells) of one hand; the first `wrists` of the names are the wrist's quantities."""
    series = {one.quantity: one for one in record.series if one.side == side}
    times = np.unique(np.concatenate([one.time_s for one in series.values()]))
    columns = [_cells(series[name], times) if name in series else None for name in names]
    lifts = [place for place, name in enumerate(names) if quantity(name).family == "finger_lift"]
    planes = [record.planes[place].plane if place >= 0 else None for place in record.plane_at(side, times)]
    for place, time_s in enumerate(times.tolist()):
        at = [EMPTY if column is None else column[place] for column in columns]
        plane = planes[place] if any(at[lift][0] for lift in lifts) else None
        yield time_s, csv_row(f"{time_s:.3f}", side, at[:wrists], at[wrists:], plane)


def _cells(one: StoredSeries, times: np.ndarray[Any, np.dtype[np.float64]]) -> list[Cell]:
    """The cell at each time; all empty where the series has no sample then."""
    cells = [EMPTY] * times.size
    numbers = zip(one.value.tolist(), one.sd.tolist(), one.refusal.tolist(), strict=True)
    for place, (value, sd, refusal) in zip(np.searchsorted(times, one.time_s).tolist(), numbers, strict=True):
        if refusal:
            cells[place] = ("", "", one.refusals[refusal - 1].value)
        else:
            cells[place] = (f"{value:.2f}", f"{sd:.2f}", "")
    return cells


def _block(rows: list[list[str]]) -> str:
    text = StringIO()
    csv.writer(text).writerows(rows)
    return text.getvalue()


def session_json(record: SessionRecord, document: dict[str, Any]) -> dict[str, Any]:
    """The session's document and summary with the settings and all samples; null where not measured."""
    return {
        **document,
        "settings": record.settings,
        "max_gap_s": record.max_gap_s,
        "damage": list(record.damage),
        "samples": [
            {
                "side": one.side,
                "quantity": one.quantity,
                "unit": quantity(one.quantity).unit,
                "time_s": one.time_s.tolist(),
                "value": [None if refused else value for value, refused in _pairs(one.value, one)],
                "sd": [None if refused else sd for sd, refused in _pairs(one.sd, one)],
                "refusal": [one.refusals[code - 1].value if code else None for code in one.refusal.tolist()],
            }
            for one in record.series
        ],
    }


def _pairs(numbers: np.ndarray[Any, np.dtype[np.float64]], one: StoredSeries) -> Iterator[tuple[float, int]]:
    return zip(numbers.tolist(), one.refusal.tolist(), strict=True)


def write_session(record: SessionRecord, document: dict[str, Any], folder: Path) -> tuple[Path, Path]:
    """Writes ID.csv and ID.json into the folder, made where it is not there.

    Raises
    ------
    InputError
        Where they cannot be written, or where one of the files is there already.
    """
    paths = (folder / f"{record.info.id}.csv", folder / f"{record.info.id}.json")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with paths[0].open("x", newline="", encoding="utf-8") as file:
            file.writelines(csv_blocks(record))
        with paths[1].open("x", encoding="utf-8") as file:
            json.dump(session_json(record, document), file, ensure_ascii=False, allow_nan=False)
    except FileExistsError as error:
        raise InputError(f"{error.filename} is there already; choose another folder with --out.") from error
    except OSError as error:
        raise InputError(
            f"The session cannot be written to {folder} ({error.strerror}); choose another with --out."
        ) from error
    return paths
