"""What the routes take from an address."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path

__all__ = ["Number"]

#: The number of a piece, a passage, a mark, a clip or a check.
Number = Annotated[int, Path(ge=0, le=10**15)]
