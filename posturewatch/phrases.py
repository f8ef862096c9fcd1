"""What the program says to a player in words: plain first, the anatomical term beside it."""

from __future__ import annotations

import math

from posturewatch.comfort.verdict import HoldWarning
from posturewatch.quantities import quantity

__all__ = ["announcement", "leaning", "warning_sentence"]

#: (quantity, direction) to what the joint does, for a player who knows no anatomy.
_LEANING: dict[tuple[str, str], str] = {
    ("wrist_flexion", "flexion"): "wrist bent in (flexion)",
    ("wrist_flexion", "extension"): "wrist bent back (extension)",
    ("wrist_ulnar_deviation", "ulnar"): "wrist tilted to the little finger (ulnar deviation)",
    ("wrist_ulnar_deviation", "radial"): "wrist tilted to the thumb (radial deviation)",
}

_ADVICE = "Ease it towards straight."


def leaning(name: str, direction: str) -> str:
    """Which way a quantity leans, in plain words with the term in brackets.

    Raises KeyError for an unknown quantity and ValueError for a direction it does not have.
    """
    entry = quantity(name)
    entry.sign(direction)
    return _LEANING.get((name, direction), f"{entry.label} high ({direction})")


def announcement(warning: HoldWarning) -> str:
    """The warning without its running seconds: said once, for instance by a screen reader."""
    return f"{warning.side.capitalize()} {leaning(warning.quantity, warning.direction)}. {_ADVICE}"


def warning_sentence(warning: HoldWarning, now_s: float) -> str:
    """The warning as the page shows it, with the whole seconds held so far."""
    held_s = max(0, math.floor(now_s - warning.since_s))
    lean = leaning(warning.quantity, warning.direction)
    return f"{warning.side.capitalize()} {lean}, held {held_s} s. {_ADVICE}"
