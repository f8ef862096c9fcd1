"""From what the user typed to a source."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import url2pathname

from posturewatch.capture.camera import CameraSource
from posturewatch.capture.devices import open_device
from posturewatch.capture.source import WHOLE, Pace, Source, Stretch
from posturewatch.capture.stream import StreamSource
from posturewatch.capture.video_file import VideoFileSource
from posturewatch.config.resources import DEMO_NAME, calibration_dir
from posturewatch.errors import InputError, SourceError, UnavailableError

__all__ = ["CameraFound", "demo_video", "find_cameras", "names_film", "open_film", "open_source"]

#: As a plain string, so that the type checker reads the branches of every system.
_SYSTEM: str = sys.platform


def demo_video() -> Path:
    """The bundled demo video; raises UnavailableError where it is missing."""
    path = calibration_dir() / "demo" / "demo.mp4"
    if not path.is_file():
        raise UnavailableError("The demo video of posturewatch is missing; install posturewatch again.")
    return path


def open_source(
    spec: str,
    *,
    pace: Pace = "steady",
    size_px: tuple[int, int] = (1280, 720),
    rate_hz: float = 30.0,
) -> Source:
    """Opens "demo", a camera's index or device path, a stream's address, or a video's path.

    pace: how a video is played (see `Pace`); cameras and streams have their own. size_px (width, height) and
    rate_hz are asked of a camera. Raises InputError or SourceError with one sentence saying what to do.
    """
    spec = spec.strip()
    if not spec:
        raise InputError("No source was named; use demo, a camera's number, a video's path or an address.")
    if spec == "demo":
        return VideoFileSource(demo_video(), pace=pace, name=DEMO_NAME)
    if re.fullmatch(r"[0-9]{1,4}", spec):
        return CameraSource(int(spec), size_px=size_px, rate_hz=rate_hz)
    if re.match(r"[A-Za-z][A-Za-z0-9+.-]*://", spec):
        if urlsplit(spec).scheme.lower() == "file":
            return VideoFileSource(Path(url2pathname(urlsplit(spec).path)), pace=pace)
        return StreamSource(spec)
    if spec.startswith("/dev/"):
        return CameraSource(spec, size_px=size_px, rate_hz=rate_hz)
    return VideoFileSource(Path(spec).expanduser(), pace=pace)


def names_film(spec: str) -> bool:
    """Whether that would be opened as a video file, and not as a camera or a stream."""
    spec = spec.strip()
    if re.match(r"[A-Za-z][A-Za-z0-9+.-]*://", spec):
        return urlsplit(spec).scheme.lower() == "file"
    return not re.fullmatch(r"[0-9]{1,4}", spec) and not spec.startswith("/dev/")


def open_film(path: Path, stretch: Stretch = WHOLE) -> VideoFileSource:
    """A video's frames as fast as they are read, or a part of them; the bundled one has its own name.

    Raises
    ------
    InputError, SourceError
        With one sentence saying what to do.
    """
    bundled = calibration_dir() / "demo" / "demo.mp4"
    return VideoFileSource(path, pace="asap", name=DEMO_NAME if path == bundled else None, stretch=stretch)


@dataclass(frozen=True)
class CameraFound:
    """A camera of this machine. name: as the system calls it, None where it does not say.
    size_px: (width, height) it gives unasked, None where it could not be opened (probably in use).
    rate_hz: frames a second it states then, None where it states none."""

    index: int
    name: str | None
    size_px: tuple[int, int] | None
    rate_hz: float | None = None


def find_cameras() -> tuple[CameraFound, ...]:
    """The cameras of this machine, without filming. Quick and quiet."""
    if _SYSTEM.startswith("linux"):
        indices = sorted(int(p.name[5:]) for p in Path("/dev").glob("video*") if p.name[5:].isdigit())
    else:
        indices = list(range(5))
    found = []
    for index in indices:
        system = Path(f"/sys/class/video4linux/video{index}")
        name = _text(system / "name")
        try:
            device = open_device(index)
        except SourceError:
            # Further nodes of one camera carry no frames; the first one that does not open is in use.
            if name is not None and _text(system / "index") == "0":
                found.append(CameraFound(index, name, None))
            continue
        found.append(CameraFound(index, name, (device.width_px, device.height_px), device.rate_hz))
        device.release()
    return tuple(found)


def _text(path: Path) -> str | None:
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip() or None
    except OSError:
        return None
