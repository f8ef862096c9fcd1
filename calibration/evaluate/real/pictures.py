"""Pictures of the best, the typical and the worst views, for looking at."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.dataset.table import observation_of
from calibration.evaluate.failures import tile
from calibration.evaluate.real.material import Source, shots, sources
from calibration.evaluate.real.multiview import HandView, Session
from posturewatch.pipeline.drawing import draw_lines

__all__ = ["write_pictures"]

EACH = 6  # views of each kind
Image = NDArray[np.uint8]


def _error(session: Session, view: HandView) -> float | None:
    if view.row is None or view.truth is None:
        return None
    if bool(session.columns[view.camera]["side"][view.row]) != (view.side == "right"):
        return None
    error = float(np.abs(session.measured[view.camera].value[view.row] - view.truth.angles_deg).max())
    return error if np.isfinite(error) else None


def _words(session: Session, view: HandView) -> tuple[str, str]:
    m, row, truth = session.measured[view.camera], view.row, view.truth
    if row is None or truth is None:
        raise ValueError("only a found view with a truth can be drawn")
    why = "" if m.both[row] else " (" + "; ".join(sorted(set(m.refusal[row].tolist()) - {""})) + ")"
    cells = [f"{m.value[row, k]:.0f} +- {m.sd[row, k]:.0f}" for k in (0, 1)]
    said = f"said: flexion {cells[0]}, ulnar {cells[1]}{why}"
    others = f"others: flexion {truth.angles_deg[0]:.0f}, ulnar {truth.angles_deg[1]:.0f} ({view.side})"
    return said, others


def _picture(session: Session, view: HandView, videos: dict[tuple[str, int], Source]) -> Image:
    columns, row = session.columns[view.camera], view.row
    if row is None:
        raise ValueError("only a found view can be drawn")
    frame = int(columns["frame"][row])
    video = videos[session.name, view.camera]
    image = next(shot.image_bgr for shot in shots(video) if shot.frame == frame)
    hand = observation_of(columns, row).hands[0]
    draw_lines(image, hand, 1)
    return tile(image, hand.landmarks_px[:, :2], _words(session, view))


def write_pictures(folder: Path, sessions: list[Session], out: Path) -> None:
    """`best.jpg`, `typical.jpg` and `worst.jpg` into the folder out."""
    videos = {(video.session, video.camera): video for video in sources(folder) if video.kind == "multiview"}
    scored = []
    for session in sessions:
        for view in session.views:
            error = _error(session, view)
            if error is not None:
                scored.append((error, session, view))
    scored.sort(key=lambda one: one[0])
    middle = max(0, len(scored) // 2 - EACH // 2)
    out.mkdir(parents=True, exist_ok=True)
    for name, some in (
        ("best", scored[:EACH]),
        ("typical", scored[middle : middle + EACH]),
        ("worst", scored[-EACH:]),
    ):
        tiles = [_picture(session, view, videos) for _, session, view in some]
        tiles += [np.full_like(tiles[0], 255)] * (-len(tiles) % 3) if tiles else []
        rows = [np.hstack(tiles[k : k + 3]) for k in range(0, len(tiles), 3)]
        if rows:
            cv2.imwrite(str(out / f"{name}.jpg"), np.vstack(rows), [cv2.IMWRITE_JPEG_QUALITY, 85])
            print(f"wrote {out / name}.jpg")
