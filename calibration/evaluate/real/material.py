"""The real material: which pictures there are, and which of them were taken at one moment.

A folder of it holds `multiview/<session>/` (videos `cam_<n>.mp4` of one person from several cameras, `timestamps.csv`,
`camera_array.toml`, `charuco.toml`), `players/*.jpg`, and beside it or in it `footage/*.mkv`. It is never part of the
project.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["Shot", "Source", "moments", "shots", "sources"]

Image = NDArray[np.uint8]


@dataclass(frozen=True)
class Source:
    """One video or photograph. kind: "multiview", "footage", "video" or "player"; session: the folder that a multi-view
    video lies in; camera: its number there, -1 elsewhere."""

    kind: str
    path: Path
    session: str = ""
    camera: int = -1

    @property
    def name(self) -> str:
        return f"{self.session}-{self.path.stem}" if self.session else f"{self.kind}-{self.path.stem}"

    @property
    def is_video(self) -> bool:
        return self.kind != "player"


@dataclass(frozen=True)
class Shot:
    """One picture of a source; time_s from its beginning."""

    frame: int
    time_s: float
    image_bgr: Image


def sources(folder: Path) -> list[Source]:
    """All that lies in the folder, in the order of its names; `footage` may lie beside it."""
    out = []
    for session in sorted(path for path in (folder / "multiview").glob("*") if path.is_dir()):
        for path in sorted(session.glob("cam_*.mp4")):
            out.append(Source("multiview", path, session.name, int(path.stem.removeprefix("cam_"))))
    out += [Source("player", path) for path in sorted((folder / "players").glob("*.jpg"))]
    for kind in ("videos", "footage"):
        place = folder / kind if (folder / kind).is_dir() else folder.parent / kind
        videos = [path for path in sorted(place.glob("*")) if path.suffix in (".mkv", ".mp4")]
        out += [Source(kind.removesuffix("s"), path) for path in videos]
    return out


def shots(source: Source) -> Iterator[Shot]:
    """Every picture of a source, in order."""
    if not source.is_video:
        image = cv2.imread(str(source.path))
        if image is not None:
            yield Shot(0, 0.0, np.asarray(image, np.uint8))
        return
    capture = cv2.VideoCapture(str(source.path))
    rate_hz = capture.get(cv2.CAP_PROP_FPS) or 30.0
    frame = 0
    while True:
        good, image = capture.read()
        if not good:
            break
        yield Shot(frame, frame / rate_hz, np.asarray(image, np.uint8))
        frame += 1
    capture.release()


def moments(session: Path) -> list[dict[int, int]]:
    """For each moment the frame of each camera, by the camera's number: the n-th line of a camera in `timestamps.csv`
    is the n-th frame of its video."""
    counts: dict[int, int] = {}
    together: dict[int, dict[int, int]] = {}
    with (session / "timestamps.csv").open(newline="", encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            camera = int(row["cam_id"])
            frame = counts.get(camera, 0)
            counts[camera] = frame + 1
            together.setdefault(int(row["sync_index"]), {})[camera] = frame
    return [together[index] for index in sorted(together)]
