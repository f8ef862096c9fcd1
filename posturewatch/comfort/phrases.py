"""What the program says to a player in words: plain first, the anatomical term beside it."""

from __future__ import annotations

from posturewatch.model.quantities import quantity

__all__ = ["NO_FORCE", "leaning"]

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
