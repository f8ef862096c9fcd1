"""What is done less often where a machine cannot keep up with its camera: the words and their order."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["SAVINGS", "Saving", "savings_sentence"]


@dataclass(frozen=True)
class Saving:
    """Something that is done less often.

    Attributes
    ----------
    name
        That messages carry.
    words
        For the player, to go on from "Now looked at or shown less often:".
    """

    name: str
    words: str


#: In the order in which they are made: what is missed least comes first.
SAVINGS = (
    Saving("body", "the body"),
    Saving("forearm", "the forearms"),
    Saving("second hand", "each hand, by turns"),
    Saving("picture", "the picture"),
    Saving("clips", "the pictures of clips"),
)


def savings_sentence(names: frozenset[str]) -> str | None:
    """What the player is told quietly of savings with these names; None without any."""
    words = [one.words for one in SAVINGS if one.name in names]
    if not words:
        return None
    return (
        "This machine cannot keep up with the camera. Less often than usual for now: "
        f"{', '.join(words)}. Closing other programs helps."
    )
