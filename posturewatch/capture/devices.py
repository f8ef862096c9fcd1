"""OpenCV's cameras behind one small door."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Protocol

import cv2
import numpy as np

from posturewatch.errors import SourceError
from posturewatch.model.arrays import Image

__all__ = ["Device", "OpenDevice", "device_path", "open_device", "quiet_opencv"]


class Device(Protocol):
    """An opened camera. `read` may block; `position_ms` is the backend's own stamp of the last frame."""

    @property
    def width_px(self) -> int: ...

    @property
    def height_px(self) -> int: ...

    @property
    def rate_hz(self) -> float | None: ...

    def read(self) -> Image | None: ...

    def position_ms(self) -> float: ...

    def release(self) -> None: ...


#: (index or path, (width, height), rate_hz) to a Device, or SourceError with a sentence.
OpenDevice = Callable[[int | str, tuple[int, int], float], Device]


#: OpenCV's LOG_LEVEL_SILENT.
_SILENT = 0

#: As a plain string, so that the type checker reads the branches of every system.
_SYSTEM: str = sys.platform


@contextmanager
def quiet_opencv() -> Iterator[None]:
    """No messages of OpenCV's on stderr meanwhile: faults reach the user as one sentence of ours."""
    level = cv2.getLogLevel()
    cv2.setLogLevel(_SILENT)
    try:
        yield
    finally:
        cv2.setLogLevel(level)


class _OpenCvDevice:
    """cv2.VideoCapture, asked for a size and rate."""

    def __init__(
        self, capture: cv2.VideoCapture, size_px: tuple[int, int] | None, rate_hz: float | None
    ) -> None:
        self._capture = capture
        if size_px is not None and rate_hz is not None:
            # Compressed frames: raw ones of this size pass USB 2 at about 10 a second only. Asked before
            # the size, since drivers offer sizes by format, and again after it, since some forget.
            motion_jpeg = cv2.VideoWriter.fourcc(*"MJPG")
            capture.set(cv2.CAP_PROP_FOURCC, motion_jpeg)
            capture.set(cv2.CAP_PROP_FRAME_WIDTH, size_px[0])
            capture.set(cv2.CAP_PROP_FRAME_HEIGHT, size_px[1])
            capture.set(cv2.CAP_PROP_FPS, rate_hz)
            if int(capture.get(cv2.CAP_PROP_FOURCC)) != motion_jpeg:
                capture.set(cv2.CAP_PROP_FOURCC, motion_jpeg)

    @property
    def width_px(self) -> int:
        return int(self._capture.get(cv2.CAP_PROP_FRAME_WIDTH))

    @property
    def height_px(self) -> int:
        return int(self._capture.get(cv2.CAP_PROP_FRAME_HEIGHT))

    @property
    def rate_hz(self) -> float | None:
        rate = float(self._capture.get(cv2.CAP_PROP_FPS))
        return rate if 0.5 <= rate <= 480.0 else None

    def read(self) -> Image | None:
        with quiet_opencv():
            good, image = self._capture.read()
        return np.asarray(image, dtype=np.uint8) if good and image is not None and image.size else None

    def position_ms(self) -> float:
        return float(self._capture.get(cv2.CAP_PROP_POS_MSEC))

    def release(self) -> None:
        with quiet_opencv():
            self._capture.release()


def device_path(which: int | str) -> Path | None:
    """The device file of a camera where the system has such files, else None."""
    if isinstance(which, str):
        return Path(which)
    return Path(f"/dev/video{which}") if _SYSTEM.startswith("linux") else None


def _backends() -> tuple[int, ...]:
    if _SYSTEM.startswith("linux"):
        return (cv2.CAP_V4L2,)
    if _SYSTEM == "darwin":
        return (cv2.CAP_AVFOUNDATION,)
    if _SYSTEM == "win32":
        # DirectShow opens in a moment; the newer interface takes many seconds on some cameras.
        return (cv2.CAP_DSHOW, cv2.CAP_MSMF)
    return (cv2.CAP_ANY,)


def open_device(
    which: int | str, size_px: tuple[int, int] | None = None, rate_hz: float | None = None
) -> Device:
    """Opens a camera by index or device path, asking for a size and rate if given.

    Raises SourceError with one sentence: no such camera, not allowed, or in use.
    """
    path = device_path(which)
    if path is not None:
        _check_device_file(which, path)
    index = _index(which)
    with quiet_opencv():
        for backend in _backends():
            capture = cv2.VideoCapture(index, backend)
            if capture.isOpened():
                return _OpenCvDevice(capture, size_px, rate_hz)
            capture.release()
    raise SourceError(_cannot_open(which, known_to_exist=path is not None))


def _index(which: int | str) -> int:
    """OpenCV takes indices most reliably; links such as those under /dev/v4l/by-id lead to /dev/videoN."""
    if isinstance(which, int):
        return which
    match = re.fullmatch(r"/dev/video(\d+)", str(Path(which).resolve()))
    if match is None:
        raise SourceError(f"{which} is not a camera; name one such as /dev/video0.")
    return int(match[1])


def _check_device_file(which: int | str, path: Path) -> None:
    if not path.exists():
        present = sorted(int(p.name[5:]) for p in Path("/dev").glob("video*") if p.name[5:].isdigit())
        if present:
            known = ", ".join(str(index) for index in present)
            raise SourceError(f"There is no camera {which}; there is {known}: choose one of these.")
        raise SourceError(
            f"There is no camera {which}: none is connected; plug one in, or use --source demo to try."
        )
    if not os.access(path, os.R_OK | os.W_OK):
        raise SourceError(
            f"Camera {which} may not be used by this account; add it to the group 'video' and log in again."
        )


def _cannot_open(which: int | str, *, known_to_exist: bool) -> str:
    if known_to_exist:
        return (
            f"Camera {which} cannot be opened; it is probably in use: close other programs that use "
            "it, then start again."
        )
    if _SYSTEM == "darwin":
        return (
            f"Camera {which} cannot be opened; check that it is connected, not used by another program, and "
            "allowed for this terminal in System Settings, Privacy & Security, Camera."
        )
    return (
        f"Camera {which} cannot be opened; check that it is connected, not used by another program, and "
        "allowed in the privacy settings."
    )
