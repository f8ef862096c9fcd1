"""How a run over a source's frames ended."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from posturewatch.model.verdict import Excursion

__all__ = ["Ending", "Outcome"]

#: Kept with the session.
Ending = Literal["stopped", "film ended", "time reached", "failed"]


@dataclass(frozen=True)
class Outcome:
    """How a run ended: why, at which session time, after how many frames, and what was still open then."""

    ending: Ending
    end_s: float
    frames: int
    closed: tuple[Excursion, ...]
