"""One picture of a clip, as a JPEG."""

from __future__ import annotations

from pathlib import Path

import av
import av.error
import cv2

__all__ = ["picture_at"]

_QUALITY = 80


def picture_at(path: Path, second: float, width_px: int) -> bytes | None:
    """The picture shown at a second of the video, at most so wide, as a JPEG; its last where the video is shorter.

    None where the file cannot be read as a video.
    """
    try:
        with av.open(str(path)) as video:
            stream = video.streams.video[0]
            if stream.time_base is None:
                return None
            video.seek(int(max(0.0, second) / stream.time_base), stream=stream)
            shown = None
            for frame in video.decode(stream):
                if shown is not None and (frame.time or 0.0) > second:
                    break
                shown = frame
            if shown is None:
                return None
            image = shown.to_ndarray(format="bgr24")
    except (av.error.FFmpegError, OSError, IndexError):
        return None
    height, width = image.shape[:2]
    if width > width_px:
        image = cv2.resize(
            image, (width_px, max(1, round(height * width_px / width))), interpolation=cv2.INTER_AREA
        )
    _, encoded = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    return encoded.tobytes()
