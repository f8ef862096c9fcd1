"""Readings for the session's and the commands' tests: numbers in, no camera and no model."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from posturewatch.config.limit_profiles import load_profile
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, LiftPlane, Measurement, Refusal
from posturewatch.model.observation import Observation, Side
from posturewatch.model.outcome import Ending, Outcome
from posturewatch.model.quantities import QUANTITIES
from posturewatch.model.reading import Reading
from posturewatch.model.verdict import Excursion, HoldWarning, Verdict

LIMITS = load_profile("carpal-pressure")

PICTURE = np.zeros((2, 2, 3), np.uint8)

Values = Mapping[tuple[Side, str], tuple[float, float]]


def make_reading(
    index: int,
    time_s: float,
    values: Values,
    *,
    refusal: Refusal = Refusal.HAND_NOT_SEEN,
    opened: Sequence[Excursion] = (),
    closed: Sequence[Excursion] = (),
    fired: Sequence[HoldWarning] = (),
    cleared: Sequence[HoldWarning] = (),
    dropped: int = 0,
    lift_plane: LiftPlane | None = None,
) -> Reading:
    """A reading with (value, sd) per (side, quantity); what is not given is refused, of fingers as by weights that
    never give it."""

    def hand(side: Side) -> HandMeasurement:
        return HandMeasurement(
            side,
            {
                entry.name: Measurement.of(*values[side, entry.name])
                if (side, entry.name) in values
                else Measurement.refused(refusal if entry.group == "wrist" else Refusal.NOT_REPORTED)
                for entry in QUANTITIES
            },
            lift_plane if any(name.endswith("_lift") and of == side for of, name in values) else None,
        )

    return Reading(
        frame=Frame(index, time_s, PICTURE),
        observation=Observation(index, time_s, 2, 2, (), None),
        measurement=FrameMeasurement(index, time_s, hand("left"), hand("right")),
        verdict=Verdict(time_s, {}, {}, tuple(opened), tuple(closed), tuple(fired), tuple(cleared), ()),
        display={},
        taken_s=time_s,
        dropped=dropped,
    )


class Ended(Outcome):
    """How a run ended, with what tests leave open filled in."""

    def __init__(self, end_s: float, ending: Ending = "stopped", closed: tuple[Excursion, ...] = ()) -> None:
        super().__init__(ending, end_s, 0, closed)
