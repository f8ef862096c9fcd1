"""How the program does on real people, in one table.

    python -m calibration.evaluate --real FOLDER [--cache DIR] [--pictures DIR] [--every 2]

Of the people in several cameras' pictures at once: how many of their hands get both angles, how far the views of one
wrist differ, and how far each view is from what the other cameras say (`calibration.evaluate.real.truth`). Of
photographs and other videos, where no angle is known: how many hands get both angles, and how often a number goes or
comes.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.dataset.table import Columns
from calibration.evaluate.real.changes import VideoRun, changes_line, video_runs
from calibration.evaluate.real.labels import by_eye
from calibration.evaluate.real.marks import marks_lines
from calibration.evaluate.real.material import Source, sources
from calibration.evaluate.real.measured import Measured, measure
from calibration.evaluate.real.multiview import HandView, Session, session_of
from calibration.evaluate.real.outlines import outline_lines
from calibration.evaluate.real.pictures import write_pictures
from calibration.evaluate.real.seen import looked
from posturewatch.kinematics.estimator import Estimator
from posturewatch.kinematics.network import COVERAGE_Z, Ensemble

__all__ = ["judged", "real_report", "sessions_of"]

Array = NDArray[np.float64]
ANGLES = ("flexion", "deviation")


def sessions_of(
    folder: Path,
    cache: Path,
    estimator: Estimator,
    ensemble: Ensemble,
    *,
    mode: str = "still",
    every: int = 1,
    fresh: bool = False,
) -> list[Session]:
    """All multi-view sessions in the folder; mode: the tracker's."""
    videos = [source for source in sources(folder) if source.kind == "multiview"]
    out = []
    for name, some in itertools.groupby(videos, key=lambda video: video.session):
        of_session = list(some)
        columns = {f.camera: looked(f, cache, mode, every=every, fresh=fresh) for f in of_session}
        measured = {camera: measure(each, estimator, ensemble) for camera, each in columns.items()}
        place = folder / "multiview" / name
        out.append(session_of(place, of_session, cache, columns, measured))
    return out


def found_right(session: Session, view: HandView) -> bool:
    """Whether the hand was found in that picture, as a hand of its side."""
    if view.row is None:
        return False
    return bool(session.columns[view.camera]["side"][view.row]) == (view.side == "right")


def judged(session: Session) -> tuple[Array, Array, NDArray[np.bool_], Array]:
    """Of all found hands that two other cameras see: error (n, 2), NaN where those do not tell the truth well enough,
    stated sd (n, 2), whether each angle is reported (n, 2), and the truth's own sd (n, 2)."""
    rows = [v for v in session.views if v.truth is not None and found_right(session, v)]
    error, sd, reported, known = [], [], [], []
    for view in rows:
        m = session.measured[view.camera]
        if view.row is None or view.truth is None:
            continue
        error.append(m.value[view.row] - view.truth.angles_deg)
        sd.append(m.sd[view.row])
        reported.append(m.reported[view.row])
        known.append(view.truth.sd_deg)
    return (
        np.array(error).reshape(-1, 2),
        np.array(sd).reshape(-1, 2),
        np.array(reported, bool).reshape(-1, 2),
        np.array(known).reshape(-1, 2),
    )


def _shares(session: Session) -> str:
    asked = [v for v in session.views if v.in_view]
    both = sum(
        found_right(session, v) and v.row is not None and bool(session.measured[v.camera].both[v.row])
        for v in asked
    )
    one = sum(
        found_right(session, v)
        and v.row is not None
        and bool(session.measured[v.camera].reported[v.row].any())
        for v in asked
    )
    found = sum(found_right(session, v) for v in asked)
    why: Counter[str] = Counter()
    for view in asked:
        if view.row is None:
            why["not found"] += 1
        elif not found_right(session, view):
            why["taken for the other hand"] += 1
        else:
            why.update(set(session.measured[view.camera].refusal[view.row].tolist()) - {""})
    count = max(len(asked), 1)
    reasons = ", ".join(f"{what} {n}" for what, n in why.most_common())
    return (
        f"  hand-views with wrist and half a forearm in the picture: {len(asked)}; found {found / count:.1%}, both "
        f"angles {both / count:.1%}, one at least {one / count:.1%}; not reported: {reasons}"
    )


def _between(session: Session) -> str:
    """Differences between reported numbers of one wrist in two pictures."""
    cells = []
    for k, what in enumerate(ANGLES):
        differences, inside = [], []
        for _, some in itertools.groupby(session.views, key=lambda v: (v.moment, v.side)):
            shown = [
                (m.value[v.row, k], m.sd[v.row, k])
                for v in some
                if v.row is not None and found_right(session, v)
                for m in [session.measured[v.camera]]
                if m.reported[v.row, k]
            ]
            for (a, sd_a), (b, sd_b) in itertools.combinations(shown, 2):
                differences.append(abs(a - b))
                inside.append(abs(a - b) <= COVERAGE_Z * np.hypot(sd_a, sd_b))
        if differences:
            cells.append(
                f"{what} {np.mean(differences):.1f} deg, in 90 % {np.mean(inside):.1%} of {len(differences)}"
            )
    return f"  two views of one wrist differ by: {'; '.join(cells) or 'nothing to compare'}"


def _errors(sessions: Iterable[Session]) -> list[str]:
    parts = [judged(session) for session in sessions]
    error, sd, reported, known = (np.concatenate([part[k] for part in parts]) for k in range(4))
    out = []
    for k, what in enumerate(ANGLES):
        for name, rows in (("reported", reported[:, k]), ("not reported", ~reported[:, k])):
            told = rows & np.isfinite(error[:, k])
            e = error[told, k]
            if len(e) == 0:
                continue
            total = np.hypot(sd[told, k], known[told, k])  # the truth is uncertain too
            inside = np.abs(e) <= COVERAGE_Z * total
            out.append(
                f"  {what:9s} {name:9s} {len(e):5d}  off by {np.abs(e).mean():5.1f} {np.median(np.abs(e)):5.1f} "
                f"{np.percentile(np.abs(e), 90):5.1f}  bias {e.mean():+5.1f}  stated sd {np.median(sd[told, k]):5.1f}  "
                f"in 90 % {inside.mean():.1%}"
            )
        told = np.isfinite(error[:, k])
        own = np.median(known[told, k]) if told.any() else np.nan
        out.append(f"  {what:9s} what they say is itself known to {own:.1f} deg (one sd, in the middle)")
    return out


def _strangers(session: Session) -> str:
    """What is no hand on which two cameras agree, and gets a number all the same; most are hands by eye."""
    reported = [(c, row) for c, row in session.strangers if session.measured[c].both[row]]
    seen = [by_eye(session, camera, row) for camera, row in session.strangers]
    wrongly = sum(by_eye(session, camera, row) == "none" for camera, row in reported)
    return (
        f"  found where no two cameras agree on a hand: {len(seen)}, {seen.count('none')} of them none by eye; "
        f"reported both angles: {len(reported)}, none by eye: {wrongly}"
    )


def real_report(
    folder: Path,
    estimator: Estimator,
    ensemble: Ensemble,
    *,
    cache: Path,
    pictures: Path | None = None,
    every: int = 1,
    fresh: bool = False,
) -> None:
    """Prints the table; does no more than say so where the folder is absent."""
    if not folder.is_dir():
        print(f"There is no {folder}, so nothing is told of real people.")
        return
    sessions = sessions_of(folder, cache, estimator, ensemble, every=every, fresh=fresh)
    for session in sessions:
        frames = sum(len(columns["frames_frame"]) for columns in session.columns.values())
        print(
            f"{session.name}: {frames} pictures of {len(session.columns)} cameras; the board's corners lie "
            f"{session.rig.residual_px:.2f} pixels off in the middle ({session.rig.views} views)"
        )
        for line in (_shares(session), _between(session), _strangers(session)):
            print(line)
    if sessions:
        print(
            "Against what the other cameras say: mean, median, 90th percentile of the absolute error, degrees"
        )
        print("\n".join([*_errors(sessions), *marks_lines(sessions), *outline_lines(sessions)]))
    for source in sources(folder):
        if source.kind == "player":
            columns = looked(source, cache, fresh=fresh)
            print(_player_line(source, columns, measure(columns, estimator, ensemble)))
    runs: list[VideoRun] = []
    for source in sources(folder):
        if source.is_video:
            runs += video_runs(source, looked(source, cache, "video", fresh=fresh), estimator)
    print("\n".join(changes_line(runs)))
    if pictures is not None:
        write_pictures(folder, sessions, pictures)


def _player_line(source: Source, columns: Columns, measured: Measured) -> str:
    cells = []
    for row in range(len(measured.value)):
        side = "right" if columns["side"][row] else "left"
        said = [
            f"{what} {measured.value[row, k]:.0f} +- {measured.sd[row, k]:.0f}"
            if measured.reported[row, k]
            else f"{what}: {measured.refusal[row, k]}"
            for k, what in enumerate(ANGLES)
        ]
        cells.append(f"{side} {', '.join(said)}")
    return f"{source.path.name}: {'; '.join(cells) or 'no hand found'}"
