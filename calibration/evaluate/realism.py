"""How easily crops of rendered hands are told from crops of real ones, by statistics of the picture alone.

    python -m calibration.evaluate.realism --real REAL --bodies BODIES.npz --count 60

REAL holds videos and photographs of people, which are looked through with the program's own tracker. A logistic
regression on brightness, colour, contrast, sharpness at several scales and noise is trained to tell the two kinds
apart, tested on other videos and scenes than it was trained on. Printed is the area under its curve for each look: 0.5
where they cannot be told apart, 1 where they always can.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.dataset.scenes import LOOKS
from posturewatch.model.arrays import FloatArray
from posturewatch.tracking.crop import WIDE

Picture = NDArray[np.uint8]

MIDDLE = slice(40, 160)  # of the wide crop: hand, wrist and a part of the forearm
MOST_OUTSIDE = 0.08  # share of a crop's middle that may lie outside the picture
FRAMES_A_VIDEO = 12
SURE_SCORE = 0.5
FOLDS, STEPS, RATE, DECAY = 5, 600, 0.3, 0.02


def statistics(crop_bgr: Picture) -> FloatArray | None:
    """Numbers that describe how a crop's middle looks, None where too much of it lies outside the picture."""
    middle = crop_bgr[MIDDLE, MIDDLE]
    if (middle.max(axis=2) == 0).mean() > MOST_OUTSIDE:
        return None
    colour = cv2.cvtColor(middle.astype(np.float32) / 255, cv2.COLOR_BGR2Lab)
    light = colour[:, :, 0]
    out = [colour.mean((0, 1)), colour.std((0, 1)), np.percentile(light, [2, 10, 50, 90, 98])]
    chroma = np.hypot(colour[:, :, 1], colour[:, :, 2])
    out.append(np.percentile(chroma, [10, 50, 90, 99]))
    for step in range(4):  # how much there is at each scale, and how much of it in few places
        band = light - cv2.GaussianBlur(light, (0, 0), 1.5)
        size = np.abs(band)
        out.append(np.log([size.mean() + 0.01, np.median(size) + 0.01, np.percentile(size, 98) + 0.01]))
        fuzz = colour[:, :, 1] - cv2.GaussianBlur(colour[:, :, 1], (0, 0), 1.5)
        out.append(np.log([np.abs(fuzz).mean() + 0.01]))
        if step < 3:
            colour = cv2.pyrDown(colour)
            light = colour[:, :, 0]
    return np.asarray(np.concatenate(out), np.float64)


def told_apart(real: FloatArray, rendered: FloatArray, real_of: list[str], rendered_of: list[str]) -> float:
    """Area under the curve on held-out groups (videos, scenes). Rows are ``statistics``."""
    x = np.concatenate([real, rendered])
    y = np.concatenate([np.zeros(len(real)), np.ones(len(rendered))])
    groups = np.array([*real_of, *rendered_of])
    x = (x - x.mean(0)) / (x.std(0) + 1e-9)
    x = np.concatenate([x, np.ones((len(x), 1))], axis=1)
    weight = np.where(y > 0, 0.5 / len(rendered), 0.5 / len(real))
    said = np.zeros(len(y))
    fold_of = {name: k % FOLDS for k, name in enumerate(dict.fromkeys(groups.tolist()))}
    fold = np.array([fold_of[name] for name in groups])
    for held in range(FOLDS):
        learn, w = fold != held, np.zeros(x.shape[1])
        for _ in range(STEPS):
            chance = 1 / (1 + np.exp(-x[learn] @ w))
            w -= RATE * (x[learn].T @ ((chance - y[learn]) * weight[learn]) + DECAY * w)
        said[fold == held] = x[fold == held] @ w
    order = said.argsort().argsort() + 1.0
    high, low = int(y.sum()), int((1 - y).sum())
    return float((order[y > 0].sum() - high * (high + 1) / 2) / (high * low))


def real_frames(folder: Path) -> Iterator[tuple[str, Picture]]:
    """Photographs, and some frames of each video, with the name of where they come from."""
    import av

    for path in sorted(folder.rglob("*")):
        if path.suffix.lower() in (".jpg", ".jpeg", ".png"):
            picture = cv2.imread(str(path), cv2.IMREAD_COLOR)
            if picture is not None:
                yield str(path), np.asarray(picture, np.uint8)
        elif path.suffix.lower() in (".mp4", ".mkv", ".webm", ".mov"):
            with av.open(str(path)) as container:
                stream = container.streams.video[0]
                step = max((stream.frames or 300) // FRAMES_A_VIDEO, 1)
                for number, frame in enumerate(container.decode(stream)):
                    if number % step == step // 2:
                        yield str(path), frame.to_ndarray(format="bgr24")
                    if number > step * FRAMES_A_VIDEO:
                        break


def real_crops(folder: Path) -> Iterator[tuple[str, Picture]]:
    """Wide crops of the hands that the program's tracker finds."""
    from posturewatch.model.frame import Frame
    from posturewatch.tracking import Tracker

    with Tracker("still") as tracker:
        for number, (name, picture) in enumerate(real_frames(folder)):
            for hand in tracker.observe(Frame(number, 0.0, picture)).hands:
                if hand.score >= SURE_SCORE:
                    yield name, WIDE.cut(picture, WIDE.transform(hand.landmarks_px, hand.side))


def rendered_crops(bodies: Path, look: str, count: int, seed: int) -> Iterator[tuple[str, Picture]]:
    """Wide crops of the hands of ``count`` rendered players."""
    from calibration.body.bodies import load_bodies
    from calibration.dataset.scenes import Studio

    studio = Studio(load_bodies(bodies), look=look)
    for number in range(seed, seed + count):
        try:
            still = studio.still(number)
        except RuntimeError:  # no plausible pose for this seed
            continue
        for truth in still.label["hands"]:
            points = np.asarray(truth["joints_px"], float)
            if truth["hand_visible"] > SURE_SCORE and np.isfinite(points).all():
                yield str(number), WIDE.cut(still.image_bgr, WIDE.transform(points, truth["side"]))


def _rows(crops: Iterator[tuple[str, Picture]]) -> tuple[FloatArray, list[str]]:
    kept = [(name, numbers) for name, crop in crops if (numbers := statistics(crop)) is not None]
    return np.array([numbers for _, numbers in kept]), [name for name, _ in kept]


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--real", type=Path, required=True, help="folder of videos and photographs of people")
    parser.add_argument("--bodies", type=Path, required=True)
    parser.add_argument("--count", type=int, default=60, help="rendered players of each look")
    parser.add_argument("--seed", type=int, default=2000)
    options = parser.parse_args()
    if not options.real.is_dir():
        raise SystemExit(f"{options.real} is not a folder; give one with videos or photographs of people.")
    real, real_of = _rows(real_crops(options.real))
    if len(set(real_of)) < FOLDS:
        raise SystemExit(f"Hands were found in fewer than {FOLDS} videos or pictures of {options.real}.")
    for look in LOOKS:
        rendered, rendered_of = _rows(rendered_crops(options.bodies, look, options.count, options.seed))
        area = told_apart(real, rendered, real_of, rendered_of)
        print(
            f"{look}: told from real with an area of {area:.3f}; {len(real)} real, {len(rendered)} rendered"
        )


if __name__ == "__main__":
    main()
