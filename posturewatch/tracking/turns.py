"""The forearm network at every second or third frame: which hands it looks at, and what stands in for it between.
Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence

from posturewatch.model.arrays import Array
from posturewatch.model.observation import ForearmAxis, Side
from posturewatch.tracking.crop import hand_scale_px
from posturewatch.tracking.forearm import carried

__all__ = ["ForearmTurns"]

#: An axis older than this is not carried.
_CARRY_S = 0.25

#: Nor is one whose hand has moved farther since, in hand scales: it may be another hand's.
_NEAR = 0.5


class ForearmTurns:
    """Remembers each hand's axis from frame to frame."""

    def __init__(self) -> None:
        self._seen: dict[Side, tuple[float, ForearmAxis]] = {}
        self._carried: dict[Side, int] = {}

    def to_carry(
        self, hands: Sequence[tuple[Side, Array]], time_s: float, running: int = 1
    ) -> dict[Side, ForearmAxis]:
        """The axes of the hands of a frame, where none of them need be looked at.

        One of two hands is never spared alone: looking at both costs no more than looking at one.

        Parameters
        ----------
        hands
            Sides and landmarks (21, 3), pixels of the image.
        time_s
            The frame's time.
        running
            In how many frames running an axis may be carried.
        """
        axes: dict[Side, ForearmAxis] = {}
        for side, landmarks_px in hands:
            if side not in self._seen or self._carried.get(side, running) >= running:
                return {}
            seen_s, axis = self._seen[side]
            near = _NEAR * hand_scale_px(landmarks_px)
            wrist_px = landmarks_px[0, :2]
            if not (0 < time_s - seen_s <= _CARRY_S and math.dist(axis.wrist_px, wrist_px) < near):
                return {}
            axes[side] = carried(axis, wrist_px, time_s - seen_s)
        return axes

    def take(self, axes: Sequence[tuple[Side, ForearmAxis | None]], time_s: float) -> None:
        """Remembers what was given of each hand in a frame, seen or carried."""
        for side, axis in axes:
            if axis is None:
                self._seen.pop(side, None)
                continue
            if axis.carried_sd_deg > 0:
                self._carried[side] = self._carried.get(side, 0) + 1
            else:
                self._carried[side], self._seen[side] = 0, (time_s, axis)
