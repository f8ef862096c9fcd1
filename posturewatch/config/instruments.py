"""Instruments: which hand does what, and what its players call it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from posturewatch.model.observation import Side, other_side

__all__ = [
    "FRETTING_ROLES",
    "INSTRUMENTS",
    "Handedness",
    "InstrumentName",
    "Role",
    "RoleName",
    "hand_roles",
    "role_label",
]

Handedness = Literal["right", "left"]

RoleName = Literal["fretting", "plucking", "fingerboard", "bowing"]

InstrumentName = Literal[
    "guitar", "bass", "ukulele", "banjo", "mandolin", "lute", "violin", "viola", "cello", "double bass"
]


@dataclass(frozen=True)
class Role:
    """What a hand does.

    Attributes
    ----------
    name
        As in settings, messages and files.
    label
        What players call the hand; None where they name it by its side.
    fingerboard
        Whether its fingers press strings to a fingerboard.
    """

    name: RoleName
    label: str | None
    fingerboard: bool


_FRETTING = Role("fretting", "fretting hand", fingerboard=True)
_PLUCKING = Role("plucking", "plucking hand", fingerboard=False)
#: Players of bowed instruments speak of the left hand and the bow hand.
_FINGERBOARD = Role("fingerboard", None, fingerboard=True)
_BOWING = Role("bowing", "bow hand", fingerboard=False)

_PLUCKED = (_FRETTING, _PLUCKING)
_BOWED = (_FINGERBOARD, _BOWING)

#: By instrument: the role of the hand on the fingerboard, then that of the other. For a right-handed player
#: the fingerboard is the left hand's (common practice).
INSTRUMENTS: dict[InstrumentName, tuple[Role, Role]] = {
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

_BY_NAME: dict[str, Role] = {role.name: role for role in (*_PLUCKED, *_BOWED)}

#: The roles of a hand that presses strings to a fingerboard.
FRETTING_ROLES: tuple[RoleName, ...] = tuple(role.name for role in _BY_NAME.values() if role.fingerboard)


def hand_roles(instrument: InstrumentName, handedness: Handedness) -> dict[Side, str]:
    """The name of either hand's role.

    Raises
    ------
    KeyError
        For an unknown instrument.
    ValueError
        For an unknown handedness.
    """
    if handedness not in ("right", "left"):
        raise ValueError(f"a player is 'right' or 'left' handed, got {handedness!r}")
    on_fingerboard, other = INSTRUMENTS[instrument]
    side = other_side(handedness)
    return {side: on_fingerboard.name, other_side(side): other.name}


def role_label(role: str, side: Side) -> str:
    """What players call the hand of that role: "fretting hand", "left hand". KeyError for an unknown role."""
    return _BY_NAME[role].label or f"{side} hand"
