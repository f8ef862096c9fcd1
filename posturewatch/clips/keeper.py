"""Makes the clips of one session while it runs: `put` returns at once, a thread of its own writes."""

from __future__ import annotations

import errno
import logging
import os
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import av.error

from posturewatch.clips.folder import CLIP_SUFFIX, PART_SUFFIX, ClipFolder
from posturewatch.clips.ring import Ring
from posturewatch.clips.sound import Sound, SoundPiece
from posturewatch.clips.span import ClipMoment, ClipPlanner, ClipRules, Span
from posturewatch.clips.video_file import EncodedVideo, write_video
from posturewatch.model.outcome import Outcome
from posturewatch.model.reading import Reading
from posturewatch.model.verdict import Excursion

__all__ = ["ClipKeeper", "ClipRecord", "Outcome"]

_LOG = logging.getLogger(__name__)

#: How long `finish` and `close` wait for what is still to be written: each clip waits for the disk, which may be slow.
FINISH_S = 60.0

#: How long writing waits for the encoder to come to a span's end; it is a few frames behind at most.
ENCODER_S = 2.0

#: Without frames for this long (camera gone), the clock says what is due instead of the frames' times:
#: when frames come again, the ring may have to let go of what the clip needs.
IDLE_S = 2.0

#: Spans waiting to be written: at 30 s each, more than the ring holds.
WAITING_SPANS = 16

#: Room for the file's index and sound beside the frames.
INDEX_BYTES = 200_000


_LATE = (
    "The last clips of this session could not be written in time, since the disk is too slow; check the disk."
)


@dataclass(frozen=True)
class ClipRecord:
    """A clip on the disk. Second 0 of its video is the session's start_s, so that what was measured at session
    time t belongs to the video's time t - start_s. start_s is at or up to a keyframe's distance before what
    was asked for. reason: "warning", "extreme", "mark", or joined, as "warning and mark". has_sound: whether
    it has a sound track."""

    id: str
    start_s: float
    end_s: float
    path: Path
    bytes: int
    reason: str
    moments: tuple[ClipMoment, ...] = ()
    has_sound: bool = False
    kept: bool = False


class ClipKeeper:
    """A sink of readings beside the session's recorder.

    `put` and `mark` never block and never raise. Where no clip can be written any more (disk full, no
    encoder), `fault` is a sentence for the page and clips are off for the rest of the session.
    """

    def __init__(
        self,
        folder: Path,
        *,
        on_clip: Callable[[ClipRecord], None],
        all_clips: ClipFolder | None = None,
        rules: ClipRules | None = None,
        ring: Ring | None = None,
        sound: Sound | None = None,
        idle_s: float = IDLE_S,
        waits: bool = False,
    ) -> None:
        """folder: of this session's clips, made when the first is written. on_clip: called with each clip, in the
        writer's thread, just before it gets its name; must not raise. all_clips: the room for all sessions' clips; by
        default the folder above with its default limits. ring, sound: handed over; the ring is closed with the
        keeper. idle_s: after this time without frames, the clock counts. waits: `put` waits until what is due is
        written, for frames that come as fast as they are taken."""
        self._folder = folder
        self._on_clip = on_clip
        self._all_clips = ClipFolder(folder.parent) if all_clips is None else all_clips
        self._planner = ClipPlanner(rules)
        self._ring = Ring(waits=waits) if ring is None else ring
        self._waits = waits
        self._writing = False
        self._sound = sound
        self._lock = threading.Condition()
        self._due: deque[Span] = deque()
        self._last_s = 0.0
        self._last_put_s: float | None = None
        self._idle_s = idle_s
        self._written = 0
        self._missed = 0
        self._ended = False
        self._give_up_s: float | None = None
        self._fault: str | None = None
        self._done = threading.Event()
        self._thread = threading.Thread(target=self._run, name="clip-writer", daemon=True)
        self._thread.start()

    @property
    def fault(self) -> str | None:
        """Why there are no clips, in one sentence; None while all is well."""
        return self._fault or self._ring.fault

    @property
    def written(self) -> int:
        """Clips written so far."""
        return self._written

    @property
    def missed(self) -> int:
        """Spans of which nothing was left to write, since writing was too far behind."""
        return self._missed

    @property
    def dropped(self) -> int:
        """Frames left out of the clips since the encoder was behind."""
        return self._ring.dropped

    def put(self, reading: Reading) -> None:
        """Take a reading's frame and events."""
        if self.fault is not None:
            return
        self._ring.put(reading.frame, saving="clips" in reading.savings)
        with self._lock:
            if self._ended:
                return
            self._last_s = reading.frame.time_s
            self._last_put_s = time.monotonic()
            self._planner.verdict(reading.verdict)
            self._ask(self._planner.advance(self._last_s))
            if self._waits:
                self._lock.wait_for(lambda: not self._due and not self._writing, FINISH_S)

    def mark(self, time_s: float, note: str | None = None) -> None:
        """The player marked this moment, in seconds of the session."""
        with self._lock:
            if not self._ended and self.fault is None:
                self._planner.mark(time_s)

    def finish(self, outcome: Outcome) -> None:
        """End the session: write what is due or would have become due. Waits for it, a minute at most; once is
        enough."""
        self._finish(outcome.end_s, outcome.closed)

    def close(self) -> None:
        """End a session that nobody finished, at the last frame; without effect after `finish`."""
        self._finish(None, ())

    def _finish(self, end_s: float | None, closed: Sequence[Excursion]) -> None:
        with self._lock:
            if not self._ended:
                # The last frame is shown for a moment, too: a span to the very end includes it.
                last_s = max(self._last_s, end_s or 0.0) + 0.001
                self._ask(self._planner.finish(last_s, closed))
                self._ended = True
                self._give_up_s = time.monotonic() + FINISH_S
                self._lock.notify_all()
        self._ring.finish()
        if self._thread is not threading.current_thread() and not self._done.wait(FINISH_S):
            self._fault = self._fault or _LATE
        self._ring.close()

    def _ask(self, spans: Sequence[Span]) -> None:
        for span in spans:
            if len(self._due) >= WAITING_SPANS:
                self._due.popleft()
                self._missed += 1
            self._due.append(span)
        if spans:
            self._lock.notify_all()

    def _run(self) -> None:
        sentence: str | None = (
            "Clips have stopped by a fault of the program; the session goes on without them."
        )
        try:
            sentence = self._write_until_ended()
        except (OSError, av.error.FFmpegError) as error:
            _LOG.warning("a clip cannot be written: %s", error)
            sentence = _sentence(error)
        finally:
            if sentence is not None:
                self._stop(sentence)
            self._done.set()

    def _write_until_ended(self) -> str | None:
        """Why writing had to end early, in one sentence, or None."""
        while (span := self._next()) is not None:
            sentence = self._make(span)
            if sentence is not None:
                return sentence
        return None

    def _next(self) -> Span | None:
        """Waits for the next span; None when the session is over and none is left, or no time for it."""
        with self._lock:
            self._writing = False
            self._lock.notify_all()
            while not self._due and not self._ended:
                self._lock.wait(self._idle_s)
                if self._last_put_s is not None:
                    idle_s = time.monotonic() - self._last_put_s
                    if idle_s >= self._idle_s and not self._ended:
                        self._ask(self._planner.advance(self._last_s + idle_s))
            if self._due and self._give_up_s is not None and time.monotonic() >= self._give_up_s:
                self._missed += len(self._due)
                self._due.clear()
                self._fault = _LATE
            self._writing = bool(self._due)
            return self._due.popleft() if self._due else None

    def _make(self, span: Span) -> str | None:
        """Writes a span's clip; why that cannot be, in one sentence, or None."""
        self._ring.wait_for(span.end_s, ENCODER_S)
        video = self._ring.cut(span.start_s, span.end_s)
        if video is None:
            self._missed += 1
            return None
        # Never the data folder itself: where that has gone, another one in its place keeps it from coming back.
        self._all_clips.root.mkdir(exist_ok=True)
        self._folder.mkdir(exist_ok=True)
        sentence = self._all_clips.make_room(video.size_bytes + INDEX_BYTES)
        if sentence is not None:
            return sentence
        sound = None if self._sound is None else self._sound.between(video.start_s, video.end_s)
        self._write(span, video, sound)
        self._written += 1
        return None

    def _write(self, span: Span, video: EncodedVideo, sound: SoundPiece | None) -> None:
        """Under another name first: a file with a clip's name is always a whole clip. Listed before it gets its
        name: one that a crash left without it is found again by the list."""
        identity = f"clip-{round(span.start_s * 1000):08d}"
        path = self._folder / f"{identity}{CLIP_SUFFIX}"
        part = self._folder / f"{identity}{CLIP_SUFFIX}{PART_SUFFIX}"
        try:
            write_video(part, video, sound)
            # Its bytes before its name: after a power cut, too, what has a clip's name is whole.
            with part.open("rb+") as file:
                os.fsync(file.fileno())
            self._on_clip(
                ClipRecord(
                    id=identity,
                    start_s=video.start_s,
                    end_s=video.end_s,
                    path=path,
                    bytes=part.stat().st_size,
                    reason=span.reason,
                    moments=span.moments,
                    has_sound=sound is not None,
                )
            )
            part.replace(path)
        except (OSError, av.error.FFmpegError):
            _delete(part)
            raise

    def _stop(self, sentence: str) -> None:
        with self._lock:
            self._fault = sentence
            self._due.clear()
            self._writing = False
            self._lock.notify_all()
        self._ring.stop(sentence)


def _delete(path: Path) -> None:
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        # The next start sweeps it away.
        _LOG.warning("%s cannot be deleted: %s", path, error)


def _sentence(error: Exception) -> str:
    # Windows knows no quota by this name.
    full = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))
    if getattr(error, "errno", None) in full:
        return (
            "Clips have stopped, since the disk is full; the session goes on without them. "
            "Free some space on the disk."
        )
    return (
        f"Clips have stopped, since they cannot be written ({error}); the session goes on without them. "
        "Check the data folder and the disk."
    )
