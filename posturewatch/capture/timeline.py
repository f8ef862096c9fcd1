"""From a source's own timestamps to seconds that only ever increase. Pure: no clock, no thread."""

from __future__ import annotations

import math

__all__ = ["StreamTimeline", "VideoTimeline"]

#: Where two frames claim one time, the later is put this much after the former: small enough to leave
#: every duration true, large enough to survive being written in milliseconds.
STEP_S = 0.001

#: A video's timestamps that fall back further than this have been restarted (videos joined together);
#: less is disorder of single frames.
RESTART_S = 0.5

#: A live stream's timestamps are followed while they stay this close to the clock; beyond, they have been
#: restarted or mean nothing, and the clock is taken.
STRAY_S = 1.0


class VideoTimeline:
    """Times of a video's frames, 0 at the first, strictly increasing.

    A frame is placed at its own timestamp. One without a timestamp comes one nominal interval after the
    frame before it. One that is not later than the frame before it comes 1 ms after that one, unless it
    falls back by more than 0.5 s: then the timestamps have started anew, and it and all that follow are
    shifted so that it comes one nominal interval after the frame before it.
    """

    def __init__(self, interval_s: float, zero_s: float | None = None) -> None:
        """zero_s: the timestamp of the video's first frame, where what is placed begins further on."""
        self._interval_s = interval_s
        self._zero_s = zero_s
        self._last_s: float | None = None

    def place(self, stamp_s: float | None) -> float:
        """Time in seconds of the next frame, from its timestamp in seconds (None or NaN: missing)."""
        if stamp_s is not None and not math.isfinite(stamp_s):
            stamp_s = None
        last_s = self._last_s
        if last_s is None:
            time_s = 0.0 if stamp_s is None or self._zero_s is None else stamp_s - self._zero_s
            self._zero_s = stamp_s if self._zero_s is None else self._zero_s
        elif stamp_s is None:
            time_s = last_s + self._interval_s
        else:
            if self._zero_s is None:
                # The first frames had no timestamp: this one tells where the video's zero lies.
                self._zero_s = stamp_s - (last_s + self._interval_s)
            time_s = stamp_s - self._zero_s
            if time_s < last_s - RESTART_S:
                time_s = last_s + self._interval_s
                self._zero_s = stamp_s - time_s
            time_s = max(time_s, last_s + STEP_S)
        self._last_s = time_s
        return time_s


class StreamTimeline:
    """Moments of a live stream's frames on the clock's scale, strictly increasing.

    The stream's own timestamps are even where arrival is not, so they are followed, anchored to the clock by
    the frame that came with the least delay so far (none can be from the future). They are anchored anew
    after `restart()` and where they lie more than a second back.
    """

    def __init__(self) -> None:
        self._anchor_s: float | None = None
        self._last_s: float | None = None

    def restart(self) -> None:
        """The stream was opened again: its timestamps have a new zero; the clock goes on."""
        self._anchor_s = None

    def place(self, stamp_s: float | None, now_s: float) -> float:
        """Moment in seconds on the clock of the next frame, from its timestamp and the clock's time."""
        when_s = now_s
        if stamp_s is not None and math.isfinite(stamp_s):
            late_s = 0.0 if self._anchor_s is None else now_s - (stamp_s + self._anchor_s)
            if self._anchor_s is None or not 0.0 <= late_s <= STRAY_S:
                self._anchor_s = now_s - stamp_s
            when_s = stamp_s + self._anchor_s
        if self._last_s is not None:
            when_s = max(when_s, self._last_s + STEP_S)
        self._last_s = when_s
        return when_s
