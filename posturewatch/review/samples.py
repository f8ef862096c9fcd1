"""Samples for the page: those of a stretch, and a whole session drawn together to a few hundred bins."""

from __future__ import annotations

import sqlite3
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.errors import InputError
from posturewatch.model.quantities import QUANTITY_NAMES, quantity
from posturewatch.storage.reader import SessionRecord
from posturewatch.storage.samples.chunks import read_chunks
from posturewatch.storage.samples.series import StoredSeries, series_order, stored_series

__all__ = ["LONGEST_S", "MOST_BINS", "samples_json", "series_between", "trace_json"]

#: Longest stretch whose samples are given one by one.
LONGEST_S = 300.0

MOST_BINS = 2000

#: Bins are no shorter, so that what is kept least often (fingers, ten times a second) has a sample in each.
SHORTEST_BIN_S = 0.2


def series_between(
    connection: sqlite3.Connection, session: int, start_s: float, end_s: float
) -> list[StoredSeries]:
    """The series of a session in [start_s, end_s); only the sound chunks that reach into it are read. The refusals
    are counted as the database does: 0 where measured."""
    found = []
    for key, side, name, value_step, sd_step in connection.execute(
        "SELECT id, side, quantity, value_step, sd_step FROM series WHERE session = ? ORDER BY side, quantity",
        (session,),
    ).fetchall():
        samples, _ = read_chunks(connection, key, (side, name), (round(1000 * start_s), round(1000 * end_s)))
        series = stored_series((side, name), samples, value_step, sd_step)
        inside = (series.time_s >= start_s) & (series.time_s < end_s)
        found.append(
            StoredSeries(
                series.side,
                series.quantity,
                series.time_s[inside],
                series.value[inside],
                series.sd[inside],
                series.refusal[inside],
            )
        )
    return sorted(found, key=series_order)


def samples_json(
    connection: sqlite3.Connection, session: int, start_s: float, end_s: float
) -> dict[str, Any]:
    """Time, value and standard deviation of each series.

    Raises
    ------
    InputError
        For an unusable stretch.
    """
    if not 0.0 <= start_s < end_s or end_s - start_s > LONGEST_S:
        raise InputError(
            f"Samples are given for at most {LONGEST_S:g} s at a time; ask for a shorter stretch."
        )
    return {
        "series": [
            {
                **_named(one),
                "time_s": one.time_s.tolist(),
                "value": _listed(one.value),
                "sd": _listed(one.sd),
            }
            for one in series_between(connection, session, start_s, end_s)
            if one.quantity in QUANTITY_NAMES
        ]
    }


def trace_json(record: SessionRecord, bins: int) -> dict[str, Any]:
    """Lowest, median and highest value by bin, and the share of its samples that was measured; at most so many bins,
    fewer in a short session."""
    if not 1 <= bins <= MOST_BINS:
        raise InputError(f"A trace has 1 to {MOST_BINS} bins; ask for fewer.")
    bins = max(1, min(bins, int(record.info.end_s / SHORTEST_BIN_S)))
    bin_s = max(record.info.end_s, 0.001) / bins
    return {
        "bin_s": bin_s,
        "series": [
            {
                **_named(one),
                **_binned(one, bin_s, bins),
            }
            for one in record.series
            if one.quantity in QUANTITY_NAMES
        ],
    }


def _named(one: StoredSeries) -> dict[str, Any]:
    entry = quantity(one.quantity)
    return {"side": one.side, "quantity": one.quantity, "unit": entry.unit, "group": entry.group}


def _binned(one: StoredSeries, bin_s: float, bins: int) -> dict[str, list[float | None]]:
    place = np.clip((one.time_s / bin_s).astype(np.int64), 0, bins - 1)
    every = np.bincount(place, minlength=bins)
    seen = one.measured
    inside, value = place[seen], one.value[seen]
    order = np.lexsort((value, inside))
    ordered = value[order]
    counts = np.bincount(inside, minlength=bins)
    first = np.cumsum(counts) - counts
    known = counts > 0
    found = {name: np.full(bins, np.nan) for name in ("low", "median", "high", "measured")}
    for name, offset in (("low", 0 * counts), ("median", counts // 2), ("high", counts - 1)):
        found[name][known] = ordered[(first + offset)[known]]
    some = every > 0
    found["measured"][some] = np.round(counts[some] / every[some], 3)
    return {name: _listed(numbers) for name, numbers in found.items()}


def _listed(numbers: NDArray[np.float64]) -> list[float | None]:
    return [None if number != number else number for number in np.round(numbers, 3).tolist()]
