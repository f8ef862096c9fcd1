"""Finger lift without seeing the strings: from the fingertips that rest at the bottom of their movement.

Everything happens in the hand's own axes (see `kinematics.geometry`), so that a hand that travels along the neck
or turns towards the camera changes nothing. Over the last seconds each fingertip's height along the direction of
the fingers' movement is looked at. A fingertip that comes down again and again and stays there for moments rests
on the strings (or keys): where it then is belongs to the plane. The plane is fitted to the resting fingertips, nearly
square to the movement until they show otherwise; it also serves a finger that was held up all the time.

What it cannot know: whether the bottom of the movement is the string at all (a hand that plays in the air has a
bottom too), and a hand that as a whole moves away from the strings, which shifts the plane until the window has
passed. A finger whose bottom lies clearly above the plane of the others is taken to hover.

The deviation holds the landmarks' own jitter, the spread of hand lengths, how well the plane is known, and a share
for the depth of single-camera landmarks; and it is stretched to what rendered videos with known lifts showed, where the
tracker's fingertips were off by far more than they jitter. So most lifts of this kind are too uncertain to be reported.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from posturewatch.kinematics.geometry import hand_frame
from posturewatch.kinematics.hand_size import HandSize
from posturewatch.model.arrays import Array
from posturewatch.model.estimator_outputs import LONG_FINGERS
from posturewatch.model.observation import HAND_LANDMARKS, Side

__all__ = ["RestRules", "RestingPlane"]


_TIPS = [HAND_LANDMARKS[f"{finger}_tip"] for finger in LONG_FINGERS]
_KNUCKLES = [HAND_LANDMARKS[f"{finger}_mcp"] for finger in LONG_FINGERS]
_MIDDLE_CHAIN = [
    HAND_LANDMARKS[name] for name in ("wrist", "middle_mcp", "middle_pip", "middle_dip", "middle_tip")
]

#: Sums of frame times miss a round number of seconds by rounding.
_ROUNDING_S = 1e-6

#: A hand that was not seen for longer than this was not seen in between.
_LONGEST_STEP_S = 0.25

#: The 30th percentile of |second difference| of unrelated normal errors, in their standard deviation (the variance of
#: n0 - 2 n1 + n2 is six times theirs). So low, since most of the larger ones are movement.
_SECOND_DIFFERENCE = float(ndtri(0.65)) * math.sqrt(6.0)


@dataclass(frozen=True)
class RestRules:
    """When fingertips rest, and how well the plane under them is known; common practice or plain reason but for the
    factor.

    Attributes
    ----------
    window_s
        So much of the past is looked at.
    step_s
        At least so far apart are the frames kept of it.
    refresh_s
        The plane is worked out anew so often.
    min_seen_s
        With less seen in the window there is no plane.
    min_move_mm
        A fingertip that moved less did not play.
    rest_share
        Share of the window that a fingertip is near its bottom if it rests there; one that only passes is shorter.
    min_resting
        With fewer resting fingertips there is no plane: the bottom of one finger's movement may be anything.
    slope_sd
        How far the plane may lean from square to the movement, either way, before anything is seen of it; tangent.
    own_mm
        How far a fingertip's landmark strays from where the finger touches, differently for each finger.
    depth_share
        The part of a lift that the landmarks' poor depth may make it wrong by.
    hover
        A bottom so many deviations above the plane of the others is no rest.
    below
        A fingertip that keeps still so many deviations below it rests.
    factor
        Stretches the stated deviation so that 90 % intervals hold 90 % of the errors on the calibration films.
    """

    window_s: float = 8.0
    step_s: float = 0.06
    refresh_s: float = 0.5
    min_seen_s: float = 3.0
    min_move_mm: float = 8.0
    rest_share: float = 0.12
    min_resting: int = 2
    slope_sd: float = 0.35
    own_mm: float = 2.5
    depth_share: float = 0.2
    hover: float = 2.0
    below: float = 0.5
    factor: float = 3.0


@dataclass(frozen=True)
class _Plane:
    """A plane under the fingertips, in the hand's axes and mm.

    axes: (3, 3) rows: the rising direction, then two square to it. mean (7,), covariance (7, 7): of the plane's
    height, its two slopes along the other axes, and each fingertip's own stray from it. jitter_mm: (4,) of the
    heights from frame to frame.
    """

    axes: Array
    mean: Array
    covariance: Array
    jitter_mm: Array

    def lift(self, tips: Array) -> tuple[Array, Array]:
        """Distance of fingertips (4, 3) from the plane and its deviation (4,), but for what grows with it."""
        height, *beside = (tips @ self.axes.T).T
        design = _design(np.stack(beside, axis=1))
        slant = math.sqrt(1.0 + float(self.mean[1:3] @ self.mean[1:3]))
        variance = np.einsum("ij,jk,ik->i", design, self.covariance, design)
        lift: Array = (height - design @ self.mean) / slant
        return lift, np.sqrt(variance / slant**2 + self.jitter_mm**2)


@dataclass(frozen=True)
class _Sample:
    """One frame of the window: fingertips and knuckles (4, 3) in the hand's axes from the middle of the knuckles,
    and the length of the middle finger's chain of bones, in the landmarks' unit."""

    time_s: float
    tips: Array
    knuckles: Array
    chain: float


@dataclass
class RestingPlane:
    """The plane under one hand's resting fingertips. A time before the last begins anew.

    Attributes
    ----------
    side
        The hand's.
    size
        Of the player's hand, which gives lengths their millimetres.
    rules
        When fingertips rest.
    """

    side: Side
    size: HandSize
    rules: RestRules = field(default_factory=RestRules)
    _window: deque[_Sample] = field(default_factory=deque)
    _scale: float = math.nan
    _plane: _Plane | None = None
    _worked_out_s: float = -math.inf

    def follow(self, landmarks_m: Array, time_s: float) -> None:
        """Takes a frame in without asking for lifts.

        Parameters
        ----------
        landmarks_m
            (21, 3) in any right-handed axes and any unit.
        time_s
            The frame's time.
        """
        window = self._window
        if window and time_s < window[-1].time_s:
            window.clear()
            self._plane, self._worked_out_s = None, -math.inf
        if window and time_s - window[-1].time_s < self.rules.step_s - _ROUNDING_S:
            return
        landmarks = np.asarray(landmarks_m, dtype=np.float64)
        frame = hand_frame(landmarks, self.side)
        if not (np.isfinite(frame).all() and np.isfinite(landmarks).all()):
            return
        beside = landmarks - landmarks[_KNUCKLES].mean(axis=0)
        bones = np.diff(landmarks[_MIDDLE_CHAIN], axis=0)
        chain = float(np.sqrt(np.einsum("ij,ij->i", bones, bones)).sum())
        window.append(_Sample(time_s, beside[_TIPS] @ frame, beside[_KNUCKLES] @ frame, chain))
        while time_s - window[0].time_s > self.rules.window_s:
            window.popleft()
        if time_s - self._worked_out_s >= self.rules.refresh_s - _ROUNDING_S:
            self._plane = self._work_out()
            self._worked_out_s = time_s

    def lifts(self, landmarks_m: Array, time_s: float) -> tuple[Array, Array] | None:
        """Takes a frame in and measures its lifts.

        Parameters
        ----------
        landmarks_m, time_s
            As of `follow`.

        Returns
        -------
        Lift and standard deviation of index to little finger, (4,) each, millimetres; None where too few fingertips
        were seen to rest lately, or the landmarks lie on no hand.
        """
        self.follow(landmarks_m, time_s)
        if self._plane is None or not self._window:
            return None
        landmarks = np.asarray(landmarks_m, dtype=np.float64)
        if self._window[-1].time_s == time_s:
            tips = self._window[-1].tips
        else:
            tips = (landmarks[_TIPS] - landmarks[_KNUCKLES].mean(axis=0)) @ hand_frame(landmarks, self.side)
        if not np.isfinite(tips).all():
            return None
        lift, sd = self._plane.lift(self._scale * tips)
        share = math.hypot(self.rules.depth_share, self.size.relative_sd)
        return lift, self.rules.factor * np.hypot(sd, share * lift)

    def _work_out(self) -> _Plane | None:
        rules, window = self.rules, self._window
        steps = np.diff([sample.time_s for sample in window])
        if float(np.minimum(steps, _LONGEST_STEP_S).sum()) < rules.min_seen_s:
            return None
        # The middle finger's bones add up to the hand's length.
        self._scale = self.size.length_mm / float(np.median([sample.chain for sample in window]))
        tips = self._scale * np.array([sample.tips for sample in window])
        knuckles = self._scale * np.median([sample.knuckles for sample in window], axis=0)
        axes = _axes(_direction(tips, knuckles))
        placed = tips @ axes.T
        height = placed[..., 0]
        jitter = np.percentile(np.abs(np.diff(height, n=2, axis=0)), 30, axis=0) / _SECOND_DIFFERENCE
        sd = 0.5 + 0.5 * jitter  # errors of neighbouring frames are alike, so the many of them make few
        rests, rested = _rests(placed, jitter, rules)
        used = _not_hovering(rests, sd, rested, rules)
        if used.any():
            used |= _below(rests, sd, used, rested, rules)
        if used.sum() < rules.min_resting:
            return None
        return _Plane(axes, *_fit(rests[used], sd[used], np.flatnonzero(used), rules), jitter)


def _axes(rising: Array) -> Array:
    """Rows (3, 3): the rising direction, the one square to it across the hand's breadth, and the breadth."""
    breadth = np.array([0.0, 0.0, 1.0])
    return np.stack([rising, np.cross(breadth, rising), breadth])


def _design(beside: Array) -> Array:
    """Rows (4, 7) that read each finger's touching height at its place (4, 2) from the plane's numbers."""
    return np.concatenate([np.ones((4, 1)), beside, np.eye(4)], axis=1)


def _direction(tips: Array, knuckles: Array) -> Array:
    """The unit vector along which fingertips (n, 4, 3) rise, in the hand's axes, perpendicular to its breadth.

    That of the fingers' own movement, where it is clear and not far from what turning at the knuckle gives; else
    the latter: a fingertip at r from its knuckle that is extended moves along (r_y, -r_x)."""
    middle = np.median(tips, axis=0)
    arm = (middle - knuckles)[:, :2]
    turned = np.stack([arm[:, 1], -arm[:, 0]], axis=1)
    turned = turned / np.maximum(np.linalg.norm(turned, axis=1, keepdims=True), 1e-9)
    expected = turned.sum(axis=0)
    expected = expected / max(float(np.linalg.norm(expected)), 1e-9)
    moved = (tips - middle)[..., :2].reshape(-1, 2)
    spread, axes = np.linalg.eigh(moved.T @ moved)
    along = axes[:, 1] * (1.0 if axes[:, 1] @ expected >= 0 else -1.0)
    clear = spread[1] > 2.5 * spread[0] and along @ expected > math.cos(math.radians(50.0))
    rising = along if clear else expected
    return np.array([rising[0], rising[1], 0.0])


def _rests(placed: Array, jitter: Array, rules: RestRules) -> tuple[Array, NDArray[np.bool_]]:
    """Where each fingertip was at the bottom of its movement (4, 3), from its places (n, 4, 3) whose first number
    is the height; and whether it was seen to come down there and rest (4,)."""
    height = placed[..., 0]
    low, high = np.percentile(height, [5, 95], axis=0)
    near = height <= low + 3.3 * jitter + 0.5
    played = high - low >= np.maximum(rules.min_move_mm, 5.0 * jitter)
    rests = np.stack([np.median(placed[near[:, place], place], axis=0) for place in range(4)])
    return rests, played & (near.mean(axis=0) >= rules.rest_share)


def _fit(rests: Array, sd: Array, fingers: NDArray[np.int64], rules: RestRules) -> tuple[Array, Array]:
    """Mean (7,) and covariance (7, 7) of a `_Plane` from the rests (m, 3) of these fingers, with the deviations (m,)
    of their heights: least squares with a height that may be anything, and slopes and strays that are small until
    seen otherwise."""
    design = np.zeros((len(fingers), 7))
    design[:, 0] = 1.0
    design[:, 1:3] = rests[:, 1:]
    design[np.arange(len(fingers)), 3 + fingers] = 1.0
    # Slopes are about the middle of the rests, not about the knuckles: there the height is known.
    middle = rests[:, 1:].mean(axis=0)
    turn = np.eye(7)
    turn[0, 1:3] = -middle
    about_middle = design @ turn
    prior = np.diag([1e-6, *[rules.slope_sd**-2] * 2, *[rules.own_mm**-2] * 4])
    covariance = np.linalg.inv((about_middle.T / sd**2) @ about_middle + prior)
    mean = covariance @ ((about_middle.T / sd**2) @ rests[:, 0])
    return turn @ mean, turn @ covariance @ turn.T


def _above(rests: Array, sd: Array, place: int, others: NDArray[np.bool_], rules: RestRules) -> float:
    """How many deviations a rest lies above the plane of the others' rests."""
    mean, covariance = _fit(rests[others], sd[others], np.flatnonzero(others), rules)
    row = _design(rests[:, 1:])[place]
    return float(rests[place, 0] - row @ mean) / math.sqrt(float(row @ covariance @ row) + sd[place] ** 2)


def _not_hovering(rests: Array, sd: Array, rested: NDArray[np.bool_], rules: RestRules) -> NDArray[np.bool_]:
    """Which rests (4,) count: all but those far above the plane of the others, the farthest left out first."""
    used = rested.copy()
    while used.sum() > 1:
        above = np.full(4, -np.inf)
        for place in np.flatnonzero(used):
            above[place] = _above(rests, sd, int(place), used & (np.arange(4) != place), rules)
        if above.max() <= rules.hover:
            break
        used[int(above.argmax())] = False
    return used


def _below(
    rests: Array, sd: Array, used: NDArray[np.bool_], rested: NDArray[np.bool_], rules: RestRules
) -> NDArray[np.bool_]:
    """Fingertips (4,) that did not move and lie below the plane of those that came down: nothing is below the
    strings, so they rest as well, and the plane leans more than was thought."""
    still = np.zeros(4, dtype=bool)
    for place in np.flatnonzero(~used & ~rested):
        still[place] = _above(rests, sd, int(place), used, rules) < -rules.below
    return still
