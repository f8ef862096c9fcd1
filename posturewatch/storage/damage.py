"""What is said of a session of which something has been damaged on the disk."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence

from posturewatch.storage.samples import checksums
from posturewatch.storage.samples.chunks import DamagedStretch
from posturewatch.storage.schema.row_checksums import changed_rows

__all__ = ["loose_sentence", "sentences"]

_UNSEALED = (
    "What was noted of this session beside its samples (when it was, its limits, excursions and warnings) has changed "
    "on the disk since it ended; do not rely on it."
)

#: What of a session may be changed afterwards: table, how the player knows its rows, and the column of their time.
_ROWS = (
    ("passage", "passage", "start_s"),
    ("mark", "mark", "time_s"),
    ("clip", "clip", "start_s"),
    ("remark", "note of others", "time_s"),
    ("discomfort", "discomfort check", None),
)

_OF_ITS_SESSION = "session IN (SELECT number FROM session)"

#: Rows that no session's page tells of.
_LOOSE = (
    ("piece", "1"),
    ("practice_item", "1"),
    ("practice_place", "1"),
    ("discomfort", f"session IS NULL OR NOT {_OF_ITS_SESSION}"),
    *((table, f"NOT {_OF_ITS_SESSION}") for table in ("passage", "mark", "clip", "remark")),
)


def sentences(
    connection: sqlite3.Connection, session: int, damaged: Sequence[DamagedStretch], found: int
) -> tuple[str, ...]:
    """What of the session cannot be read or relied on any more; nothing where all is sound.

    Parameters
    ----------
    damaged
        Stretches that cannot be read.
    found
        Samples that can.
    """
    said = [one.sentence for one in damaged]
    kept = checksums.samples_sealed(connection, session)
    if not damaged and kept is not None and kept != found:
        said.append(f"{kept - found} of {kept} samples of this session were lost by damage on the disk.")
    if not checksums.is_sealed_well(connection, session):
        said.append(_UNSEALED)
    said += dict.fromkeys(_changed(connection, session))
    return tuple(said)


def loose_sentence(connection: sqlite3.Connection) -> str | None:
    """What has changed on the disk of what belongs to no session, in a sentence; None while all is well."""
    tables = {table for table, where in _LOOSE for _ in changed_rows(connection, table, where)}
    if not tables:
        return None
    names = [name for table, name, _ in _ROWS if table in tables]
    names += ["name of a piece"] * ("piece" in tables)
    names += ["practice list"] * (not tables.isdisjoint({"practice_item", "practice_place"}))
    return (
        f"Changed on the disk since it was kept: {', '.join(names)}. Look through the list of pieces, the practice "
        "list and the discomfort checks, and put right what is wrong."
    )


def _changed(connection: sqlite3.Connection, session: int) -> Iterator[str]:
    for table, name, column in _ROWS:
        for row in changed_rows(connection, table, "session = ?", session):
            time_s = None if column is None else row[column]
            what = f"{name} at {time_s:.1f} s" if isinstance(time_s, float) else name
            yield f"Changed on the disk since it was kept: {what}. Put it right, or delete it."
    played = "id IN (SELECT piece FROM passage WHERE session = ?)"
    for _ in changed_rows(connection, "piece", played, session):
        yield "Changed on the disk since it was kept: the name of a piece. Put it right."
