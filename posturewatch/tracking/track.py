"""A hand that is followed from frame to frame."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field, replace

import numpy as np

from posturewatch.model.arrays import Array
from posturewatch.model.observation import Side
from posturewatch.tracking.crop import hand_scale_px, moved_along
from posturewatch.tracking.hands import Detection
from posturewatch.tracking.plausible import hand_distance
from posturewatch.tracking.roi import Roi, hand_roi
from posturewatch.tracking.sides import SideBelief

__all__ = ["Lost", "Track", "jump", "shows"]


#: Landmarks are not moved along with joints that changed by more than this since, beside moving, turning and growing as
#: a whole, nor with a hand that moves farther between two frames; hand scales. Of the demo players' hands, which play,
#: 97 % of the frames stay below 0.051 and 0.047; half of those of people who gesture are above.
_CHANGED, _MOVED = 0.06, 0.08

#: Nor are landmarks of a hand of which the library is less sure; nor those that lie farther from the joints, in hand
#: scales, for longer than these seconds, two frames at 30 a second.
_SURE, _APART, _APART_S = 0.9, 0.25, 0.07


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
    joints_px, joints_before_px
        (21, 2) where our finger network pointed in the last frame and in the one before it; None where it did not.
    library_px, library_joints_px, library_s
        (21, 3) landmarks of the library's last look, where our network pointed in that frame, and when that was.
    apart
        Whether the library's last look and our network saw it in different places.
    doubted
        Whether our network did not take it for a hand in the last frame.
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
    joints_px: Array | None = None
    joints_before_px: Array | None = None
    library_px: Array | None = None
    library_joints_px: Array | None = None
    library_s: float = -math.inf
    apart: bool = False
    doubted: bool = False
    wrists: deque[tuple[float, Array]] = field(default_factory=lambda: deque(maxlen=32))

    def next_roi(self) -> Roi:
        """The crop for the next frame: where the hand is, and half as far again as it just moved."""
        roi = hand_roi(self.seen.landmarks_px)
        if self.before is None:
            return roi
        x, y = 0.5 * (self.seen.landmarks_px[:, :2] - self.before.landmarks_px[:, :2]).mean(axis=0)
        return Roi((roi.centre_px[0] + float(x), roi.centre_px[1] + float(y)), roi.size_px, roi.angle_rad)

    def carried(self) -> Detection | None:
        """The library's last landmarks of it, moved along with the joints that our finger network sees to where these
        should be in the next frame; None where that is not known, or the hand has moved or changed too much since."""
        if self.joints_px is None or self.library_px is None or self.library_joints_px is None:
            return None
        scale_px = hand_scale_px(self.seen.landmarks_px)
        alike_px = moved_along(self.library_joints_px, self.library_joints_px, self.joints_px)
        changed_px = np.linalg.norm(alike_px - self.joints_px, axis=1).mean()
        if self.doubted or changed_px > _CHANGED * scale_px:
            return None
        due_px = self.joints_px
        if self.joints_before_px is not None:
            step_px = (self.joints_px - self.joints_before_px).mean(axis=0)
            if np.hypot(*step_px) > _MOVED * scale_px:
                return None
            due_px = due_px + 0.5 * step_px
        return replace(self.seen, landmarks_px=moved_along(self.library_px, self.library_joints_px, due_px))

    def point_at(self, joints_px: Array | None, *, doubted: bool, time_s: float) -> None:
        """Takes in where our finger network points in the frame just taken, or that it does not."""
        self.joints_before_px, self.joints_px, self.doubted = self.joints_px, joints_px, doubted
        if self.library_s == time_s:
            sure = joints_px is not None and self.seen.presence >= _SURE
            self.library_px = self.seen.landmarks_px if sure else None
            self.library_joints_px = joints_px
            self.apart = joints_px is not None and hand_distance(self.seen.landmarks_px, joints_px) >= _APART

    def patience_s(self, library_every_s: float) -> float:
        """How long the library's last look may be moved along, where it looks so often at hands that it sees where our
        network does."""
        return min(_APART_S, library_every_s) if self.apart else library_every_s

    def take(self, seen: Detection, time_s: float, *, librarys: bool = True) -> None:
        """Goes on with what was seen in the next frame; librarys: by the library, or else carried along."""
        self.before, self.seen = self.seen, seen
        self.library_s = time_s if librarys else self.library_s
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
