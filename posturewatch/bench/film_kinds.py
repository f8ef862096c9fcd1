"""Whether films of other frame rates and kinds are measured alike: `python -m posturewatch.bench.film_kinds`.

From the frames of the bundled film, whose truth is known, ffmpeg (which has to be installed) makes films of 24, 30 and
60 frames a second, of a varying rate, of a phone held upright (turned, with a tag that turns it back), and with sound.
Each is measured by itself. Told are, of the left wrist: frames, and how far their times are from those that ffprobe
reads; in how many there are numbers; the mean error of flexion and deviation against the truth, and how often it lies
inside the stated 90 % interval; how far numbers are, in the middle, from those of the film of 30 frames a second, and
how often by less than the stated interval; and the warnings with their times.
"""

from __future__ import annotations

import argparse
import csv
import shutil
import struct
import subprocess
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from posturewatch.capture import demo_video
from posturewatch.comfort.exceedance import INTERVAL_SD
from posturewatch.model.quantities import in_group
from posturewatch.pipeline.build import Parts, load_parts
from posturewatch.pipeline.films.run import FilmWish, analyse_films
from posturewatch.pipeline.films.workers import Here

__all__ = ["KINDS", "Kind", "cut", "main"]

#: Around the first extreme angle that the player of the bundled film holds.
_FROM_S, _TO_S = 11.0, 21.5

_SIDE = "left"

#: (a, b, c, d) of a display matrix that turns a quarter clockwise (ISO/IEC 14496-12, section 8.3.2).
_CLOCKWISE = (0, 1, -1, 0)

#: Of a phone held upright.
_UPRIGHT = "pad=iw:ceil(iw*16/9/2)*2:0:(oh-ih)/2"


@dataclass(frozen=True)
class Kind:
    """How a film is made of the frames.

    Attributes
    ----------
    filters
        Of ffmpeg, for the pictures.
    sound
        Whether a tone goes along.
    turned
        Whether the pictures are kept turned anticlockwise, with the tag that turns them back.
    """

    filters: str = "null"
    sound: bool = False
    turned: bool = False


#: The one that others are compared with comes first. Where the rate varies, frames of the first half are left out in an
#: uneven pattern, and of the second half every other.
KINDS = {
    "30 a second": Kind(),
    "24 a second": Kind("fps=24"),
    "60 a second": Kind("fps=60"),
    "varying rate": Kind("select='if(lt(t,5),not(between(mod(n,7),2,4)),not(mod(n,2)))'"),
    "upright, turned": Kind(_UPRIGHT, turned=True),
    "with sound": Kind(sound=True),
}


@dataclass(frozen=True)
class _Found:
    """time_s (n,) of the bundled film; value, sd (n, 2) of the wrist's flexion and deviation in degrees, NaN where
    refused; clock_off_s: the farthest that a time is from ffprobe's; warned: (since, fired, cleared) in seconds."""

    time_s: NDArray[np.float64]
    value: NDArray[np.float64]
    sd: NDArray[np.float64]
    clock_off_s: float
    warned: tuple[tuple[float, ...], ...]


def cut(path: Path, from_s: float, to_s: float, kind: Kind | None = None) -> None:
    """Writes a film of such a stretch of the bundled one.

    Raises
    ------
    subprocess.CalledProcessError
        Where ffmpeg fails.
    """
    kind = Kind() if kind is None else kind
    tone = (
        ("-f", "lavfi", "-i", "sine=440:sample_rate=48000", "-c:a", "aac", "-shortest") if kind.sound else ()
    )
    command = [
        *(
            "ffmpeg",
            "-v",
            "error",
            "-y",
            "-ss",
            f"{from_s}",
            "-t",
            f"{to_s - from_s}",
            "-i",
            str(demo_video()),
        ),
        *tone,
        *("-vf", kind.filters + (",transpose=2" if kind.turned else ""), "-vsync", "vfr"),
        *("-c:v", "libx264", "-preset", "veryfast", "-crf", "12", "-pix_fmt", "yuv420p"),
        str(path),
    ]
    subprocess.run(command, check=True)
    if kind.turned:
        _turn(path)


def _turn(path: Path) -> None:
    """Writes the tag into the film's track header."""
    data, plain = path.read_bytes(), struct.pack(">9i", 1 << 16, 0, 0, 0, 1 << 16, 0, 0, 0, 1 << 30)
    at = data.index(plain, data.index(b"tkhd"))
    a, b, c, d = (value << 16 for value in _CLOCKWISE)
    path.write_bytes(data[:at] + struct.pack(">9i", a, b, 0, c, d, 0, 0, 0, 1 << 30) + data[at + 36 :])


def _times_by_ffprobe(path: Path) -> NDArray[np.float64]:
    """(n,) seconds from the first frame on."""
    ask = ("-select_streams", "v:0", "-show_entries", "frame=best_effort_timestamp_time", "-of", "csv=p=0")
    said = subprocess.run(
        ["ffprobe", "-v", "error", *ask, str(path)], check=True, capture_output=True, text=True
    ).stdout
    found = np.array([float(line.split(",")[0]) for line in said.split()])
    first: NDArray[np.float64] = found - found[0]
    return first


def measure(parts: Parts, path: Path, folder: Path) -> _Found:
    """What `posturewatch analyse` says of a film; its tables go into the folder."""
    (result,) = analyse_films([path], FilmWish(folder=folder), parts, Here(parts.build, lambda: False))
    summary = result.summary
    if summary is None or result.fault is not None:
        raise RuntimeError(result.note)
    with (folder / "samples.csv").open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["side"] == _SIDE]
    time_s = np.array([float(row["time_s"]) for row in rows])
    stated = _times_by_ffprobe(path)
    off_s = float(np.abs(time_s - stated).max()) if len(time_s) == len(stated) else np.inf
    value, sd = (
        np.array([[float(row[column] or "nan") for column in columns] for row in rows])
        for columns in (
            [one.column for one in in_group("wrist")],
            [one.sd_column for one in in_group("wrist")],
        )
    )
    warned = tuple(
        tuple(one[name] if one[name] is not None else np.nan for name in ("since_s", "fired_s", "cleared_s"))
        for one in summary["warned"]
        if one["side"] == _SIDE
    )
    return _Found(time_s + _FROM_S, value, sd, off_s, warned)


def truth() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Times (n,) and the left wrist's true flexion and ulnar deviation (n, 2) of the bundled film, degrees."""
    with demo_video().with_name("truth.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    columns = [f"{_SIDE}_flexion_deg", f"{_SIDE}_ulnar_deviation_deg"]
    return (
        np.array([float(row["time_s"]) for row in rows]),
        np.array([[float(row[column]) for column in columns] for row in rows]),
    )


def _nearest(times: NDArray[np.float64], asked: NDArray[np.float64]) -> NDArray[np.int64]:
    """Places in `times` (n,), ascending, that are nearest to those asked for (m,)."""
    right = np.clip(np.searchsorted(times, asked), 1, len(times) - 1)
    return np.where(asked - times[right - 1] < times[right] - asked, right - 1, right)


def _line(name: str, one: _Found, usual: _Found) -> str:
    times, angles = truth()
    true = np.stack([np.interp(one.time_s, times, angles[:, k]) for k in range(2)], axis=1)
    error = np.abs(one.value - true)
    place = _nearest(usual.time_s, one.time_s)
    apart = np.abs(one.value - usual.value[place])
    both = np.isfinite(apart)
    inside = error <= INTERVAL_SD * one.sd
    seen = np.isfinite(one.value)
    warned = "; ".join("/".join(f"{second:.1f}" for second in each) for each in one.warned) or "none"
    return (
        f"{name:<17}{len(one.time_s):>7}{1000 * one.clock_off_s:>9.1f}{100 * seen.mean():>10.1f}"
        f"{np.nanmean(error[:, 0]):>9.1f}{np.nanmean(error[:, 1]):>6.1f}{100 * inside[seen].mean():>9.1f}"
        f"{np.nanmedian(apart):>9.2f}{100 * (apart <= INTERVAL_SD * one.sd)[both].mean():>9.1f}   {warned}"
    )


def main(argv: Sequence[str] | None = None) -> int:
    """Prints a line for each kind; 1 where ffmpeg is not there."""
    parser = argparse.ArgumentParser(
        description="Films of other rates and kinds against that of 30 a second."
    )
    parser.add_argument(
        "--only", choices=list(KINDS), action="append", help="this kind beside the usual one; may be repeated"
    )
    args = parser.parse_args(argv)
    if shutil.which("ffmpeg") is None or shutil.which("ffprobe") is None:
        print("ffmpeg has to be installed for this.")
        return 1
    parts = load_parts(None, None)
    usual, *others = KINDS
    print(
        f"{'film':<17}{'frames':>7}{'ms off':>9}{'% given':>10}{'deg off':>15}{'% inside':>9}{'apart':>9}"
        f"{'% inside':>9}   warned since/fired/cleared"
    )
    first: _Found | None = None
    with tempfile.TemporaryDirectory(prefix="posturewatch-") as folder:
        for number, name in enumerate([usual, *(one for one in others if not args.only or one in args.only)]):
            path, out = Path(folder) / f"{number}.mp4", Path(folder) / f"{number}"
            cut(path, _FROM_S, _TO_S, KINDS[name])
            found = measure(parts, path, out)
            first = first or found
            print(_line(name, found, first), flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
