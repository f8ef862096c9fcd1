"""The microphone's sound for the clips of a live session: the last moments, kept in memory."""

from __future__ import annotations

import importlib
import logging
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.clips.sound import SoundPiece
from posturewatch.errors import UnavailableError

__all__ = ["KEPT_S", "Microphone", "MicrophoneFound", "find_microphones"]

_LOG = logging.getLogger(__name__)

#: Seconds of sound kept: the longest clip (30 s), what follows its moment, and the encoder's delay. As 16-bit
#: samples of one channel this is 4.3 MB at most.
KEPT_S = 45.0

#: Seconds of sound handed over at a time.
_BLOCK_S = 0.05

#: Rates in use for sound cards that AAC knows, too (ISO/IEC 14496-3); others are asked for the usual one.
_RATES_HZ = (16_000, 22_050, 24_000, 32_000, 44_100, 48_000)
_USUAL_RATE_HZ = 48_000

#: No sound card takes this long between hearing a sample and handing it over; a larger age is a false stamp.
_LONGEST_AGE_S = 1.0

#: Frames whose delays are compared: some seconds of them.
_FRAMES = 150

NO_LIBRARY = (
    "The microphone cannot be used, since the sound library PortAudio is missing, so clips have no sound; "
    "install it (on Debian and Ubuntu: sudo apt install libportaudio2) and start again."
)
NO_DEVICE = (
    "No microphone could be opened, so clips have no sound; connect one, allow its use in the system's "
    "privacy settings and start again."
)
NOT_THERE = (
    "The microphone {name} is not there, so clips have no sound; connect it, or choose another one before the next "
    "session."
)
GONE = "The microphone has stopped, so clips from here on have no sound; connect it and start a new session."


#: The library is asked afresh by one at a time, and by nobody while a microphone is opened: two pages may look at once.
_ASKING = threading.Lock()


@dataclass(frozen=True)
class MicrophoneFound:
    """name: what the system calls it; usual: whether it is the one that is used where none is named."""

    name: str
    usual: bool


def find_microphones() -> tuple[MicrophoneFound, ...]:
    """The microphones of this machine, the usual one first, the others in the system's order.

    Nothing listens meanwhile, and nothing may: the library is asked afresh, which stops what is open.

    Raises
    ------
    UnavailableError
        With a sentence for the page where there is no library to reach them.
    """
    with _ASKING:
        return _found(_library())


def _found(library: Any) -> tuple[MicrophoneFound, ...]:
    # It looks for devices once, when it begins; these are its own functions for looking again.
    for again in ("_terminate", "_initialize"):
        if hasattr(library, again):
            getattr(library, again)()
    try:
        every = [one for one in library.query_devices() if one["max_input_channels"] > 0]
    except (library.PortAudioError, OSError, ValueError) as error:
        _LOG.warning("no microphones: %s", error)
        return ()
    usual = _usual(library)
    # A system that has several ways to its sound cards lists each card once for each of them.
    same_way = [one for one in every if usual is None or one["hostapi"] == usual["hostapi"]]
    names = dict.fromkeys(str(one["name"]) for one in same_way)
    found = [MicrophoneFound(name, usual is not None and name == usual["name"]) for name in names]
    return tuple(sorted(found, key=lambda one: not one.usual))


def _usual(library: Any) -> Any:
    """The system's own input, None where it has none."""
    try:
        return library.query_devices(kind="input")
    except (library.PortAudioError, OSError, ValueError):
        return None


def _library() -> Any:
    """What asks the system for sound; UnavailableError where it is missing."""
    try:
        return importlib.import_module("sounddevice")
    except (ImportError, OSError) as error:
        _LOG.warning("no sound library: %s", error)
        raise UnavailableError(NO_LIBRARY) from error


def _device(library: Any, name: str) -> Any:
    """The input of that name; UnavailableError where it is not there."""
    usual = _usual(library)
    every = [one for one in library.query_devices() if one["max_input_channels"] > 0 and one["name"] == name]
    if not every:
        raise UnavailableError(NOT_THERE.format(name=name))
    return next((one for one in every if usual is not None and one["hostapi"] == usual["hostapi"]), every[0])


@dataclass(frozen=True)
class _Block:
    """first: number of its first sample since the run began. zero_s: the clock's time at which the run's sample
    0 was heard, as this block has it: never too early, late by what held up its delivery. A run ends where
    samples were lost."""

    run: int
    first: int
    zero_s: float
    samples: NDArray[np.int16]


class Microphone:
    """A `Sound`: a microphone, one channel.

    Times of the session follow from `frame`, called for each frame: the clock's time less the session's is
    the same for all of them but for their delays, so the smallest counts. A frame that comes late as a whole,
    as through a network, is late against the sound by its delay.
    """

    def __init__(
        self, open_stream: OpenStream, rate_hz: int, clock: Callable[[], float] = time.monotonic
    ) -> None:
        """open_stream: from the block's length in samples and the callback to a started stream.
        clock: the one by which frames are stamped, in seconds. Raises what open_stream raises."""
        self._rate_hz = rate_hz
        self._clock = clock
        block = round(_BLOCK_S * rate_hz)
        # Bounded, and appending never waits: the sound card's thread must not.
        self._blocks: deque[_Block] = deque(maxlen=round(KEPT_S * rate_hz / block))
        self._offsets_s: deque[float] = deque(maxlen=_FRAMES)
        self._run = 0
        self._next = 0
        self._closing = threading.Lock()
        self._closed = False
        self._stream = open_stream(block, self._heard)

    @classmethod
    def open(cls, clock: Callable[[], float] = time.monotonic, name: str | None = None) -> Microphone:
        """A microphone, listening from now on.

        Parameters
        ----------
        clock
            The one by which frames are stamped, in seconds.
        name
            What the system calls it; its own one where None.

        Raises
        ------
        UnavailableError
            With a sentence for the page where there is none, not that one, or no library to reach it.
        """
        library = _library()
        try:
            with _ASKING:
                device = library.query_devices(kind="input") if name is None else _device(library, name)
                own_hz = round(float(device["default_samplerate"]))
                rate_hz = own_hz if own_hz in _RATES_HZ else _USUAL_RATE_HZ
                which = {} if name is None else {"device": device["index"]}

                def started(block: int, heard: Heard) -> Any:
                    stream = library.InputStream(
                        samplerate=rate_hz,
                        blocksize=block,
                        channels=1,
                        dtype="int16",
                        callback=heard,
                        **which,
                    )
                    try:
                        stream.start()
                    except library.PortAudioError:
                        stream.close()
                        raise
                    return stream

                return cls(started, rate_hz, clock)
        except (library.PortAudioError, OSError, ValueError) as error:
            _LOG.warning("no microphone: %s", error)
            raise UnavailableError(NO_DEVICE) from error

    @property
    def listening(self) -> bool:
        """Whether it is open and hears."""
        with self._closing:
            return not self._closed and bool(self._stream.active)

    @property
    def notice(self) -> str | None:
        """Why it hears nothing any more, in one sentence; None while it hears or after it was closed."""
        with self._closing:
            return GONE if not self._closed and not self._stream.active else None

    def frame(self, time_s: float, taken_s: float) -> None:
        """A frame of this session time left its source at that time of the clock. Never waits."""
        self._offsets_s.append(taken_s - time_s)

    def between(self, start_s: float, end_s: float) -> SoundPiece | None:
        """The sound of that stretch of the session, silence where samples were lost; None where none of it is
        kept."""
        offsets_s = _copy(self._offsets_s)
        blocks = _copy(self._blocks)
        if not offsets_s or end_s <= start_s:
            return None
        from_s = start_s + min(offsets_s)
        # The block that came with the least delay gives its whole run's time.
        zero_s: dict[int, float] = {}
        for block in blocks:
            zero_s[block.run] = min(block.zero_s, zero_s.get(block.run, block.zero_s))
        samples = np.zeros(round((end_s - start_s) * self._rate_hz), np.float32)
        found = False
        for block in blocks:
            first = round((zero_s[block.run] - from_s) * self._rate_hz) + block.first
            begin, end = max(0, first), min(len(samples), first + len(block.samples))
            if begin < end:
                samples[begin:end] = block.samples[begin - first : end - first] / np.float32(32768)
                found = True
        return SoundPiece(start_s, self._rate_hz, samples[np.newaxis]) if found else None

    def close(self) -> None:
        """Stop listening; what was heard can still be asked for. Once is enough."""
        with self._closing:
            if not self._closed:
                self._closed = True
                self._stream.close()

    def forget(self) -> None:
        """Stop listening and keep nothing of what was heard."""
        self.close()
        self._blocks.clear()

    def _heard(self, data: Any, count: int, times: Any, status: Any) -> None:
        """Called by the sound card's thread with (count, 1) int16 samples, which it uses again afterwards."""
        if status.input_overflow:
            self._run, self._next = self._run + 1, 0
        age_s = float(times.currentTime - times.inputBufferAdcTime)
        if not 0.0 < age_s < _LONGEST_AGE_S:  # not every driver stamps its samples
            age_s = count / self._rate_hz
        zero_s = self._clock() - age_s - self._next / self._rate_hz
        samples = np.array(data[:, 0], dtype=np.int16)
        self._blocks.append(_Block(self._run, self._next, zero_s, samples))
        self._next += count


#: (samples, count, times, status), as sounddevice calls it.
Heard = Callable[[Any, int, Any, Any], None]
OpenStream = Callable[[int, Heard], Any]


def _copy(growing: deque[Any]) -> tuple[Any, ...]:
    """A copy of what another thread appends to without a lock."""
    while True:
        try:
            return tuple(growing)
        except RuntimeError:  # it grew at that very moment
            continue
