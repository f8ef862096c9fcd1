"""One live message: a picture and everything known of that very picture, in one piece.

Layout: header length as unsigned 32-bit little-endian, the header as UTF-8 JSON, then the JPEG. Picture and
numbers travel together, so that the page cannot show one frame's numbers on another frame's picture.
"""

from __future__ import annotations

import json
import math
import struct
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from posturewatch.comfort.limits import LimitProfile
from posturewatch.model.observation import SIDES, ForearmAxis, HandObservation, Side
from posturewatch.model.quantities import QUANTITIES, Quantity
from posturewatch.model.reading import Reading
from posturewatch.model.savings import SAVINGS
from posturewatch.model.verdict import HandVerdict, HoldWarning, Level

__all__ = ["pack", "reading_header", "unpack"]

_LENGTH = struct.Struct("<I")


def pack(header: Mapping[str, Any], jpeg: bytes) -> bytes:
    """Header and picture as one message.

    Raises
    ------
    ValueError
        For NaN or infinity in the header.
    """
    text = json.dumps(header, allow_nan=False, separators=(",", ":"), ensure_ascii=False).encode()
    return _LENGTH.pack(len(text)) + text + jpeg


def unpack(message: bytes) -> tuple[dict[str, Any], bytes]:
    """The header and the JPEG of a message.

    Raises
    ------
    ValueError
        Where it is cut short.
    """
    if len(message) < _LENGTH.size:
        raise ValueError("a live message needs at least its header's length")
    (length,) = _LENGTH.unpack_from(message)
    start = _LENGTH.size + length
    if len(message) < start:
        raise ValueError(f"the header is {length} bytes long, only {len(message) - _LENGTH.size} came")
    header: dict[str, Any] = json.loads(message[_LENGTH.size : start])
    return header, message[start:]


def reading_header(
    reading: Reading, limits: LimitProfile, roles: Mapping[Side, str] | None = None
) -> dict[str, Any]:
    """A reading in JSON's types.

    Lengths are pixels of the original frame, angles degrees (ISB signs). Both hands are always present; one that was
    not seen has null landmarks and its quantities' refusals. `verdict` is the state of a hand as a whole; `cues` are
    those of single fingers that are certain in this very frame.

    Parameters
    ----------
    roles : mapping, optional
        What each hand does, by side.
    """
    roles = roles or {}
    now_s = reading.frame.time_s
    warnings = [_warning(warning, now_s) for warning in reading.verdict.active]
    return {
        "index": reading.frame.index,
        "time_s": _number(now_s),
        "taken_s": _number(reading.taken_s, 6),
        "width": reading.frame.width_px,
        "height": reading.frame.height_px,
        "hands": [_hand(reading, side, limits.of(side), roles.get(side)) for side in SIDES],
        "warnings": warnings,
        "dropped": reading.dropped,
        "savings": [one.name for one in SAVINGS if one.name in reading.savings],
    }


def _limit(limits: LimitProfile, name: str, direction: str | None, level: Level) -> float | None:
    """The limit's magnitude, or None where the profile has none."""
    limit = None if direction is None else limits.limit(name, direction, level)
    return None if limit is None else _number(limit.value)


def _hand(reading: Reading, side: Side, limits: LimitProfile, role: str | None) -> dict[str, Any]:
    seen = reading.observation.hand(side)
    return {
        "side": side,
        "role": role,
        "seen": seen is not None,
        "landmarks": _landmarks(seen),
        "forearm": None if seen is None else _forearm(seen.forearm),
        "verdict": _verdict(reading.verdict.hands[side]),
        "lift_plane": reading.measurement.hand(side).lift_plane,
        "cues": [
            {"cue": cue.name, "finger": cue.finger, "label": cue.label, "words": cue.short}
            for cue in reading.verdict.hands[side].cues
        ],
        "quantities": {entry.name: _quantity(reading, side, entry, limits) for entry in QUANTITIES},
    }


def _verdict(hand: HandVerdict) -> dict[str, str | None]:
    """The state of the hand as a whole, the angle that decides it, and why it has no number, with what would help."""
    return {
        "state": hand.state.value,
        "quantity": hand.quantity,
        "refusal": None if hand.refusal is None else hand.refusal.value,
        "help": None if hand.refusal is None else hand.refusal.help,
    }


def _quantity(reading: Reading, side: Side, entry: Quantity, limits: LimitProfile) -> dict[str, Any]:
    measurement = reading.measurement.hand(side).values[entry.name]
    state = reading.verdict.zones[(side, entry.name)]
    direction, refusal = state.direction, measurement.refusal
    return {
        "value": _number(measurement.value),
        "sd": _number(measurement.sd),
        "display": None if refusal else _number(reading.display.get((side, entry.name))),
        "zone": state.zone.value,
        "direction": direction,
        "refusal": None if refusal is None else refusal.value,
        "help": None if refusal is None else refusal.help,
        "extreme_probability": _number(state.extreme_probability),
        "comfort_limit": _limit(limits, entry.name, direction, "comfort"),
        "extreme_limit": _limit(limits, entry.name, direction, "extreme"),
    }


def _warning(warning: HoldWarning, now_s: float) -> dict[str, Any]:
    return {
        "side": warning.side,
        "quantity": warning.quantity,
        "direction": warning.direction,
        "since_s": _number(warning.since_s),
        "fired_s": _number(warning.fired_s),
        "held_s": _number(max(0.0, now_s - warning.since_s)),
        "limit": _number(warning.limit),
    }


def _landmarks(hand: HandObservation | None) -> list[list[float] | None] | None:
    return None if hand is None else [_point(point) for point in hand.landmarks_px]


def _forearm(axis: ForearmAxis | None) -> list[list[float]] | None:
    """From the elbow's side to the wrist; null where either end is missing."""
    if axis is None:
        return None
    ends = [_point(axis.towards_elbow_px), _point(axis.wrist_px)]
    return [end for end in ends if end is not None] if None not in ends else None


def _point(point: Iterable[float]) -> list[float] | None:
    """x and y to a tenth of a pixel; null when not finite: JSON has no NaN."""
    x, y = list(point)[:2]
    return [round(float(x), 1), round(float(y), 1)] if np.isfinite(x) and np.isfinite(y) else None


def _number(value: float | None, digits: int = 3) -> float | None:
    return round(float(value), digits) if value is not None and math.isfinite(value) else None
