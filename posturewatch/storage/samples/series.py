"""Series of samples as they are kept: whole, a stretch of them, and what of them is damaged."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import overload

import numpy as np
from numpy.typing import NDArray

from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import Side
from posturewatch.model.quantities import place
from posturewatch.storage.samples.batch import SeriesKey
from posturewatch.storage.samples.chunks import DamagedStretch, look_through_chunks, read_chunks
from posturewatch.storage.samples.codec import ChunkError, Samples

__all__ = [
    "KeptSeries",
    "SeriesHead",
    "StoredSeries",
    "chosen",
    "heads",
    "look_through",
    "read_series",
    "refusal_places",
    "samples_between",
    "series_order",
    "stored_series",
]


#: In place of a refusal's number: a code whose word is none of today's.
_UNKNOWN = 255


@dataclass(frozen=True)
class StoredSeries:
    """All samples of one quantity of one hand, in the order they were taken.

    Attributes
    ----------
    time_s
        (n,) seconds of the session.
    value, sd
        (n,) in the quantity's unit, NaN where refused.
    refusal
        (n,) numbers, 0 where measured, otherwise 1 + the place in `refusals`.
    """

    side: Side
    quantity: str
    time_s: NDArray[np.float64]
    value: NDArray[np.float64]
    sd: NDArray[np.float64]
    refusal: NDArray[np.uint8]
    refusals: tuple[Refusal, ...] = tuple(Refusal)

    @property
    def measured(self) -> NDArray[np.bool_]:
        """(n,) where a number was measured."""
        return np.equal(self.refusal, 0)


@dataclass(frozen=True)
class SeriesHead:
    """What is known of a series beside its samples. value_step, sd_step: in the quantity's unit."""

    number: int
    side: Side
    quantity: str
    value_step: float
    sd_step: float


def heads(connection: sqlite3.Connection, session: int) -> tuple[SeriesHead, ...]:
    """Of all series of a session, left before right, and then as the table of quantities has them."""
    rows = connection.execute(
        "SELECT id, side, quantity, value_step, sd_step FROM series WHERE session = ?", (session,)
    )
    return tuple(sorted((SeriesHead(*row) for row in rows), key=series_order))


def look_through(connection: sqlite3.Connection, session: int) -> tuple[int, list[DamagedStretch]]:
    """How many sound samples a session has, and what is damaged, by the checksums: much faster than reading them."""
    found, damaged = 0, list[DamagedStretch]()
    for head in heads(connection, session):
        count, lost = look_through_chunks(connection, head.number, (head.side, head.quantity))
        found += count
        damaged += lost
    return found, damaged


def samples_between(
    connection: sqlite3.Connection, head: SeriesHead, places: NDArray[np.uint8], start_ms: int, end_ms: int
) -> Samples:
    """The sound samples of a series in [start_ms, end_ms), refusals by `places` (`refusal_places`)."""
    samples, _ = read_chunks(connection, head.number, (head.side, head.quantity), (start_ms, end_ms))
    inside = (samples.time_ms >= start_ms) & (samples.time_ms < end_ms)
    refusal = _told(samples.refusal[inside], places, head)
    return Samples(samples.time_ms[inside], samples.value[inside], samples.sd[inside], refusal)


class KeptSeries(Sequence[StoredSeries]):
    """Series of a session that are read as they are asked for, each time anew: of a long session all of them together
    are more than needs to be in memory. Damaged stretches are left out.

    Parameters
    ----------
    connection
        That stays open meanwhile.
    several
        Which series.
    """

    def __init__(self, connection: sqlite3.Connection, several: Sequence[SeriesHead]) -> None:
        self._connection = connection
        self.heads = tuple(several)
        self._places = refusal_places(connection)

    def __len__(self) -> int:
        return len(self.heads)

    @overload
    def __getitem__(self, place: int) -> StoredSeries: ...
    @overload
    def __getitem__(self, place: slice) -> KeptSeries: ...
    def __getitem__(self, place: int | slice) -> StoredSeries | KeptSeries:
        if isinstance(place, slice):
            return KeptSeries(self._connection, self.heads[place])
        head = self.heads[place]
        key = (head.side, head.quantity)
        samples, _ = read_chunks(self._connection, head.number, key)
        samples = replace(samples, refusal=_told(samples.refusal, self._places, head))
        return stored_series(key, samples, head.value_step, head.sd_step)

    def only(self, which: Callable[[SeriesHead], bool]) -> KeptSeries:
        """Those of them."""
        return KeptSeries(self._connection, [one for one in self.heads if which(one)])


def chosen(
    series: Sequence[StoredSeries], which: Callable[[SeriesHead | StoredSeries], bool]
) -> Sequence[StoredSeries]:
    """Some of the series; the others are not even read."""
    if isinstance(series, KeptSeries):
        return series.only(which)
    return tuple(one for one in series if which(one))


def read_series(
    connection: sqlite3.Connection, number: int
) -> tuple[tuple[StoredSeries, ...], list[DamagedStretch]]:
    """All series of a session in their order, and what of them is damaged."""
    places = refusal_places(connection)
    found, damaged = [], list[DamagedStretch]()
    for head in heads(connection, number):
        key = (head.side, head.quantity)
        samples, lost = read_chunks(connection, head.number, key)
        damaged += lost
        samples = replace(samples, refusal=_told(samples.refusal, places, head))
        found.append(stored_series(key, samples, head.value_step, head.sd_step))
    return tuple(found), damaged


def series_order(one: StoredSeries | SeriesHead) -> tuple[str, int]:
    """Left before right, and then as the table of quantities has them."""
    return (one.side, place(one.quantity))


def stored_series(key: SeriesKey, samples: Samples, value_step: float, sd_step: float) -> StoredSeries:
    """Samples in these steps, with refusals as 1 + the place among today's, as numbers in their units."""
    refused = samples.refusal != 0
    # Divided, not multiplied: 1234 / 100 is the float nearest to 12.34, 1234 * 0.01 is not always.
    value = samples.value / round(1 / value_step)
    sd = samples.sd / round(1 / sd_step)
    value[refused] = sd[refused] = np.nan
    return StoredSeries(*key, samples.time_ms / 1000, value, sd, samples.refusal)


def refusal_places(connection: sqlite3.Connection) -> NDArray[np.uint8]:
    """From the database's codes to 1 + the place among today's refusals."""
    places = np.full(256, _UNKNOWN, np.uint8)
    places[0] = 0
    today = {refusal.value: place for place, refusal in enumerate(Refusal, start=1)}
    for code, word in connection.execute("SELECT code, word FROM refusal"):
        # Every version noted all words that it knew, those of reasons that it never gave among them.
        places[code] = today.get(word, _UNKNOWN)
    return places


def _told(refusal: NDArray[np.uint8], places: NDArray[np.uint8], head: SeriesHead) -> NDArray[np.uint8]:
    """The database's codes as 1 + the place among today's refusals."""
    found: NDArray[np.uint8] = places[refusal]
    if (found == _UNKNOWN).any():
        raise ChunkError(f"unknown reasons in {head.side} {head.quantity}")
    return found
