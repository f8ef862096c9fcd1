"""What the program says to a player in words: plain first, the anatomical term beside it."""

from __future__ import annotations

import math

from posturewatch.model.quantities import quantity
from posturewatch.model.verdict import HoldWarning

__all__ = ["NO_FORCE", "announcement", "leaning", "warning_sentence"]

#: Said wherever postures of the fingers are reported.
NO_FORCE = (
    "A camera does not see force: what is reported of fingers is where they are, not how hard they press."
)


def leaning(name: str, direction: str) -> str:
    """Which way a quantity leans, in plain words with the term in brackets.

    Raises
    ------
    KeyError
        For an unknown quantity.
    ValueError
        For a direction that it does not have.
    """
    return quantity(name).leaning(direction)


def announcement(warning: HoldWarning) -> str:
    """The warning without its running seconds: said once, for instance by a screen reader."""
    entry = quantity(warning.quantity)
    return f"{warning.side.capitalize()} {entry.leaning(warning.direction)}. {entry.advice}"


def warning_sentence(warning: HoldWarning, now_s: float) -> str:
    """The warning as the page shows it, with the whole seconds held so far."""
    held_s = max(0, math.floor(now_s - warning.since_s))
    entry = quantity(warning.quantity)
    return f"{warning.side.capitalize()} {entry.leaning(warning.direction)}, held {held_s} s. {entry.advice}"
