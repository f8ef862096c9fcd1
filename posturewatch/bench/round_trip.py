"""A few frames of the demo through every part, to see that they work together on this machine."""

from __future__ import annotations

import tempfile
import threading
from dataclasses import dataclass
from pathlib import Path

from posturewatch.capture import open_source
from posturewatch.errors import UnavailableError
from posturewatch.pipeline.build import Parts
from posturewatch.review.derived import open_store
from posturewatch.review.summaries import session_summary
from posturewatch.server.feed import LiveFeed
from posturewatch.server.live_message import unpack

__all__ = ["RoundTrip", "round_trip"]

_MESSAGE_S = 5.0


@dataclass(frozen=True)
class RoundTrip:
    """What came through. frames: measured; message: number of the last live message, jpeg_bytes: of its image;
    measured_share: of the time, for the quantity of the left hand that was measured least."""

    frames: int
    message: int
    jpeg_bytes: int
    measured_share: float


def round_trip(parts: Parts, seconds: float) -> RoundTrip:
    """The demo's beginning through source, tracker, estimator, watch, store and live message.

    Nothing of it is kept.

    Raises
    ------
    UnavailableError
        Where no frame comes through.
    """
    source, feed = open_source("demo", pace="asap"), LiveFeed(parts.limits)
    try:
        with tempfile.TemporaryDirectory() as folder, open_store(Path(folder)) as store:
            recorder = store.begin(parts.session_start(source))
            monitor, release = parts.monitor("video", source, (recorder, feed))
            try:
                outcome = monitor.run(threading.Event(), seconds)
            finally:
                release()
            message = feed.latest(0, _MESSAGE_S)
            recorder.finish(outcome)
            summary = session_summary(store, store.find("last"))
    finally:
        source.close()
        feed.close()
    if message is None or outcome.frames == 0:
        raise UnavailableError("no frame came through; install posturewatch again.")
    header, jpeg = unpack(message.data)
    shares = [one["measured_share"] or 0.0 for one in summary["quantities"] if one["side"] == "left"]
    return RoundTrip(outcome.frames, int(header["seq"]), len(jpeg), min(shares, default=0.0))
