"""When to let the hands hang loose: playing time from what is seen of the hands, and the nudge to rest."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from posturewatch.config.settings_sections import RestSettings
from posturewatch.exposure.breaks import BreakRules, BreakState, advance
from posturewatch.model.observation import SIDES, HandObservation, Observation, Side
from posturewatch.model.reading import Reading

__all__ = ["Movement", "RestWatch", "break_rules"]

Points = NDArray[np.float64]

#: Hands that have not moved for so long are not playing: longer than a held note or a turned page.
STILL_S = 8.0

#: Landmarks that lie this share of the hand's size elsewhere have moved: several times a tracker's jitter, and
#: less than one finger's step to the next fret.
_MOVED = 0.12


def break_rules(settings: RestSettings) -> BreakRules:
    """The rules of the nudge as the player has set them."""
    return BreakRules(nudge_after_s=60.0 * settings.nudge_min if settings.nudge_min > 0 else None)


class Movement:
    """Whether somebody plays, from the hands' places in the frame.

    A hand has moved when its landmarks lie elsewhere, or stand otherwise to one another, than when it moved
    last. Both thresholds are this program's own choice.
    """

    def __init__(self) -> None:
        self._places: dict[Side, Points] = {}
        self._moved_s: float | None = None

    def update(self, observation: Observation) -> bool | None:
        """True while a hand moves, False when hands are seen and keep still, None when none is seen."""
        now_s = observation.time_s
        seen = [hand for side in SIDES if (hand := observation.hand(side)) is not None]
        if not seen:
            return None
        if any(self._moved(hand) for hand in seen):
            self._moved_s = now_s
        return self._moved_s is not None and now_s - self._moved_s <= STILL_S

    def _moved(self, hand: HandObservation) -> bool:
        points = np.asarray(hand.landmarks_px, dtype=np.float64)[:, :2]
        size = float(np.ptp(points, axis=0).max())
        before = self._places.get(hand.side)
        if before is not None:
            farthest = float(np.nanmax(np.hypot(*(points - before).T), initial=0.0))
            if not farthest > _MOVED * size:
                return False
        self._places[hand.side] = points
        return True


class RestWatch:
    """A sink of readings. `notice` is the nudge's sentence from the nudge until a rest was taken, else None."""

    def __init__(self, rules: BreakRules) -> None:
        self._rules = rules
        self._movement = Movement()
        self._state = BreakState()
        self._sentence: str | None = None

    @property
    def notice(self) -> str | None:
        """The suggestion to rest while it is to be shown, else None."""
        return self._sentence

    def follow(self, rules: BreakRules) -> None:
        """From the next reading on, by these rules."""
        self._rules = rules

    def put(self, reading: Reading) -> None:
        """Takes a reading."""
        time_s = reading.frame.time_s
        if self._state.time_s is not None and time_s < self._state.time_s:
            self._movement, self._state, self._sentence = Movement(), BreakState(), None  # a new session
        self._state, nudge = advance(
            self._state, time_s, self._movement.update(reading.observation), self._rules
        )
        if nudge is not None:
            self._sentence = nudge.sentence
        elif self._state.nudged_s is None:
            self._sentence = None
