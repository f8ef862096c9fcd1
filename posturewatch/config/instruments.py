"""Which hand does what, by instrument."""

from __future__ import annotations

from typing import Literal

from posturewatch.model.observation import Side, other_side

__all__ = ["FRETTING_ROLES", "INSTRUMENTS", "ROLES", "Handedness", "hand_roles"]

Handedness = Literal["right", "left"]

_PLUCKED = ("fretting", "plucking")
_BOWED = ("fretting", "bowing")

#: By instrument: the role of the hand on the fingerboard, then that of the other. For a right-handed player
#: the fingerboard is the left hand's (common practice).
INSTRUMENTS: dict[str, tuple[str, str]] = {
    "guitar": _PLUCKED,
    "bass": _PLUCKED,
    "ukulele": _PLUCKED,
    "banjo": _PLUCKED,
    "mandolin": _PLUCKED,
    "lute": _PLUCKED,
    "violin": _BOWED,
    "viola": _BOWED,
    "cello": _BOWED,
    "double bass": _BOWED,
}

ROLES: tuple[str, ...] = (*_PLUCKED, *_BOWED)

#: The roles of a hand that presses strings to a fingerboard.
FRETTING_ROLES: tuple[str, ...] = (_PLUCKED[0], _BOWED[0])


def hand_roles(instrument: str, handedness: Handedness) -> dict[Side, str]:
    """The role of either hand. Raises KeyError for an unknown instrument, ValueError for a handedness."""
    if handedness not in ("right", "left"):
        raise ValueError(f"a player is 'right' or 'left' handed, got {handedness!r}")
    on_fingerboard, other = INSTRUMENTS[instrument]
    side = other_side(handedness)
    return {side: on_fingerboard, other_side(side): other}
