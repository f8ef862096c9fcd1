"""Whether a number that is shown stays: videos through the tracker and the estimator with its use of time."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.dataset.table import Columns, observation_of
from calibration.evaluate.real.material import Source
from posturewatch.kinematics.estimator import Estimator
from posturewatch.kinematics.temporal_estimator import TemporalEstimator
from posturewatch.model.observation import BodyObservation, HandObservation, Observation, Side
from posturewatch.model.quantities import in_group

__all__ = ["VideoRun", "changes_line", "observations", "switches", "switches_once_shown", "video_runs"]

SIDES: tuple[Side, Side] = ("left", "right")
WRIST = tuple(entry.name for entry in in_group("wrist"))


@dataclass(frozen=True)
class VideoRun:
    """One hand through one video: time_s (n,), and whether it has both wrist angles (n,)."""

    source: Source
    side: Side
    time_s: NDArray[np.float64]
    shown: NDArray[np.bool_]


def observations(columns: Columns) -> list[Observation]:
    """The video's observations as the tracker gave them, frame after frame, with hands or without."""
    if "side" not in columns:
        return []
    rows_of: dict[int, list[int]] = {}
    for row, frame in enumerate(columns["frame"].tolist()):
        rows_of.setdefault(frame, []).append(row)
    width, height = (int(v) for v in columns["size"][0])
    out = []
    for k, frame in enumerate(columns["frames_frame"].tolist()):
        time_s = float(columns["frames_time_s"][k])
        hands: list[HandObservation] = []
        for row in rows_of.get(frame, []):
            hands.append(observation_of(columns, row, with_body=False).hands[0])
        body = None
        if columns["frames_has_body"][k]:
            body = BodyObservation(
                columns["frames_body_px"][k].astype(float),
                columns["frames_body_m"][k].astype(float),
                columns["frames_body_visibility"][k].astype(float),
                time_s - float(columns["frames_body_age_s"][k]),
            )
        out.append(Observation(int(frame), time_s, width, height, tuple(hands), body))
    return out


def video_runs(source: Source, columns: Columns, estimator: Estimator) -> list[VideoRun]:
    """Both hands of a video."""
    measurer = TemporalEstimator(estimator)
    shown: dict[Side, list[bool]] = {side: [] for side in SIDES}
    times = []
    for observation in observations(columns):
        measured = measurer.measure(observation)
        times.append(observation.time_s)
        for side in SIDES:
            shown[side].append(all(measured.hand(side).values[name].measured for name in WRIST))
    return [VideoRun(source, side, np.array(times), np.array(shown[side], bool)) for side in SIDES]


def switches(shown: NDArray[np.bool_]) -> int:
    """How often a number comes or goes."""
    return int((shown[1:] != shown[:-1]).sum())


def switches_once_shown(shown: NDArray[np.bool_]) -> int:
    """The same from when it is shown for the first time: that a hand must be found first is no unrest."""
    return switches(shown[int(np.argmax(shown)) :]) if shown.any() else 0


def changes_line(runs: Sequence[VideoRun]) -> list[str]:
    """A line for each kind of video or session."""
    out = [
        "Videos, with time used: share of frames in which a hand has both angles, and how often that changes"
    ]
    by_name = itertools.groupby(runs, key=lambda run: run.source.session or run.source.kind)
    for name, some in by_name:
        each = [run for run in some if len(run.time_s) > 1]
        minutes = sum(float(run.time_s[-1] - run.time_s[0]) for run in each) / 60
        frames = sum(len(run.shown) for run in each)
        if minutes > 0:
            count = sum(switches(run.shown) for run in each)
            later = sum(switches_once_shown(run.shown) for run in each)
            share = sum(run.shown.sum() for run in each) / frames
            out.append(
                f"  {name}: {share:.1%} of {frames} hand-frames, {count / minutes:.1f} changes a minute of each hand "
                f"({count} in {minutes:.2f} minutes), {later / minutes:.1f} once it was shown"
            )
    return out
