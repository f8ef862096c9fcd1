"""Practices of the log as tables: plain dictionaries of numpy columns of one length.

Angles are in degrees as the International Society of Biomechanics defines them (Wu et al. 2005, J Biomech 38:981-992):
flexion +, extension -; ulnar deviation +, radial -, both hands alike. Lifts are in millimetres. Side is anatomical.
What was not measured is NaN, with the reason beside it. Times are seconds of the practice.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.errors import InputError, UnavailableError
from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import SIDES, Side
from posturewatch.model.quantities import QUANTITIES, QUANTITY_NAMES
from posturewatch.review.session_document import session_document
from posturewatch.storage.reader import SessionReader, read_lazily
from posturewatch.storage.samples.series import chosen
from posturewatch.storage.store import open_reader

__all__ = ["Table", "check_key", "data_frame", "events", "practices", "quantities", "samples"]

#: Columns (n,) by name.
Table = dict[str, NDArray[Any]]

_NUMBER, _TEXT, _WHETHER = np.float64, np.str_, np.bool_

#: Kinds of events with their columns.
_EVENTS: dict[str, dict[str, type[np.generic]]] = {
    "excursions": {
        **dict.fromkeys(("side", "quantity", "direction", "level"), _TEXT),
        **dict.fromkeys(("limit", "start_s", "end_s", "peak", "peak_s", "warned_s"), _NUMBER),
        "end": _TEXT,
    },
    "passages": {"piece": _TEXT, "bars": _TEXT, **dict.fromkeys(("tempo_bpm", "start_s", "end_s"), _NUMBER)},
    "marks": {"time_s": _NUMBER, "note": _TEXT},
}

_WORDS = np.array(["", *(refusal.value for refusal in Refusal)])


def quantities() -> Table:
    """What is measured of either hand.

    Returns
    -------
    dict
        Columns (n,) of text: name; label; unit, "deg" or "mm", of values and deviations; positive and negative, the
        directions of either sign ("" where there is none); group, "wrist" or "finger"; finger ("" for the wrist).

    Examples
    --------
    >>> import posturewatch
    >>> table = posturewatch.quantities()
    >>> wrist = table["group"] == "wrist"
    >>> for row in zip(*(table[name][wrist] for name in ("name", "unit", "positive", "negative"))):
    ...     print(*row)
    wrist_flexion deg flexion extension
    wrist_ulnar_deviation deg ulnar radial
    """
    names = ("name", "label", "unit", "positive", "negative", "group", "finger")
    return _table(
        ({name: getattr(one, name) for name in names} for one in QUANTITIES), dict.fromkeys(names, _TEXT)
    )


def practices(data_dir: str | Path | None = None) -> Table:
    """The practices of a log, newest first, films that were kept among them.

    Parameters
    ----------
    data_dir
        Where the log is; None for the user's own (`posturewatch data` says where that is).

    Returns
    -------
    dict
        Columns (n,): id; started_at, datetime64 in UTC, of the practice's second 0 (NaT where damage has left none);
        duration_s; source and source_kind ("camera", "video" and the like); instrument; end_reason ("" while it
        runs); demo, whether it is of the bundled video.

    Raises
    ------
    PosturewatchError
        Where the log cannot be read.

    Examples
    --------
    >>> import posturewatch
    >>> log = posturewatch.practices()
    >>> own = ~log["demo"]
    >>> float(log["duration_s"][own].sum()) >= 0.0
    True
    """
    rows = [
        {
            "id": info.id,
            "started_at": _moment(info.started_at),
            "duration_s": info.end_s,
            "source": info.source_name,
            "source_kind": info.source_kind,
            "instrument": info.instrument,
            "end_reason": info.end_reason,
            "demo": info.demo,
        }
        for info in _reader(data_dir).sessions()
    ]
    kinds = dict.fromkeys(("id", "source", "source_kind", "instrument", "end_reason"), _TEXT)
    found = _table(rows, {**kinds, "duration_s": _NUMBER, "demo": _WHETHER})
    return {
        "id": found["id"],
        "started_at": np.array([row["started_at"] for row in rows], "datetime64[ms]"),
        **{name: column for name, column in found.items() if name != "id"},
    }


def samples(practice: str, side: Side, quantity: str, *, data_dir: str | Path | None = None) -> Table:
    """All that is kept of one quantity of one hand: of the wrist every frame's, of fingers ten a second.

    Parameters
    ----------
    practice
        Its id, the beginning of one, or "last" for the newest.
    side
        "left" or "right", anatomical.
    quantity
        See `quantities`.
    data_dir
        See `practices`.

    Returns
    -------
    dict
        Columns (n,): time_s, seconds of the practice; value and sd, in the quantity's unit, NaN where it was refused;
        refusal, the reason, "" where there is a number. value - 1.64 sd to value + 1.64 sd is meant to hold the truth
        in nine cases of ten. n is 0 where nothing is kept; what is damaged on the disk is left out.

    Raises
    ------
    PosturewatchError
        For an unknown practice, side or quantity, and where the log cannot be read.

    Examples
    --------
    >>> import numpy as np, posturewatch
    >>> flexion = posturewatch.samples("last", "left", "wrist_flexion")
    >>> sorted(flexion)
    ['refusal', 'sd', 'time_s', 'value']
    >>> measured = flexion["refusal"] == ""
    >>> bool(np.isfinite(flexion["value"][measured]).all())
    True
    """
    check_key(side, quantity)
    reader = _reader(data_dir)
    identity = reader.find(practice).id
    with reader.reading() as connection:
        several = () if connection is None else read_lazily(connection, identity).series
        found = list(chosen(several, lambda one: (one.side, one.quantity) == (side, quantity)))
    if not found:
        return series_table([], [], [], [])
    (one,) = found
    return series_table(one.time_s, one.value, one.sd, _WORDS[one.refusal])


def events(practice: str, kind: str, *, data_dir: str | Path | None = None) -> Table:
    """What happened in a practice, in order of time.

    Parameters
    ----------
    practice
        See `samples`.
    kind
        "excursions" (times beyond a limit), "passages" (what was played) or "marks" (what the player marked).
    data_dir
        See `practices`.

    Returns
    -------
    dict
        Columns (n,), numbers NaN where unknown. Of excursions: side, quantity, direction, level ("comfort" or
        "extreme"), limit and peak (magnitude and signed value in the quantity's unit), start_s, end_s, peak_s, warned_s
        and end ("returned", "unseen", "stopped" or "crashed"). Of passages: piece, bars, tempo_bpm, start_s, end_s.
        Of marks: time_s, note.

    Raises
    ------
    PosturewatchError
        For an unknown practice or kind, and where the log cannot be read.

    Examples
    --------
    >>> import posturewatch
    >>> beyond = posturewatch.events("last", "excursions")
    >>> extreme = beyond["level"] == "extreme"
    >>> seconds = beyond["end_s"][extreme] - beyond["start_s"][extreme]
    >>> bool((seconds >= 0).all())
    True
    """
    if kind not in _EVENTS:
        raise InputError(f"Events are {', '.join(_EVENTS)}; {kind!r} is none of them.")
    reader = _reader(data_dir)
    info = reader.find(practice)
    with reader.reading() as connection:
        rows = [] if connection is None else session_document(connection, reader.data_dir, info)[kind]
    return _table(rows, _EVENTS[kind])


def data_frame(table: Mapping[str, NDArray[Any]]) -> Any:
    """A table as pandas.DataFrame; pandas is no part of posturewatch and has to be installed.

    Parameters
    ----------
    table
        Columns (n,) by name.

    Raises
    ------
    PosturewatchError
        Where pandas is not installed.

    Examples
    --------
    >>> import posturewatch
    >>> frame = posturewatch.data_frame(posturewatch.quantities())  # doctest: +SKIP
    """
    try:
        import pandas
    except ImportError as error:
        raise UnavailableError("For data frames pandas has to be installed: pip install pandas.") from error
    return pandas.DataFrame(dict(table))


def check_key(side: str, quantity: str) -> None:
    """Raises InputError for what is no side or no quantity."""
    if side not in SIDES:
        raise InputError(f"A side is left or right; {side!r} is none.")
    if quantity not in QUANTITY_NAMES:
        raise InputError(f"There is no quantity {quantity!r}; posturewatch.quantities() lists them.")


def series_table(
    time_s: Sequence[float] | NDArray[Any],
    value: Sequence[float] | NDArray[Any],
    sd: Sequence[float] | NDArray[Any],
    refusal: Sequence[str] | NDArray[Any],
) -> Table:
    """Columns (n,) of one quantity of one hand."""
    return {
        "time_s": np.asarray(time_s, np.float64),
        "value": np.asarray(value, np.float64),
        "sd": np.asarray(sd, np.float64),
        "refusal": np.asarray(refusal, np.str_),
    }


def _reader(data_dir: str | Path | None) -> SessionReader:
    return open_reader(None if data_dir is None else Path(data_dir))


def _moment(text: str) -> np.datetime64:
    try:
        moment = dt.datetime.fromisoformat(text).astimezone(dt.timezone.utc)
    except ValueError:
        return np.datetime64("NaT", "ms")
    return np.datetime64(moment.replace(tzinfo=None), "ms")


def _table(rows: Iterable[Mapping[str, Any]], kinds: Mapping[str, type[np.generic]]) -> Table:
    """Columns of these kinds; what is missing is NaN or ""."""
    listed = list(rows)
    missing: dict[type[np.generic], object] = {_NUMBER: np.nan, _TEXT: "", _WHETHER: False}
    return {
        name: np.array(
            [missing[kind] if row.get(name) is None else row[name] for row in listed], np.dtype(kind)
        )
        for name, kind in kinds.items()
    }
