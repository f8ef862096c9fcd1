"""The nudge to take a short break: a pure state machine, time is an argument."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

__all__ = ["BreakRules", "BreakState", "Nudge", "advance"]


@dataclass(frozen=True)
class BreakRules:
    """nudge_after_s: played so long since the last rest, the player is nudged; None switches it off. Breaks
        help best every 20 minutes, at no cost in output (McLean 2001, Appl Ergon 32:225-237).
    rest_s: a pause in playing of so long is a rest (30 seconds, as in that study; from memory).
    unseen_rest_s: where nobody can be seen, a pause counts as a rest only when it is this long: a hand lost
        behind the instrument is no rest.
    repeat_s: if playing goes on, nudge again after this much more playing; None: only once until a rest.
    max_gap_s: from one update to the next no more than this counts as playing.
    """

    nudge_after_s: float | None = 20.0 * 60.0
    rest_s: float = 30.0
    unseen_rest_s: float = 120.0
    repeat_s: float | None = None
    max_gap_s: float = 1.0

    def __post_init__(self) -> None:
        for name in ("nudge_after_s", "rest_s", "unseen_rest_s", "repeat_s", "max_gap_s"):
            value = getattr(self, name)
            optional = name in ("nudge_after_s", "repeat_s")
            if value is None and optional:
                continue
            if value is None or not (math.isfinite(value) and value > 0):
                raise ValueError(f"{name} is above 0{' or None' if optional else ''}, got {value}")


@dataclass(frozen=True)
class BreakState:
    """time_s: of the last update, None before the first. playing: what it said. played_s: playing time since the
    last rest. paused_s: seen pause since the last playing. absent_s: pause since then, seen or not.
    nudged_s: played_s at the last nudge, None when there was none since the last rest."""

    time_s: float | None = None
    playing: bool | None = None
    played_s: float = 0.0
    paused_s: float = 0.0
    absent_s: float = 0.0
    nudged_s: float | None = None


@dataclass(frozen=True)
class Nudge:
    """Time for a short break: at time_s, after played_s seconds of playing since the last rest."""

    time_s: float
    played_s: float

    @property
    def sentence(self) -> str:
        minutes = max(1, round(self.played_s / 60.0))
        return f"{minutes} minutes of playing without a rest: let both hands hang loose for half a minute."


def advance(
    state: BreakState, time_s: float, playing: bool | None, rules: BreakRules
) -> tuple[BreakState, Nudge | None]:
    """The state at this time, and a nudge if this is the moment for one.

    Pauses shorter than a rest neither add to the playing time nor take it back.

    Parameters
    ----------
    time_s : float
        Session time, not before that of `state`.
    playing : bool or None
        From this time on; None where it is not known (nobody seen).

    Returns
    -------
    state : BreakState
    nudge : Nudge or None

    Raises
    ------
    ValueError
        Where time runs backwards.
    """
    if state.time_s is not None and time_s < state.time_s:
        raise ValueError(f"time runs backwards, from {state.time_s} s to {time_s} s")
    step_s = 0.0 if state.time_s is None else time_s - state.time_s
    played_s, paused_s, absent_s = state.played_s, state.paused_s, state.absent_s
    if state.playing:
        # What lies beyond the gap was not observed: it may have been a rest.
        seen_s = min(step_s, rules.max_gap_s)
        played_s += seen_s
        paused_s, absent_s = 0.0, step_s - seen_s
    else:
        absent_s += step_s
        if state.playing is False:
            paused_s += step_s
    rested = paused_s >= rules.rest_s or absent_s >= rules.unseen_rest_s
    if rested:
        played_s = 0.0
    new = BreakState(time_s, playing, played_s, paused_s, absent_s, None if rested else state.nudged_s)
    if not playing or not _due(new, rules):
        return new, None
    return replace(new, nudged_s=played_s), Nudge(time_s, played_s)


def _due(state: BreakState, rules: BreakRules) -> bool:
    if rules.nudge_after_s is None:
        return False
    if state.nudged_s is None:
        return state.played_s >= rules.nudge_after_s
    return rules.repeat_s is not None and state.played_s - state.nudged_s >= rules.repeat_s
