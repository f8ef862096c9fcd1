"""Films as sources: true times, upright pictures, pace, and clear sentences for what is no film."""

from __future__ import annotations

import gc
import threading
from collections.abc import Callable
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from capture_videos import (
    EVEN_S,
    SIZE,
    UNEVEN_S,
    HandClock,
    HurriedClock,
    all_of,
    grey_index,
    times_of,
    within,
    write_film,
)

from posturewatch.capture.source import Taken
from posturewatch.capture.video_file import VideoFileSource
from posturewatch.errors import InputError, PosturewatchError, SourceError


@pytest.mark.parametrize(
    ("name", "codec", "times_s"),
    [("a.mp4", "mpeg4", EVEN_S), ("a.mkv", "mpeg4", UNEVEN_S), ("a.mp4", "libx264", UNEVEN_S)],
)
def test_every_picture_at_its_own_time(
    tmp_path: Path, name: str, codec: str, times_s: tuple[float, ...]
) -> None:
    source = VideoFileSource(write_film(tmp_path / name, times_s, codec=codec))
    taken = all_of(source)
    assert times_of(taken) == pytest.approx(times_s, abs=0.0011)
    assert [grey_index(one.frame.image_bgr) for one in taken] == list(range(len(times_s)))
    assert [one.frame.index for one in taken] == list(range(len(times_s)))
    assert source.dropped == 0
    assert not source.live
    assert source.notice is None


def test_times_agree_with_an_independent_reader(tmp_path: Path) -> None:
    """OpenCV's own FFmpeg reader, which states each picture's position."""
    path = write_film(tmp_path / "uneven.mp4", UNEVEN_S, codec="libx264")
    theirs = []
    capture = cv2.VideoCapture(str(path), cv2.CAP_FFMPEG)
    while capture.read()[0]:
        theirs.append(capture.get(cv2.CAP_PROP_POS_MSEC) / 1000)
    capture.release()
    assert times_of(all_of(VideoFileSource(path))) == pytest.approx(theirs, abs=1e-3)


def test_time_starts_at_the_first_picture(tmp_path: Path) -> None:
    path = write_film(tmp_path / "late.mkv", [5.0, 5.1, 5.4])
    assert times_of(all_of(VideoFileSource(path))) == pytest.approx([0.0, 0.1, 0.4], abs=1e-3)


def test_film_without_timestamps_runs_at_its_stated_rate(tmp_path: Path) -> None:
    # A raw H.264 stream carries pictures and a rate, but no timestamps.
    path = write_film(tmp_path / "raw.h264", EVEN_S, codec="libx264", container_format="h264")
    source = VideoFileSource(path)
    taken = all_of(source)
    assert source.info.rate_hz == pytest.approx(25.0)
    assert times_of(taken) == pytest.approx(EVEN_S, abs=1e-6)


def test_info_states_what_the_file_states(tmp_path: Path) -> None:
    source = VideoFileSource(write_film(tmp_path / "film.mp4", EVEN_S))
    source.close()
    info = source.info
    assert (info.name, info.kind, info.width_px, info.height_px) == ("film.mp4", "film", *SIZE)
    assert info.frame_count == 20
    assert info.duration_s == pytest.approx(0.8, abs=0.05)
    assert info.rate_hz == pytest.approx(25.0, rel=0.05)
    assert source.describe()["live"] is False


def test_steady_pace_waits_as_long_as_the_film_and_drops_nothing(tmp_path: Path) -> None:
    clock = HurriedClock()
    source = VideoFileSource(write_film(tmp_path / "f.mkv", UNEVEN_S), pace="steady", clock=clock)
    taken = all_of(source)
    assert times_of(taken) == pytest.approx(UNEVEN_S, abs=1e-3)
    assert clock.waited_s == pytest.approx(UNEVEN_S[-1], abs=1e-3)
    assert [one.taken_s - 1000.0 for one in taken] == pytest.approx(UNEVEN_S, abs=1e-3)


def test_steady_pace_does_not_start_before_the_first_read(tmp_path: Path) -> None:
    clock = HandClock()
    source = VideoFileSource(write_film(tmp_path / "f.mkv", EVEN_S), pace="steady", clock=clock)
    clock.advance(60.0)
    first = source.read(10.0)
    clock.settle()
    assert first is not None
    assert first.frame.time_s == 0.0
    assert source.read(0.0) is None, "the second picture is not due"
    clock.advance(0.041)
    second = source.read(10.0)
    assert second is not None
    assert second.frame.time_s == pytest.approx(0.04, abs=1e-3)
    source.close()


def test_camera_pace_keeps_the_newest_and_counts_the_dropped(tmp_path: Path) -> None:
    clock = HandClock()
    source = VideoFileSource(write_film(tmp_path / "f.mkv", EVEN_S), pace="camera", clock=clock)
    assert source.live
    first = source.read(10.0)
    assert first is not None
    assert first.frame.index == 0
    for _ in range(5):
        clock.settle()
        clock.advance(0.0402)
    clock.settle()
    newest = source.read(10.0)
    assert newest is not None
    assert newest.frame.index == 5
    assert newest.frame.time_s == pytest.approx(0.2, abs=1e-3)
    assert grey_index(newest.frame.image_bgr) == 5
    assert source.dropped == 4
    source.close()
    assert source.ended


@pytest.mark.parametrize("pace", ["steady", "camera"])
def test_closing_ends_the_wait_for_the_next_picture(tmp_path: Path, pace: str) -> None:
    before = set(threading.enumerate())
    clock = HandClock()
    source = VideoFileSource(write_film(tmp_path / "f.mkv", [0.0, 500.0]), pace=pace, clock=clock)  # type: ignore[arg-type]
    assert source.read(10.0) is not None
    clock.settle()
    answers: list[Taken | None] = []
    reader = threading.Thread(target=lambda: answers.append(source.read(120.0)))
    reader.start()
    source.close()
    source.close()
    reader.join(60)
    assert answers == [None]
    assert source.ended
    assert within(10.0, lambda: set(threading.enumerate()) <= before)


def test_slow_start_of_the_reader_misses_nothing(tmp_path: Path) -> None:
    source = VideoFileSource(write_film(tmp_path / "f.mkv", [i / 25 for i in range(200)]))
    first = source.read(10.0)
    assert first is not None
    assert not source.ended
    rest = all_of(source)
    assert len(rest) == 199


def test_film_that_breaks_off_gives_what_is_whole(tmp_path: Path) -> None:
    path = write_film(tmp_path / "f.mkv", EVEN_S)
    path.write_bytes(path.read_bytes()[: path.stat().st_size * 2 // 3])
    taken = all_of(VideoFileSource(path))
    assert 1 <= len(taken) < len(EVEN_S)
    assert times_of(taken) == pytest.approx(EVEN_S[: len(taken)], abs=1e-3)


def test_damaged_pictures_leave_a_gap_and_bend_no_time(tmp_path: Path) -> None:
    path = write_film(tmp_path / "f.mkv", EVEN_S, codec="mjpeg", pix_fmt="yuvj420p")
    data = bytearray(path.read_bytes())
    starts = [at for at in range(len(data) - 1) if data[at : at + 3] == b"\xff\xd8\xff"]
    assert len(starts) == len(EVEN_S)
    # All of the eighth picture but its last bytes, where the container's next header begins.
    data[starts[7] : starts[8] - 64] = bytes(starts[8] - 64 - starts[7])
    path.write_bytes(bytes(data))
    taken = all_of(VideoFileSource(path))
    expected = [time_s for index, time_s in enumerate(EVEN_S) if index != 7]
    assert times_of(taken) == pytest.approx(expected, abs=1e-3)


def _missing(folder: Path) -> Path:
    return folder / "nowhere.mp4"


def _folder(folder: Path) -> Path:
    return folder


def _empty(folder: Path) -> Path:
    (folder / "empty.mp4").touch()
    return folder / "empty.mp4"


def _noise(folder: Path) -> Path:
    (folder / "noise.mp4").write_bytes(np.random.default_rng(1).bytes(50_000))
    return folder / "noise.mp4"


def _text(folder: Path) -> Path:
    (folder / "notes.txt").write_text("bars 12 to 16\n" * 400, encoding="utf-8")
    return folder / "notes.txt"


def _play_list(folder: Path) -> Path:
    lines = [
        "#EXTM3U",
        "#EXT-X-TARGETDURATION:9",
        "#EXTINF:9,",
        "http://127.0.0.1:9/a.ts",
        "#EXT-X-ENDLIST",
        "",
    ]
    (folder / "list.m3u8").write_text("\n".join(lines), encoding="utf-8")
    return folder / "list.m3u8"


def _sound_only(folder: Path) -> Path:
    with av.open(str(folder / "sound.wav"), "w") as container:
        stream = container.add_stream("pcm_s16le", rate=8000)
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 8000), dtype=np.int16), format="s16", layout="mono")
        frame.sample_rate = 8000
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return folder / "sound.wav"


def _picture(kind: str) -> Callable[[Path], Path]:
    def picture(folder: Path) -> Path:
        _, data = cv2.imencode(kind, np.zeros((64, 96, 3), np.uint8))
        (folder / "film.mp4").write_bytes(data.tobytes())
        return folder / "film.mp4"

    return picture


def _no_pictures(folder: Path) -> Path:
    return write_film(folder / "none.avi", [], pictures=[])


@pytest.mark.parametrize(
    ("make", "kind", "words"),
    [
        (_missing, InputError, "There is no video at"),
        (_folder, InputError, "is a folder, not a video"),
        (_empty, SourceError, "is empty"),
        (_noise, SourceError, "is not a video"),
        (_text, SourceError, "is not a video"),
        (_play_list, SourceError, "is not a video"),
        (_sound_only, SourceError, "is not a video"),
        (_picture(".png"), SourceError, "is a picture, not a video"),
        (_picture(".jpg"), SourceError, "is a picture, not a video"),
        (_no_pictures, SourceError, "contains no frames"),
    ],
    ids=lambda value: value.__name__.strip("_") if callable(value) else "",
)
def test_what_is_no_film_gets_one_sentence(
    tmp_path: Path,
    capfd: pytest.CaptureFixture[str],
    make: object,
    kind: type[PosturewatchError],
    words: str,
) -> None:
    assert callable(make)
    path = make(tmp_path)
    with pytest.raises(kind, match=words) as caught:
        VideoFileSource(path)
    sentence = caught.value.sentence
    assert str(path) in sentence
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert capfd.readouterr() == ("", ""), "no library speaks on the terminal"


def test_film_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_film(tmp_path / "private.mp4", EVEN_S[:2])

    def refuse(*_: object, **__: object) -> object:
        raise PermissionError(13, "Permission denied")

    # Changing the file's mode would not keep an administrator out.
    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(InputError, match="may not be read"):
        VideoFileSource(path)


def test_unknown_pace_is_refused(tmp_path: Path) -> None:
    path = write_film(tmp_path / "f.mp4", EVEN_S[:2])
    with pytest.raises(ValueError, match="pace"):
        VideoFileSource(path, pace="fast")  # type: ignore[arg-type]


def test_decoded_pictures_are_freed_at_once(tmp_path: Path) -> None:
    # A picture of 1280x720 takes 1.4 MB inside the decoder: waiting for the garbage collector would let a
    # practice take hundreds of megabytes.
    path = write_film(tmp_path / "f.mkv", [i / 25 for i in range(100)])
    gc.collect()
    gc.disable()
    try:
        all_of(VideoFileSource(path))
        left = [one for one in gc.get_objects() if isinstance(one, av.VideoFrame)]
    finally:
        gc.enable()
    assert len(left) < 10, "a few are still on their way"
