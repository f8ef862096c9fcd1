"""The benchmark's figures, from what the probes noted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from posturewatch.bench.probes import Arrival, Put, Usage
from posturewatch.bench.trend import Trend, trend
from posturewatch.errors import UnavailableError
from posturewatch.model.savings import SAVINGS

__all__ = [
    "CHUNK",
    "WARM_UP_S",
    "Latency",
    "LiveFigures",
    "PerFrame",
    "live_figures",
    "with_usage",
]

#: Left out at the start: models load their last parts and the first hands are being looked for.
WARM_UP_S = 3.0

#: Frames a turn: bare trackers and whole monitor take turns of a second of video.
CHUNK = 30


@dataclass(frozen=True)
class PerFrame:
    """Milliseconds per frame of the bare trackers and of the whole monitor, one entry per turn of CHUNK
    frames, and processor time per frame over all turns."""

    frames: int
    bare_ms: tuple[float, ...]
    whole_ms: tuple[float, ...]
    bare_cpu_ms: float
    whole_cpu_ms: float

    @property
    def ratio(self) -> float:
        """Whole by bare; the median over the turns, which a busy moment of the machine does not move."""
        return float(np.median(np.divide(self.whole_ms, self.bare_ms)))

    @property
    def cpu_ratio(self) -> float:
        """Whole by bare in processor time."""
        return self.whole_cpu_ms / self.bare_cpu_ms


@dataclass(frozen=True)
class Latency:
    """Milliseconds from a frame's leaving the source to its arrival."""

    count: int
    p50_ms: float
    p95_ms: float


@dataclass(frozen=True)
class LiveFigures:
    """A live run after its warm-up. share_dropped of all frames the source gave; share_both_hands of the
    measured ones; cpu_cores: processor time per time; savings: the share of the measured frames under each saving that
    was made; memory in MB, threads and handles (open files and sockets), None where the system does not say."""

    seconds: float
    frames: int
    measured_hz: float
    share_dropped: float
    share_both_hands: float
    cpu_cores: float
    measured: Latency | None
    ready: Latency | None
    page: Latency | None
    savings: Mapping[str, float] = field(default_factory=dict)
    memory_mb: Trend | None = None
    threads: Trend | None = None
    handles: Trend | None = None


def live_figures(
    puts: Sequence[Put],
    ready: Sequence[Arrival],
    page: Sequence[Arrival] | None,
    *,
    warm_up_s: float = WARM_UP_S,
) -> LiveFigures:
    """The figures of a run from what the probes noted; what lies within warm_up_s of the start is left out."""
    if not puts:
        raise UnavailableError("No frame was measured; check the video.")
    begin_s = puts[0].at_s + warm_up_s
    kept = [put for put in puts if put.at_s >= begin_s]
    if len(kept) < 2:
        raise UnavailableError("The benchmark was too short to measure anything; give it more seconds.")
    seconds = kept[-1].at_s - kept[0].at_s
    steps = len(kept) - 1
    dropped = kept[-1].dropped - kept[0].dropped
    return LiveFigures(
        seconds=seconds,
        frames=len(kept),
        measured_hz=steps / seconds,
        share_dropped=dropped / (dropped + steps),
        share_both_hands=sum(put.hands == 2 for put in kept) / len(kept),
        cpu_cores=(kept[-1].cpu_s - kept[0].cpu_s) / seconds,
        measured=_latency([Arrival(put.at_s, put.taken_s) for put in kept], begin_s),
        ready=_latency(ready, begin_s),
        page=None if page is None else _latency(page, begin_s),
        savings=_savings(kept),
    )


def _savings(puts: Sequence[Put]) -> dict[str, float]:
    shares = {one.name: sum(one.name in put.savings for put in puts) / len(puts) for one in SAVINGS}
    return {name: share for name, share in shares.items() if share > 0}


def _latency(arrivals: Sequence[Arrival], begin_s: float) -> Latency | None:
    waits_ms = [1000 * (one.at_s - one.taken_s) for one in arrivals if one.at_s >= begin_s]
    if not waits_ms:
        return None
    p50, p95 = np.percentile(waits_ms, [50, 95])
    return Latency(len(waits_ms), float(p50), float(p95))


def with_usage(figures: LiveFigures, usage: Sequence[Usage], begin_s: float, end_s: float) -> LiveFigures:
    """The same figures with what the process held.

    Parameters
    ----------
    usage
        In order of time; up to the end of the summing up that follows the last frame, which counts for the most that
        was held, and for nothing else.
    begin_s, end_s
        Moments of the monotonic clock: after warming up, and of the last frame.
    """
    kept = [one for one in usage if one.at_s >= begin_s]

    def held(values: Sequence[tuple[float, float | None]]) -> Trend | None:
        while_playing, whole = trend([one for one in values if one[0] <= end_s]), trend(values)
        return None if while_playing is None or whole is None else replace(while_playing, most=whole.most)

    return replace(
        figures,
        memory_mb=held([(one.at_s, one.memory_mb) for one in kept]),
        threads=held([(one.at_s, one.threads) for one in kept]),
        handles=held([(one.at_s, one.handles) for one in kept]),
    )
