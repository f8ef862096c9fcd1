"""Whether the camera was moved: corners of the background that are no longer where they were."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["CameraMoved"]

#: Width to which pictures are brought.
_WIDTH_PX = 320

#: Corners that are looked at, and half the side of the patch around each.
_CORNERS, _HALF_PX = 200, 5

#: A patch whose normalised correlation with what was there is at least so large is still there.
_SAME = 0.75

#: What has not moved in so many looks is background; with fewer corners of it nothing is said.
_LEARNED_LOOKS, _LEAST_CORNERS = 6, 15

#: Below this share of the background's corners in their place the camera stands elsewhere.
_SHARE = 0.35

#: So many looks in a row have to say so, and to agree with one another: not while it is being moved.
_IN_A_ROW = 3


class CameraMoved:
    """Learns the background from the first looks, a few seconds, and says once when it is elsewhere."""

    def __init__(self) -> None:
        self._begin()

    def _begin(self) -> None:
        self._first: NDArray[Any] | None = None
        self._points: NDArray[Any] = np.zeros((0, 2), int)
        self._last: NDArray[Any] | None = None
        self._looks = 0
        self._count = 0

    def update(self, image_bgr: NDArray[np.uint8]) -> bool:
        """Whether the camera stands elsewhere than at first, and stands still again; then it learns anew.

        Parameters
        ----------
        image_bgr
            (height, width, 3), a look every half second or so.
        """
        small = _small(image_bgr)
        if self._first is None or self._last is None or self._first.shape != small.shape:
            self._begin()
            self._first = self._last = small
            self._points = _corners(small)
            return False
        self._looks += 1
        if len(self._points) < _LEAST_CORNERS:
            return False
        there = _same(self._first, small, self._points)
        if self._looks <= _LEARNED_LOOKS:
            self._points = self._points[there]
            self._last = small
            return False
        still = _same(self._last, small, self._points)
        self._last = small
        elsewhere = there.mean() < _SHARE <= still.mean()
        self._count = self._count + 1 if elsewhere else 0
        if self._count < _IN_A_ROW:
            return False
        self._begin()
        return True


def _small(image_bgr: NDArray[np.uint8]) -> NDArray[Any]:
    height, width = image_bgr.shape[:2]
    size = (_WIDTH_PX, max(4 * _HALF_PX, round(_WIDTH_PX * height / width)))
    return np.asarray(
        cv2.cvtColor(cv2.resize(image_bgr, size, interpolation=cv2.INTER_AREA), cv2.COLOR_BGR2GRAY)
    )


def _corners(grey: NDArray[Any]) -> NDArray[Any]:
    """(n, 2) columns and rows of corners, a patch away from the edge."""
    found: Any = cv2.goodFeaturesToTrack(grey, _CORNERS, 0.02, 7)
    if found is None:  # a picture without any
        return np.zeros((0, 2), int)
    points = np.asarray(found).reshape(-1, 2).round().astype(int)
    height, width = grey.shape
    inside = (points >= _HALF_PX).all(axis=1) & (points < [width - _HALF_PX, height - _HALF_PX]).all(axis=1)
    return np.asarray(points[inside])


def _same(one: NDArray[Any], other: NDArray[Any], points: NDArray[Any]) -> NDArray[np.bool_]:
    """(n,) whether the same is around these points in both pictures."""
    steps = np.arange(-_HALF_PX, _HALF_PX + 1)
    rows = points[:, 1, None, None] + steps[None, :, None]
    columns = points[:, 0, None, None] + steps[None, None, :]
    a, b = (_normed(picture[rows, columns].reshape(len(points), steps.size**2)) for picture in (one, other))
    return np.asarray((a * b).sum(axis=1) >= _SAME)


def _normed(patches: NDArray[Any]) -> NDArray[np.float64]:
    centred = patches - patches.mean(axis=1, keepdims=True)
    return np.asarray(centred / np.maximum(np.sqrt((centred**2).sum(axis=1, keepdims=True)), 1e-6))
