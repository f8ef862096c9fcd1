"""What is said of a session of which something has been damaged on the disk."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

from posturewatch.storage.samples import checksums
from posturewatch.storage.samples.chunks import DamagedStretch

__all__ = ["sentences"]

_UNSEALED = (
    "What was noted of this session beside its samples (when it was, its limits, excursions and warnings) has changed "
    "on the disk since it ended; do not rely on it."
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
    return tuple(said)
