"""What is measured of the player and the camera before a practice, one step at a time."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from posturewatch.capture.lens import LEAST_VIEWS, LensFit, LensMeter
from posturewatch.comfort.own_range import END_RULES, NEUTRAL_RULES, PUBLISHED_DEG, HoldMeter, question_about
from posturewatch.config.players import KeptEnd, today
from posturewatch.errors import InputError, PosturewatchError
from posturewatch.kinematics.view_bias import STRAIGHT_SD_DEG, Reference
from posturewatch.model.arrays import Array
from posturewatch.model.measurement import FrameMeasurement
from posturewatch.model.observation import Side
from posturewatch.model.quantities import in_group, quantity
from posturewatch.model.reading import Reading
from posturewatch.pipeline.live_settings import LiveSettings
from posturewatch.pipeline.view.view_biases import ViewBiases

__all__ = ["Measuring", "Step"]

What = Literal["neutral", "end", "lens"]

_WRIST = tuple(entry.name for entry in in_group("wrist"))

#: Beside an end the same as it was measured before the view's bias was removed.
_RAW = "raw"

#: The board is looked for so often, and given up after so long without it.
_LENS_EVERY_S, _LENS_GIVE_UP_S = 0.4, 60.0

#: A wrist that is held straight and measured this far off is questioned.
_STRAIGHT_MOST_DEG = 25.0

#: A field of view known to a fraction of a degree is no better than the board was flat.
_LEAST_LENS_SD_DEG = 0.5

_GONE = (
    "The hand was not seen for a minute, and nothing was measured. Sit so that it is in the picture, then try "
    "again."
)
_NO_BOARD = (
    "The board was not found. Print it at any size, keep it flat, hold it so that all of it is in the picture, in good "
    "light, then try again."
)
_NO_LENS = (
    "The views of the board do not go together. Keep it flat and hold it still for a moment each time; then try "
    "again."
)


@dataclass(frozen=True)
class Step:
    """A step under way or done.

    Attributes
    ----------
    hint
        What the player is to do now.
    part
        How much of it is done, 0 to 1.
    done
        Whether there is a result to be kept.
    values
        What was measured, value and deviation by quantity, degrees.
    lens
        The measured lens.
    question
        Why the result is doubtful, None where it is not.
    fault
        Why there is none.
    hand_frame
        How the camera saw the hand that was measured.
    """

    what: What
    side: Side | None = None
    quantity: str | None = None
    direction: str | None = None
    hint: str = ""
    part: float = 0.0
    done: bool = False
    values: Mapping[str, tuple[float, float]] | None = None
    lens: LensFit | None = None
    question: str | None = None
    fault: str | None = None
    hand_frame: Array | None = field(default=None, compare=False, repr=False)

    def to_json(self) -> dict[str, Any]:
        """In JSON's types; value_deg and sd_deg are those of an end in its direction, or of the lens."""
        value = sd = None
        if self.what == "end" and self.values and self.quantity and self.direction:
            signed, sd = self.values[self.quantity]
            value = quantity(self.quantity).sign(self.direction) * signed
        if self.lens is not None:
            value, sd = self.lens.hfov_deg, self.lens.sd_deg
        return {
            "what": self.what,
            "side": self.side,
            "quantity": self.quantity,
            "direction": self.direction,
            "hint": self.hint,
            "part": round(self.part, 2),
            "done": self.done,
            "value_deg": None if value is None else round(value, 1),
            "sd_deg": None if sd is None else round(sd, 1),
            "question": self.question,
            "fault": self.fault,
        }


class Measuring:
    """A sink of readings that does nothing until a step is begun. From any thread.

    A result that nothing speaks against is kept at once: the neutral for this view, an end in the player's file, the
    lens in the settings.

    Parameters
    ----------
    biases
        What is known of this view.
    settings
        Where ends and lens are kept.
    """

    def __init__(self, biases: ViewBiases, settings: LiveSettings) -> None:
        self._biases = biases
        self._settings = settings
        self._lock = threading.Lock()
        self._step: Step | None = None
        self._meter: HoldMeter | None = None
        self._lens: LensMeter | None = None
        self._began_s: float | None = None
        self._looked_s = float("-inf")

    @property
    def step(self) -> Step | None:
        """The step under way or done, None without one."""
        return self._step

    def begin(
        self, what: What, side: Side | None = None, name: str | None = None, direction: str | None = None
    ) -> None:
        """Begins a step; an earlier one is given up.

        Raises
        ------
        InputError
            A step of which nothing is known.
        """
        if what != "lens" and side is None:
            raise InputError("Name the hand that is to be measured: left or right.")
        if what == "end" and (name, direction) not in PUBLISHED_DEG:
            raise InputError("Name one of the directions of the wrist: flexion, extension, ulnar or radial.")
        with self._lock:
            self._began_s, self._looked_s = None, float("-inf")
            self._meter = self._lens = None
            if what == "lens":
                self._lens = LensMeter()
            elif what == "end" and name is not None:
                self._meter = HoldMeter((name, _RAW), direction, END_RULES)
            else:
                self._meter = HoldMeter(_WRIST, None, NEUTRAL_RULES)
            self._step = Step(
                what, side, name if what == "end" else None, direction if what == "end" else None
            )

    def stop(self) -> None:
        """Gives the step up."""
        with self._lock:
            self._step = self._meter = self._lens = None

    def put(self, reading: Reading) -> None:
        """Takes a reading."""
        with self._lock:
            step = self._step
            if step is None or step.done or step.fault is not None:
                return
            self._step = new = (
                self._lens_step(step, reading) if self._lens else self._hold_step(step, reading)
            )
        if new.done and new.question is None:
            self._keep(new)

    def keep(self) -> None:
        """Keeps a result in spite of its question.

        Raises
        ------
        InputError
            There is none.
        SettingsError, StoreError
            The file is broken or cannot be written.
        """
        step = self._step
        if step is None or not step.done:
            raise InputError("Nothing has been measured that could be kept; begin the step again.")
        if step.question is not None:
            self._write(step)
            with self._lock:
                self._step = replace(step, question=None)

    def _keep(self, step: Step) -> None:
        """As `keep`, in the thread of the readings: what cannot be written is told of with the step."""
        try:
            self._write(step)
        except PosturewatchError as error:
            with self._lock:
                self._step = replace(step, done=False, fault=error.sentence)

    def _write(self, step: Step) -> None:
        if step.lens is not None:
            self._settings.change({("camera", "hfov_deg"): round(step.lens.hfov_deg, 1)})
            return
        assert step.side is not None
        assert step.values is not None
        if step.what == "neutral":
            self._biases.straight(
                {
                    (step.side, name): Reference(0.0, STRAIGHT_SD_DEG, *pair, step.hand_frame)
                    for name, pair in step.values.items()
                }
            )
            return
        assert step.quantity is not None
        assert step.direction is not None
        sign = quantity(step.quantity).sign(step.direction)
        player = self._settings.parts.player
        for one in player.own_ends():
            if (one.side, one.quantity, one.direction) == (step.side, step.quantity, step.direction):
                known = Reference(sign * one.value_deg, one.sd_deg, *step.values[_RAW], step.hand_frame)
                self._biases.add((step.side, step.quantity), known)
        value, sd = step.values[step.quantity]
        self._settings.keep(
            player.with_end(
                KeptEnd(
                    side=step.side,
                    quantity=step.quantity,
                    direction=step.direction,
                    value_deg=round(sign * value, 1),
                    sd_deg=round(sd, 1),
                    date=today(),
                )
            )
        )

    def _hold_step(self, step: Step, reading: Reading) -> Step:
        assert self._meter is not None
        assert step.side is not None
        meter = self._meter
        raw = _numbers(self._biases.raw or reading.measurement, step.side)
        if step.quantity is None:  # a neutral says what the view itself is off by
            values = raw
        else:
            values = _numbers(reading.measurement, step.side)
            if step.quantity in raw:
                values[_RAW] = raw[step.quantity]
        meter.add(reading.frame.time_s, values)
        if meter.gone:
            return replace(step, fault=_GONE)
        part = min(1.0, meter.held_s / meter.rules.hold_s)
        if meter.held is None:
            return replace(step, hint=meter.hint, part=part)
        seen = self._biases.hand_frames.get(step.side)
        done = replace(step, hint="done", part=1.0, done=True, values=meter.held.values, hand_frame=seen)
        return replace(done, question=_question(done))

    def _lens_step(self, step: Step, reading: Reading) -> Step:
        assert self._lens is not None
        time_s = reading.frame.time_s
        if self._began_s is None or time_s < self._looked_s:
            self._began_s = time_s
        elif time_s - self._looked_s < _LENS_EVERY_S:
            return step
        self._looked_s = time_s
        before = self._lens.views
        self._lens.add(reading.frame.image_bgr)
        if self._lens.views > before:
            self._began_s = time_s
        elif time_s - self._began_s > _LENS_GIVE_UP_S:
            return replace(step, fault=_NO_BOARD)
        if self._lens.views < LEAST_VIEWS:
            hint = "move the board" if self._lens.seen else "show the board"
            return replace(step, hint=hint, part=self._lens.views / LEAST_VIEWS)
        fit = self._lens.fit()
        if fit is None or not 20 <= fit.hfov_deg <= 170:
            return replace(step, fault=_NO_LENS)
        fit = replace(fit, sd_deg=max(fit.sd_deg, _LEAST_LENS_SD_DEG))
        return replace(step, hint="done", part=1.0, done=True, lens=fit)


def _numbers(measurement: FrameMeasurement, side: Side) -> dict[str, tuple[float, float]]:
    """Value and deviation of the wrist's quantities that have them."""
    found = measurement.hand(side).values
    return {
        name: (one.value, one.sd)
        for name in _WRIST
        if (one := found[name]).value is not None and one.sd is not None
    }


def _question(step: Step) -> str | None:
    """Why a held posture is doubtful."""
    assert step.values is not None
    if step.what == "end":
        assert step.quantity is not None
        assert step.direction is not None
        value, sd = step.values[step.quantity]
        sign = quantity(step.quantity).sign(step.direction)
        return question_about(step.quantity, step.direction, sign * value, sd)
    bent = [
        f"{quantity(name).label} of {abs(value):.0f} degrees"
        for name, (value, sd) in step.values.items()
        if abs(value) > _STRAIGHT_MOST_DEG + sd
    ]
    if not bent:
        return None
    return f"That was measured as a {' and '.join(bent)}. If the wrist was straight, keep it; otherwise hold it again."
