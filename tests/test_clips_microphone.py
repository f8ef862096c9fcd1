"""The microphone's sound: laid at its time of the session, bounded, and quietly absent where there is none."""

from __future__ import annotations

import sys
import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import av
import numpy as np
import pytest
from capture_videos import write_film
from cli_stand_ins import ScriptedHands
from numpy.typing import NDArray
from test_cli_live import live

from posturewatch.clips.microphone import (
    GONE,
    KEPT_S,
    NO_DEVICE,
    NO_LIBRARY,
    Microphone,
    MicrophoneFound,
    find_microphones,
)
from posturewatch.config.players import Player, PlayerFiles, PlayerSound
from posturewatch.config.settings import parse_settings
from posturewatch.config.settings_sections import ClipSettings
from posturewatch.errors import UnavailableError
from posturewatch.pipeline.build import load_parts
from posturewatch.pipeline.clip_recording import MICROPHONE_ON, ClipRecording
from posturewatch.review.derived import open_store
from posturewatch.review.practice_log import PracticeLog

RATE_HZ = 48_000


class FakeStream:
    """An open input of a sound card; `hear` plays the card's thread."""

    def __init__(self, blocksize: int, callback: Any, **asked: Any) -> None:
        self.blocksize, self.callback, self.asked = blocksize, callback, asked
        self.active = False
        self.closed = 0

    def start(self) -> None:
        self.active = True

    def close(self) -> None:
        self.active = False
        self.closed += 1

    def hear(self, samples: NDArray[Any], *, age_s: float | None = None, lost: bool = False) -> None:
        """age_s: how old the driver says the first sample is; None where it does not stamp."""
        times = SimpleNamespace(currentTime=age_s or 0.0, inputBufferAdcTime=0.0)
        data = samples.astype(np.int16).reshape(-1, 1)
        self.callback(data, len(data), times, SimpleNamespace(input_overflow=lost))
        data[:] = 0  # the card uses its memory again


class FakeLibrary:
    """What `sounddevice` gives; `streams` are those that were opened."""

    class PortAudioError(Exception):
        pass

    def __init__(self, fault: Exception | None = None, rate_hz: float = RATE_HZ) -> None:
        self.fault, self.rate_hz = fault, rate_hz
        self.devices: list[dict[str, Any]] = []
        self.looked_afresh = 0
        self.streams: list[FakeStream] = []

    def query_devices(self, kind: str | None = None) -> Any:
        if kind is None:
            return list(self.devices)
        assert kind == "input"
        if self.fault is not None:
            raise self.fault
        return {"default_samplerate": self.rate_hz, "name": "Desk microphone", "hostapi": 0}

    def _terminate(self) -> None:
        self.looked_afresh += 1

    def InputStream(self, **asked: Any) -> FakeStream:  # noqa: N802
        self.streams.append(FakeStream(**asked))
        return self.streams[-1]


class Stage:
    """A microphone with a clock of its own; its sound is a ramp, so that each sample tells when it was heard."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, started_s: float = 1000.0) -> None:
        self.library = FakeLibrary()
        monkeypatch.setitem(sys.modules, "sounddevice", self.library)
        self.now_s = started_s
        self.microphone = Microphone.open(lambda: self.now_s)
        (self.stream,) = self.library.streams
        self.started_s = started_s

    def play(self, seconds: float, delay_s: Any = lambda index: 0.0, **more: Any) -> None:
        """The card hears for so long. A sample's value is its tenth of a second since the start, modulo 300."""
        block_s = self.stream.blocksize / RATE_HZ
        begin_s = self.now_s
        for index in range(round(seconds / block_s)):
            heard_s = begin_s + index * block_s
            at_s = heard_s - self.started_s + np.arange(self.stream.blocksize) / RATE_HZ
            self.now_s = heard_s + block_s + delay_s(index)
            self.stream.hear(np.floor(at_s * 10 + 1e-6) % 300 + 1, **more)
        self.now_s = begin_s + seconds


def tenths(piece: Any) -> NDArray[Any]:
    return np.asarray(np.round(piece.samples[0] * 32768).astype(int) - 1)


@pytest.mark.parametrize("jitter_s", [0.0, 0.04])
def test_sound_lies_at_its_time_of_the_session(monkeypatch: pytest.MonkeyPatch, jitter_s: float) -> None:
    stage = Stage(monkeypatch)
    # The session's 0 is 2.5 s after the card began; pictures come up to 0.1 s late, some at once.
    for index in range(60):
        stage.microphone.frame(index / 30, 1002.5 + index / 30 + (0.1 if index % 3 else 0.0))
    stage.play(10.0, lambda index: jitter_s * (index % 4))
    piece = stage.microphone.between(1.0, 4.0)
    assert piece is not None
    assert (piece.start_s, piece.rate_hz, piece.samples.shape) == (1.0, RATE_HZ, (1, 3 * RATE_HZ))
    expected = np.floor((3.5 + np.arange(3 * RATE_HZ) / RATE_HZ) * 10 + 1e-6)
    # To a sample or two where the tenth changes.
    assert (tenths(piece) != expected).sum() <= 60


def test_the_drivers_own_stamp_counts_where_it_has_one(monkeypatch: pytest.MonkeyPatch) -> None:
    stage = Stage(monkeypatch)
    stage.microphone.frame(0.0, 1000.0)
    # The card holds every block back for 0.2 s, and says so.
    stage.play(3.0, lambda index: 0.2, age_s=0.25)
    piece = stage.microphone.between(1.0, 2.0)
    assert piece is not None
    assert (tenths(piece) != np.floor((1 + np.arange(RATE_HZ) / RATE_HZ) * 10 + 1e-6)).sum() <= 20


def test_lost_sound_is_silence_and_what_follows_keeps_its_time(monkeypatch: pytest.MonkeyPatch) -> None:
    stage = Stage(monkeypatch)
    stage.microphone.frame(0.0, 1000.0)
    stage.play(2.0)
    stage.now_s += 1.0
    stage.play(stage.stream.blocksize / RATE_HZ, lost=True)
    stage.play(1.0)
    piece = stage.microphone.between(1.5, 3.5)
    assert piece is not None
    found = tenths(piece)
    middle = RATE_HZ // 20 + np.arange(20) * RATE_HZ // 10  # the middle of each tenth
    assert found[middle].tolist() == [15, 16, 17, 18, 19, *[-1] * 10, 30, 31, 32, 33, 34]


def test_only_the_last_moments_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    stage = Stage(monkeypatch)
    stage.microphone.frame(0.0, 1000.0)
    stage.play(KEPT_S + 20.0)
    kept = sum(block.samples.nbytes for block in stage.microphone._blocks)
    assert kept <= 2 * RATE_HZ * KEPT_S
    assert stage.microphone.between(5.0, 19.0) is None
    assert stage.microphone.between(25.0, 55.0) is not None
    stage.microphone.forget()
    assert stage.microphone.between(25.0, 55.0) is None


def test_without_a_picture_the_time_is_unknown(monkeypatch: pytest.MonkeyPatch) -> None:
    stage = Stage(monkeypatch)
    stage.play(1.0)
    assert stage.microphone.between(0.0, 1.0) is None


def test_closing_twice_closes_once_and_leaves_what_was_heard(monkeypatch: pytest.MonkeyPatch) -> None:
    stage = Stage(monkeypatch)
    stage.microphone.frame(0.0, 1000.0)
    stage.play(1.0)
    assert stage.microphone.listening
    for _ in range(2):
        stage.microphone.close()
    assert (stage.stream.closed, stage.microphone.listening, stage.microphone.notice) == (1, False, None)
    assert stage.microphone.between(0.0, 1.0) is not None


def test_a_microphone_that_is_pulled_out_is_told_of(monkeypatch: pytest.MonkeyPatch) -> None:
    stage = Stage(monkeypatch)
    assert stage.microphone.notice is None
    stage.stream.active = False
    assert not stage.microphone.listening
    assert stage.microphone.notice == GONE


@pytest.mark.parametrize(("own_hz", "rate_hz"), [(44_100.0, 44_100), (16_000.0, 16_000), (192_000.0, 48_000)])
def test_the_cards_own_rate_where_clips_can_carry_it(
    monkeypatch: pytest.MonkeyPatch, own_hz: float, rate_hz: int
) -> None:
    library = FakeLibrary(rate_hz=own_hz)
    monkeypatch.setitem(sys.modules, "sounddevice", library)
    Microphone.open().close()
    (stream,) = library.streams
    assert stream.asked == {"samplerate": rate_hz, "channels": 1, "dtype": "int16"}


class _Missing:
    """Imports as `sounddevice` does where PortAudio is missing."""

    def find_spec(self, name: str, path: object = None, target: object = None) -> None:
        if name == "sounddevice":
            raise OSError("PortAudio library not found")


def without_library(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [_Missing(), *sys.meta_path])


def test_without_portaudio_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    without_library(monkeypatch)
    with pytest.raises(UnavailableError) as missing:
        Microphone.open()
    assert missing.value.sentence == NO_LIBRARY


@pytest.mark.parametrize(
    "fault", [FakeLibrary.PortAudioError("Error querying device -1"), ValueError("none")]
)
def test_without_a_microphone_one_sentence(monkeypatch: pytest.MonkeyPatch, fault: Exception) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", FakeLibrary(fault))
    with pytest.raises(UnavailableError) as missing:
        Microphone.open()
    assert missing.value.sentence == NO_DEVICE


def test_it_is_off_unless_switched_on() -> None:
    assert parse_settings("").clips.microphone is False
    assert parse_settings("[clips]\nmicrophone = true\n").clips.microphone is True


class Recorder:
    session_id = "s1"
    fault = None

    def finish(self, outcome: object) -> None:
        pass


@pytest.mark.parametrize(
    ("on", "film", "opened"), [(True, None, 1), (False, None, 0), (True, Path("lesson.mp4"), 0)]
)
def test_only_live_sessions_listen_and_say_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, on: bool, film: Path | None, opened: int
) -> None:
    library = FakeLibrary()
    monkeypatch.setitem(sys.modules, "sounddevice", library)
    with open_store(tmp_path) as store:
        session: Any = ClipRecording(store, ClipSettings(microphone=on)).begin(cast(Any, Recorder()), film)
        assert len(library.streams) == opened
        assert session.sound_notice == (MICROPHONE_ON if opened else None)
        session.finish(SimpleNamespace(end_s=0.0, closed=()))
        assert [stream.closed for stream in library.streams] == [1] * opened
        assert session.sound_notice is None


@pytest.mark.parametrize("there", [True, False])
def test_a_live_clip_carries_the_microphones_sound_or_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], there: bool
) -> None:
    library = FakeLibrary()
    if there:
        monkeypatch.setitem(sys.modules, "sounddevice", library)
    else:
        without_library(monkeypatch)

    def hear(index: int) -> None:
        for stream in library.streams:
            stream.hear(np.full(RATE_HZ // 10, 8000))

    ScriptedHands(lambda time_s: 70.0 if 1.0 <= time_s < 2.5 else 10.0, hear).use(monkeypatch)
    # A film taken for a live source: the command asks a source for its file.
    monkeypatch.setattr("posturewatch.pipeline.clip_recording.VideoFileSound", None)
    begin = ClipRecording.begin
    monkeypatch.setattr(ClipRecording, "begin", lambda self, recorder, film: begin(self, recorder, None))
    settings = tmp_path / "mine.toml"
    settings.write_text("[watch]\nhold_s = 1.0\n[clips]\nmicrophone = true\n")
    source = write_film(tmp_path / "lesson.mkv", [index / 10 for index in range(40)])
    assert live(source, tmp_path / "data", "--for", "60", "--settings", str(settings)) == 0
    with open_store(tmp_path / "data") as store:
        (clip,) = PracticeLog(store).clips()
        assert clip["has_sound"] is there
        with av.open(str(PracticeLog(store).video_path(clip["id"]))) as opened:
            assert len(opened.streams.audio) == int(there)


def device(
    index: int, name: str, inputs: int = 1, hostapi: int = 0, rate_hz: float = 44_100.0
) -> dict[str, Any]:
    """As `sounddevice.query_devices` gives one."""
    return {
        "index": index,
        "name": name,
        "max_input_channels": inputs,
        "hostapi": hostapi,
        "default_samplerate": rate_hz,
    }


#: As a system with two ways to its sound cards lists a webcam's microphone, one on the desk, and loudspeakers.
DEVICES = [
    device(0, "Loudspeakers", inputs=0),
    device(1, "Webcam"),
    device(2, "Desk microphone"),
    device(3, "Webcam", hostapi=1),
    device(4, "Desk micro", hostapi=1),
]


def test_microphones_are_found_by_name_the_usual_one_first(monkeypatch: pytest.MonkeyPatch) -> None:
    library = FakeLibrary()
    library.devices = DEVICES
    monkeypatch.setitem(sys.modules, "sounddevice", library)
    assert find_microphones() == (MicrophoneFound("Desk microphone", True), MicrophoneFound("Webcam", False))
    assert library.looked_afresh == 1
    library.devices = []
    assert find_microphones() == ()
    library.fault, library.devices = library.PortAudioError("no default"), [device(7, "Webcam")]
    assert find_microphones() == (MicrophoneFound("Webcam", False),)
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(UnavailableError, match="libportaudio2"):
        find_microphones()


def test_the_chosen_microphone_listens_or_says_that_it_is_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    library = FakeLibrary()
    library.devices = DEVICES
    monkeypatch.setitem(sys.modules, "sounddevice", library)
    Microphone.open(name="Webcam").close()
    (stream,) = library.streams
    assert (stream.asked["device"], stream.asked["samplerate"]) == (1, 44_100)
    with pytest.raises(UnavailableError, match="The microphone Piano is not there"):
        Microphone.open(name="Piano")
    assert len(library.streams) == 1


@pytest.mark.parametrize(
    ("sound", "switched_on", "listens"),
    [
        (None, False, None),
        (None, True, "the usual one"),
        ("Webcam", False, "Webcam"),
        ("", True, None),
    ],
)
def test_what_the_player_chose_goes_before_the_settings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, sound: str | None, switched_on: bool, listens: str | None
) -> None:
    library = FakeLibrary()
    library.devices = DEVICES
    monkeypatch.setitem(sys.modules, "sounddevice", library)
    settings = tmp_path / "settings.toml"
    settings.write_text(f"[clips]\nmicrophone = {str(switched_on).lower()}\n", encoding="utf-8")
    if sound is not None:
        PlayerFiles(tmp_path / "players").keep(Player(name="Player", sound=PlayerSound(microphone=sound)))
    parts = load_parts(settings, None)
    with open_store(tmp_path / "data") as store:
        chosen = None if parts.player.sound is None else parts.player.sound.microphone
        clips = ClipRecording(store, parts.settings.clips, microphone=chosen)
        microphone, silence = clips._listen()
    assert silence is None
    if listens is None:
        assert (microphone, library.streams) == (None, [])
    else:
        (stream,) = library.streams
        assert stream.asked.get("device") == (1 if listens == "Webcam" else None)
    if microphone is not None:
        microphone.close()


def test_two_pages_that_look_for_microphones_ask_the_library_one_after_the_other(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its own end and beginning, in which it looks afresh, are not made for two threads at once."""
    met, asking = threading.Event(), threading.Lock()

    class Afresh(FakeLibrary):
        def _terminate(self) -> None:
            if not asking.acquire(blocking=False):
                met.set()
                return
            if other.ident is None:
                other.start()
            met.wait(0.5)  # time enough for the other one to come in, if it can

        def _initialize(self) -> None:
            if asking.locked():
                asking.release()

    monkeypatch.setitem(sys.modules, "sounddevice", Afresh())
    other = threading.Thread(target=find_microphones)
    find_microphones()
    other.join(60)
    assert not met.is_set()
