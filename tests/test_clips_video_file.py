"""Clips as files: encoded pictures and sound, checked by reading them back with libav and with ffprobe."""

from __future__ import annotations

import json
import shutil
import struct
import subprocess
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from clip_factories import SIZE, frames, index_of, make_video, numbered_picture, uneven_times
from numpy.typing import NDArray

from posturewatch.clips.encoder import TICKS_PER_S, Encoder, EncoderSettings, Packet
from posturewatch.clips.sound import SoundPiece, VideoFileSound
from posturewatch.clips.video_file import EncodedVideo, write_video

TICK_S = 1 / TICKS_PER_S


def read_back(path: Path) -> tuple[list[float], list[NDArray[np.uint8]]]:
    with av.open(str(path)) as film:
        found = [(float(frame.time), frame.to_ndarray(format="bgr24")) for frame in film.decode(video=0)]
    return [time for time, _ in found], [picture for _, picture in found]


def test_every_picture_comes_back_at_its_own_time(tmp_path: Path) -> None:
    times_s = [20.0 + time for time in uneven_times(80)]
    film = make_video(times_s)
    write_video(tmp_path / "clip.mp4", film)
    found_s, pictures = read_back(tmp_path / "clip.mp4")
    assert film.start_s == pytest.approx(20.0, abs=TICK_S)
    assert np.add(found_s, film.start_s) == pytest.approx(times_s, abs=TICK_S)
    assert [index_of(picture) for picture in pictures] == list(range(80))
    for index in (0, 41, 79):
        error = pictures[index].astype(float) - numbered_picture(index)
        # 35 dB: common practice for "hardly told from the original"; computed, not looked up.
        assert 10 * np.log10(255**2 / np.mean(error**2)) > 35


@pytest.mark.skipif(shutil.which("ffprobe") is None, reason="ffprobe is not installed")
def test_ffprobe_finds_what_browsers_play(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    times_s = uneven_times(100)
    write_video(path, make_video(times_s))
    answer = subprocess.run(
        [
            "ffprobe",
            "-v",
            "error",
            "-of",
            "json",
            "-show_streams",
            "-show_format",
            "-show_packets",
            str(path),
        ],
        capture_output=True,
        check=True,
        text=True,
    )
    assert answer.stderr == ""
    told = json.loads(answer.stdout)
    (stream,) = told["streams"]
    assert (stream["codec_name"], stream["pix_fmt"], stream["nb_frames"]) == ("h264", "yuv420p", "100")
    assert (stream["width"], stream["height"]) == SIZE
    assert (stream["color_range"], stream["color_space"]) == ("tv", "smpte170m")
    assert float(stream["start_time"]) == 0.0
    last_s = times_s[-1] + (times_s[-1] - times_s[-2])
    assert float(told["format"]["duration"]) == pytest.approx(last_s, abs=0.002)
    keys_s = [float(packet["pts_time"]) for packet in told["packets"] if "K" in packet["flags"]]
    # To seek, a player goes to a keyframe: one each second, or one picture later.
    assert np.diff(keys_s) == pytest.approx(1.0, abs=0.09)


def test_the_index_lies_before_the_pictures(tmp_path: Path) -> None:
    """So that a browser plays before it has fetched all (boxes by ISO/IEC 14496-12)."""
    write_video(tmp_path / "clip.mp4", make_video(uneven_times(30)))
    data = (tmp_path / "clip.mp4").read_bytes()
    boxes, place = [], 0
    while place < len(data):
        size, name = struct.unpack(">I4s", data[place : place + 8])
        boxes.append(name.decode())
        place += size
    assert boxes.index("moov") < boxes.index("mdat")
    assert place == len(data)


def test_one_picture_is_a_film(tmp_path: Path) -> None:
    film = make_video([3.0])
    write_video(tmp_path / "clip.mp4", film)
    assert read_back(tmp_path / "clip.mp4")[0] == [0.0]
    assert film.end_s == pytest.approx(3.0 + 1 / 30, abs=1e-4)


@pytest.mark.parametrize(
    ("size", "expected"),
    [
        ((1280, 720), (960, 540)),
        ((1920, 1080), (960, 540)),
        ((641, 479), (640, 478)),
        ((400, 800), (400, 800)),
    ],
)
def test_size_is_even_and_at_most_960_wide(
    tmp_path: Path, size: tuple[int, int], expected: tuple[int, int]
) -> None:
    write_video(tmp_path / "clip.mp4", make_video([0.0, 0.04], size))
    _, pictures = read_back(tmp_path / "clip.mp4")
    height, width = pictures[1].shape[:2]
    assert abs(width - expected[0]) <= 2
    assert abs(height - expected[1]) <= 2
    assert width % 2 == height % 2 == 0
    assert index_of(pictures[1]) == 1


def test_another_size_on_the_way_is_fitted_in(tmp_path: Path) -> None:
    """A camera that came back with another size: the same shape fills the picture, another is framed."""
    encoder = Encoder(320, 180)
    packets = [
        packet
        for time_s, size in ((0.0, (320, 180)), (0.1, (640, 360)), (0.2, (180, 180)))
        for packet in encoder.encode(np.full((size[1], size[0], 3), 200, np.uint8), time_s)
    ]
    write_video(tmp_path / "clip.mp4", EncodedVideo(tuple(packets), encoder.header))
    _, pictures = read_back(tmp_path / "clip.mp4")
    assert [int(picture[90, 20].mean() > 100) for picture in pictures] == [1, 1, 0]
    assert all(picture[90, 160].mean() > 180 for picture in pictures)


def test_times_that_do_not_increase_are_left_out() -> None:
    encoder = Encoder(*SIZE)
    picture = numbered_picture(0)
    assert [len(encoder.encode(picture, time_s)) for time_s in (1.0, 1.0, 0.5, 1.04)] == [1, 0, 0, 1]


def test_the_rate_is_held_down_on_pure_noise() -> None:
    rng = np.random.default_rng(1)
    encoder = Encoder(*SIZE, EncoderSettings(most_bits_per_s=1_000_000))
    free = Encoder(*SIZE, EncoderSettings(most_bits_per_s=1_000_000_000))
    sizes = [0, 0]
    for index in range(120):
        noise = rng.integers(0, 255, (SIZE[1], SIZE[0], 3), dtype=np.uint8)
        for place, one in enumerate((encoder, free)):
            sizes[place] += sum(len(packet.data) for packet in one.encode(noise, index / 30))
    # A buffer of one second may be emptied on top of the four seconds.
    assert sizes[0] * 8 <= 1_000_000 * (4 + 1.5)
    assert sizes[1] * 8 > 2 * sizes[0] * 8


def test_a_film_begins_with_a_keyframe() -> None:
    with pytest.raises(ValueError, match="keyframe"):
        EncodedVideo((Packet(0, b"x", False),), b"")


# Sound


def write_source(path: Path, *, first_s: float = 0.0, rate_hz: int = 44_100, seconds: float = 8.0) -> Path:
    """A film whose sound is silent but for a click of 5 ms at each whole second of its pictures' time."""
    with av.open(str(path), "w") as out:
        video = out.add_stream("mpeg4", rate=25)
        video.width, video.height, video.pix_fmt = 96, 64, "yuv420p"
        audio = out.add_stream("pcm_s16le", rate=rate_hz, layout="stereo")
        samples = np.zeros((round(seconds * rate_hz), 2), np.int16)
        for second in range(1, int(seconds)):
            at = round(second * rate_hz)
            samples[at : at + rate_hz // 200] = 20_000
        for index in range(round(seconds * 25)):
            frame = av.VideoFrame.from_ndarray(np.zeros((64, 96, 3), np.uint8), format="bgr24")
            frame.pts, frame.time_base = index + round(first_s * 25), Fraction(1, 25)
            out.mux(video.encode(frame))
            chunk = samples[index * rate_hz // 25 : (index + 1) * rate_hz // 25]
            sound = av.AudioFrame.from_ndarray(chunk.reshape(1, -1), format="s16", layout="stereo")
            sound.sample_rate = rate_hz
            sound.pts = index * rate_hz // 25 + round(first_s * rate_hz)
            sound.time_base = Fraction(1, rate_hz)
            out.mux(audio.encode(sound))
        out.mux(video.encode(None))
        out.mux(audio.encode(None))
    return path


def clicks(times_s: NDArray[np.float64], samples: NDArray[np.float32]) -> list[float]:
    """Times at which sound begins after silence."""
    loud = np.abs(samples).max(axis=0) > 0.2
    starts = np.flatnonzero(loud & ~np.concatenate(([False], loud[:-1])))
    found: list[float] = []
    for time_s in times_s[starts]:
        if not found or time_s - found[-1] > 0.1:
            found.append(float(time_s))
    return found


@pytest.mark.parametrize("first_s", [0.0, 2.0])
def test_sound_of_a_film_is_found_by_session_time(tmp_path: Path, first_s: float) -> None:
    piece = VideoFileSound(write_source(tmp_path / "source.mkv", first_s=first_s)).between(2.5, 6.5)
    assert piece is not None
    assert piece.samples.shape == (2, 4 * piece.rate_hz)
    times_s = piece.start_s + np.arange(piece.samples.shape[1]) / piece.rate_hz
    assert clicks(times_s, piece.samples) == pytest.approx([3.0, 4.0, 5.0, 6.0], abs=0.003)


def test_sound_in_the_clip_is_in_step_with_the_pictures(tmp_path: Path) -> None:
    film = make_video([3.2 + index / 25 for index in range(100)])
    sound = VideoFileSound(write_source(tmp_path / "source.mkv")).between(film.start_s, film.end_s)
    write_video(tmp_path / "clip.mp4", film, sound)
    with av.open(str(tmp_path / "clip.mp4")) as clip:
        assert clip.streams.audio[0].codec_context.name == "aac"
        blocks = [(frame.time, frame.to_ndarray()) for frame in clip.decode(audio=0)]
        rate_hz = clip.streams.audio[0].codec_context.sample_rate
    times_s = np.concatenate([time + np.arange(block.shape[1]) / rate_hz for time, block in blocks])
    found = clicks(times_s, np.concatenate([block for _, block in blocks], axis=1))
    # Within 10 ms: a click's rise is smeared by the codec's window; a picture lasts 40 ms.
    assert np.add(found, film.start_s) == pytest.approx([4.0, 5.0, 6.0, 7.0], abs=0.01)
    found_s, _ = read_back(tmp_path / "clip.mp4")
    assert (found_s[0], len(found_s)) == (0.0, 100)


@pytest.mark.parametrize("start_s", [4.0, 6.0])
def test_sound_that_begins_earlier_or_later_than_the_pictures(tmp_path: Path, start_s: float) -> None:
    film = make_video([5.0 + index / 25 for index in range(75)])
    samples = np.zeros((1, 48_000 * 4), np.float32)
    at = round((7.0 - start_s) * 48_000)
    samples[0, at : at + 240] = 0.6
    write_video(tmp_path / "clip.mp4", film, SoundPiece(start_s, 48_000, samples))
    with av.open(str(tmp_path / "clip.mp4")) as clip:
        blocks = [(frame.time, frame.to_ndarray()) for frame in clip.decode(audio=0)]
    times_s = np.concatenate([time + np.arange(block.shape[1]) / 48_000 for time, block in blocks])
    found = clicks(times_s, np.concatenate([block for _, block in blocks], axis=1))
    assert np.add(found, film.start_s) == pytest.approx([7.0], abs=0.01)


def test_no_sound_is_no_fault(tmp_path: Path) -> None:
    write_video(tmp_path / "silent.mp4", make_video(uneven_times(30)))
    (tmp_path / "text.mp4").write_text("not a film")
    for name in ("silent.mp4", "text.mp4", "absent.mp4"):
        assert VideoFileSound(tmp_path / name).between(0.0, 1.0) is None
    source = write_source(tmp_path / "source.mkv", seconds=3.0)
    assert VideoFileSound(source).between(20.0, 24.0) is None


def test_sound_of_the_wrong_shape_is_refused() -> None:
    with pytest.raises(ValueError, match="float32"):
        SoundPiece(0.0, 48_000, np.zeros(100, np.float32))


def test_pictures_of_frames_are_not_changed() -> None:
    (frame,) = frames([0.0])
    before = frame.image_bgr.copy()
    Encoder(*SIZE).encode(frame.image_bgr, 0.0)
    np.testing.assert_array_equal(frame.image_bgr, before)
