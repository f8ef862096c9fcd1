"""A session's summary in words, for the terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from posturewatch.cli.sessions import clock, local
from posturewatch.comfort.phrases import NO_FORCE, leaning
from posturewatch.exposure.rules import ENOUGH_SHARE
from posturewatch.exposure.values import MEASURED_STATES
from posturewatch.model.observation import SIDES
from posturewatch.model.quantities import GROUPS, in_group, quantity
from posturewatch.model.verdict import HandState

__all__ = ["measured_lines", "summary_text"]


#: Less than this in a zone is not worth a line.
SHORTEST_S = 0.5

#: A shorter episode beyond a limit is not worth a line.
SHORTEST_EPISODE_S = 0.05

#: A cue that was certain for less of the time is not worth a line.
LEAST_SHARE = 0.01

_PLANES = {
    "picture": "from the strings in the picture",
    "resting fingertips": "from fingertips that rested",
}


def summary_text(summary: Mapping[str, Any]) -> str:
    """The summary in lines; `summary` as `posturewatch.session.session_summary` gives it."""
    session = summary["session"]
    lines = [
        f"Session {session['id']}, {local(session['started_at'])}, {clock(session['duration_s'])} long, "
        f"{session['source']['name']}" + ("" if session["ended_at"] else ", still open"),
        f"Limits: {summary['limits']}. Warnings of what was held beyond an extreme limit: {summary['warnings']}.",
        *measured_lines(summary),
    ]
    lines += [f"Mark at {clock(mark['time_s'])}. {mark['note']}".rstrip() for mark in summary["marks"]]
    lines += summary.get("damage", ())
    if session["lost_samples"]:
        lines.append(f"{session['lost_samples']} samples could not be kept.")
    return "\n".join(lines)


def measured_lines(summary: Mapping[str, Any]) -> list[str]:
    """What was measured of both hands and what was warned of; of a kept session's summary, or of a film's."""
    lines: list[str] = []
    for side in SIDES:
        own = [one for one in summary["quantities"] if one["side"] == side]
        wrist, fingers = (
            [one for one in own if quantity(one["quantity"]).group == group] for group in GROUPS
        )
        lines += _hand(side, wrist, summary["hands"])
        lines += _fingers(side, fingers, summary)
    lines += [
        f"Warned at {clock(one['since_s'])}: {one['side']} {leaning(one['quantity'], one['direction'])}"
        f" beyond {one['limit']:g} {_unit(one['quantity'])}, until {_moment(one['cleared_s'])}."
        for one in summary["warned"]
    ]
    if any(one["measured_s"] for one in summary["quantities"] if quantity(one["quantity"]).group == "finger"):
        lines.append(NO_FORCE)
    return lines


def _hand(side: str, quantities: list[Mapping[str, Any]], hands: list[Mapping[str, Any]]) -> list[str]:
    """What was seen of one hand; one line where nothing of it was measured."""
    if not any(one["measured_s"] for one in quantities):
        reason = next((next(iter(one["unseen_s"]), "") for one in quantities), "")
        return [f"{side.capitalize()} hand: not measured" + (f" ({reason})." if reason else ".")]
    lines = [f"{side.capitalize()} hand:{_shares(side, hands)}"]
    for one in quantities:
        name = quantity(one["quantity"]).label
        lines.append(f"  {name}: measured {_percent(one['measured_share'])} of the time")
        for entry in one["directions"]:
            lines += _states(one, entry)
        lines += _longest(one)
        percentiles = one[f"percentiles_{one['unit']}"]
        if percentiles is not None:
            p10, p50, p90 = (percentiles[key] for key in ("p10", "p50", "p90"))
            lines.append(
                f"    middle {_whole(p50)} {one['unit']}, 80 % between {_whole(p10)} and {_whole(p90)}"
            )
    return lines


def _shares(side: str, hands: list[Mapping[str, Any]]) -> str:
    """The share of the whole time in each state of the hand; every state that is worth a word."""
    shares = [
        f"{state} {_percent(spent_s / one['total_s'])}"
        for one in hands
        if one["side"] == side
        for state, spent_s in one["states_s"].items()
        if spent_s >= SHORTEST_S
    ]
    return f" {', '.join(shares)} of the time" if shares else ""


def _states(one: Mapping[str, Any], entry: Mapping[str, Any]) -> list[str]:
    """Time that was not in comfort in one direction, by state."""
    certain = {level["level"]: level["certain_s"] for level in entry["levels"]}
    return [
        f"    {state.value:<14}{leaning(one['quantity'], entry['direction'])}: "
        f"{_percent(entry['states_s'][state.value] / one['measured_s'])}, {clock(entry['states_s'][state.value])}"
        + (f", {clock(certain['extreme'])} certain" if state is HandState.EXTREME else "")
        for state in MEASURED_STATES
        if state is not HandState.IN_COMFORT and entry["states_s"][state.value] >= SHORTEST_S
    ]


def _fingers(side: str, quantities: list[Mapping[str, Any]], summary: Mapping[str, Any]) -> list[str]:
    """The fingers of one hand in a few lines: how much was measured, from what lift was measured, what was beyond
    limits, and cues that were certain."""
    seen = [one for one in quantities if one["measured_s"]]
    if not seen:
        return []
    shares = [one["measured_share"] for one in seen]
    planes = summary.get("lift_planes", {}).get(side, {})
    sources = [f"{_PLANES.get(plane, plane)} for {clock(spent_s)}" for plane, spent_s in planes.items()]
    lines = [
        f"  {side} fingers: measured {_percent(min(shares))} to {_percent(max(shares))} of the time"
        + (f"; lift {' and '.join(sources)}" if sources else "")
    ]
    for one in seen:
        for direction in quantity(one["quantity"]).directions:
            lines += _beyond(one, direction)
    if len(lines) == 1 and _mostly_in_comfort(quantities):
        lines.append("    nothing that was measured lay beyond a comfort limit")
    lines += [
        f"    {cue['label']}: {_percent(cue['certain_share'])} of the {cue['share_of']} certain"
        for cue in summary.get("cues", ())
        if cue["side"] == side and cue["certain_share"] is not None and cue["certain_share"] >= LEAST_SHARE
    ]
    known = {one["quantity"] for one in seen}
    missing = [
        entry.label
        for entry in in_group("finger")
        if entry.family == "finger_lift" and entry.name not in known
    ]
    if missing:
        lines.append(f"    not measured: {', '.join(missing)}")
    return lines


def _mostly_in_comfort(quantities: list[Mapping[str, Any]]) -> bool:
    """Whether every angle that has a limit was in comfort for so much of the whole time that it may be said: where it
    was not measured or unsure instead, the sentence would read as all clear."""
    limited = [one for one in quantities if any(entry["levels"] for entry in one["directions"])]
    return bool(limited) and all(
        sum(entry["states_s"][HandState.IN_COMFORT.value] for entry in one["directions"])
        >= ENOUGH_SHARE * one["total_s"]
        for one in limited
    )


def _beyond(one: Mapping[str, Any], direction: str) -> list[str]:
    """One line for what a finger did beyond its limits in this direction; none where that was next to nothing."""
    (entry,) = (entry for entry in one["directions"] if entry["direction"] == direction)
    if max((level["seconds"] for level in entry["levels"]), default=0.0) < SHORTEST_S:
        return []
    shares = ", ".join(
        f"{_percent(level['share'])} beyond {level[_limit(one)]:g} {one['unit']}"
        + (
            f" ({_percent(level['certain_s'] / one['measured_s'])} certain)"
            if level["level"] == "extreme"
            else ""
        )
        for level in entry["levels"]
    )
    return [f"    {leaning(one['quantity'], direction)}: {shares}"]


def _limit(one: Mapping[str, Any]) -> str:
    return f"limit_{one['unit']}"


def _longest(one: Mapping[str, Any]) -> list[str]:
    """The longest episode beyond each extreme limit."""
    return [
        f"    longest beyond {level[_limit(one)]:g} {one['unit']} of {entry['direction']}: {level['longest_s']:.1f} s "
        f"at {clock(level['longest_start_s'])}, peak {level['peak_' + one['unit']]:.0f} {one['unit']}"
        for entry in one["directions"]
        for level in entry["levels"]
        if level["level"] == "extreme" and (level["longest_s"] or 0.0) >= SHORTEST_EPISODE_S
    ]


def _whole(value: float) -> str:
    """Rounded, and never -0."""
    return str(round(value))


def _percent(share: float | None) -> str:
    return "-" if share is None else f"{100 * share:.0f} %"


def _unit(name: str) -> str:
    return quantity(name).unit


def _moment(time_s: float | None) -> str:
    return "now" if time_s is None else clock(time_s)
