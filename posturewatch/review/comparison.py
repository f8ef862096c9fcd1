"""How the passages of one session differ from the same passages of another, such as the player's best.

Nothing is worked out anew: shares and percentiles are those that are kept. The error of one recording is mostly a
constant of its view, and two recordings are two views, so their errors do not cancel: a difference of medians is told
apart only where it is larger than both sessions' typical 90 % intervals together.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from posturewatch.comfort.exceedance import INTERVAL_SD
from posturewatch.errors import ConflictError
from posturewatch.exposure.rules import ENOUGH_SHARE
from posturewatch.model.observation import SIDES
from posturewatch.storage.reader import SessionReader, SessionRecord

__all__ = ["compare"]


def compare(reader: SessionReader, now: Mapping[str, Any], then: Mapping[str, Any]) -> dict[str, Any]:
    """What both sessions' passages have in common, side by side.

    Parameters
    ----------
    now, then
        The documents of both sessions (see `posturewatch.review.session_document`).

    Returns
    -------
    dict
        `then`, the other session; `same_limits`; `parts`, each with its piece and bars and `lines`, one for each wrist
        angle of either hand: `now` and `then` (median, p10, p90, measured_share), `difference` of the medians,
        `uncertainty` of it, `verdict` ("differs", "too close" or "too little"), and `extreme`, by direction the shares
        of the measured time past the extreme limit.

    Raises
    ------
    ConflictError
        Where one of them is still running.
    """
    if now["exposure"] is None or then["exposure"] is None:
        raise ConflictError("One of the sessions is still running; stop it before you compare.")
    records = reader.session(now["session"]["id"]), reader.session(then["session"]["id"])
    halves = _halves(records[0]), _halves(records[1])
    others = {_key(part): part for part in then["exposure"]["parts"]}
    return {
        "then": then["session"],
        "same_limits": all(
            records[0].limits.of(side).bands == records[1].limits.of(side).bands for side in SIDES
        ),
        "parts": [
            {
                "piece_id": part["piece_id"],
                "piece": part["piece"],
                "bars": part["bars"],
                "lines": _lines(part, others[_key(part)], *halves),
            }
            for part in now["exposure"]["parts"]
            if _key(part) in others
        ],
    }


_Halves = Mapping[tuple[str, str], float]


def _key(part: Mapping[str, Any]) -> tuple[int, str]:
    return part["piece_id"], part["bars"].casefold()


def _halves(record: SessionRecord) -> _Halves:
    """Half of the 90 % interval as it was in the middle, by hand and quantity."""
    return {
        (one.side, one.quantity): INTERVAL_SD * float(np.nanmedian(one.sd))
        for one in record.series
        if one.measured.any()
    }


def _lines(
    now: Mapping[str, Any], then: Mapping[str, Any], now_halves: _Halves, then_halves: _Halves
) -> list[dict[str, Any]]:
    others = {(one["side"], one["quantity"]): one for one in then["exposure"]}
    found = []
    for one in now["exposure"]:
        key = (one["side"], one["quantity"])
        other = others.get(key)
        if one["group"] != "wrist" or other is None:
            continue
        here, there = _numbers(one), _numbers(other)
        difference = uncertainty = None
        if (
            here["median"] is not None
            and there["median"] is not None
            and key in now_halves
            and key in then_halves
        ):
            difference = round(here["median"] - there["median"], 2)
            uncertainty = round(math.hypot(now_halves[key], then_halves[key]), 2)
        found.append(
            {
                "side": one["side"],
                "quantity": one["quantity"],
                "unit": one["unit"],
                "now": here,
                "then": there,
                "difference": difference,
                "uncertainty": uncertainty,
                "verdict": _verdict(here, there, difference, uncertainty),
                "extreme": _extreme(one, other),
            }
        )
    return found


def _numbers(one: Mapping[str, Any]) -> dict[str, Any]:
    p = one[f"percentiles_{one['unit']}"] or {}
    return {
        "median": p.get("p50"),
        "p10": p.get("p10"),
        "p90": p.get("p90"),
        "measured_share": one["measured_share"],
    }


def _verdict(
    here: Mapping[str, Any], there: Mapping[str, Any], difference: float | None, uncertainty: float | None
) -> str:
    if (
        difference is None
        or uncertainty is None
        or min(here["measured_share"], there["measured_share"]) < ENOUGH_SHARE
    ):
        return "too little"
    return "differs" if abs(difference) > uncertainty else "too close"


def _extreme(one: Mapping[str, Any], other: Mapping[str, Any]) -> list[dict[str, Any]]:
    shares = [
        {
            each["direction"]: level["share"]
            for each in exposure["directions"]
            for level in each["levels"]
            if level["level"] == "extreme"
        }
        for exposure in (one, other)
    ]
    return [
        {"direction": direction, "now": share, "then": shares[1].get(direction)}
        for direction, share in shares[0].items()
    ]
