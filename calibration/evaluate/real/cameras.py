"""Where the cameras of a multi-view session stood, solved from the board that was held before them.

The file beside the videos says how each lens draws; the poses are solved here again, from the corners of the ChArUco
board (OpenCV's aruco module) by least squares over all cameras and moments.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from calibration.evaluate.real.material import Source, moments, shots

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

__all__ = ["Camera", "Rig", "solve"]

Array = NDArray[np.float64]
_LEAST_CORNERS = 6  # of twelve, from which a view of the board is used
_ROBUST_PX = 2.0  # residuals beyond this count less (soft L1)
_CM = 0.01
_NEAREST_M = 0.05
_WIDEST = 1.5  # tangents, beyond any lens here, where the formula of distortion runs back into the picture


@dataclass(frozen=True)
class Camera:
    """matrix (3, 3) and distortion (5,) of the lens; rotation (3, 3) and translation_m (3,) take points of the world to
    the camera's axes (x right, y down, z away)."""

    matrix: Array
    distortion: Array
    rotation: Array
    translation_m: Array

    @property
    def centre_m(self) -> Array:
        """(3,) where the camera stands in the world."""
        return np.asarray(-self.rotation.T @ self.translation_m)

    def straight(self, points_px: Array) -> Array:
        """Pixels (n, 2) as points (n, 2) at distance 1 before a camera without distortion."""
        out = cv2.undistortPoints(
            np.asarray(points_px, float).reshape(-1, 1, 2), self.matrix, self.distortion
        )
        return np.asarray(out, float).reshape(-1, 2)

    def rays(self, points_px: Array) -> Array:
        """Unit directions (n, 3) in the world of pixels (n, 2)."""
        flat = self.straight(points_px)
        rays = np.column_stack([flat, np.ones(len(flat))]) @ self.rotation
        return np.asarray(rays / np.linalg.norm(rays, axis=1, keepdims=True))

    def project(self, points_m: Array) -> Array:
        """Points (n, 3) of the world as pixels (n, 2)."""
        rotation = cv2.Rodrigues(self.rotation)[0]
        out = cv2.projectPoints(
            np.asarray(points_m, float).reshape(-1, 3),
            rotation,
            self.translation_m,
            self.matrix,
            self.distortion,
        )[0]
        return np.asarray(out, float).reshape(-1, 2)

    def sees(self, points_m: Array) -> bool:
        """Whether points (n, 3) of the world all lie before the camera, where its lens is known."""
        before = points_m @ self.rotation.T + self.translation_m
        if (before[:, 2] < _NEAREST_M).any():
            return False
        return bool((np.abs(before[:, :2] / before[:, 2:]) < _WIDEST).all())

    def hfov_deg(self, width_px: int) -> float:
        """The horizontal field of view, degrees, but for distortion."""
        return float(2 * np.degrees(np.arctan(width_px / 2 / self.matrix[0, 0])))


@dataclass(frozen=True)
class Rig:
    """The cameras by their number; residual_px: the median distance of the board's corners from where they should be;
    views: how many views of the board it rests on."""

    cameras: dict[int, Camera]
    residual_px: float
    views: int


def _lenses(session: Path) -> dict[int, tuple[Array, Array]]:
    told = tomllib.loads((session / "camera_array.toml").read_text(encoding="utf-8"))["cameras"]
    return {
        int(name): (np.array(one["matrix"], float), np.array(one["distortions"], float))
        for name, one in told.items()
    }


def _board(session: Path) -> tuple[cv2.aruco.CharucoBoard, bool]:
    """The board in metres, and whether it is printed white on black."""
    told = tomllib.loads((session / "charuco.toml").read_text(encoding="utf-8"))
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, told["dictionary"]))
    square_m = told["square_size_override_cm"] * _CM
    size = (told["columns"], told["rows"])
    return cv2.aruco.CharucoBoard(size, square_m, square_m * told["aruco_scale"], dictionary), told[
        "inverted"
    ]


def corners(session: Path, videos: list[Source], cache: Path) -> Array:
    """(k, 5): camera, frame, corner's number, x and y in pixels of all corners of the board that were seen."""
    path = cache / f"board-{session.name}.npy"
    if path.exists():
        return np.asarray(np.load(path), float)
    board, inverted = _board(session)
    detector = cv2.aruco.CharucoDetector(board)
    out = []
    for video in videos:
        for shot in shots(video):
            grey = cv2.cvtColor(shot.image_bgr, cv2.COLOR_BGR2GRAY)
            at, numbers, *_ = detector.detectBoard(255 - grey if inverted else grey)
            if numbers is not None:
                for (x, y), number in zip(at.reshape(-1, 2), numbers.ravel(), strict=True):
                    out.append((video.camera, shot.frame, number, x, y))
    cache.mkdir(parents=True, exist_ok=True)
    np.save(path, np.array(out, float))
    return np.array(out, float)


def _pose(points_m: Array, points_px: Array, lens: tuple[Array, Array]) -> Array | None:
    """(6,) rotation vector and translation of the board before a camera."""
    good, turn, shift = cv2.solvePnP(
        np.ascontiguousarray(points_m), np.ascontiguousarray(points_px), *lens, flags=cv2.SOLVEPNP_IPPE
    )
    return np.concatenate([turn.ravel(), shift.ravel()]) if good else None


def _matrix(pose: Array) -> Array:
    out = np.eye(4)
    out[:3, :3], out[:3, 3] = Rotation.from_rotvec(pose[:3]).as_matrix(), pose[3:]
    return out


def _vector(matrix: Array) -> Array:
    return np.concatenate([Rotation.from_matrix(matrix[:3, :3]).as_rotvec(), matrix[:3, 3]])


def solve(session: Path, videos: list[Source], cache: Path) -> Rig:
    """The cameras of a session, in the axes of the first of them."""
    lenses = _lenses(session)
    board_m = np.asarray(_board(session)[0].getChessboardCorners(), float)
    seen = corners(session, videos, cache)
    views: list[tuple[int, int, Array, Array]] = []  # moment, camera, numbers, pixels
    poses: dict[tuple[int, int], Array] = {}
    for moment, frames in enumerate(moments(session)):
        for camera, frame in frames.items():
            rows = seen[(seen[:, 0] == camera) & (seen[:, 1] == frame)]
            if len(rows) < _LEAST_CORNERS:
                continue
            numbers = rows[:, 2].astype(int)
            pose = _pose(board_m[numbers], rows[:, 3:], lenses[camera])
            if pose is not None:
                poses[moment, camera] = pose
                views.append((moment, camera, numbers, rows[:, 3:]))
    together = {m for m, _ in poses if sum(key[0] == m for key in poses) > 1}
    views = [view for view in views if view[0] in together]
    started = _start(poses, sorted(lenses))
    return _refined(started, poses, views, board_m, lenses)


def _start(poses: dict[tuple[int, int], Array], numbers: list[int]) -> dict[int, Array]:
    """(4, 4) world to camera of each, from the middle one of all moments in which a camera and a known one see the
    board."""
    known = {numbers[0]: np.eye(4)}
    while len(known) < len(numbers):
        best: tuple[int, int, list[Array]] | None = None
        for camera in set(numbers) - set(known):
            for other in known:
                steps = [
                    _vector(_matrix(pose) @ np.linalg.inv(_matrix(poses[m, other])) @ known[other])
                    for (m, c), pose in poses.items()
                    if c == camera and (m, other) in poses
                ]
                if best is None or len(steps) > len(best[2]):
                    best = (camera, other, steps)
        if best is None or not best[2]:
            raise SystemExit("The board was never seen by all cameras of a session together.")
        known[best[0]] = _matrix(np.median(np.array(best[2]), axis=0))
    return known


def _refined(
    started: dict[int, Array],
    poses: dict[tuple[int, int], Array],
    views: list[tuple[int, int, Array, Array]],
    board_m: Array,
    lenses: dict[int, tuple[Array, Array]],
) -> Rig:
    """Least squares over all cameras but the first, and all places of the board."""
    cameras = sorted(started)
    at_moment = {m: k for k, m in enumerate(sorted({view[0] for view in views}))}
    first = {m: next(key for key in poses if key[0] == m) for m in at_moment}
    boards = [_vector(np.linalg.inv(started[first[m][1]]) @ _matrix(poses[first[m]])) for m in at_moment]
    start = np.concatenate([*(_vector(started[c]) for c in cameras[1:]), *boards])
    count = len(cameras) - 1

    def residuals(x: Array) -> Array:
        rig = [np.eye(4), *(_matrix(x[6 * k : 6 * k + 6]) for k in range(count))]
        out = []
        for moment, camera, numbers, points_px in views:
            k = 6 * (count + at_moment[moment])
            total = _vector(rig[cameras.index(camera)] @ _matrix(x[k : k + 6]))
            drawn = cv2.projectPoints(board_m[numbers], total[:3], total[3:], *lenses[camera])[0]
            out.append((drawn.reshape(-1, 2) - points_px).ravel())
        return np.concatenate(out)

    sparse = _pattern(views, at_moment, cameras, count, len(start))
    found = least_squares(
        residuals, start, jac_sparsity=sparse, loss="soft_l1", f_scale=_ROBUST_PX, x_scale="jac", max_nfev=40
    )
    matrices = [np.eye(4), *(_matrix(found.x[6 * k : 6 * k + 6]) for k in range(count))]
    rig = {
        camera: Camera(*lenses[camera], matrix[:3, :3], matrix[:3, 3])
        for camera, matrix in zip(cameras, matrices, strict=True)
    }
    apart = np.linalg.norm(residuals(found.x).reshape(-1, 2), axis=1)
    return Rig(rig, float(np.median(apart)), len(views))


def _pattern(
    views: list[tuple[int, int, Array, Array]],
    at_moment: dict[int, int],
    cameras: list[int],
    count: int,
    width: int,
) -> NDArray[np.int8]:
    """Which residuals hang on which unknowns."""
    out = np.zeros((sum(2 * len(view[2]) for view in views), width), np.int8)
    row = 0
    for moment, camera, numbers, _ in views:
        rows = slice(row, row + 2 * len(numbers))
        k = 6 * (count + at_moment[moment])
        out[rows, k : k + 6] = 1
        if camera != cameras[0]:
            k = 6 * (cameras.index(camera) - 1)
            out[rows, k : k + 6] = 1
        row = rows.stop
    return out
