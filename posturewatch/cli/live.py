"""`posturewatch live`: the page, the camera and the session, until Ctrl-C or the time is up."""

from __future__ import annotations

import argparse
import contextlib
import signal
import threading
import time
import webbrowser
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from posturewatch.cli.options import Subparsers, add_command, add_data_dir, add_settings, seconds
from posturewatch.errors import PosturewatchError, UnavailableError

if TYPE_CHECKING:
    from posturewatch.pipeline.build import Parts
    from posturewatch.pipeline.monitor import Monitor, Sink
    from posturewatch.pipeline.practice import OpenSource, Practice, SessionRecorder
    from posturewatch.storage.store import Store

__all__ = ["DEFAULT_PORT", "add"]

#: Unassigned at IANA and rarely used; the same each time, so that a bookmark works.
DEFAULT_PORT = 8717

#: Where the page finds the charting library.
CHART_ADDRESS = "/library/plotly.min.js"

#: How often the waiting main thread looks up, so that Ctrl-C is heard on every system.
_LOOK_UP_S = 0.5


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "live",
        "watch a practice live, on a local page",
        "Opens a page on this machine that shows you mirrored with the wrist angles, and warns calmly of an "
        "extreme angle that is held. The session is kept; Ctrl-C or the page's stop ends it.",
        """
posturewatch live --source demo
posturewatch live --source 0
posturewatch live --source 0 --for 1200 --profile rula
posturewatch live --source lesson.mp4 --no-browser --port 0
posturewatch live --source http://192.168.1.20:8080/video
""",
    )
    parser.add_argument(
        "--source",
        metavar="demo|0|PATH|URL",
        help="demo film, number of a camera, film file, device or stream address (default: the settings', else 0)",
    )
    parser.add_argument(
        "--for",
        dest="limit_s",
        type=seconds,
        metavar="SECONDS",
        help="end the session after this long, and leave",
    )
    parser.add_argument("--no-browser", action="store_true", help="do not open the page in the browser")
    parser.add_argument(
        "--port",
        type=int,
        default=DEFAULT_PORT,
        metavar="N",
        help=f"port of the page (default: {DEFAULT_PORT}; 0: any free one)",
    )
    add_data_dir(parser)
    add_settings(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.config.resources import web_dir
    from posturewatch.pipeline.build import load_parts
    from posturewatch.review.derived import open_store
    from posturewatch.review.practice_log import PracticeLog
    from posturewatch.review.vocabulary import vocabulary
    from posturewatch.server.app import create_app
    from posturewatch.server.feed import LiveFeed
    from posturewatch.server.serving import PageServer, listen

    parts = load_parts(args.settings, args.profile)
    with ExitStack() as cleanup:
        listener = listen(args.port)
        cleanup.callback(listener.close)
        store = cleanup.enter_context(open_store(args.data_dir))
        if store.notice is not None:
            print(store.notice, flush=True)
        feed = LiveFeed(parts.limits, roles=parts.settings.roles)
        cleanup.callback(feed.close)
        live = Live(args.source or parts.settings.camera.source, args.limit_s, parts, store, feed)
        cleanup.callback(live.practice.stop)
        port = int(listener.getsockname()[1])
        app = create_app(
            practice=live.practice,
            feed=feed,
            log=PracticeLog(store),
            vocabulary=vocabulary(parts.limits, parts.settings.roles),
            web_dir=web_dir(),
            port=port,
            libraries=libraries(),
        )
        server = PageServer(app, listener)
        cleanup.callback(server.close)
        with terminate_interrupts(), contextlib.suppress(KeyboardInterrupt):
            server.start()
            live.start()
            print(f"The page is at {server.url}  (Ctrl-C ends the session)", flush=True)
            if not args.no_browser:
                webbrowser.open(server.url)
            live.wait()
        live.practice.stop()
        return live.last_words()


def libraries() -> dict[str, Path]:
    """Scripts of others that the page loads from here; without them it works, but draws no charts."""
    from posturewatch.config.resources import chart_library

    try:
        return {CHART_ADDRESS: chart_library()}
    except UnavailableError as missing:
        print(missing.sentence, flush=True)
        return {}


class Live:
    """A practice on its source, and how it is started, waited for and spoken of at the end."""

    def __init__(self, spec: str, limit_s: float | None, parts: Parts, store: Store, feed: Sink) -> None:
        from posturewatch.pipeline.practice import Practice
        from posturewatch.pipeline.recorded_film import Clipping
        from posturewatch.pipeline.rest import RestWatch, break_rules

        self._clipping = Clipping(store, parts.settings.clips)
        self._rest = RestWatch(break_rules(parts.settings.rest))
        self._recorder: SessionRecorder | None = None
        self._load: str | None = None
        self._spec = spec
        self._limit_s = limit_s
        self._parts = parts
        self._store = store
        self._fault: PosturewatchError | None = None
        self._opened = threading.Event()
        self.practice: Practice = Practice(
            open_source=self._open_source,
            begin=self._begin,
            make_monitor=self._make_monitor,
            sinks=(feed, self._rest),
            limit_s=limit_s,
            asides=self._asides,
        )

    def start(self) -> None:
        """Starts the first session; raises what kept its source or its record from opening."""
        self.practice.start()
        while not self._opened.wait(_LOOK_UP_S):
            if self.practice.wait(0.0):
                break  # it failed in a way of its own; the state has the sentence
        if self._fault is not None:
            raise self._fault

    def wait(self) -> None:
        """Returns when the session is over and was to end by itself; otherwise only Ctrl-C ends it."""
        while not (self.practice.wait(_LOOK_UP_S) and self._limit_s is not None):
            if not self.practice.running:
                time.sleep(_LOOK_UP_S)  # between sessions there is nothing whose end could be waited for

    def last_words(self) -> int:
        """Prints the last session's summary; the exit code."""
        from posturewatch.cli.words import summary_text
        from posturewatch.review.summaries import session_summary

        identity = self.practice.session_id
        if identity is None:
            return 0
        fault = self.practice.state()["fault"]
        if fault is not None:
            print(fault)
        print(summary_text(session_summary(self._store, self._store.find(identity))))
        return 0 if fault is None else 1

    def _open_source(self) -> OpenSource:
        from posturewatch.capture import open_source

        camera = self._parts.settings.camera
        with self._first_fault():
            return open_source(self._spec, pace="steady", size_px=camera.size_px, rate_hz=camera.rate_hz)

    def _begin(self, source: OpenSource) -> SessionRecorder:
        from posturewatch.cli.load import load_sentence

        with self._first_fault():
            recorder = self._store.begin(self._parts.session_start(source))
            # A film's sound goes with its clips; other sources have no file.
            self._recorder = self._clipping.begin(recorder, getattr(source, "path", None))
            self._load = load_sentence(self._store) if self._parts.settings.rest.load_notice else None
            return self._recorder

    def _asides(self) -> list[str]:
        """What the page says quietly: no clips any more, time for a rest, a week that rises suddenly, the
        microphone."""
        clip_fault = getattr(self._recorder, "clip_fault", None)
        sound = getattr(self._recorder, "sound_notice", None)
        return [one for one in (clip_fault, self._rest.notice, self._load, sound) if one is not None]

    def _make_monitor(self, source: OpenSource, sinks: Sequence[Sink]) -> tuple[Monitor, Callable[[], None]]:
        with self._first_fault():
            made = self._parts.monitor("live", source, sinks)
        self._opened.set()
        return made

    @contextmanager
    def _first_fault(self) -> Iterator[None]:
        """Keeps what went wrong before anything was watched, for the command line to say."""
        try:
            yield
        except PosturewatchError as fault:
            self._fault = fault
            self._opened.set()
            raise


@contextmanager
def terminate_interrupts() -> Iterator[None]:
    """A polite request to end (SIGTERM) is heard as Ctrl-C meanwhile, so that the session is closed well."""

    def interrupt(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    if threading.current_thread() is not threading.main_thread():
        yield  # only the main thread may say what a signal does
        return
    before = signal.signal(signal.SIGTERM, interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
