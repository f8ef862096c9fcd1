"""What the routes take from an address."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Query

__all__ = ["Bins", "ClipNumber", "Number", "PieceNumber", "Seconds"]

#: The number of a piece, a passage, a mark, a clip or a check.
Number = Annotated[int, Path(ge=0, le=10**15)]

#: The number of a piece to choose by.
PieceNumber = Annotated[int | None, Query(ge=0, le=10**15)]

#: The number of a clip to compare with.
ClipNumber = Annotated[int | None, Query(ge=0, le=10**15)]

#: A time of a session: at most some thirty years.
Seconds = Annotated[float, Query(ge=0.0, le=1e9)]

#: Into how many bins a session is drawn together.
Bins = Annotated[int, Query(le=10**9)]
