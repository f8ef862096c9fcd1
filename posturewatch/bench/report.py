"""What the benchmark found: all of it in one place, in words, and in JSON's types."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np

from posturewatch.bench.figures import CHUNK, Latency, LiveFigures, PerFrame
from posturewatch.bench.stages import Stage
from posturewatch.bench.trend import Trend

__all__ = ["Findings", "endurance_report", "report", "to_json"]


@dataclass(frozen=True)
class Findings:
    """What was measured.

    Attributes
    ----------
    cores
        That the program may use.
    per_frame
        As fast as it goes.
    live
        As a live camera, without clips.
    clips, one_core
        The same with clips kept, and then on one core alone; None where that was not measured.
    stages
        Of a frame, each by itself.
    """

    cores: int
    per_frame: PerFrame
    live: LiveFigures
    clips: LiveFigures | None = None
    one_core: LiveFigures | None = None
    stages: tuple[Stage, ...] = ()


def to_json(findings: Findings) -> dict[str, Any]:
    """The findings in JSON's types; times in ms, memory in MB."""
    found = dataclasses.asdict(findings)
    found["per_frame"] |= {"ratio": findings.per_frame.ratio, "cpu_ratio": findings.per_frame.cpu_ratio}
    return found


def report(findings: Findings) -> str:
    """The findings in words, one a line."""
    per_frame = findings.per_frame
    lines = [
        f"cores that may be used         {findings.cores:7d}",
        f"frames of the video measured as fast as they go: {per_frame.frames}, in turns of {CHUNK}",
        f"  bare trackers per frame      {np.median(per_frame.bare_ms):7.1f} ms"
        f"     ({per_frame.bare_cpu_ms:.1f} ms of processor time)",
        f"  whole monitor per frame      {np.median(per_frame.whole_ms):7.1f} ms"
        f"     ({per_frame.whole_cpu_ms:.1f} ms of processor time)",
        f"  ratio                        {per_frame.ratio:7.2f}"
        f"        ({per_frame.cpu_ratio:.2f} in processor time)",
    ]
    if findings.stages:
        lines.append("stages of a frame, one after the other: time, processor time")
        lines += [f"  {one.name:<28} {one.wall_ms:7.2f} ms {one.cpu_ms:7.2f} ms" for one in findings.stages]
        total = sum(one.cpu_ms for one in findings.stages)
        lines.append(f"  {'all':<28} {sum(one.wall_ms for one in findings.stages):7.2f} ms {total:7.2f} ms")
    seconds = findings.live.seconds
    lines.append(f"the video played as a live camera, for {seconds:.0f} s after warming up")
    lines += _live_lines(findings.live)
    if findings.clips is not None:
        lines.append("the same while clips are kept")
        lines += _live_lines(findings.clips)
    if findings.one_core is not None:
        lines.append("the same with clips, held to one core")
        lines += _live_lines(findings.one_core)
    return "\n".join(lines)


def endurance_report(live: LiveFigures) -> str:
    """One long live run in words, one figure a line."""
    begin = f"the video played as a live camera with clips kept, for {live.seconds:.0f} s after warming up"
    return "\n".join([begin, *_live_lines(live)])


def _live_lines(live: LiveFigures) -> list[str]:
    lines = [
        f"  frames measured per second   {live.measured_hz:7.1f}     (both hands in {live.share_both_hands:.0%})",
        f"  dropped                      {live.share_dropped:7.1%}",
        _latency_line("capture to measured", live.measured),
        _latency_line("capture to message ready", live.ready),
        _latency_line("capture to page", live.page),
        f"  processor                    {live.cpu_cores:7.2f} cores",
    ]
    lines += _trend_line("memory at start and end", live.memory_mb, " MB")
    lines += _trend_line("threads", live.threads, "")
    lines += _trend_line("open files and sockets", live.handles, "")
    if live.savings:
        saved = ", ".join(f"{name} in {share:.0%}" for name, share in live.savings.items())
        lines.append(f"  done less often, of frames   {saved}")
    return lines


def _latency_line(label: str, latency: Latency | None) -> str:
    if latency is None:
        return f"  {label:<28} not measured"
    return f"  {label:<28} {latency.p50_ms:7.1f} ms p50, {latency.p95_ms:.1f} ms p95"


def _trend_line(label: str, trend: Trend | None, unit: str) -> list[str]:
    if trend is None:
        return []
    line = f"  {label:<28} {trend.start:7.0f}{unit}, {trend.end:.0f}{unit}  (most: {trend.most:.0f}{unit})"
    if trend.per_hour is not None:
        line += f"  {trend.per_hour:+.2f} +- {trend.per_hour_se:.2f}{unit} an hour"
    return [line]
