"""Fits the last layer of the estimator on real and rendered hands together: what is a hand, and how far angles are off,
to which side and by how much.

    python -m calibration.train.real --real FOLDER --data DIR --weights calibration/weights/estimator.npz

adds `presence`, `bias` and `spread` to the weights (`posturewatch.kinematics.witnesses`). DIR holds the rendered
calibration rows (`cal-*.npz`) with the networks' outputs beside them. To be run again whenever networks or estimator
were trained.
The real person is one; what is held out when it is told how well that works is the camera, of the rendered people half.
"""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from calibration.dataset.table import Table, load
from calibration.evaluate.real.labels import RealRows, real_rows
from calibration.evaluate.real.report import sessions_of
from calibration.evaluate.weights import read_weights
from posturewatch.kinematics.estimator import Estimator, RefusalRules
from posturewatch.kinematics.network import COVERAGE_Z, Ensemble
from posturewatch.kinematics.witnesses import (
    SPREAD_TERMS,
    WITNESSES,
    bias_of,
    chance_of_hand,
    spread_terms,
    stretched,
    witnesses,
)

Array = NDArray[np.float64]
Rows = NDArray[np.bool_]

FITTED = ("presence", "bias", "spread")
WRIST = 2  # the first of the outputs
RENDERED_WEIGHT = (
    5.0  # rendered hands are of many people, the real ones of one: so much more they weigh as a whole
)
RIDGE_PRESENCE, RIDGE_BIAS, RIDGE_SPREAD, RIDGE_QUANTILE = 0.005, 0.02, 0.01, 0.002
COVERAGE = 0.9  # share of errors inside intervals of COVERAGE_Z
MOST_OTHERS = 1 / 8  # the most that are true hands under the wrong side, which the program hardly ever takes
_LEAST_ODDS = -2.0  # log odds: what is less likely a hand is never taken for one
_SMALL_DEG = 2.0  # errors up to about so much count by their squares
_LOG_SD_RANGE = (-1, 5)
_BEND = 0.05  # of a standard deviation, in which the pinball loss bends
_DOUBTED = 0.3  # rendered rows of which the estimator thinks less a hand tell nothing of spreads


@dataclass(frozen=True)
class Outcome:
    """Rows as the estimator sees them. said (n, witnesses); chance (n,) its own of a hand; hand (n,) whether it is one
    of that side, nothing (n,) whether it is to be refused; half (n,) with which part it is held out; error, sd,
    true_sd (n, 2) degrees, NaN where unknown."""

    said: Array
    chance: Array
    hand: Rows
    nothing: Rows
    half: NDArray[np.int64]
    error: Array
    sd: Array
    true_sd: Array

    @property
    def usual(self) -> Rows:
        """(n,) whether the view is one of which a number may be given."""
        ood_score = self.said[:, WITNESSES.index("ood_score")]
        return np.asarray(ood_score <= RefusalRules().max_ood_score)

    def certain(self, sd: Array) -> Rows:
        """(n,) whether both angles would be given with such standard deviations (n, 2), were it a hand."""
        return np.asarray(self.usual & (sd <= RefusalRules().max_sd_deg).all(axis=1))

    def without(self, bias: Array) -> Outcome:
        """The same of angles less what these weights (2, len(WITNESSES) + 1) say of their bias."""
        return replace(self, error=self.error - np.stack([bias_of(self.said, b) for b in bias], axis=1))

    def stretched(self, spread: Array) -> Array:
        """(n, 2) the standard deviations with these weights (2, SPREAD_TERMS)."""
        return np.stack([stretched(self.sd[:, k], self.said, spread[k]) for k in range(WRIST)], axis=1)


def _through(ensemble: Ensemble, x: NDArray[np.float32]) -> tuple[Array, Array, Array, Array]:
    mean, sd, chance, ood_score = (np.asarray(part, float) for part in ensemble.estimate(x))
    return mean[:, :WRIST], sd[:, :WRIST], chance, np.asarray(witnesses(x, chance, ood_score), float)


def outcome_real(ensemble: Ensemble, rows: RealRows) -> Outcome:
    mean, sd, chance, said = _through(ensemble, rows.x)
    half = np.unique(rows.group, return_inverse=True)[1]
    return Outcome(said, chance, rows.hand, rows.nothing, half, mean - rows.true_deg, sd, rows.true_sd_deg)


def outcome_rendered(ensemble: Ensemble, table: Table) -> Outcome:
    found = table.columns["found"].astype(bool)
    mean, sd, chance, said = _through(ensemble, table.x[found])
    valid = table.valid[found].astype(bool)
    error = np.where(valid[:, None], mean - table.y[found, :WRIST], np.nan)
    half = table.identity[found].astype(np.int64) % 2
    return Outcome(said, chance, valid, ~valid, half, error, sd, np.zeros_like(error))


def _balanced(hand: Rows) -> Array:
    """Weights by which hands and others count the same as wholes."""
    return np.where(hand, 1 / max(hand.sum(), 1), 1 / max((~hand).sum(), 1))


def fit_presence(
    real: Outcome, rendered: Outcome, spread: Array, use_real: Rows, use_rendered: Rows
) -> Array:
    """(len(WITNESSES) + 1,) by logistic regression, moved so that `min_hand_presence` gives both angles, their
    spreads being those of `spread`, to no real row that is no hand, and to no more than MOST_OTHERS of the rendered
    ones that are no hand of their side."""
    said = np.concatenate([real.said[use_real], rendered.said[use_rendered]])
    hand = np.concatenate([real.hand[use_real], rendered.hand[use_rendered]])
    parts = (_balanced(real.hand[use_real]), RENDERED_WEIGHT * _balanced(rendered.hand[use_rendered]))
    weight = np.concatenate(parts)
    middle, scale = said.mean(axis=0), said.std(axis=0) + 1e-6
    z = np.column_stack([(said - middle) / scale, np.ones(len(said))])
    sign = np.where(hand, 1.0, -1.0)

    def loss(b: Array) -> float:
        each = np.logaddexp(0, -sign * (z @ b))
        return float((weight * each).sum() / weight.sum() + RIDGE_PRESENCE * (b[:-1] ** 2).sum())

    b = minimize(loss, np.zeros(z.shape[1])).x
    weights = np.append(b[:-1] / scale, b[-1] - (b[:-1] / scale * middle).sum())
    least = RefusalRules().min_hand_presence
    asked = np.log(least / (1 - least))
    highest = []
    for some, rows, share in ((real, use_real, 0.0), (rendered, use_rendered, MOST_OTHERS)):
        nothing = rows & some.nothing
        told = nothing & some.certain(some.stretched(spread))
        highest.append(_bound(some.said[told] @ weights[:-1], int(share * nothing.sum())))
    weights[-1] = asked - max(*highest, _LEAST_ODDS)
    return weights


def _bound(odds: Array, pass_now: int) -> float:
    """The least log odds, before what is added, that no more than so many pass."""
    ordered = np.sort(odds)[::-1]
    return float(ordered[pass_now] + 1e-6) if pass_now < len(ordered) else -np.inf


def _known(real: Outcome, rendered: Outcome, use_real: Rows, use_rendered: Rows, k: int) -> tuple[Rows, Rows]:
    """Which real and which rendered rows tell how far that angle is off."""
    told = use_real & real.hand & np.isfinite(real.error[:, k])
    posed = use_rendered & rendered.hand & np.isfinite(rendered.error[:, k]) & (rendered.chance > _DOUBTED)
    return told, posed


def fit_bias(real: Outcome, rendered: Outcome, use_real: Rows, use_rendered: Rows) -> Array:
    """(WRIST, len(WITNESSES) + 1) weights of `bias_of`, by the pseudo-Huber loss, which is the errors' sizes but for
    small ones. Angles of real hands are said too high, those of rendered ones are not, and the witnesses know one from
    the other."""
    out = np.zeros((WRIST, len(WITNESSES) + 1))
    for k in range(WRIST):
        told, posed = _known(real, rendered, use_real, use_rendered, k)
        error = np.concatenate([real.error[told, k], rendered.error[posed, k]])
        said = np.concatenate([real.said[told], rendered.said[posed]])
        weight = _weights(told, posed)
        middle = weight @ said
        scale = np.sqrt(weight @ (said - middle) ** 2) + 1e-6
        z = np.column_stack([(said - middle) / scale, np.ones(len(said))])

        def loss(b: Array, z: Array = z, error: Array = error, w: Array = weight) -> float:
            left = error - z @ b
            return float(w @ np.sqrt(left**2 + _SMALL_DEG**2) + RIDGE_BIAS * (b[:-1] ** 2).sum())

        b = minimize(loss, np.append(np.zeros(len(WITNESSES)), weight @ error)).x
        out[k] = np.append(b[:-1] / scale, b[-1] - (b[:-1] / scale * middle).sum())
    return out


def _weights(told: Rows, posed: Rows) -> Array:
    """Of the real rows, then of the rendered ones; both count the same as wholes, and together 1."""
    return np.concatenate([np.full(one.sum(), 0.5 / max(one.sum(), 1)) for one in (told, posed)])


def fit_spread(real: Outcome, rendered: Outcome, use_real: Rows, use_rendered: Rows) -> Array:
    """(WRIST, SPREAD_TERMS) by the likelihood of Laplace errors, of real ones with the truth's own; from there by
    quantile regression (Koenker and Bassett 1978), so that 90 % intervals hold 90 % of the errors whatever the
    witnesses say, and not only of all together: real errors have shorter tails than rendered ones of the same mean."""
    out = np.zeros((WRIST, SPREAD_TERMS))
    for k in range(WRIST):
        told, posed = _known(real, rendered, use_real, use_rendered, k)
        size = np.abs(np.concatenate([real.error[told, k], rendered.error[posed, k]]))
        own = np.concatenate([real.true_sd[told, k], rendered.true_sd[posed, k]]) ** 2
        terms = np.concatenate(
            [
                spread_terms(some.sd[rows, k], some.said[rows])
                for some, rows in ((real, told), (rendered, posed))
            ]
        )
        weight = _weights(told, posed)
        out[k] = _by_quantile(_by_likelihood(terms, size, own, weight), terms, size, own, weight)
    return out


def _spread_of(b: Array, terms: Array, own: Array) -> Array:
    """(n,) of errors from what is taken for the truth; own: variances of that."""
    return np.asarray(np.sqrt(np.exp(2 * np.clip(terms @ b, *_LOG_SD_RANGE)) + own))


def _by_likelihood(terms: Array, size: Array, own: Array, weight: Array) -> Array:
    start = np.zeros(SPREAD_TERMS)
    start[:2] = 2.0, 0.8  # the spreads as they are, nearly

    def loss(b: Array) -> float:
        sd = _spread_of(b, terms, own)
        each = size * np.sqrt(2) / sd + np.log(sd)
        return float(weight @ each + RIDGE_SPREAD * ((b - start)[1:] ** 2).sum())

    return np.asarray(minimize(loss, start).x)


def _by_quantile(start: Array, terms: Array, size: Array, own: Array, weight: Array) -> Array:
    unit = _spread_of(start, terms, own)

    def loss(b: Array) -> float:
        beyond = (size - COVERAGE_Z * _spread_of(b, terms, own)) / unit
        # The pinball loss, smoothed where it bends.
        each = COVERAGE * beyond + _BEND * np.logaddexp(0, -beyond / _BEND)
        return float(weight @ each + RIDGE_QUANTILE * ((b - start)[1:] ** 2).sum())

    return np.asarray(minimize(loss, start).x)


def _held_out(real: Outcome, rendered: Outcome) -> None:
    """Prints how well both do on what they were not fitted on."""
    least = RefusalRules().min_hand_presence
    for name, some, other in (("real", real, rendered), ("rendered", rendered, real)):
        chance, sd, error = np.zeros(len(some.hand)), np.zeros_like(some.sd), some.error.copy()
        for half in np.unique(some.half):
            rows, rest, everything = some.half == half, some.half != half, np.ones(len(other.hand), bool)
            uses = (rest, everything) if some is real else (everything, rest)
            bias = fit_bias(real, rendered, *uses)
            moved = real.without(bias), rendered.without(bias)
            spread = fit_spread(*moved, *uses)
            presence = fit_presence(*moved, spread, *uses)
            chance[rows] = chance_of_hand(some.said[rows], presence)
            sd[rows], error[rows] = some.stretched(spread)[rows], some.without(bias).error[rows]
        for what, p, s, off in (("before", some.chance, some.sd, some.error), ("now", chance, sd, error)):
            shown = (p >= least) & some.certain(s)
            cells = [
                f"hands {(p >= least)[some.hand].mean():.1%} of {some.hand.sum()} pass, "
                f"{(p >= least)[~some.hand].sum()} of {(~some.hand).sum()} others; both angles "
                f"{shown[some.hand].mean():.1%} and {shown[~some.hand].sum()}"
            ]
            for k, angle in enumerate(("flexion", "deviation")):
                rows = some.hand & shown & np.isfinite(off[:, k])
                size, total = np.abs(off[rows, k]), np.hypot(s[rows, k], some.true_sd[rows, k])
                cells.append(
                    f"{angle} off by {size.mean():.2f} ({off[rows, k].mean():+.1f}), "
                    f"sd {np.median(s[rows, k]):.1f}, in 90 % {(size <= COVERAGE_Z * total).mean():.1%} of {rows.sum()}"
                )
            print(f"  {name}, {what}: {'; '.join(cells)}")


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--real", type=Path, required=True)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--split", default="cal", help="which rendered rows (default: cal)")
    parser.add_argument("--weights", type=Path, required=True)
    parser.add_argument("--out", type=Path, help="where to write them (default: where they came from)")
    parser.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "posturewatch-real")
    args = parser.parse_args()
    if not args.real.is_dir():
        raise SystemExit(f"There is no {args.real}; without real hands there is nothing to fit.")
    weights = {name: value for name, value in read_weights(args.weights).items() if name not in FITTED}
    ensemble = Ensemble(weights)
    sessions = sessions_of(args.real, args.cache, Estimator(ensemble), ensemble, mode="video", every=1)
    real = outcome_real(ensemble, real_rows(sessions))
    rendered = outcome_rendered(ensemble, load(args.data, args.split))
    print("Held out, camera by camera and half the rendered people by the other:")
    _held_out(real, rendered)
    all_real, all_rendered = np.ones(len(real.hand), bool), np.ones(len(rendered.hand), bool)
    bias = fit_bias(real, rendered, all_real, all_rendered)
    real, rendered = real.without(bias), rendered.without(bias)
    spread = fit_spread(real, rendered, all_real, all_rendered)
    presence = fit_presence(real, rendered, spread, all_real, all_rendered)
    for name, fitted in zip(FITTED, (presence, bias, spread), strict=True):
        weights[name] = fitted.astype(np.float32)
    for angle, b in zip(("flexion", "deviation"), bias, strict=True):
        print(f"bias of {angle}:", dict(zip((*WITNESSES, "added"), b.round(2).tolist(), strict=True)))
    print("presence:", dict(zip((*WITNESSES, "added"), presence.round(2).tolist(), strict=True)))
    print("spread:", spread.round(2).tolist())
    out = args.out or args.weights
    np.savez_compressed(out, **weights)
    print(f"wrote {out} ({out.stat().st_size / 1e6:.1f} MB)")


if __name__ == "__main__":
    main()
