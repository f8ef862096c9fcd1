"""Videos that are cut short, oddly titled, or beyond all measure."""

from __future__ import annotations

import os
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from capture_videos import EVEN_S, all_of, write_film

from posturewatch.capture import Stretch, scan_film
from posturewatch.capture.bounds import check_size, stated_image_size
from posturewatch.capture.decoding import Decoder
from posturewatch.capture.video_file import VideoFileSource
from posturewatch.errors import InputError


@pytest.mark.parametrize("share", [0.5, 0.8])
def test_a_film_that_is_cut_short_says_how_much_of_it_there_was(tmp_path: Path, share: float) -> None:
    # The index at the beginning (ISO/IEC 14496-12: moov before mdat) still states the whole.
    times_s = [index / 25 for index in range(100)]
    path = write_film(
        tmp_path / "f.mp4", times_s, codec="libx264", container_options={"movflags": "faststart"}
    )
    whole = VideoFileSource(path)
    assert len(all_of(whole)) == 100
    assert (whole.incomplete, whole.notice) == (False, None)
    path.write_bytes(path.read_bytes()[: round(path.stat().st_size * share)])
    source = VideoFileSource(path)
    taken = all_of(source)
    assert 1 <= len(taken) < 100
    assert source.incomplete
    assert f"Only {len(taken)} of 100 frames ({taken[-1].frame.time_s:.1f} of 4.0 s)" in str(source.notice)


def test_titles_in_another_encoding_are_no_fault(tmp_path: Path) -> None:
    # INFO chunks of AVI have no stated encoding; many are Latin-1 (ISO/IEC 8859-1: 0xE9 is e with acute).
    path = write_film(tmp_path / "f.avi", EVEN_S, codec="mjpeg", pix_fmt="yuvj420p", title="Etude xy")
    path.write_bytes(path.read_bytes().replace(b"Etude xy", b"\xe9tude \xe9y"))
    assert b"\xe9tude" in path.read_bytes()
    assert len(all_of(VideoFileSource(path))) == len(EVEN_S)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_named_pipe_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(InputError, match="neither a file nor a folder"):
        VideoFileSource(tmp_path / "pipe")


def test_a_film_beyond_all_measure_is_refused_before_it_is_decoded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_film(tmp_path / "f.mkv", EVEN_S)
    monkeypatch.setattr("posturewatch.capture.video_file.LONGEST_PX", 95)
    monkeypatch.setattr(Decoder, "frames", lambda decoder: pytest.fail("decoded"))
    with pytest.raises(InputError, match="96 x 64 pixels, more than the 95"):
        VideoFileSource(path)


@pytest.mark.parametrize("size_px", [(3000, 30), (100, 1), (1, 3000), (60000, 60000), (13000, 8000)])
def test_sizes_beyond_measure_are_refused(tmp_path: Path, size_px: tuple[int, int]) -> None:
    with pytest.raises(InputError, match=r"pixels, (too narrow|more than)"):
        check_size(tmp_path, size_px, 12_000)


@pytest.mark.parametrize("kind", [".png", ".jpg", ".bmp"])
def test_an_images_stated_size_is_that_of_the_image(kind: str) -> None:
    # OpenCV writes and reads it, independently.
    _, data = cv2.imencode(kind, np.zeros((40, 70, 3), np.uint8))
    assert stated_image_size(data.tobytes()) == (None if kind == ".bmp" else (70, 40))
    for length in range(40):
        stated_image_size(data.tobytes()[:length])


def test_a_film_of_8k_is_refused_in_one_sentence(tmp_path: Path) -> None:
    """7680 x 4320 is UHDTV2 (ITU-R BT.2020, table 1)."""
    picture = np.full((4320, 7680, 3), 90, np.uint8)
    path = write_film(tmp_path / "8k.mkv", [0.0], pictures=[picture], codec="mjpeg", pix_fmt="yuvj420p")
    with pytest.raises(InputError, match="7680 x 4320 pixels, more than the 4096") as caught:
        VideoFileSource(path)
    assert "\n" not in caught.value.sentence


def test_a_hundred_thousand_tiny_frames_are_read_at_their_times(tmp_path: Path) -> None:
    few, many, repeats, rate_hz = tmp_path / "few.mkv", tmp_path / "many.mkv", 100, 1000
    picture = np.full((32, 32, 3), 90, np.uint8)
    write_film(few, [index / rate_hz for index in range(1000)], pictures=[picture] * 1000)
    # Its packets over and over, each time a second later.
    with av.open(str(few)) as source, av.open(str(many), "w") as container:
        stream = container.add_stream_from_template(source.streams.video[0])
        packets = [one for one in source.demux(video=0) if one.size]
        stamps = [one.pts for one in packets]
        for turn in range(repeats):
            for packet, stamp in zip(packets, stamps, strict=True):
                packet.stream, packet.pts, packet.dts = stream, *[stamp + turn * rate_hz] * 2
                packet.time_base = Fraction(1, rate_hz)
                container.mux(packet)
    scan = scan_film(many)
    assert scan is not None
    assert scan.frames == repeats * 1000
    assert scan.end_s == pytest.approx(99.999)
    # All of them take a minute to be handed over on a busy machine; the last ones stand for the others.
    film, times = VideoFileSource(many, stretch=Stretch(98.0, None, scan.orderly)), list[float]()
    while not film.ended:
        taken = film.read(5.0)
        if taken is not None:
            times.append(taken.frame.time_s)
    assert times == pytest.approx(np.arange(98_000, 100_000) / rate_hz)


@pytest.mark.parametrize("name", ["Étude no. 3 (take 2).mp4", "🎻 my best 👍🏽.mp4", "%d %s 'x' \"y\".mp4"])
def test_names_with_spaces_and_signs_are_names(tmp_path: Path, name: str) -> None:
    path = write_film(tmp_path / name, EVEN_S)
    assert len(all_of(VideoFileSource(path))) == len(EVEN_S)
    scan = scan_film(path)
    assert scan is not None
    assert scan.frames == len(EVEN_S)


def test_sound_changes_no_frame_and_no_time(tmp_path: Path) -> None:
    """Sound that begins before the pictures and ends after them, as phones write it."""
    silent, loud = write_film(tmp_path / "silent.mp4", EVEN_S), tmp_path / "loud.mp4"
    with av.open(str(silent)) as source, av.open(str(loud), "w") as container:
        pictures = container.add_stream_from_template(source.streams.video[0])
        sound = container.add_stream("aac", rate=48_000)
        for place in range(round(48_000 * (EVEN_S[-1] + 2.0)) // 1024):
            frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
            frame.sample_rate, frame.pts = 48_000, 1024 * place
            container.mux(sound.encode(frame))
        container.mux(sound.encode(None))
        for packet in source.demux(video=0):
            if packet.size:
                packet.stream = pictures
                packet.pts += round(0.5 / packet.time_base)
                packet.dts += round(0.5 / packet.time_base)
                container.mux(packet)
    without, having = all_of(VideoFileSource(silent)), all_of(VideoFileSource(loud))
    assert [one.frame.time_s for one in having] == pytest.approx([one.frame.time_s for one in without])
    for one, other in zip(having, without, strict=True):
        assert np.array_equal(one.frame.image_bgr, other.frame.image_bgr)
