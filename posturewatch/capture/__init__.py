"""Cameras, films and streams as sources of frames. Alone in opening cameras."""

from posturewatch.capture.camera import CameraSource
from posturewatch.capture.film import FilmSource
from posturewatch.capture.opening import CameraFound, demo_film, find_cameras, open_source
from posturewatch.capture.source import Kind, Pace, Source, SourceInfo, Taken
from posturewatch.capture.stream import StreamSource

__all__ = [
    "CameraFound",
    "CameraSource",
    "FilmSource",
    "Kind",
    "Pace",
    "Source",
    "SourceInfo",
    "StreamSource",
    "Taken",
    "demo_film",
    "find_cameras",
    "open_source",
]
