"""A network stream as a source. The only address contacted is the one the user typed, and where the server
behind it redirects to."""

from __future__ import annotations

from urllib.parse import urlsplit

import av.error

from posturewatch.capture.clock import Clock
from posturewatch.capture.decoding import Decoder
from posturewatch.capture.live import LiveSource
from posturewatch.capture.source import SourceInfo
from posturewatch.capture.timeline import StreamTimeline
from posturewatch.errors import InputError, SourceError
from posturewatch.model.address import public_address
from posturewatch.model.arrays import Image

__all__ = ["StreamSource"]

#: Per scheme, the protocols it may use underneath: a play list must not lead to files of this machine.
SCHEMES: dict[str, str] = {
    "rtsp": "rtsp,rtp,udp,tcp",
    "rtsps": "rtsps,rtsp,rtp,srtp,udp,tcp,tls",
    "http": "http,https,tls,tcp,crypto",
    "https": "https,tls,tcp,crypto",
    "udp": "udp",
    "tcp": "tcp",
    "rtmp": "rtmp,tcp",
    "srt": "srt",
}

#: Longest wait for the network in one call, and for the first frame in all.
TIMEOUT_S = 5.0
FIRST_FRAME_S = 12.0

#: A served video whose last frame is this near its stated end has been played to the end.
END_S = 1.0


class StreamSource(LiveSource):
    """An address of a live stream, or of a video on a server, which is then played in real time.

    Keeps the newest frame only. A stream that breaks off is opened again every second, `notice` saying so.
    Raises InputError for an address of an unknown kind, SourceError where nothing can be had from it.
    """

    def __init__(
        self,
        address: str,
        *,
        clock: Clock | None = None,
        timeout_s: float = TIMEOUT_S,
        first_frame_s: float = FIRST_FRAME_S,
    ) -> None:
        scheme = urlsplit(address).scheme.lower()
        if scheme not in SCHEMES:
            known = ", ".join(f"{name}://" for name in SCHEMES)
            raise InputError(f"Streams of the kind {scheme}:// are not known; use one of {known}.")
        shown = public_address(address)
        super().__init__(
            name=shown,
            thread_name="posturewatch-stream",
            gone="The stream gives no frames; check its sender and the network. Trying again every second.",
            first_frame_s=first_frame_s,
            clock=clock,
        )
        self._address = address
        self._scheme = scheme
        self._timeout_s = timeout_s
        self._timeline = StreamTimeline()
        self._rate_hz: float | None = None
        self._open(f"The stream {shown} gives no frames; check that its sender is running.")

    def _describe(self, image: Image) -> SourceInfo:
        height, width = image.shape[:2]
        return SourceInfo(
            name=self._name,
            kind="stream",
            width_px=int(width),
            height_px=int(height),
            rate_hz=self._rate_hz,
        )

    def _play(self) -> None:
        options = {"protocol_whitelist": SCHEMES[self._scheme], "flags": "low_delay"}
        if self._scheme.startswith("rtsp"):
            # Over UDP one lost packet smears the frame until the next whole one.
            options["rtsp_transport"] = "tcp"
        try:
            decoder = Decoder(self._address, options=options, timeout_s=self._timeout_s, low_delay=True)
        except (av.error.FFmpegError, LookupError) as error:
            raise SourceError(_sentence(self._name, error)) from error
        try:
            self._watch(decoder)
        except av.error.FFmpegError as error:
            raise SourceError(_sentence(self._name, error)) from error
        finally:
            decoder.close()

    def _watch(self, decoder: Decoder) -> None:
        """Passes frames on until the stream breaks off."""
        self._rate_hz = decoder.rate_hz
        self._timeline.restart()
        # Whole videos have a duration and come as fast as the network can: they are held to real time.
        # Frames one by one (motion JPEG) carry made-up timestamps: the moment of arrival is better.
        duration_s = decoder.duration_s
        stamped = decoder.format_name not in ("mpjpeg", "mjpeg", "image2pipe", "jpeg_pipe")
        first_s: float | None = None
        start_s = played_s = 0.0
        for frame in decoder.frames():
            now_s = self._clock.now()
            stamp_s = frame.stamp_s if stamped else None
            if stamp_s is not None and first_s is None:
                first_s, start_s = stamp_s, now_s
            if duration_s is not None and stamp_s is not None and first_s is not None:
                played_s = stamp_s - first_s
                if self._clock.wait(self._closed, start_s + played_s - now_s):
                    return
                now_s = self._clock.now()
            if not self._publish(frame.image_bgr, self._timeline.place(stamp_s, now_s)):
                return
        if self._info is None:
            raise SourceError(f"The stream {self._name} contains no frames; check its address.")
        self._over = duration_s is not None and played_s >= duration_s - END_S


def _sentence(name: str, error: Exception) -> str:
    """One sentence, with what to do, for a stream that cannot be had."""
    if isinstance(error, (av.error.HTTPClientError, av.error.HTTPServerError)):
        return f"The server of the stream {name} refuses it ({error.strerror}); check the address."
    if isinstance(error, (av.error.TimeoutError, av.error.ExitError)):
        return f"The stream {name} does not answer; check that its sender is running."
    if isinstance(error, (av.error.InvalidDataError, LookupError)):
        return f"The address {name} does not give a video or stream; check the address."
    reason = getattr(error, "strerror", None) or "no connection"
    return (
        f"The stream {name} cannot be reached ({reason}); check the address and that its sender is running."
    )
