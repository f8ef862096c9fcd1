"""Cameras, videos and streams as sources of frames. Alone in opening cameras."""

from posturewatch.capture.camera import CameraSource
from posturewatch.capture.opening import CameraFound, demo_video, find_cameras, open_source
from posturewatch.capture.source import Kind, Pace, Source, SourceInfo, Taken
from posturewatch.capture.stream import StreamSource
from posturewatch.capture.video_file import VideoFileSource

__all__ = [
    "CameraFound",
    "CameraSource",
    "Kind",
    "Pace",
    "Source",
    "SourceInfo",
    "StreamSource",
    "Taken",
    "VideoFileSource",
    "demo_video",
    "find_cameras",
    "open_source",
]
