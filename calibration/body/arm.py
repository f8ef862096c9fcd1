"""One arm: from shoulder to hand frame, with an exactly set wrist, solved so that the hand reaches a target."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from calibration.body.bodies import Body
from calibration.body.geometry import (
    across,
    dot,
    least_squares,
    rotation_between,
    share_turn,
    turn_about,
    turn_vector,
    unit,
)
from calibration.body.hand_pose import anatomical_frame, bone_suffix, side_sign
from posturewatch.model.arrays import FloatArray

ELBOW_FLEXION_DEG = (22.0, 142.0)
SUPINATION_DEG = (-80.0, 88.0)  # common practice: 80-90 degrees each way from the thumb-up position


@dataclass(frozen=True)
class Reach:
    """What a hand shall reach, for a batch of B candidates.

    point: (B, 3) where the contact point shall be; axes: (B, 3, 3) columns along which the error is weighed;
    tolerance_m: (B, 3) per axis; frame: (B, 3, 3) wished hand frame; frame_tolerance_deg: scalar;
    contact: (B, 3) contact point in hand coordinates; turn: (B, 3, 3) wrist rotation, exact.
    """

    point: FloatArray
    axes: FloatArray
    tolerance_m: FloatArray
    frame: FloatArray
    frame_tolerance_deg: float
    contact: FloatArray
    turn: FloatArray


@dataclass(frozen=True)
class ArmPose:
    """Solved arms: directions of upper arm and forearm (B, 3), frames (B, 3, 3), joints (B, 3), quality (B,)."""

    upper: FloatArray
    fore: FloatArray
    forearm_frame: FloatArray
    hand_frame: FloatArray
    elbow: FloatArray
    wrist: FloatArray
    point_error_m: FloatArray
    frame_error_deg: FloatArray
    strain: FloatArray


@dataclass(frozen=True)
class Trunk:
    """What elbows may not enter: an upright elliptic cylinder. centre (2,) x and z; half (2,) widths."""

    centre: FloatArray
    half: FloatArray


@dataclass(frozen=True)
class Arm:
    body: Body
    side: str

    def _rest(self, name: str) -> FloatArray:
        return self.body.head(name + bone_suffix(self.side))

    @cached_property
    def upper_m(self) -> float:
        return float(np.linalg.norm(self._rest("lowerarm01") - self._rest("upperarm01")))

    @cached_property
    def fore_m(self) -> float:
        return float(np.linalg.norm(self._rest("wrist") - self._rest("lowerarm01")))

    @cached_property
    def rest_upper(self) -> FloatArray:
        return unit(self._rest("lowerarm01") - self._rest("upperarm01"))

    @cached_property
    def rest_fore(self) -> FloatArray:
        return unit(self._rest("wrist") - self._rest("lowerarm01"))

    @cached_property
    def rest_forearm_frame(self) -> FloatArray:
        radial = self._rest("finger2-1") - self._rest("finger5-1")
        return anatomical_frame(self.rest_fore, radial, self.side)

    def supination_deg(self, upper: FloatArray, fore: FloatArray, frame: FloatArray) -> FloatArray:
        """Rotation of the forearm from the thumb-up position, supination positive."""
        up = across(-upper, fore)
        lateral = unit(np.cross(upper, fore)) * side_sign(self.side)
        radial = frame[..., :, 2]
        return np.asarray(np.degrees(np.arctan2(dot(radial, lateral), dot(radial, up))))

    def solve(
        self,
        shoulder: FloatArray,
        reach: Reach,
        trunk: Trunk,
        upper: FloatArray,
        fore: FloatArray,
        steps: int = 14,
        keep: float = 0.0,
    ) -> ArmPose:
        """Least-squares arms from a first guess of the two directions (B, 3) each.

        ``keep`` weighs staying near the first guess (per radian), which makes videos smooth.
        """
        task = _Task(self, shoulder, reach, trunk, upper, fore, keep)
        x, _ = least_squares(task.residuals, np.zeros((len(upper), 5)), -1.5, 1.5, steps)
        u, f, frame, hand, elbow, wrist = task.arms(x)
        miss, turn, strain = task.errors(x)
        return ArmPose(
            upper=u,
            fore=f,
            forearm_frame=frame,
            hand_frame=hand,
            elbow=elbow,
            wrist=wrist,
            point_error_m=np.abs(miss),
            frame_error_deg=np.degrees(np.linalg.norm(turn, axis=1)),
            strain=np.linalg.norm(strain, axis=1),
        )

    def strain(
        self, upper: FloatArray, fore: FloatArray, frame: FloatArray, elbow: FloatArray, trunk: Trunk
    ) -> FloatArray:
        """(B, 8) how far the arm is outside what is anatomical; 1 is about a hard limit's edge plus a bit."""
        outward = upper[:, 0] * -side_sign(self.side)
        flexion = np.degrees(np.arccos(np.clip(dot(upper, fore), -1, 1)))
        supination = self.supination_deg(upper, fore, frame)
        place = (elbow[:, [0, 2]] - trunk.centre) / trunk.half
        middle = ((elbow + 0.5 * self.fore_m * fore)[:, [0, 2]] - trunk.centre) / trunk.half
        over = [
            (ELBOW_FLEXION_DEG[0] - flexion) / 4,
            (flexion - ELBOW_FLEXION_DEG[1]) / 4,
            (SUPINATION_DEG[0] - supination) / 4,
            (supination - SUPINATION_DEG[1]) / 4,
            (1 - dot(place, place)) * 6,
            (1 - dot(middle, middle)) * 6,
            (upper[:, 1] - 0.1) * 8,
            (-upper[:, 2] - 0.5) * 8,
            (-outward - 0.2) * 8,
        ]
        return np.asarray(np.maximum(np.stack(over, axis=1), 0))

    def guess(
        self, shoulder: FloatArray, wrist: FloatArray, swivel: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Two-link directions towards wrists (B, 3); swivel (B,) turns the elbow about shoulder-wrist, 0 down."""
        line = wrist - shoulder
        distance = np.clip(
            np.linalg.norm(line, axis=1), 0.25 * self.upper_m, (self.upper_m + self.fore_m) * 0.985
        )
        line = unit(line)
        along = (distance**2 + self.upper_m**2 - self.fore_m**2) / (2 * distance)
        off = np.sqrt(np.maximum(self.upper_m**2 - along**2, 0))
        down = across(np.broadcast_to([0.0, -1.0, 0.0], line.shape), line)
        side = np.cross(line, down)
        toward = np.cos(swivel)[:, None] * down + np.sin(swivel)[:, None] * side
        elbow = along[:, None] * line + off[:, None] * toward
        return unit(elbow), unit(distance[:, None] * line - elbow)

    def turns(self, upper: FloatArray, fore: FloatArray, frame: FloatArray) -> dict[str, FloatArray]:
        """World turns relative to rest of the four arm bones of one solved arm."""
        x = bone_suffix(self.side)
        hinge, rest_hinge = np.cross(upper, fore), np.cross(self.rest_upper, self.rest_fore)
        full = _two_axis(upper, hinge) @ _two_axis(self.rest_upper, rest_hinge).T
        swing = rotation_between(self.rest_upper, upper)
        plain = _two_axis(fore, hinge) @ _two_axis(self.rest_fore, rest_hinge).T
        twisted = frame @ self.rest_forearm_frame.T
        return {
            "upperarm01" + x: share_turn(full @ swing.T, 0.5) @ swing,
            "upperarm02" + x: full,
            "lowerarm01" + x: share_turn(twisted @ plain.T, 0.35) @ plain,
            "lowerarm02" + x: twisted,
        }


@dataclass(frozen=True)
class _Task:
    """What `Arm.solve` minimises, by x (k B, 5): two steps of each direction, and the forearm's turn about itself. The
    solver asks for k changes of all B arms at once."""

    arm: Arm
    shoulder: FloatArray
    reach: Reach
    trunk: Trunk
    upper: FloatArray
    fore: FloatArray
    keep: float

    @cached_property
    def _tangents(self) -> tuple[FloatArray, FloatArray]:
        return _tangents(self.upper), _tangents(self.fore)

    @cached_property
    def _wished_radial(self) -> FloatArray:
        return np.asarray((self.reach.frame @ np.swapaxes(self.reach.turn, -1, -2))[:, :, 2])

    def _changes(self, x: FloatArray) -> int:
        return len(x) // len(self.upper)

    def arms(self, x: FloatArray) -> tuple[FloatArray, ...]:
        """Directions of upper arm and forearm, frames of forearm and hand, elbow, wrist."""
        k = self._changes(x)
        tangents_u, tangents_f = self._tangents
        u = unit(_tile(self.upper, k) + np.einsum("bij,bj->bi", _tile(tangents_u, k), x[:, :2]))
        f = unit(_tile(self.fore, k) + np.einsum("bij,bj->bi", _tile(tangents_f, k), x[:, 2:4]))
        radial = across(_tile(self._wished_radial, k), f)
        radial = np.cos(x[:, 4:]) * radial + np.sin(x[:, 4:]) * np.cross(f, radial)
        frame = anatomical_frame(f, radial, self.arm.side)
        hand = frame @ _tile(self.reach.turn, k)
        elbow = _tile(self.shoulder, k) + self.arm.upper_m * u
        return u, f, frame, hand, elbow, elbow + self.arm.fore_m * f

    def errors(self, x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """How far the contact point and the hand's frame are off, and the strain."""
        k = self._changes(x)
        u, f, frame, hand, elbow, wrist = self.arms(x)
        reach = self.reach
        miss = wrist + np.einsum("bij,bj->bi", hand, _tile(reach.contact, k)) - _tile(reach.point, k)
        miss = np.einsum("bji,bj->bi", _tile(reach.axes, k), miss)
        turn = turn_vector(np.swapaxes(_tile(reach.frame, k), -1, -2) @ hand)
        return miss, turn, self.arm.strain(u, f, frame, elbow, self.trunk)

    def residuals(self, x: FloatArray) -> FloatArray:
        miss, turn, strain = self.errors(x)
        missed = miss / _tile(self.reach.tolerance_m, self._changes(x))
        turned_away = turn / np.radians(self.reach.frame_tolerance_deg)
        return np.concatenate([missed, turned_away, strain, self.keep * x], axis=1)


def _two_axis(first: FloatArray, second: FloatArray) -> FloatArray:
    first = unit(first)
    second = across(second, first)
    return np.stack([first, second, np.cross(first, second)], axis=-1)


def _tangents(axis: FloatArray) -> FloatArray:
    helper = np.where(np.abs(axis[:, 1:2]) < 0.8, [[0.0, 1.0, 0.0]], [[1.0, 0.0, 0.0]])
    first = across(helper, axis)
    return np.stack([first, np.cross(axis, first)], axis=-1)


def _tile(array: FloatArray, k: int) -> FloatArray:
    return array if k == 1 else np.tile(array, (k, *([1] * (array.ndim - 1))))


def turned(axis: FloatArray, degrees: FloatArray | float) -> FloatArray:
    """Rotation matrices about axes by degrees."""
    return turn_about(unit(axis), np.radians(degrees))
