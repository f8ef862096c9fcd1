"""A practice watched live: the parts that `posturewatch live` runs, from the source to the record."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

from posturewatch.capture import open_source
from posturewatch.errors import PosturewatchError
from posturewatch.model.savings import savings_sentence
from posturewatch.pipeline.build import Parts
from posturewatch.pipeline.clip_recording import ClipRecording
from posturewatch.pipeline.live_settings import LiveSettings
from posturewatch.pipeline.measuring import Measuring
from posturewatch.pipeline.monitor import Monitor, Sink
from posturewatch.pipeline.practice import OpenSource, Practice, SessionRecorder
from posturewatch.pipeline.preview import Preview
from posturewatch.pipeline.rest import RestWatch, break_rules
from posturewatch.pipeline.view.people_notice import PeopleNotice
from posturewatch.pipeline.view.placement_watch import PlacementWatch, placement_json
from posturewatch.pipeline.view.view_biases import ViewBiases
from posturewatch.review.load import load_sentence
from posturewatch.storage.store import Store

__all__ = ["LivePractice"]

#: How often the waiting thread looks up whether somebody asked for the end.
_LOOK_UP_S = 0.2


class LivePractice:
    """The practice of `posturewatch live`: its source, its record with clips, and what is watched beside it.

    Parameters
    ----------
    spec
        What names the source; None for the settings' own.
    limit_s
        Seconds after which the session ends by itself, or None.
    settings
        Read anew at the beginning of every session.
    feed
        Where the readings go to be looked at.
    """

    def __init__(
        self,
        spec: str | None,
        limit_s: float | None,
        settings: LiveSettings,
        store: Store,
        feed: Sink,
    ) -> None:
        parts = settings.parts
        self._rest = RestWatch(break_rules(parts.settings.rest))
        self.biases = ViewBiases()
        self.placement = PlacementWatch(lambda: settings.parts.settings, on_moved=self.biases.clear)
        self.measuring = Measuring(self.biases, settings)
        self._people = PeopleNotice()
        self._recorder: SessionRecorder | None = None
        self._load: str | None = None
        self._warned = parts.rules.warn_sides
        self._monitor: Monitor | None = None
        self._past_clip_faults: list[str] = []
        self._spec = spec
        self._limit_s = limit_s
        self._settings = settings
        self._store = store
        self._fault: PosturewatchError | None = None
        self._opened = threading.Event()
        self.practice: Practice = Practice(
            open_source=self._open_source,
            begin=self._begin,
            make_monitor=self._make_monitor,
            sinks=(feed, self._rest, self.placement, self._people),
            limit_s=limit_s,
            warns=parts.rules.warn_sides,
            asides=self._asides,
            prepare=lambda: self.preview.close(),
        )
        self.preview = Preview(
            open_source=self._open,
            make_monitor=self._preview_monitor,
            sinks=(feed, self.placement, self.measuring),
        )
        settings.follow(self._follow)

    @property
    def spec(self) -> str:
        """What names the source of the next session."""
        return self._spec or self._parts.settings.camera.source

    def use_settings_source(self) -> None:
        """From now on the source is the settings', whatever was named at the start; its view is another one."""
        self._spec = None
        self.biases.clear()

    @property
    def faults(self) -> tuple[str, ...]:
        """What was not kept of the sessions that are over, and why, in sentences."""
        return tuple(dict.fromkeys([*self.practice.faults, *self._clip_faults()]))

    def start(self, asked: Callable[[], bool] = lambda: False) -> None:
        """Starts the first session; raises what kept its source or its record from opening.

        Parameters
        ----------
        asked
            Whether somebody asked for the end meanwhile.
        """
        self.practice.start()
        while not self._opened.wait(_LOOK_UP_S) and not asked():
            if self.practice.wait(0.0):
                break  # it failed in a way of its own; the state has the sentence
        if self._fault is not None:
            raise self._fault

    def wait(self, asked: Callable[[], bool], *, for_ever: bool = False) -> bool:
        """Waits a moment, or for ever, for the end: that somebody asked for it, or that the session is over and was to
        end by itself. Whether it has come."""
        while not asked():
            if self.practice.wait(_LOOK_UP_S):
                if self._limit_s is not None:
                    return True
                time.sleep(_LOOK_UP_S)  # between sessions there is nothing whose end could be waited for
            if not for_ever:
                return asked()
        return True

    @property
    def _parts(self) -> Parts:
        return self._settings.parts

    def _follow(self, parts: Parts) -> None:
        """After a change of the settings: what a running session can still take up, and what the next one cannot read
        for itself."""
        self._rest.follow(break_rules(parts.settings.rest))
        self.placement.follow(parts.settings)
        if parts.rules.warn_sides != self._warned:
            self._warned = parts.rules.warn_sides
            self.practice.warn(self._warned)

    def _open(self) -> OpenSource:
        camera = self._parts.settings.camera
        return open_source(self.spec, pace="steady", size_px=camera.size_px, rate_hz=camera.rate_hz)

    def _preview_monitor(
        self, source: OpenSource, sinks: Sequence[Sink]
    ) -> tuple[Monitor, Callable[[], None]]:
        return self._parts.monitor("live", source, sinks, self.biases.over)

    def _open_source(self) -> OpenSource:
        with self._first_fault():
            return self._open()

    def _begin(self, source: OpenSource) -> SessionRecorder:
        with self._first_fault():
            start = self._parts.session_start(source)
            recorder = self._store.begin(replace(start, settings={**start.settings, **self._set_up()}))
            # A video's sound goes with its clips; other sources have no file.
            self._past_clip_faults = self._clip_faults()
            sound = self._parts.player.sound
            listens = None if sound is None else sound.microphone
            clips = ClipRecording(self._store, self._parts.settings.clips, microphone=listens)
            self._recorder = clips.begin(recorder, getattr(source, "path", None))
            self._load = load_sentence(self._store) if self._parts.settings.rest.load_notice else None
            return self._recorder

    def _set_up(self) -> dict[str, Any]:
        """What is kept of the look before the session, where there was one."""
        found, references = self.placement.result(), self.biases.to_json()
        kept: dict[str, Any] = {"player": self._parts.player.name}
        if found.enough:
            kept["placement"] = placement_json(found)
        if references:
            kept["references"] = references
        return {"set_up": kept}

    def _asides(self) -> list[str]:
        """What the page says quietly: no clips any more, two people, a moved camera, what is done less often, time for
        a rest, a week that rises suddenly, the microphone."""
        clip_fault = getattr(self._recorder, "clip_fault", None)
        sound = getattr(self._recorder, "sound_notice", None)
        saved = None if self._monitor is None else savings_sentence(self._monitor.savings)
        return [
            one
            for one in (
                clip_fault,
                self._people.notice,
                self.placement.notice,
                saved,
                self._rest.notice,
                self._load,
                sound,
            )
            if one is not None
        ]

    def _clip_faults(self) -> list[str]:
        fault = getattr(self._recorder, "clip_fault", None)
        return [*self._past_clip_faults, *([] if fault is None else [fault])]

    def _make_monitor(self, source: OpenSource, sinks: Sequence[Sink]) -> tuple[Monitor, Callable[[], None]]:
        with self._first_fault():
            made = self._parts.monitor("live", source, sinks, self.biases.over)
        self._monitor = made[0]
        self._opened.set()
        return made

    @contextmanager
    def _first_fault(self) -> Iterator[None]:
        """Keeps what went wrong before anything was watched, for whoever started it to say."""
        try:
            yield
        except PosturewatchError as fault:
            self._fault = fault
            self._opened.set()
            raise
