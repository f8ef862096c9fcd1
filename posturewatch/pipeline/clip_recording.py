"""A session's record and its clips as one recorder, as `posturewatch live` keeps them."""

from __future__ import annotations

import logging
from pathlib import Path

from posturewatch.clips import ClipFolder, ClipKeeper, Microphone, VideoFileSound, remove_leftovers
from posturewatch.config.settings_sections import ClipSettings
from posturewatch.errors import UnavailableError
from posturewatch.model.outcome import Outcome
from posturewatch.model.reading import Reading
from posturewatch.pipeline.practice import SessionRecorder
from posturewatch.storage.clip_repository import ClipRepository
from posturewatch.storage.store import Store

__all__ = ["ClipRecording", "RecorderWithClips"]

_LOG = logging.getLogger(__name__)

_BYTES_PER_GB = 1_000_000_000

MICROPHONE_ON = "The microphone is on: the clips of this session carry its sound."


class RecorderWithClips:
    """Takes what a session's recorder takes, and hands it to the recorder and to the clips' keeper.

    The record comes first: whatever becomes of the clips, `fault` is the record's. `clip_fault` says why there
    are no clips any more, in one sentence, or is None.
    """

    def __init__(
        self,
        recorder: SessionRecorder,
        keeper: ClipKeeper,
        microphone: Microphone | None = None,
        silence: str | None = None,
    ) -> None:
        """microphone: handed over; closed when the session ends. silence: why there is none although one was
        asked for, in one sentence."""
        self._recorder = recorder
        self._keeper = keeper
        self._microphone = microphone
        self._silence = silence
        self._failed: str | None = None

    @property
    def session_id(self) -> str:
        """The session's id."""
        return self._recorder.session_id

    @property
    def fault(self) -> str | None:
        """Why the session cannot be written just now, in one sentence, or None."""
        return self._recorder.fault

    @property
    def clip_fault(self) -> str | None:
        """Why there are no clips any more, in one sentence, or None."""
        return self._failed or self._keeper.fault

    @property
    def sound_notice(self) -> str | None:
        """That the microphone listens, or why it does not although it was asked for; None where it was not."""
        if self._microphone is None:
            return self._silence
        return MICROPHONE_ON if self._microphone.listening else self._microphone.notice

    def put(self, reading: Reading) -> None:
        """Takes a reading."""
        self._recorder.put(reading)
        if self._failed is not None:
            return
        try:
            if self._microphone is not None:
                self._microphone.frame(reading.frame.time_s, reading.taken_s)
            self._keeper.put(reading)
        # Whatever becomes of the clips, the record goes on.
        except Exception:  # noqa: BLE001
            _LOG.exception("no more clips of this session")
            self._failed = "Clips have stopped by a fault of the program; the session goes on without them."

    def mark(self, time_s: float, note: str | None = None) -> None:
        """Keeps a moment that the player marked, in seconds of the session."""
        self._recorder.mark(time_s, note)
        self._keeper.mark(time_s, note)

    def passage(
        self, time_s: float, piece: str | None, bars: str = "", tempo_bpm: float | None = None
    ) -> None:
        """From time_s on this is played; piece None: nothing in particular."""
        self._recorder.passage(time_s, piece, bars, tempo_bpm)

    def finish(self, outcome: Outcome) -> object:
        """Ends the session: the last clips first, then the record."""
        # It stops listening at once; the last clips still ask for what it heard.
        if self._microphone is not None:
            self._microphone.close()
        # The clips first: while they are written, the session counts as running and cannot be deleted.
        try:
            self._keeper.finish(outcome)
        # Whatever becomes of the clips, the record is closed.
        except Exception:  # noqa: BLE001
            _LOG.exception("the last clips of this session are not written")
            self._failed = "The last clips of this session could not be written by a fault of the program."
        finally:
            if self._microphone is not None:
                self._microphone.forget()
            ended = self._recorder.finish(outcome)
        return ended


class ClipRecording:
    """Begins the clips of each session of one store; sweeps away what an interrupted writing left.

    Only one program has the store open at a time, so that nothing of another's is swept away.
    """

    def __init__(self, store: Store, settings: ClipSettings, *, microphone: str | None = None) -> None:
        """microphone: what the one that listens is called, where that is on; the system's own where None."""
        self._clips = ClipRepository(store)
        self._settings = settings
        self._microphone = microphone
        if settings.enabled:
            remove_leftovers(self._clips.root, self._clips.lists)

    def begin(
        self, recorder: SessionRecorder, video: Path | None, *, from_s: float = 0.0, waits: bool = False
    ) -> SessionRecorder:
        """The recorder with clips beside it, or alone where clips are off.

        Parameters
        ----------
        video
            The source's file, where it is one, for its sound; a source without one is live, and its clips have the
            microphone's sound where that is switched on.
        from_s
            The video's second that is the session's 0.
        waits
            The frames come as fast as they are taken, and taking them waits for the clips.
        """
        if not self._settings.enabled:
            return recorder
        clips, identity = self._clips, recorder.session_id
        microphone, silence = self._listen() if video is None else (None, None)
        keeper = ClipKeeper(
            clips.folder(identity),
            on_clip=lambda record: clips.written(identity, record),
            all_clips=ClipFolder(
                clips.root,
                limit_bytes=round(self._settings.limit_gb * _BYTES_PER_GB),
                is_kept=clips.is_kept,
                on_removed=clips.removed,
            ),
            sound=VideoFileSound(video, from_s)
            if video is not None and self._settings.film_sound
            else microphone,
            waits=waits,
        )
        return RecorderWithClips(recorder, keeper, microphone, silence)

    def _listen(self) -> tuple[Microphone | None, str | None]:
        """The microphone where it is switched on; or why it cannot be used."""
        if not self._settings.microphone:
            return None, None
        try:
            return Microphone.open(name=self._microphone), None
        except UnavailableError as missing:
            return None, missing.sentence
