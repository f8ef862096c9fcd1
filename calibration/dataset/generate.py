"""Write labelled stills or videos to a folder.

::

    python -m calibration.dataset.generate stills --split train --count 1000 --seed 0 --out DIR --workers 8
    python -m calibration.dataset.generate videos --split test --count 10 --seconds 12 --out DIR

Stills become ``DIR/<split>-<seed>.jpg`` and one line each of ``DIR/labels.jsonl``; videos become
``DIR/<split>-<seed>.mp4`` (needs PyAV) and one line for each frame. ``iterate_stills`` and ``Studio.video`` give the
same without writing, for pipelines that feed the pictures straight to a tracker.
"""

from __future__ import annotations

import argparse
import itertools
import json
import multiprocessing
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from calibration.body.bodies import SPLITS, default_path, load_bodies
from calibration.dataset.scenes import LOOKS, Still, Studio
from calibration.scene.view import FRAMINGS

VIDEO_RATE_HZ = 30

_studio: Studio | None = None


def iterate_stills(studio: Studio, split: str, seeds: range, framing: str | None = None) -> Iterator[Still]:
    """Stills of consecutive seeds; a seed without a plausible pose is skipped."""
    for seed in seeds:
        try:
            yield studio.still(seed, framing, split)
        except RuntimeError:
            continue


def _start_worker(bodies: str, look: str) -> None:
    global _studio
    import cv2

    cv2.setNumThreads(1)
    _studio = Studio(load_bodies(bodies), look=look)


def _still_job(job: tuple[int, str | None, str, str]) -> dict[str, Any] | None:
    seed, framing, split, out = job
    assert _studio is not None
    try:
        still = _studio.still(seed, framing, split)
    except RuntimeError:
        return None
    name = f"{split}-{seed:07d}.jpg"
    (Path(out) / name).write_bytes(still.jpeg)
    return {"image": name, **still.label}


def write_stills(options: argparse.Namespace) -> int:
    """Returns how many were written."""
    options.out.mkdir(parents=True, exist_ok=True)
    seeds = range(options.seed, options.seed + options.count)
    jobs = [(seed, options.framing, options.split, str(options.out)) for seed in seeds]
    written = 0
    context = multiprocessing.get_context("spawn")
    with (
        context.Pool(options.workers, _start_worker, (str(options.bodies), options.look)) as pool,
        (options.out / "labels.jsonl").open("w", encoding="utf-8") as file,
    ):
        for label in pool.imap(_still_job, jobs, chunksize=4):
            if label is not None:
                file.write(json.dumps(label) + "\n")
                written += 1
    return written


def write_videos(options: argparse.Namespace) -> int:
    """One after the other; returns how many were written."""
    import av

    options.out.mkdir(parents=True, exist_ok=True)
    studio = Studio(load_bodies(options.bodies), look=options.look)
    written = 0
    with (options.out / "labels.jsonl").open("w", encoding="utf-8") as file:
        for seed in range(options.seed, options.seed + options.count):
            name = f"{options.split}-{seed:07d}.mp4"
            frames = studio.video(
                seed, options.split, options.framing, round(options.seconds * VIDEO_RATE_HZ)
            )
            try:
                first = next(frames)
            except RuntimeError:  # no plausible pose for this seed
                continue
            with av.open(str(options.out / name), "w") as container:
                stream: Any = container.add_stream("libx264", rate=VIDEO_RATE_HZ, options={"crf": "20"})
                stream.height, stream.width = first[1].shape[:2]
                stream.pix_fmt = "yuv420p"
                for number, (_, image, label) in enumerate(itertools.chain([first], frames)):
                    file.write(json.dumps({"video": name, "frame": number, **label}) + "\n")
                    picture = av.VideoFrame.from_ndarray(np.ascontiguousarray(image), format="bgr24")
                    container.mux(stream.encode(picture))
                container.mux(stream.encode())
            written += 1
    return written


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("kind", choices=("stills", "videos"))
    parser.add_argument("--split", choices=SPLITS, default="train")
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--framing", choices=FRAMINGS)
    parser.add_argument("--look", choices=LOOKS, default=LOOKS[0])
    parser.add_argument("--seconds", type=float, default=10.0, help="length of each video")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--bodies", type=Path, default=default_path())
    return parser


def main() -> None:
    options = _parser().parse_args()
    count = write_stills(options) if options.kind == "stills" else write_videos(options)
    print(f"{count} {options.kind} in {options.out}")


if __name__ == "__main__":
    main()
