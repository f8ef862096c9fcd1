"""How the passages of one session differ from the same passages of another, or from a clip, such as the player's best.

Of a session shares and percentiles are those that are kept; those of a clip's seconds are worked out in the same way.
The error of one recording is mostly a constant of its view, and two recordings are two views, so their errors do not
cancel: a difference of medians is told apart only where it is larger than both typical 90 % intervals together.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from posturewatch.comfort.exceedance import INTERVAL_SD
from posturewatch.errors import ConflictError
from posturewatch.exposure.rules import ENOUGH_SHARE
from posturewatch.exposure.series import Window
from posturewatch.model.observation import SIDES
from posturewatch.model.quantities import QUANTITY_NAMES, quantity
from posturewatch.review.exposures import session_exposures
from posturewatch.storage.reader import SessionReader, SessionRecord

__all__ = ["compare"]


def compare(
    reader: SessionReader,
    now: Mapping[str, Any],
    then: Mapping[str, Any],
    clip: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """What the passages of a session and of a reference have in common, side by side.

    Parameters
    ----------
    now, then
        The documents of the session and of the other one (see `posturewatch.review.session_document`).
    clip
        One of the other session, which may be the same (as `posturewatch.storage.tables.clips` has it): its seconds
        alone are the reference, of the passage in which it lies. Without such a passage there is nothing to compare.

    Returns
    -------
    dict
        `then`, the other session; `clip` (id, name, note, start_s, end_s) or None; `same_limits`; `parts`, each with
        its piece and bars and `lines`, one for each wrist angle of either hand: `now` and `then` (median, p10, p90,
        measured_share), `difference` of the medians, `uncertainty` of it, `verdict` ("differs", "too close" or
        "too little"), and `extreme`, by direction the shares of the measured time past the extreme limit.

    Raises
    ------
    ConflictError
        Where one of them is still running.
    """
    if now["exposure"] is None or then["exposure"] is None:
        raise ConflictError("One of the sessions is still running; stop it before you compare.")
    records = reader.session(now["session"]["id"]), reader.session(then["session"]["id"])
    halves = _halves(records[0])
    if clip is None:
        others = {_key(part): part["exposure"] for part in then["exposure"]["parts"]}
        other_halves = _halves(records[1])
    else:
        window = (float(clip["start_s"]), min(float(clip["end_s"]), records[1].info.end_s))
        others = {} if clip["passage"] is None else {_key(clip["passage"]): _during(records[1], window)}
        other_halves = _halves(records[1], window)
    return {
        "then": then["session"],
        "clip": clip and {name: clip[name] for name in ("id", "name", "note", "start_s", "end_s")},
        "same_limits": all(
            records[0].limits.of(side).bands == records[1].limits.of(side).bands for side in SIDES
        ),
        "parts": [
            {
                "piece_id": part["piece_id"],
                "piece": part["piece"],
                "bars": part["bars"],
                "lines": _lines(part["exposure"], others[_key(part)], halves, other_halves),
            }
            for part in now["exposure"]["parts"]
            if _key(part) in others
        ],
    }


_Halves = Mapping[tuple[str, str], float]


def _during(record: SessionRecord, window: Window) -> list[dict[str, Any]]:
    """The exposures of the wrists in that time, in JSON's types."""
    wrists = [one for one in QUANTITY_NAMES if quantity(one).group == "wrist"]
    return [one.over(window).to_json() for one in session_exposures(record) if one.entry.name in wrists]


def _key(part: Mapping[str, Any]) -> tuple[int, str]:
    return part["piece_id"], part["bars"].casefold()


def _halves(record: SessionRecord, window: Window = (-math.inf, math.inf)) -> _Halves:
    """Half of the 90 % interval as it was in the middle of that time, by hand and quantity."""
    found: dict[tuple[str, str], float] = {}
    for one in record.series:
        seen = one.measured & (one.time_s >= window[0]) & (one.time_s < window[1])
        if seen.any():
            found[one.side, one.quantity] = INTERVAL_SD * float(np.median(one.sd[seen]))
    return found


def _lines(
    now: Sequence[Mapping[str, Any]],
    then: Sequence[Mapping[str, Any]],
    now_halves: _Halves,
    then_halves: _Halves,
) -> list[dict[str, Any]]:
    others = {(one["side"], one["quantity"]): one for one in then}
    found = []
    for one in now:
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
