"""The words of the program in one document, so that the page keeps no copies of its own."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args

from posturewatch.comfort.cues import CUES
from posturewatch.comfort.exceedance import INTERVAL_SD
from posturewatch.comfort.limits import LimitProfile
from posturewatch.comfort.phrases import NO_FORCE
from posturewatch.config.instruments import FRETTING_ROLES, role_label
from posturewatch.exposure.cue_series import STILL
from posturewatch.exposure.rules import ENOUGH_SHARE
from posturewatch.model.measurement import LiftPlane, Refusal
from posturewatch.model.observation import FINGERS, SIDES, Side
from posturewatch.model.quantities import GROUPS, QUANTITIES, Quantity
from posturewatch.model.verdict import HandState, Level, Zone

__all__ = ["vocabulary"]

_LEVELS: tuple[Level, ...] = get_args(Level)

#: What follows a number of the unit.
_UNIT_SIGNS = {"deg": "°", "mm": " mm"}

#: As music for plucked and bowed strings numbers the digits; the thumb's letter is that of plucked strings.
_FINGER_NUMBERS = {"thumb": "T", "index": "1", "middle": "2", "ring": "3", "little": "4"}

#: Keys without spaces, by which the page's catalogues name what they say of a zone and of a hand's state.
_ZONE_KEYS = {
    Zone.WITHIN: "within",
    Zone.BEYOND: "beyond",
    Zone.EXTREME: "extreme",
    Zone.UNSEEN: "unseen",
}
_STATE_KEYS = {
    HandState.IN_COMFORT: "within",
    HandState.PAST_COMFORT: "beyond",
    HandState.EXTREME: "extreme",
    HandState.UNSURE: "unsure",
    HandState.PARTLY_SEEN: "partly",
    HandState.NOT_SEEN: "unseen",
}

_PLANE_WORDS: dict[LiftPlane, str] = {
    "picture": "from the strings in the picture",
    "resting fingertips": "from where the fingertips rested in the last seconds",
}


def vocabulary(limits: LimitProfile, roles: Mapping[Side, str], language: str = "en") -> dict[str, Any]:
    """Quantities, limits, fingers, zones, refusals, cues and their words, in JSON's types.

    Parameters
    ----------
    limits
        The profile in force. Limits are magnitudes in the quantity's unit, None where it has none.
    roles
        The name of either hand's role, as `Settings.roles` has it.
    language
        That of the page's catalogue; the words here are English.

    Returns
    -------
    dict
        DEVELOPERS.md has its shape. Lists are in the order in which a player is shown them.
    """
    return {
        "language": language,
        "units": _UNIT_SIGNS,
        "hands": [
            {
                "side": side,
                "label": f"{side} hand",
                "role": roles[side],
                "role_label": role_label(roles[side], side),
                "fretting": roles[side] in FRETTING_ROLES,
            }
            for side in SIDES
        ],
        "fingers": [{"name": name, "number": _FINGER_NUMBERS[name]} for name in FINGERS],
        "groups": list(GROUPS),
        "levels": list(_LEVELS),
        "interval_sd": INTERVAL_SD,
        "enough_share": ENOUGH_SHARE,
        "zones": [{"name": zone.value, "key": key} for zone, key in _ZONE_KEYS.items()],
        "states": [{"name": state.value, "key": key} for state, key in _STATE_KEYS.items()],
        "refusals": [{"name": one.value, "key": one.name.lower(), "help": one.help} for one in Refusal],
        "lift_planes": [{"name": name, "words": words} for name, words in _PLANE_WORDS.items()],
        "cues": [
            {
                "name": cue.name,
                "finger": cue.finger,
                "label": cue.label,
                "words": cue.short,
                "fretting_only": cue.fretting_only,
            }
            for cue in (*(one.cue for one in CUES), STILL)
        ],
        "limits": {"name": limits.name, "label": limits.label, "description": limits.description},
        "quantities": [_quantity(entry, limits) for entry in QUANTITIES],
        "no_force": NO_FORCE,
        "shared": None,
    }


def _quantity(entry: Quantity, limits: LimitProfile) -> dict[str, Any]:
    return {
        "name": entry.name,
        "label": entry.label,
        "unit": entry.unit,
        "group": entry.group,
        "finger": entry.finger,
        "family": entry.family,
        "advice": entry.advice,
        "positive": entry.positive,
        "negative": entry.negative,
        "directions": {
            direction: {
                "sign": entry.sign(direction),
                "words": entry.leaning(direction),
                **_limits(limits, entry.name, direction),
            }
            for direction in entry.directions
        },
    }


def _limits(limits: LimitProfile, quantity: str, direction: str) -> dict[str, Any]:
    """By level the limit or None, under `sources` where it comes from, and under `sided` the limits by hand and level
    where the hands have different ones, else None."""
    found = {level: limits.limit(quantity, direction, level) for level in _LEVELS}
    sided = any((quantity, direction) in bands for bands in limits.sided.values())
    of_hands = {
        side: {level: limits.of(side).limit(quantity, direction, level) for level in _LEVELS}
        for side in SIDES
    }
    return {
        **{level: None if limit is None else limit.value for level, limit in found.items()},
        "sources": {
            level: None if limit is None else f"{limit.source} ({limit.mark})"
            for level, limit in found.items()
        },
        "sided": {
            side: {level: None if limit is None else limit.value for level, limit in own.items()}
            for side, own in of_hands.items()
        }
        if sided
        else None,
    }
