"""Cameras, videos and streams as sources of frames. Alone in opening cameras."""

from posturewatch.capture.camera import CameraSource
from posturewatch.capture.opening import (
    CameraFound,
    demo_video,
    find_cameras,
    names_film,
    open_film,
    open_source,
)
from posturewatch.capture.scan import FilmScan, scan_film, stated_duration_s
from posturewatch.capture.source import Kind, Pace, Source, SourceInfo, Stretch, Taken
from posturewatch.capture.stream import StreamSource
from posturewatch.capture.video_file import VideoFileSource

__all__ = [
    "CameraFound",
    "CameraSource",
    "FilmScan",
    "Kind",
    "Pace",
    "Source",
    "SourceInfo",
    "StreamSource",
    "Stretch",
    "Taken",
    "VideoFileSource",
    "demo_video",
    "find_cameras",
    "names_film",
    "open_film",
    "open_source",
    "scan_film",
    "stated_duration_s",
]
