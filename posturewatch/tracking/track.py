"""A hand that is followed from frame to frame."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

from posturewatch.model.arrays import Array
from posturewatch.model.observation import Side
from posturewatch.tracking.crop import hand_scale_px
from posturewatch.tracking.hands import Detection
from posturewatch.tracking.plausible import hand_distance
from posturewatch.tracking.roi import Roi, hand_roi
from posturewatch.tracking.sides import SideBelief

__all__ = ["Lost", "Track", "jump", "shows"]


@dataclass(eq=False)
class Track:
    """A hand that is being followed.

    Attributes
    ----------
    seen, before
        In the last frame, and in the one before it.
    belief
        Which side it is.
    side, confidence
        What was decided of its side in the last frame.
    body_evidence
        Log odds for left by the body's wrists, as of `body_s`.
    network_evidence
        Log odds for left by our own networks, for the next decision.
    wrists
        Time and place (2,) of its wrist in the last frames.
    """

    seen: Detection
    belief: SideBelief
    side: Side | None = None
    confidence: float = 0.5
    before: Detection | None = None
    body_evidence: float = 0.0
    network_evidence: float = 0.0
    body_s: float = -math.inf
    wrists: deque[tuple[float, Array]] = field(default_factory=lambda: deque(maxlen=32))

    def next_roi(self) -> Roi:
        """The crop for the next frame: where the hand is, and half as far again as it just moved."""
        roi = hand_roi(self.seen.landmarks_px)
        if self.before is None:
            return roi
        x, y = 0.5 * (self.seen.landmarks_px[:, :2] - self.before.landmarks_px[:, :2]).mean(axis=0)
        return Roi((roi.centre_px[0] + float(x), roi.centre_px[1] + float(y)), roi.size_px, roi.angle_rad)

    def take(self, seen: Detection, time_s: float) -> None:
        """Goes on with what was seen in the next frame."""
        self.before, self.seen = self.seen, seen
        self.wrists.append((time_s, seen.landmarks_px[0, :2]))

    def wrist_at(self, time_s: float) -> Array:
        """Where the wrist was at about that time."""
        return min(self.wrists, key=lambda at: abs(at[0] - time_s))[1]


@dataclass(frozen=True, eq=False)
class Lost:
    """A hand that is not followed any more, and since when."""

    track: Track
    time_s: float


def jump(track: Track) -> float:
    """How far, in hand scales, the hand moved since the frame before."""
    if track.before is None:
        return math.inf
    return hand_distance(track.seen.landmarks_px, track.before.landmarks_px)


def shows(roi: Roi, track: Track) -> bool:
    """Whether a crop shows that hand: its middle lies near the palm's."""
    middle = track.seen.landmarks_px[[0, 5, 9, 13, 17], :2].mean(axis=0)
    return math.dist(middle, roi.centre_px) < 0.5 * hand_scale_px(track.seen.landmarks_px)
