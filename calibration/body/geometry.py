"""Small vector geometry, batched: the last axis (or last two) hold the vector (or matrix)."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from posturewatch.model.arrays import FloatArray


def unit(vector: FloatArray) -> FloatArray:
    """Vectors (..., 3) scaled to length one."""
    return np.asarray(vector / np.maximum(np.linalg.norm(vector, axis=-1, keepdims=True), 1e-12))


def across(vector: FloatArray, axis: FloatArray) -> FloatArray:
    """Unit part of ``vector`` perpendicular to the unit ``axis``."""
    return unit(vector - axis * (vector * axis).sum(-1, keepdims=True))


def dot(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray((a * b).sum(-1))


def rotation_x(angle: FloatArray | float) -> FloatArray:
    """Rotation matrices (..., 3, 3) about x by ``angle`` radians."""
    return _turn(angle, 1, 2)


def rotation_y(angle: FloatArray | float) -> FloatArray:
    return _turn(angle, 2, 0)


def rotation_z(angle: FloatArray | float) -> FloatArray:
    return _turn(angle, 0, 1)


def _turn(angle: FloatArray | float, first: int, second: int) -> FloatArray:
    angle = np.asarray(angle, float)
    out = np.zeros((*angle.shape, 3, 3))
    for k in range(3):
        out[..., k, k] = 1.0
    out[..., first, first] = out[..., second, second] = np.cos(angle)
    out[..., second, first] = np.sin(angle)
    out[..., first, second] = -np.sin(angle)
    return out


def turn_about(axis: FloatArray, angle: FloatArray | float) -> FloatArray:
    """Rotation matrices about unit axes (..., 3) by radians (Rodrigues)."""
    axis, angle = np.broadcast_arrays(axis, np.asarray(angle, float)[..., None])
    angle = angle[..., 0]
    skew = np.zeros((*axis.shape[:-1], 3, 3))
    skew[..., 0, 1], skew[..., 0, 2] = -axis[..., 2], axis[..., 1]
    skew[..., 1, 0], skew[..., 1, 2] = axis[..., 2], -axis[..., 0]
    skew[..., 2, 0], skew[..., 2, 1] = -axis[..., 1], axis[..., 0]
    sine, cosine = np.sin(angle)[..., None, None], np.cos(angle)[..., None, None]
    return np.asarray(np.eye(3) + sine * skew + (1 - cosine) * (skew @ skew), float)


def turn_vector(turn: FloatArray) -> FloatArray:
    """Rotation vectors (..., 3) of rotation matrices, angles up to just below 180 degrees."""
    raw = np.stack(
        [
            turn[..., 2, 1] - turn[..., 1, 2],
            turn[..., 0, 2] - turn[..., 2, 0],
            turn[..., 1, 0] - turn[..., 0, 1],
        ],
        axis=-1,
    )
    sine = 0.5 * np.linalg.norm(raw, axis=-1)
    cosine = 0.5 * (np.trace(turn, axis1=-2, axis2=-1) - 1)
    angle = np.arctan2(sine, cosine)
    return np.asarray(unit(raw) * angle[..., None])


def rotation_between(start: FloatArray, end: FloatArray) -> FloatArray:
    """Smallest rotation taking direction ``start`` to direction ``end``."""
    start, end = unit(start), unit(end)
    normal = np.cross(start, end)
    angle = np.arctan2(np.linalg.norm(normal, axis=-1), dot(start, end))
    return turn_about(unit(normal), angle)


def share_turn(turn: FloatArray, share: float) -> FloatArray:
    """The rotation carried out only in part."""
    vector = turn_vector(turn)
    return turn_about(unit(vector), np.linalg.norm(vector, axis=-1) * share)


def least_squares(
    residuals: Callable[[FloatArray], FloatArray],
    start: FloatArray,
    low: FloatArray | float = -np.inf,
    high: FloatArray | float = np.inf,
    steps: int = 12,
) -> tuple[FloatArray, FloatArray]:
    """Batched Levenberg-Marquardt with clipped bounds and forward differences.

    ``residuals`` takes (B * k, n) parameters, problems repeated k times in blocks of B, and gives
    (B * k, m). Returns parameters (B, n) and costs (B,), half the sum of squares.
    """
    x = np.clip(start, low, high)
    count, size = x.shape
    damping = np.full(count, 1e-2)
    step = 1e-4
    value = residuals(x)
    cost = 0.5 * (value**2).sum(1)
    for _ in range(steps):
        moved = np.concatenate([x + step * np.eye(size)[k] for k in range(size)])
        jacobian = (residuals(moved).reshape(size, count, -1) - value).transpose(1, 2, 0) / step
        gradient = np.einsum("bmn,bm->bn", jacobian, value)
        normal = np.einsum("bmn,bmk->bnk", jacobian, jacobian)
        scale = np.einsum("bnn->bn", normal) + 1e-6
        damped = normal + damping[:, None, None] * scale[:, :, None] * np.eye(size)
        trial = np.clip(x - np.linalg.solve(damped, gradient[:, :, None])[:, :, 0], low, high)
        trial_value = residuals(trial)
        trial_cost = 0.5 * (trial_value**2).sum(1)
        better = trial_cost < cost
        x = np.where(better[:, None], trial, x)
        value = np.where(better[:, None], trial_value, value)
        cost = np.where(better, trial_cost, cost)
        damping = np.where(better, damping * 0.3, damping * 6.0).clip(1e-7, 1e5)
    return x, cost
