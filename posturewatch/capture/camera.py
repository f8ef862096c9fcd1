"""A webcam as a source."""

from __future__ import annotations

from posturewatch.capture.clock import Clock
from posturewatch.capture.devices import Device, OpenDevice, open_device
from posturewatch.capture.live import SILENCE_S, LiveSource
from posturewatch.capture.source import SourceInfo
from posturewatch.errors import SourceError
from posturewatch.model.arrays import Image

__all__ = ["CameraSource"]

#: The first frames of a webcam are dark or tinted until its exposure has settled.
WARM_UP_S = 0.3

#: Some cameras need seconds for their first frame. Reads may fail for so long after opening; after the
#: second time, which allows for opening itself, the user is told.
FIRST_READ_S = 6.0
FIRST_FRAME_S = 12.0

#: Pause after a failed read: a device that is gone fails at once, again and again.
FAILED_READ_S = 0.02

#: A stamp of the driver is believed while it is at most this much older than the moment of reading.
OLDEST_STAMP_S = 0.5


class CameraSource(LiveSource):
    """A camera by index or device path; keeps the newest frame only.

    A camera that gives no frame for 2 s is opened again every second, `notice` saying so meanwhile.
    Raises SourceError: no such camera, not allowed, in use.
    """

    def __init__(
        self,
        which: int | str,
        *,
        size_px: tuple[int, int] = (1280, 720),
        rate_hz: float = 30.0,
        opener: OpenDevice = open_device,
        clock: Clock | None = None,
        warm_up_s: float = WARM_UP_S,
        first_frame_s: float = FIRST_FRAME_S,
    ) -> None:
        super().__init__(
            name=f"camera {which}",
            thread_name="posturewatch-camera",
            gone="The camera gives no frames; check its cable. Trying again every second.",
            first_frame_s=first_frame_s,
            clock=clock,
        )
        self._which = which
        self._size_px = size_px
        self._rate_hz = rate_hz
        self._opener = opener
        self._warm_up_s = warm_up_s
        self._device: Device | None = None
        self._silent = (
            f"Camera {which} gives no frames; it is probably in use: close other programs that use "
            "it, then start again."
        )
        self._open(self._silent)

    def _describe(self, image: Image) -> SourceInfo:
        assert self._device is not None
        height, width = image.shape[:2]
        return SourceInfo(
            name=self._name,
            kind="camera",
            width_px=int(width),
            height_px=int(height),
            rate_hz=self._device.rate_hz,
            requested=f"{self._size_px[0]}x{self._size_px[1]} at {self._rate_hz:g} frames a second",
        )

    def _play(self) -> None:
        self._device = device = self._opener(self._which, self._size_px, self._rate_hz)
        try:
            self._watch(device)
        finally:
            device.release()

    def _watch(self, device: Device) -> None:
        """Passes frames on until none has come for a while."""
        stamps = _Stamps()
        opened_s = seen_s = self._clock.now()
        patience_s = FIRST_READ_S
        while not self._closed.is_set():
            image = device.read()
            now_s = self._clock.now()
            if image is not None:
                seen_s, patience_s = now_s, SILENCE_S
                if now_s - opened_s >= self._warm_up_s and not self._publish(
                    image, stamps.moment(device.position_ms(), now_s)
                ):
                    return
            elif now_s - seen_s > patience_s:
                if self._info is None:
                    raise SourceError(self._silent)
                return
            else:
                self._clock.wait(self._closed, FAILED_READ_S)


class _Stamps:
    """When a frame was taken: the driver's own stamp where it is on the monotonic clock (video4linux),
    since reading comes late and unevenly; else the moment of reading. One stamp out of line and the moment of
    reading is used from then on."""

    def __init__(self) -> None:
        self._trusted = True
        self._last_s = float("-inf")

    def moment(self, position_ms: float, now_s: float) -> float:
        stamp_s = position_ms / 1000.0
        # Written so that NaN fails.
        if self._trusted and self._last_s < stamp_s and 0.0 <= now_s - stamp_s <= OLDEST_STAMP_S:
            self._last_s = stamp_s
            return stamp_s
        self._trusted = False
        return now_s
