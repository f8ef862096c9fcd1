"""The program's own parts as the benchmark measures them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from posturewatch.bench.benchmark import Bench
from posturewatch.config.resources import web_dir
from posturewatch.pipeline.build import Parts
from posturewatch.pipeline.clip_recording import ClipRecording
from posturewatch.pipeline.practice import Practice
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.vocabulary import vocabulary
from posturewatch.server.admission import Admission
from posturewatch.server.app import create_app
from posturewatch.server.feed import LiveFeed
from posturewatch.server.serving import PageServer, listen
from posturewatch.storage.store import Store
from posturewatch.tracking import Tracker

__all__ = ["make_bench", "with_clips"]


def make_bench(parts: Parts, store: Store) -> Bench:
    """The program's parts as the benchmark takes them; sessions go to the given store."""
    return Bench(
        make_bare=Tracker,
        make_monitor=parts.monitor,
        make_feed=lambda: LiveFeed(parts.limits),
        begin=lambda source: store.begin(parts.session_start(source)),
        serve=lambda practice, feed: _serve(practice, feed, store, parts),
    )


def _serve(
    practice: Practice, feed: LiveFeed, store: Store, parts: Parts
) -> tuple[int, Admission, Callable[[], None]]:
    """The page's server on a free port, whom it admits, and what closes it."""
    listener = listen(0)
    port = int(listener.getsockname()[1])
    admission = Admission(port)
    app = create_app(
        practice=practice,
        feed=feed,
        log=PracticeLog(store),
        vocabulary=vocabulary(parts.limits, parts.settings.roles),
        web_dir=web_dir(),
        port=port,
        admission=admission,
    )
    server = PageServer(app, listener)
    server.start()
    return port, admission, server.close


def with_clips(bench: Bench, parts: Parts, store: Store) -> Bench:
    """The same parts, with clips kept beside the record as `live` keeps them."""
    clip_recording = ClipRecording(store, parts.settings.clips)
    return replace(bench, begin=lambda source: clip_recording.begin(bench.begin(source), None))
