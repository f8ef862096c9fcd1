"""The cues of a session's fingers, from what is kept of it."""

from __future__ import annotations

from typing import Any

from posturewatch.config.instruments import FRETTING_ROLES, hand_roles
from posturewatch.exposure.cue_series import CueSeries, cue_series, finger_series
from posturewatch.exposure.findings import FingerPosture
from posturewatch.model.observation import SIDES, Side
from posturewatch.model.quantities import quantity
from posturewatch.storage.reader import SessionRecord
from posturewatch.storage.samples.series import chosen

__all__ = ["cues_of_hand", "fretting_sides", "postures_of"]


def fretting_sides(settings: dict[str, Any]) -> frozenset[Side]:
    """The fretting hands, from a session's settings in JSON's types; both where these do not tell."""
    kept = settings.get("instrument", {})
    try:
        roles = hand_roles(kept["name"], kept["handedness"])
    except (KeyError, ValueError, TypeError):
        return frozenset(SIDES)
    return frozenset(side for side, role in roles.items() if role in FRETTING_ROLES)


def cues_of_hand(record: SessionRecord, side: Side) -> tuple[CueSeries, ...]:
    """Every cue of a hand of which something is known."""
    of_fingers = chosen(
        record.series, lambda one: one.side == side and quantity(one.quantity).group == "finger"
    )
    fingers = finger_series(of_fingers, side, record.info.end_s, record.max_gap_s)
    if fingers is None:
        return ()
    return cue_series(fingers, record.limits.of(side), fretting=side in fretting_sides(record.settings))


def postures_of(cues: tuple[CueSeries, ...], settings: dict[str, Any]) -> list[FingerPosture]:
    """The cues as findings name them; those that only say that nothing moves are no posture."""
    fretting = fretting_sides(settings)
    return [one.posture(fretting=one.side in fretting) for one in cues if one.cue.finger is not None]
