"""A session's summary in words, for the terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from posturewatch.cli.sessions import clock, local
from posturewatch.comfort.verdict import Zone
from posturewatch.phrases import leaning
from posturewatch.quantities import quantity

__all__ = ["summary_text"]


#: Less than this in a zone is not worth a line.
SHORTEST_S = 0.5


def summary_text(summary: Mapping[str, Any]) -> str:
    """The summary in lines; `summary` as `posturewatch.session.session_summary` gives it."""
    session = summary["session"]
    lines = [
        f"Session {session['id']}, {local(session['started_at'])}, {clock(session['duration_s'])} long, "
        f"{session['source']['name']}" + ("" if session["ended_at"] else ", still open"),
        f"Limits: {summary['limits']}. Warnings of a held extreme angle: {summary['warnings']}.",
    ]
    for side in ("left", "right"):
        own = [one for one in summary["quantities"] if one["side"] == side]
        lines += _hand(side, [one for one in own if quantity(one["quantity"]).group == "wrist"])
    lines += [
        f"Warned at {clock(one['since_s'])}: {one['side']} {leaning(one['quantity'], one['direction'])}"
        f" beyond {one['limit']:g} {_unit(one['quantity'])}, until {_moment(one['cleared_s'])}."
        for one in summary["warned"]
    ]
    lines += [f"Mark at {clock(mark['time_s'])}. {mark['note']}".rstrip() for mark in summary["marks"]]
    if session["lost_samples"]:
        lines.append(f"{session['lost_samples']} samples could not be kept.")
    return "\n".join(lines)


def _hand(side: str, quantities: list[Mapping[str, Any]]) -> list[str]:
    """What was seen of one hand; one line where nothing of it was measured."""
    if not any(one["measured_s"] for one in quantities):
        reason = next((next(iter(one["unseen_s"]), "") for one in quantities), "")
        return [f"{side.capitalize()} hand: not measured" + (f" ({reason})." if reason else ".")]
    lines = [f"{side.capitalize()} hand:"]
    for one in quantities:
        name = quantity(one["quantity"]).label
        lines.append(f"  {name}: measured {_percent(one['measured_share'])} of the time")
        lines += [
            f"    {entry['zone']:<16}{leaning(one['quantity'], entry['direction'])}: "
            f"{_percent(entry['share'])}, {clock(entry['seconds'])}"
            for entry in one["zones"]
            if entry["seconds"] >= SHORTEST_S and entry["zone"] != Zone.WITHIN.value
        ]
        lines += _longest(one)
        if one["percentiles"] is not None:
            p10, p50, p90 = (one["percentiles"][key] for key in ("p10", "p50", "p90"))
            lines.append(
                f"    middle {_whole(p50)} {one['unit']}, 80 % between {_whole(p10)} and {_whole(p90)}"
            )
    return lines


def _longest(one: Mapping[str, Any]) -> list[str]:
    """The longest stay beyond each extreme limit."""
    return [
        f"    longest beyond {entry['limit']:g} {one['unit']} of {entry['direction']}: "
        f"{entry['longest_s']:.1f} s at {clock(entry['longest_start_s'])}, peak {entry['peak']:.0f} {one['unit']}"
        for entry in one["excursions"]
        if entry["level"] == "extreme" and entry["count"]
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
