"""The limits of either hand as the page shows them, and a limit set by hand: what is refused, what is asked about."""

from __future__ import annotations

from typing import Any

from posturewatch.comfort.limits import LEVELS, Limit
from posturewatch.comfort.personal import (
    LEAST_UNASKED_DEG,
    LIMIT_BY_HAND_DEG,
    Compared,
    compared,
)
from posturewatch.config.limit_profiles import load_profile
from posturewatch.config.players import Player
from posturewatch.config.settings import Settings
from posturewatch.errors import ConflictError, InputError
from posturewatch.model.observation import SIDES
from posturewatch.pipeline.build import Parts

__all__ = ["limits_document", "refuse_wider", "with_own_limit"]


def limits_document(written: Settings, parts: Parts) -> list[dict[str, Any]]:
    """Every limit of the wrist of both hands with its candidates, in JSON's types.

    Parameters
    ----------
    written
        The settings as the file has them.
    parts
        What is in force.

    Returns
    -------
    list of {"side", "quantity", "direction", "level", "published", "source", "range_deg", "range_side", "own",
    "by_hand", "in_settings", "used", "origin", "most", "ask_below"}; "most" is the widest that may be set by hand, and
    below "ask_below" it is asked about first.
    """
    profile, ends = load_profile(parts.settings.limits.profile), parts.player.own_ends()
    share, by_hand = parts.settings.limits.range_share, parts.player.own_limits()
    bounds = _chosen(written, parts).range_profile(ends)
    out = []
    for side in SIDES:
        rows = compared(side, profile, parts.limits, ends, share, by_hand[side], written.limits.own)
        for one in rows:
            bound = bounds.of(side).limit(one.quantity, one.direction, one.level)
            out.append(_row(one, bound))
    return out


def _chosen(written: Settings, parts: Parts) -> Settings:
    """The settings with the profile that the command named, where it did."""
    return written.changed("limits", profile=parts.settings.limits.profile)


def _row(one: Compared, bound: Limit | None) -> dict[str, Any]:
    most = LIMIT_BY_HAND_DEG[one.quantity, one.direction][1]
    return {
        "side": one.side,
        "quantity": one.quantity,
        "direction": one.direction,
        "level": one.level,
        "published": None if one.published is None else one.published.value,
        "source": None if one.published is None else f"{one.published.source} ({one.published.mark})",
        "range_deg": None if one.end is None else one.end.value_deg,
        "range_side": None if one.end is None else one.end.side,
        "own": None if one.own is None else round(one.own, 1),
        "by_hand": one.by_hand,
        "in_settings": one.in_settings,
        "used": round(one.used.value, 1),
        "origin": one.origin,
        "most": most if bound is None else _whole_tenths(min(most, bound.value)),
        "ask_below": LEAST_UNASKED_DEG,
    }


def _whole_tenths(value: float) -> float:
    """Rounded down, so that what the page offers is taken."""
    return int(value * 10 + 1e-6) / 10


def with_own_limit(
    written: Settings,
    parts: Parts,
    side: str | None,
    key: tuple[str, str, str],
    value: float | None,
    *,
    sure: bool,
) -> Player:
    """The player with a limit set by hand, None for none.

    Parameters
    ----------
    written, parts
        As for `limits_document`.
    side
        Of the hand.
    key
        Quantity, direction and level.
    value
        Degrees.
    sure
        Whether the player was asked and said so.

    Raises
    ------
    InputError
        For a limit that is not there, or that is wider than what is published and what the own range allows.
    ConflictError
        For one that is to be asked about first.
    """
    name, direction, asked = key
    level = next((one for one in LEVELS if one == asked), None)
    hand = next((one for one in SIDES if one == side), None)
    if hand is None or level is None or (name, direction) not in LIMIT_BY_HAND_DEG:
        raise InputError("There is no such limit.")
    if value is not None:
        low, high = LIMIT_BY_HAND_DEG[name, direction]
        refuse_wider(
            _chosen(written, parts)
            .range_profile(parts.player.own_ends())
            .of(hand)
            .limit(name, direction, level),
            value,
            "deg",
        )
        if not low <= value <= high:
            raise InputError(
                f"A limit of {direction} is {low:g} to {high:g} degrees, since no wrist of the published tables bends "
                f"farther, not {value:g}."
            )
        if value < LEAST_UNASKED_DEG and not sure:
            raise ConflictError(
                f"A limit of {value:g} degrees is narrower than a camera can tell, which is about "
                f"{LEAST_UNASKED_DEG:g}: much of what you play may count as past it. Say that you want it all the same."
            )
    return parts.player.with_limit(hand, name, direction, level, value)


def refuse_wider(bound: Limit | None, value: float, unit: str) -> None:
    """InputError where that is wider than a limit may be; a bound of None bounds nothing."""
    if bound is None or value <= bound.value:
        return
    most = f"{bound.value:.1f}°" if unit == "deg" else f"{bound.value:.1f} {unit}"
    raise InputError(
        f"A limit of your own can only narrow: at most {most} here ({bound.source}). To go beyond, choose another "
        "profile or measure your range again."
    )
