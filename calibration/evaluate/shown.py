"""What a player would be shown of rendered videos: frame after frame through the program's own use of time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.dataset.rows import FRAMES_A_VIDEO
from calibration.dataset.table import Columns, makers_hfov_deg, observation_of
from calibration.evaluate.videos import FOLLOWED, IN_VIEW, WRIST, Run
from posturewatch.kinematics.estimator import Estimator
from posturewatch.kinematics.features import hand_frame
from posturewatch.kinematics.network import COVERAGE_Z
from posturewatch.kinematics.staying import StayRules
from posturewatch.kinematics.temporal_estimator import TemporalEstimator
from posturewatch.model.observation import SIDES, Observation

__all__ = ["shown_lines", "shown_runs", "video_observations"]


def video_observations(columns: Columns, video: int) -> Iterator[Observation]:
    """Every frame of a video with the hands that were found in it."""
    rows_of: dict[int, list[int]] = {}
    for row in np.flatnonzero(columns["found"] & (columns["frame"] // FRAMES_A_VIDEO == video)).tolist():
        rows_of.setdefault(int(columns["frame"][row]), []).append(row)
    rows = columns["t_frame"] // FRAMES_A_VIDEO == video
    frames, first = np.unique(columns["t_frame"][rows], return_index=True)
    times = columns["t_time_s"][rows][first]
    for frame, time_s in zip(frames.tolist(), times.tolist(), strict=True):
        seen = [observation_of(columns, row) for row in rows_of.get(frame, [])]
        width, height = (
            (seen[0].width_px, seen[0].height_px) if seen else (1, 1)
        )  # nobody asks without a hand
        hands = tuple({one.hands[0].side: one.hands[0] for one in seen}.values())
        body = next((one.body for one in seen if one.body is not None), None)
        now = None if body is None else replace(body, time_s=time_s)
        yield Observation(int(frame), float(time_s), width, height, hands, now)


def shown_runs(
    columns: Columns, estimator: Estimator, stated: bool = False, staying: StayRules | None = None
) -> Iterator[Run]:
    """Both hands of each video with the wrist angles that are shown, NaN where none is; lifts are left out.

    Parameters
    ----------
    columns
        As `calibration.dataset.table.read` gives them.
    estimator
        For a camera of unknown field of view.
    stated
        Whether it is known.
    staying
        How long a number stays; as in use where left out.
    """
    hfov_deg = makers_hfov_deg(columns)
    for video in np.unique(columns["t_frame"] // FRAMES_A_VIDEO):
        looking = estimator
        if stated:
            row = int(np.flatnonzero(columns["frame"] // FRAMES_A_VIDEO == video)[0])
            looking = estimator.through(float(hfov_deg[row]))
        measurer = TemporalEstimator(looking, staying=staying or StayRules())
        observations = list(video_observations(columns, int(video)))
        measured = {one.frame_index: measurer.measure(one) for one in observations}
        hand_frames = {
            (one.frame_index, hand.side): hand_frame(hand) for one in observations for hand in one.hands
        }
        for number, side in enumerate(SIDES):
            rows = np.flatnonzero(
                (columns["t_frame"] // FRAMES_A_VIDEO == video) & (columns["t_side"] == number)
            )
            rows = rows[np.argsort(columns["t_frame"][rows])]
            pairs = np.full((len(rows), len(FOLLOWED), 2), np.nan)
            frames = np.full((len(rows), 3, 3), np.nan)
            for n, frame in enumerate(columns["t_frame"][rows].tolist()):
                values = measured[frame].hand(side).values
                seen = hand_frames.get((frame, side))
                if seen is not None:
                    frames[n] = seen
                for k, entry in enumerate(FOLLOWED[WRIST]):
                    one = values[entry.name]
                    if one.value is not None and one.sd is not None:
                        pairs[n, k] = one.value, one.sd
            true = np.full((len(rows), len(FOLLOWED)), np.nan)
            true[:, WRIST] = columns["t_angles"][rows]
            in_view = columns["t_visible"][rows] >= IN_VIEW
            time_s = columns["t_time_s"][rows].astype(float)
            fretting = bool(columns["t_fretting"][rows[0]])
            yield Run(side, fretting, time_s, in_view, true, pairs[..., 0], pairs[..., 1], frames)


def share(hits: NDArray[np.bool_], digits: int = 1) -> str:
    """How many of all, or that there are none."""
    return f"{hits.mean():.{digits}%}" if hits.size else "none"


def shown_lines(runs: list[Run]) -> list[str]:
    """Share shown of what is in view, errors, coverage, and how often a number comes or goes; a line for each hand."""
    out = [
        "",
        "Videos, as shown: share of what is in view, errors as above, changes a minute of each hand's pair",
    ]
    for name, fretting in (("fretting", True), ("plucking", False)):
        some = [run for run in runs if run.fretting == fretting]
        if not some:
            continue
        error = np.concatenate([np.abs(run.value - run.true)[:, WRIST] for run in some])
        sd = np.concatenate([run.sd[:, WRIST] for run in some])
        in_view = np.concatenate([run.in_view for run in some])
        shown = np.isfinite(sd)
        cells = []
        for k, entry in enumerate(FOLLOWED[WRIST]):
            size, own = error[shown[:, k], k], sd[shown[:, k], k]
            sizes = "none"
            if size.size:
                sizes = f"{size.mean():.1f} {np.median(size):.1f} {np.percentile(size, 90):.1f}"
            cells.append(f"{entry.name} {sizes}  in 90 % {share(size <= COVERAGE_Z * own)}")
        pairs = [np.isfinite(run.sd[:, WRIST]).all(axis=1) for run in some]
        changes = sum(int((pair[1:] != pair[:-1]).sum()) for pair in pairs)
        minutes = sum(float(run.time_s[-1] - run.time_s[0]) for run in some) / 60
        out.append(
            f"{name} {share(shown.all(axis=1)[in_view])} of {in_view.sum()}; {'; '.join(cells)}; "
            f"{changes / minutes:.1f} changes a minute"
        )
    return out
