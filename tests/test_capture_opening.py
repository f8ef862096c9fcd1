"""What the user typed, and which source it opens."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import pytest
from capture_videos import write_film

from posturewatch.capture import opening
from posturewatch.capture.devices import _OpenCvDevice, open_device
from posturewatch.errors import InputError, PosturewatchError, SourceError, UnavailableError


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Any, ...]]:
    """Records which source would be opened, with what."""
    made: list[tuple[Any, ...]] = []

    def recorder(kind: str) -> Any:
        def make(what: object, **more: object) -> None:
            made.append((kind, what, more))

        return make

    monkeypatch.setattr(opening, "CameraSource", recorder("camera"))
    monkeypatch.setattr(opening, "StreamSource", recorder("stream"))
    monkeypatch.setattr(opening, "VideoFileSource", recorder("film"))
    monkeypatch.setattr(opening, "demo_video", lambda: Path("demo.mp4"))
    return made


CAMERA = {"size_px": (640, 480), "rate_hz": 15.0}


@pytest.mark.parametrize(
    ("spec", "kind", "what", "more"),
    [
        ("demo", "film", Path("demo.mp4"), {"pace": "camera", "name": "demo film"}),
        ("0", "camera", 0, CAMERA),
        (" 2 ", "camera", 2, CAMERA),
        ("/dev/video1", "camera", "/dev/video1", CAMERA),
        ("/dev/v4l/by-id/usb-cam", "camera", "/dev/v4l/by-id/usb-cam", CAMERA),
        ("rtsp://10.0.0.2/live", "stream", "rtsp://10.0.0.2/live", {}),
        ("HTTP://10.0.0.2:8080/video", "stream", "HTTP://10.0.0.2:8080/video", {}),
        ("film.mp4", "film", Path("film.mp4"), {"pace": "camera"}),
        ("10 études.mov", "film", Path("10 études.mov"), {"pace": "camera"}),
        (r"C:\films\a.mp4", "film", Path(r"C:\films\a.mp4"), {"pace": "camera"}),
    ],
)
def test_what_is_opened(
    calls: list[tuple[Any, ...]], spec: str, kind: str, what: object, more: dict[str, Any]
) -> None:
    opening.open_source(spec, pace="camera", size_px=(640, 480), rate_hz=15.0)
    assert calls == [(kind, what, more)]


def test_file_addresses_are_films(tmp_path: Path) -> None:
    path = write_film(tmp_path / "a film.mp4", [0.0, 0.04])
    source = opening.open_source(path.as_uri(), pace="asap")
    assert source.info.kind == "film"
    source.close()


def test_nothing_named() -> None:
    with pytest.raises(InputError, match="No source was named"):
        opening.open_source("  ")


def test_missing_demo_film(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "calibration_dir", lambda: tmp_path)
    with pytest.raises(UnavailableError, match="demo video"):
        opening.open_source("demo")


def test_camera_that_does_not_exist_gets_one_sentence(capfd: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SourceError) as caught:
        opening.open_source("97")
    assert "amera 97" in caught.value.sentence
    assert caught.value.sentence.endswith(".")
    assert capfd.readouterr() == ("", ""), "no library speaks on the terminal"


@pytest.mark.skipif(not Path("/dev/null").exists(), reason="this system has no device files")
def test_device_that_is_no_camera() -> None:
    with pytest.raises(SourceError, match="is not a camera"):
        opening.open_source("/dev/null")


class _Device:
    width_px, height_px, rate_hz = 800, 600, 25.0

    def release(self) -> None:
        return


def test_finding_cameras_lists_those_that_open(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    def open_some(index: int) -> _Device:
        if index in (0, 3):
            return _Device()
        raise SourceError("There is no camera.")

    monkeypatch.setattr(opening, "_SYSTEM", "darwin")
    monkeypatch.setattr(opening, "open_device", open_some)
    found = opening.find_cameras()
    assert [(camera.index, camera.size_px, camera.rate_hz) for camera in found] == [
        (0, (800, 600), 25.0),
        (3, (800, 600), 25.0),
    ]
    assert capfd.readouterr() == ("", "")


def test_finding_cameras_on_this_machine_is_quiet(capfd: pytest.CaptureFixture[str]) -> None:
    indices = [camera.index for camera in opening.find_cameras()]
    assert indices == sorted(set(indices))
    assert capfd.readouterr() == ("", "")


def test_camera_without_device_files_says_what_may_be_wrong(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("posturewatch.capture.devices._SYSTEM", "darwin")
    monkeypatch.setattr("posturewatch.capture.devices._backends", lambda: (0,))
    with pytest.raises(PosturewatchError, match="System Settings"):
        open_device(97)
    assert capfd.readouterr() == ("", "")


def test_opencv_device_reads_until_nothing_comes(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    # A film stands in for the camera: the same class of OpenCV's plays both.
    path = write_film(tmp_path / "f.avi", [0.0, 0.04, 0.08], codec="mjpeg", pix_fmt="yuvj420p")
    device = _OpenCvDevice(cv2.VideoCapture(str(path), cv2.CAP_FFMPEG), (96, 64), 25.0)
    assert (device.width_px, device.height_px) == (96, 64)
    assert device.rate_hz is None, "a thousand a second is a container's tick, not a rate"
    shapes, positions_ms = [], []
    while (image := device.read()) is not None:
        shapes.append(image.shape)
        positions_ms.append(device.position_ms())
    assert shapes == [(64, 96, 3)] * 3
    assert positions_ms == pytest.approx([0.0, 40.0, 80.0], abs=1.5)
    device.release()
    device.release()
    assert capfd.readouterr() == ("", "")
