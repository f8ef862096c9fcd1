"""The table of samples as CSV, one layout for `posturewatch analyse` and for an exported session."""

from __future__ import annotations

from collections.abc import Sequence

from posturewatch.model.measurement import Measurement, Refusal
from posturewatch.model.quantities import Quantity

__all__ = ["EMPTY", "Cell", "cell", "csv_header", "csv_row"]

#: (value, standard deviation, reason why there is none), each empty where it does not apply.
Cell = tuple[str, str, str]

EMPTY: Cell = ("", "", "")


def csv_header(wrist: Sequence[Quantity], fingers: Sequence[Quantity]) -> list[str]:
    """Names of the columns. `status` and `reason` are the wrist's; `lift_plane` says what finger lifts were measured
    from, `finger_reason` why the first finger quantity without a number has none."""
    return [
        "time_s",
        "side",
        *(column for entry in wrist for column in (entry.column, entry.sd_column)),
        "status",
        "reason",
        *(column for entry in fingers for column in (entry.column, entry.sd_column)),
        "lift_plane",
        "finger_reason",
    ]


def csv_row(
    time_s: str, side: str, wrist: Sequence[Cell], fingers: Sequence[Cell], lift_plane: str | None
) -> list[str]:
    """One hand at one time. status is "measured" where every quantity of the wrist has a number; otherwise
    "not measurable" with the reason, and the cells of the refused quantities are empty."""
    reason = next((why for _, _, why in wrist if why), "")
    return [
        time_s,
        side,
        *(number for value, sd, _ in wrist for number in (value, sd)),
        "not measurable" if reason else "measured",
        reason,
        *(number for value, sd, _ in fingers for number in (value, sd)),
        lift_plane or "",
        next((why for _, _, why in fingers if why), ""),
    ]


def cell(one: Measurement) -> Cell:
    """A measurement's cell, to the hundredth of its unit. What the weights in use never give needs no reason in
    every row."""
    if one.refusal is Refusal.NOT_REPORTED:
        return EMPTY
    if one.value is None or one.sd is None:
        return ("", "", "" if one.refusal is None else one.refusal.value)
    # Adding 0 makes a plain zero of what is rounded to -0.
    return (f"{round(one.value, 2) + 0.0:.2f}", f"{one.sd:.2f}", "")
