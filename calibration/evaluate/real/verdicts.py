"""Whether what is said of a view agrees with its error where several cameras see one hand, and whether moving helps.

    python -m calibration.evaluate.real.verdicts --real FOLDER

Every place (a camera and a hand of one session) gets the verdict that its own stated deviations give, and the error
against what the other cameras say. Places are compared on the very moments in which both have a number and a truth, so
that a hard moment counts for both. Then the instruction is followed: from every place that is not graded well to that
camera, of those that see the hand, whose verdict is the best.
"""

from __future__ import annotations

import argparse
import itertools
import tempfile
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.stats import spearmanr

from calibration.evaluate.real.multiview import Session
from calibration.evaluate.real.report import sessions_of
from calibration.evaluate.weights import read_weights
from posturewatch.comfort.looks import FAIR_ERROR, WELL_ERROR, Grade
from posturewatch.comfort.placement import grade
from posturewatch.kinematics.estimator import Estimator
from posturewatch.kinematics.network import Ensemble
from posturewatch.model.quantities import in_group

__all__ = ["Looks", "Place", "Seen", "lines", "looks_of", "moved", "pairs"]

_WRIST = tuple(entry.name for entry in in_group("wrist"))

#: Moments that two places have to share, and that a place needs, for a mean error to be spoken of.
LEAST_MOMENTS = 5

#: One angle of one hand of one session: what several cameras see.
Seen = tuple[str, str, str]


@dataclass(frozen=True)
class Place:
    """What one camera has of one angle: by moment the stated deviation and the error, degrees, where there are both;
    the deviations of all moments in which there is a number, and in how many the hand was in view."""

    at: Mapping[int, tuple[float, float]]
    sds: Sequence[float]
    in_view: int

    @property
    def sd(self) -> float | None:
        """The median stated deviation, on which the verdict rests."""
        return float(np.median(self.sds)) if self.sds else None

    @property
    def grade(self) -> Grade:
        """What the player would be told."""
        return grade(self.sd, len(self.sds) / max(self.in_view, 1), "deg")

    @property
    def error(self) -> float | None:
        """The mean error, None of too few moments."""
        return float(np.mean([one for _, one in self.at.values()])) if len(self.at) >= LEAST_MOMENTS else None


Looks = Mapping[Seen, Mapping[int, Place]]


def looks_of(sessions: Iterable[Session]) -> Looks:
    """All places by session, hand and angle, then by camera."""
    out: dict[Seen, dict[int, Place]] = defaultdict(dict)
    for session in sessions:
        for camera, side in sorted({(view.camera, view.side) for view in session.views}):
            views = [one for one in session.views if (one.camera, one.side) == (camera, side) and one.in_view]
            found = session.measured[camera]
            for place, name in enumerate(_WRIST):
                at, sds = {}, []
                for one in views:
                    if one.row is None or not found.reported[one.row, place]:
                        continue
                    sds.append(float(found.sd[one.row, place]))
                    truth = np.nan if one.truth is None else float(one.truth.angles_deg[place])
                    if np.isfinite(truth):
                        at[one.moment] = (sds[-1], abs(float(found.value[one.row, place]) - truth))
                out[session.name, side, name][camera] = Place(at, sds, len(views))
    return out


def pairs(looks: Looks) -> list[tuple[float, float, float]]:
    """Of every two cameras that see one angle: the mean deviations that they state, and how much larger the error of
    the second one is, on the moments that they share."""
    out = []
    for places in looks.values():
        for one, other in itertools.combinations(places.values(), 2):
            shared = sorted(set(one.at) & set(other.at))
            if len(shared) >= LEAST_MOMENTS:
                first, second = (np.mean([place.at[k] for k in shared], axis=0) for place in (one, other))
                out.append((float(first[0]), float(second[0]), float(second[1] - first[1])))
    return out


def moved(looks: Looks) -> list[tuple[float, float, float, float]]:
    """Of every place that is not graded well: its error, that of the camera with the best verdict, the mean over all
    other cameras, and the least of them, all on the moments that the place shares with each."""
    out = []
    for places in looks.values():
        for here, place in places.items():
            if place.grade is Grade.WELL:
                continue
            there = {}
            for camera, other in places.items():
                shared = set(place.at) & set(other.at)
                if camera != here and other.sd is not None and len(shared) >= LEAST_MOMENTS:
                    gain = float(np.mean([other.at[k][1] - place.at[k][1] for k in shared]))
                    there[camera] = (other.sd, gain)
            if place.sd is None or place.error is None or not there:
                continue
            best = min(there.values())
            if best[0] >= place.sd:
                continue  # the verdict is the best here, so nobody is sent away
            gains = [gain for _, gain in there.values()]
            error = place.error
            out.append((error, error + best[1], error + float(np.mean(gains)), error + min(gains)))
    return out


def lines(looks: Looks) -> list[str]:
    """What is told of all that."""
    known = [
        (place.grade, place.sd, place.error)
        for places in looks.values()
        for place in places.values()
        if place.sd is not None and place.error is not None
    ]
    out = [f"{len(known)} angles of a hand in a camera's view, each with {LEAST_MOMENTS} truths or more"]
    for which in Grade:
        errors = np.array([error for one, _, error in known if one is which])
        if len(errors):
            out.append(
                f"  {which.value:7s} {len(errors):3d}  mean error {errors.mean():5.1f}; within {WELL_ERROR:g} degrees "
                f"{(errors <= WELL_ERROR).mean():4.0%}, within {FAIR_ERROR:g} degrees "
                f"{(errors <= FAIR_ERROR).mean():4.0%}"
            )
    rank = spearmanr([sd for _, sd, _ in known], [error for _, _, error in known])
    out.append(
        f"rank correlation of deviation and error over all: {rank.statistic:.2f} (p {rank.pvalue:.2f})"
    )
    for name in _WRIST:
        some = {key: places for key, places in looks.items() if key[2] == name}
        out.append(f"{name}: {_agreement(pairs(some))}")
    out.append(f"both: {_agreement(pairs(looks))}")
    gone = np.array(moved(looks))
    if len(gone):
        here, best, other, least = gone.mean(axis=0)
        out.append(
            f"sent away from {len(gone)} views: error {here:.1f} there, {best:.1f} at the camera with the best verdict "
            f"(less in {(gone[:, 1] < gone[:, 0]).mean():.0%}), {other:.1f} at any other, {least:.1f} at the truly best"
        )
    return out


def _agreement(apart: Sequence[tuple[float, float, float]]) -> str:
    """In how many pairs of cameras the one with the smaller deviation has the smaller error, by how clearly the
    verdicts differ; and in how many it would be so if every place were off by one constant of just the size that it
    states.

    Of two centred normal errors the narrower one is the smaller with probability 2/pi arctan(ratio of the deviations),
    since their ratio has a Cauchy distribution.
    """
    told = []
    for least in (0.0, 1.0, 2.0):
        some = [one for one in apart if abs(one[1] - one[0]) > least]
        right = sum((second - first) * error > 0 for first, second, error in some)
        at_best = [2 / np.pi * np.arctan(max(one[:2]) / min(one[:2])) for one in some]
        share, expected = (
            (right / len(some), float(np.mean(at_best))) if some else (float("nan"), float("nan"))
        )
        told.append(
            f"{right} of {len(some)} ({share:.0%}; {expected:.0%} if it were all true) where they differ by more than "
            f"{least:g}"
        )
    return "of two cameras on the same moments the better verdict has the smaller error in " + ", ".join(told)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--real", type=Path, required=True, help="the folder of real people's videos")
    parser.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "posturewatch-real")
    parser.add_argument("--every", type=int, default=1, help="of multi-view videos, one moment in so many")
    args = parser.parse_args()
    ensemble = Ensemble(read_weights(None))
    sessions = sessions_of(args.real, args.cache, Estimator(ensemble), ensemble, every=args.every)
    print("\n".join(lines(looks_of(sessions))))


if __name__ == "__main__":
    main()
