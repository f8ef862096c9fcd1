"""Draws where the measurement fails on the test pictures that are shipped with the project.

    python -m calibration.evaluate.failures [--out calibration/failures.jpg]

Of the true hands in view in `evaluate/data/pictures`: those whose angles are farthest from the truth, and the first
that are not found or get no number. The lines are those of `posturewatch measure --overlay`; what is said and what is
true stand below.
"""

from __future__ import annotations

import argparse
import json
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.dataset.rows import match
from posturewatch.config.resources import calibration_dir
from posturewatch.config.settings import Settings
from posturewatch.model.arrays import Image
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import HandMeasurement
from posturewatch.pipeline.build import build
from posturewatch.pipeline.drawing import draw_lines

IN_VIEW = 0.8
WORST, WITHOUT = 4, 2  # pictures of each kind
TILE_PX = 480
TRUE = {"wrist_flexion": "flexion_deg", "wrist_ulnar_deviation": "ulnar_deviation_deg"}


def tile(image: Image, joints_px: NDArray[np.float64], lines: tuple[str, str]) -> Image:
    """A square around the hand, with two lines of words below."""
    middle, half = joints_px.mean(axis=0), 2.2 * np.ptp(joints_px, axis=0).max()
    corner = np.maximum(middle - half, 0).astype(int)
    end = (middle + half).astype(int)
    part = image[corner[1] : end[1], corner[0] : end[0]]
    scale = TILE_PX / max(part.shape[:2])
    small = cv2.resize(part, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    out = np.full((TILE_PX + 52, TILE_PX, 3), 255, np.uint8)
    out[: small.shape[0], : small.shape[1]] = small
    for k, line in enumerate(lines):
        at = (6, TILE_PX + 20 + 22 * k)
        cv2.putText(out, line, at, cv2.FONT_HERSHEY_SIMPLEX, 0.5, (0, 0, 0), 1, cv2.LINE_AA)
    return out


def said(measured: HandMeasurement | None) -> str:
    """What the program says of a hand's wrist."""
    if measured is None:
        return "not found"
    ones = [measured.values[name] for name in TRUE]
    if any(one.value is None for one in ones):
        return "no number: " + next(one.refusal.value for one in ones if one.refusal is not None)
    cells = [f"{one.value:.0f} +- {one.sd:.0f}" for one in ones]
    return f"said: flexion {cells[0]}, ulnar {cells[1]}"


def error_deg(measured: HandMeasurement, truth: dict[str, Any]) -> float | None:
    """The greater error of the two angles, None where one of them was not reported."""
    values = [(measured.values[name].value, truth[key]) for name, key in TRUE.items()]
    return None if any(v is None for v, _ in values) else max(abs(v - t) for v, t in values if v is not None)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--out", type=Path, default=calibration_dir() / "failures.jpg")
    args = parser.parse_args()
    folder = calibration_dir() / "evaluate" / "data" / "pictures"
    wrong, without = [], []
    with ExitStack() as cleanup:
        built = build("still", Settings())
        cleanup.callback(built.release)
        for line in (folder / "labels.jsonl").read_text(encoding="utf-8").splitlines():
            label = json.loads(line)
            image = np.asarray(cv2.imread(str(folder / label["image"])), np.uint8)
            observation = built.tracker.observe(Frame(0, 0.0, image))
            built.measurer.reset()
            measured = built.measurer.measure(observation)
            for truth in label["hands"]:
                if truth["hand_visible"] < IN_VIEW:
                    continue
                hand = next((h for h in observation.hands if match(h, label["hands"]) is truth), None)
                drawn = image.copy()
                ours = None if hand is None else measured.hand(hand.side)
                if hand is not None:
                    draw_lines(drawn, hand, 1)
                error = None if ours is None else error_deg(ours, truth)
                words = f"true: flexion {truth['flexion_deg']:.0f}, ulnar {truth['ulnar_deviation_deg']:.0f}"
                words += f"  ({truth['side']}, {label['framing']})"
                shown = tile(drawn, np.asarray(truth["joints_px"], float), (said(ours), words))
                if error is None:
                    without.append(shown)
                else:
                    wrong.append((error, shown))
    wrong.sort(key=lambda each: -each[0])
    tiles = [shown for _, shown in wrong[:WORST]] + without[:WITHOUT]
    rows = [np.hstack(tiles[first : first + 3]) for first in range(0, len(tiles) - len(tiles) % 3, 3)]
    cv2.imwrite(str(args.out), np.vstack(rows), [cv2.IMWRITE_JPEG_QUALITY, 85])
    print(
        f"wrote {args.out}: errors {[round(e) for e, _ in wrong[:WORST]]} deg; {len(without)} without a number"
    )


if __name__ == "__main__":
    main()
