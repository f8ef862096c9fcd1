"""What is known of the constant errors of this view, and the measurer that takes them off."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from typing import Any

from posturewatch.kinematics.features import hand_frame
from posturewatch.kinematics.view_bias import Reference, ViewBias, unbiased
from posturewatch.model.arrays import Array
from posturewatch.model.measurement import FrameMeasurement
from posturewatch.model.observation import Observation, Side
from posturewatch.pipeline.monitor import Measurer

__all__ = ["ViewBiases"]

_Key = tuple[Side, str]


class ViewBiases:
    """References of the hands in the view of now, from any thread; they hold until the camera is moved.

    Attributes
    ----------
    raw
        The newest measurement as it was before biases were removed; None before the first.
    hand_frames
        How the camera last saw each hand, as `features.hand_frame` gives it.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._references: dict[_Key, tuple[Reference, ...]] = {}
        self._biases: Mapping[_Key, ViewBias] = {}
        self.raw: FrameMeasurement | None = None
        self.hand_frames: Mapping[Side, Array] = {}

    @property
    def known(self) -> Mapping[_Key, ViewBias]:
        """The biases by hand and quantity."""
        return self._biases

    def straight(self, references: Mapping[_Key, Reference]) -> None:
        """A wrist was held straight: what was known of these before is forgotten."""
        with self._lock:
            self._references |= {key: (one,) for key, one in references.items()}
            self._made()

    def add(self, key: _Key, reference: Reference) -> None:
        """A further posture whose angle is known."""
        with self._lock:
            self._references[key] = (*self._references.get(key, ()), reference)
            self._made()

    def clear(self) -> None:
        """The view is another one."""
        with self._lock:
            self._references = {}
            self._made()

    def over(self, measurer: Measurer) -> Measurer:
        """The measurer with the biases removed from what it measures."""
        return _Unbiased(measurer, self)

    def to_json(self) -> list[dict[str, Any]]:
        """What was held, in JSON's types, as it is kept with a session."""
        return [
            {
                "side": side,
                "quantity": name,
                "true_deg": one.true_deg,
                "true_sd_deg": one.true_sd_deg,
                "measured_deg": round(one.measured_deg, 2),
                "sd_deg": round(one.sd_deg, 2),
            }
            for (side, name), references in self._references.items()
            for one in references
        ]

    def _made(self) -> None:
        self._biases = {key: ViewBias(references) for key, references in self._references.items()}


class _Unbiased:
    """Measures, and takes off what is known."""

    def __init__(self, measurer: Measurer, biases: ViewBiases) -> None:
        self._measurer = measurer
        self._biases = biases

    def measure(self, observation: Observation) -> FrameMeasurement:
        raw = self._measurer.measure(observation)
        seen = {hand.side: hand_frame(hand) for hand in observation.hands}
        now = {side: frame for side, frame in seen.items() if frame is not None}
        # A number stays for a moment when its hand is not seen, and so does the view that it is of.
        self._biases.hand_frames = {**self._biases.hand_frames, **now}
        self._biases.raw = raw
        return unbiased(raw, self._biases.known, self._biases.hand_frames)

    def reset(self) -> None:
        self._biases.hand_frames = {}
        self._measurer.reset()
