"""What several cameras together say of a wrist, against which one camera is judged.

Nobody has measured these wrists otherwise. The joints that the finger network points at are triangulated, and a rigid
palm (the mean shape of all moments) is laid upon them; the forearm's midline in each picture spans a plane with the
camera's centre, and the forearm lies where those planes meet. So chance errors of single views average out and the
depth that one view lacks is there; what all views get wrong alike, such as where the network takes the wrist to be, is
not seen by it.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from calibration.evaluate.real.cameras import Camera
from posturewatch.kinematics.geometry import angles_from_axis, hand_frame
from posturewatch.model.observation import Side
from posturewatch.tracking.crop import hand_scale_px

__all__ = [
    "TRUSTED_SD_DEG",
    "Group",
    "Truth",
    "View",
    "agreeing",
    "mean_palm",
    "points_of",
    "reproject",
    "triangulate",
    "truth_of",
]

Array = NDArray[np.float64]

PALM = (0, 5, 9, 13, 17)
_AGREES = 0.22  # hand scales: mean distance up to which a view is taken to show the hand that others see
_JOINT_SD = (
    0.04  # hand scales: how far a network's joint lies off at least, in either direction of the picture
)
_SPREAD_SHARE = 0.4  # and as a share of how widely it spreads the place
_SURE_VIEWS = 3
_POSSIBLE_DEG = np.array([90.0, 50.0])
_TOGETHER = 1.0
#: A truth less certain than this judges nobody.
TRUSTED_SD_DEG = 8.0
_MIRROR = {"left": np.ones(3), "right": np.array([-1.0, 1.0, 1.0])}
_LEAST_AXIS_SD_DEG, _MOST_AXIS_SD_DEG = 2.0, 25.0
_LEAST_TURN = (
    0.15  # sine of the angle between a forearm and the line of sight, below which a view says no more
)


@dataclass(frozen=True)
class View:
    """One hand in one camera's picture. row: where it lies among that video's rows; places_px (21, 2); axis_px (2, 2)
    two points of the forearm's midline, the second towards the elbow, with the sd of its angle; left_odds: log odds for
    the left hand; spread (21,): how widely the network spreads each place, hand scales."""

    camera: int
    row: int
    places_px: Array
    axis_px: Array
    axis_sd_deg: float
    left_odds: float
    spread: Array

    @property
    def scale_px(self) -> float:
        return hand_scale_px(self.places_px)


@dataclass(frozen=True)
class Group:
    """Views of one hand at one moment, one a camera."""

    side: Side
    views: tuple[View, ...]


@dataclass(frozen=True)
class Truth:
    """angles_deg (2,) flexion and ulnar deviation; sd_deg (2,) how well they are known; wrist_m (3,) and
    forearm (3,) unit direction towards the elbow, both of the world; palm_m (5, 3)."""

    angles_deg: Array
    sd_deg: Array
    wrist_m: Array
    forearm: Array
    palm_m: Array


def triangulate(rays: Sequence[tuple[Array, Array]]) -> Array:
    """(n, 3) the points nearest to rays, given for each view as (centre (3,), unit directions (n, 3))."""
    count = len(rays[0][1])
    left, right = np.zeros((count, 3, 3)), np.zeros((count, 3))
    for centre, directions in rays:
        across = np.eye(3) - directions[:, :, None] * directions[:, None, :]
        left += across
        right += across @ centre
    return np.asarray(np.linalg.solve(left + 1e-9 * np.eye(3), right[..., None])[..., 0])


def points_of(views: Sequence[View], cameras: dict[int, Camera]) -> Array:
    """(21, 3) the joints that the views see, triangulated."""
    return triangulate([(cameras[v.camera].centre_m, cameras[v.camera].rays(v.places_px)) for v in views])


def reproject(view: View, points_m: Array, cameras: dict[int, Camera]) -> float:
    """Mean distance of the view's joints from points (21, 3), in hand scales."""
    camera = cameras[view.camera]
    if not camera.sees(points_m):
        return np.inf
    apart = np.linalg.norm(camera.project(points_m) - view.places_px, axis=1)
    return float(apart.mean() / max(view.scale_px, 1.0))


def agreeing(views: Sequence[View], cameras: dict[int, Camera]) -> list[Group]:
    """The hands, at most two, on which two cameras and more agree, whatever side each took them for."""
    left = list(views)
    out: list[Group] = []
    while len(out) < 2:
        best: tuple[int, float, list[View]] | None = None
        for first, second in itertools.combinations(left, 2):
            if first.camera == second.camera:
                continue
            points = points_of([first, second], cameras)
            off = max(reproject(v, points, cameras) for v in (first, second))
            if off > _AGREES:
                continue
            chosen = [first, second]
            for camera in {v.camera for v in left} - {first.camera, second.camera}:
                others = [
                    (reproject(v, points, cameras), k) for k, v in enumerate(left) if v.camera == camera
                ]
                distance, k = min(others)
                if distance < 2 * _AGREES:
                    chosen.append(left[k])
            points = points_of(chosen, cameras)
            chosen = [v for v in chosen if reproject(v, points, cameras) < _AGREES]
            score = (len(chosen), -off)
            if len(chosen) > 1 and (best is None or score > best[:2]):
                best = (*score, chosen)
        if best is None:
            break
        side: Side = "left" if sum(v.left_odds for v in best[2]) > 0 else "right"
        out.append(Group(side, tuple(best[2])))
        left = [v for v in left if all(v is not w for w in best[2])]
    if len(out) == 2 and out[0].side == out[1].side:
        first_odds, second_odds = (sum(v.left_odds for v in group.views) for group in out)
        sides: tuple[Side, Side] = ("left", "right") if first_odds > second_odds else ("right", "left")
        out = [Group(side, group.views) for side, group in zip(sides, out, strict=True)]
    return out


def _laid(shape: Array, points: Array) -> tuple[Array, Array]:
    """Rotation (3, 3) and shift (3,) that lay a shape (n, 3) upon points (n, 3) best."""
    middle, centre = points.mean(axis=0), shape.mean(axis=0)
    u, _, vt = np.linalg.svd((points - middle).T @ (shape - centre))
    turn = u @ np.diag([1, 1, np.sign(np.linalg.det(u @ vt))]) @ vt
    return turn, middle - turn @ centre


def mean_palm(groups: Sequence[tuple[Group, dict[int, Camera]]]) -> dict[Side, Array]:
    """(5, 3) of either side, metres: the middle shape of the palm (wrist and four knuckles) of one person, of whom one
    palm is the other's mirror image, over those moments in which three cameras and more agree best."""
    each, off = [], []
    for group, cameras in groups:
        if len(group.views) < _SURE_VIEWS:
            continue
        points = points_of(group.views, cameras)
        off.append(np.mean([reproject(v, points, cameras) for v in group.views]))
        each.append(points[list(PALM)] * _MIRROR[group.side])
    if not each:
        raise SystemExit("No hand is seen by three cameras, so there is no palm to lay upon what they see.")
    best = np.argsort(off)[: max(4, len(each) // 3)]
    each = [each[k] for k in best]
    shape = each[0] - each[0].mean(axis=0)
    for _ in range(6):
        moved = []
        for points in each:
            turn, shift = _laid(shape, points)
            moved.append((points - shift) @ turn)
        shape = np.median(np.array(moved), axis=0)
        shape -= shape.mean(axis=0)
    return {"left": shape, "right": shape * _MIRROR["right"]}


def _palm(views: Sequence[View], cameras: dict[int, Camera], shape: Array) -> tuple[Array, Array]:
    """(5, 3) the shape laid upon what the views see, by least squares in the pictures; (3, 3) covariance of its turn,
    radians."""
    points = points_of(views, cameras)[list(PALM)]
    turn, shift = _laid(shape, points)
    start = np.concatenate([np.zeros(3), shift])
    laid = shape @ turn.T
    seen = []
    for view in views:
        camera = cameras[view.camera]
        flat = camera.straight(view.places_px[list(PALM)])
        off_by = np.maximum(_SPREAD_SHARE * view.spread[list(PALM)], _JOINT_SD)
        sd = off_by[:, None] * view.scale_px / camera.matrix[0, 0]
        seen.append((camera, flat, sd))

    def off(x: Array) -> Array:
        at = laid @ Rotation.from_rotvec(x[:3]).as_matrix().T + x[3:]
        out = []
        for camera, flat, sd in seen:
            before = at @ camera.rotation.T + camera.translation_m
            out.append(((before[:, :2] / np.maximum(before[:, 2:], 0.05) - flat) / sd).ravel())
        return np.concatenate(out)

    found = least_squares(off, start, loss="soft_l1", f_scale=1.5, max_nfev=30)
    worse = max(1.0, 2 * found.cost / (10 * len(views) - 6))
    # The five joints of one view err together, as does all that one network says of one picture.
    covariance = worse * _TOGETHER * np.linalg.pinv(found.jac.T @ found.jac)[:3, :3]
    return np.asarray(laid @ Rotation.from_rotvec(found.x[:3]).as_matrix().T + found.x[3:]), covariance


def _forearm(views: Sequence[View], cameras: dict[int, Camera]) -> tuple[Array, Array]:
    """(3,) unit direction towards the elbow in which the planes of the views' midlines meet; (3, 3) its covariance."""
    normals, lines, signs = [], [], []
    for view in views:
        near, far = cameras[view.camera].rays(view.axis_px)
        normals.append(np.cross(near, far) / np.linalg.norm(np.cross(near, far)))
        lines.append(near)
        signs.append(far - near)
    normal, line = np.array(normals), np.array(lines)
    sds = np.radians(np.clip([v.axis_sd_deg for v in views], _LEAST_AXIS_SD_DEG, _MOST_AXIS_SD_DEG))
    weight = 1 / sds**2
    values, vectors = np.zeros(3), np.eye(3)
    for _ in range(3):
        values, vectors = np.linalg.eigh((normal * weight[:, None]).T @ normal)
        turned = np.abs(
            np.cross(line, normal) @ vectors[:, 0]
        )  # how much a turn of the midline moves the plane there
        weight = 1 / (sds * np.maximum(turned, _LEAST_TURN)) ** 2
    direction = vectors[:, 0]
    worse = max(1.0, values[0] / max(len(views) - 2, 1))
    covariance = worse * sum(np.outer(vectors[:, k], vectors[:, k]) / max(values[k], 1e-6) for k in (1, 2))
    towards = sum(float(np.dot(sign / np.linalg.norm(sign), direction)) for sign in signs)
    return np.asarray(direction if towards > 0 else -direction), np.asarray(covariance)


def truth_of(
    group: Group,
    cameras: dict[int, Camera],
    shape: Array,
    without: int | None = None,
    axis_bias_deg: float = 0.0,
) -> Truth | None:
    """What the views of a group say, without that camera's; None of fewer than two views. The sd follows from how far
    the views' joints and midlines lie from what they say together; an angle known no better than `TRUSTED_SD_DEG`,
    or by two views alone, is NaN. axis_bias_deg: by how much the views' midlines make the ulnar deviation too great;
    the forearm is turned back by it."""
    views = [view for view in group.views if view.camera != without]
    if len(views) < 2:
        return None
    palm, turn_covariance = _palm(views, cameras, shape)
    forearm, forearm_covariance = _forearm(views, cameras)
    frame = _frame(palm, group.side)
    _, proximal, radial = frame.T
    towards_radial = np.cross(proximal, radial)  # by which the deviation gets less, whatever the flexion
    forearm = Rotation.from_rotvec(np.radians(axis_bias_deg) * towards_radial).apply(forearm)
    angles = _angles(frame, forearm)
    step = 1e-3
    by_turn = [
        (_angles(Rotation.from_rotvec(step * axis).as_matrix() @ frame, forearm) - angles) / step
        for axis in np.eye(3)
    ]
    by_forearm = [(_angles(frame, forearm + step * axis) - angles) / step for axis in np.eye(3)]
    variance = sum(
        np.einsum("ki,kl,li->i", np.array(by), covariance, np.array(by))
        for by, covariance in ((by_turn, turn_covariance), (by_forearm, forearm_covariance))
    )
    sd = np.sqrt(variance)
    possible = bool(
        (np.abs(angles) <= _POSSIBLE_DEG).all()
    )  # no wrist bends farther: the palm lies inside out
    trusted = (sd <= TRUSTED_SD_DEG) & possible & (len(views) >= _SURE_VIEWS)
    return Truth(np.where(trusted, angles, np.nan), sd, palm[0], forearm, palm)


def _frame(palm: Array, side: Side) -> Array:
    landmarks = np.zeros((21, 3))
    landmarks[list(PALM)] = palm
    return hand_frame(landmarks, side)


def _angles(frame: Array, forearm: Array) -> Array:
    """(2,) degrees."""
    return np.array([float(angle) for angle in angles_from_axis(frame, forearm)])
