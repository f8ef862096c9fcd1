"""Fits the angle estimator on what the real tracker saw of rendered players.

    python -m calibration.train.estimator --data DIR --out calibration/weights/estimator.npz

An ensemble of small perceptrons learns means and spreads on the training identities. On the calibration identities
the spreads are stretched by one factor for each output so that 90 % of the errors lie inside the 90 % intervals (split
conformal prediction). The test identities are never read here.
"""

from __future__ import annotations

import argparse
import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn

from calibration.dataset.table import Table, load, together
from calibration.evaluate.weights import read_weights
from calibration.train.averaging import WRIST_OUTPUTS, alone, averaged
from posturewatch.kinematics.estimator import RefusalRules
from posturewatch.kinematics.features import BLOCKS, FEATURES, FIRST_GUESS
from posturewatch.kinematics.network import COVERAGE_Z, MAX_Z, Ensemble

MEMBERS = 12
LEAST_KNOWN = 50  # true values from which an output's skill is told
HIDDEN = (256, 128)
#: The power of the distance from the training data with which the spreads grow. The members do not know it by
#: themselves: without it 94 and 93 % (flexion, deviation) of the nearest sixth of the calibration pictures lay inside
#: their 90 % intervals and 88 % of the farthest, with it 90 to 91 % of both. From 0.2 to 0.4 the likelihood of those
#: pictures is the same. On pictures from another renderer, which all lie farther off, it is 85 instead of 81 % of the
#: deviations.
WIDENING = 0.3
BODY = BLOCKS["body"]
UNSEEN_BODIES = 0.1  # share of rows that are shown without the body, as it is not always seen
LANDMARKS = slice(FEATURES["hand.landmarks_px"].start, FEATURES["hand.frame"].stop)
#: Share of rows that are shown with mean landmarks of the hand. The library's are learned by heart, body by body, and
#: lie across the palm of many a real fretting hand; without them altogether real hands were measured less often.
HIDDEN_LANDMARKS = 0.3
#: Of how many pictures the estimator is told the camera's field of view: in use most players do not state it.
STATED_SHARE = 0.3
MATRICES = ("w0", "w1", "w2")  # stored with half the digits
Array = NDArray[np.float32]


@dataclass(frozen=True)
class Fit:
    x_mean: Array
    x_scale: Array
    y_mean: Array
    y_scale: Array
    layers: tuple[torch.Tensor, ...]


class MemberNet(nn.Module):
    """`members` perceptrons side by side; every member sees its own batch."""

    def __init__(self, members: int, inputs: int, hidden: tuple[int, int], outputs: int) -> None:
        super().__init__()
        sizes = (inputs, *hidden, outputs)
        self.w = nn.ParameterList(
            nn.Parameter(torch.randn(members, a, b) * math.sqrt(2 / a)) for a, b in itertools.pairwise(sizes)
        )
        self.b = nn.ParameterList(nn.Parameter(torch.zeros(members, 1, b)) for b in sizes[1:])
        with torch.no_grad():
            self.w[-1].mul_(0.1)

    @torch.no_grad()
    def go_on_from(self, weights: Mapping[str, Array]) -> None:
        """Takes over the layers of weights that were written before. Raises ValueError where they have other shapes."""
        for k, (w, b) in enumerate(zip(self.w, self.b, strict=True)):
            for own, name in ((w, f"w{k}"), (b, f"b{k}")):
                values = torch.tensor(weights[name].astype(np.float32))
                values = values if name.startswith("w") else values[:, None]
                if values.shape != own.shape:
                    raise ValueError(f"{name} of the weights to go on from is {tuple(values.shape)}")
                own.copy_(values)

    def forward(self, x: torch.Tensor, dropout: float = 0.0) -> torch.Tensor:
        """x: (members, n, inputs) to (members, n, outputs)."""
        last = len(self.w) - 1
        for k, (w, b) in enumerate(zip(self.w, self.b, strict=True)):
            x = torch.baddbmm(b, x, w)
            if k < last:
                x = torch.relu(x)
                if dropout and self.training:
                    x = nn.functional.dropout(x, dropout)
        return x


def _loss(
    out: torch.Tensor, y: torch.Tensor, known: torch.Tensor, valid: torch.Tensor, importance: torch.Tensor
) -> torch.Tensor:
    """Laplace likelihood of the known outputs, and the cross-entropy of being a real hand at all."""
    n = y.shape[-1]
    log_scale = out[..., n : 2 * n].clamp(-5, 3)
    each = (out[..., :n] - y).abs() * torch.exp(-log_scale) * math.sqrt(2) + log_scale
    regression = (each * known * importance).sum(-1).mean()
    return regression + 0.5 * nn.functional.binary_cross_entropy_with_logits(out[..., 2 * n], valid)


def fit_means(
    table: Table,
    *,
    steps: int,
    batch: int,
    seed: int,
    device: str,
    start: Mapping[str, Array] | None = None,
    peak: float = 3e-3,
) -> tuple[Fit, MemberNet]:
    """table: training rows; what is learned is how far the truth is from the first guess. start: weights to go on
    from, with what they were scaled by; peak: the highest learning rate."""
    torch.manual_seed(seed)
    good = table.valid.astype(bool)
    off = table.y - table.x @ FIRST_GUESS.astype(np.float32)
    if start is None:
        x_mean, x_scale = table.x.mean(0), table.x.std(0) + 1e-3
        y_mean, y_scale = np.nanmean(off[good], 0), np.nanstd(off[good], 0) + 1e-3
    else:
        x_mean, x_scale, y_mean, y_scale = (
            start[name] for name in ("x_mean", "x_scale", "y_mean", "y_scale")
        )
    x = torch.tensor(np.clip((table.x - x_mean) / x_scale, -MAX_Z, MAX_Z), device=device)
    blank = torch.tensor(-x_mean / x_scale, device=device)
    known = torch.tensor((np.isfinite(off) & good[:, None]).astype(np.float32), device=device)
    y = torch.tensor(np.nan_to_num((off - y_mean) / y_scale).astype(np.float32), device=device)
    valid = torch.tensor(table.valid.astype(np.float32), device=device)
    importance = torch.full((y.shape[1],), 0.15, device=device)
    importance[:2] = 1.0
    net = MemberNet(MEMBERS, x.shape[1], HIDDEN, 2 * y.shape[1] + 1).to(device)
    if start is not None:
        net.go_on_from(start)
    optimiser = torch.optim.AdamW(net.parameters(), peak, weight_decay=0.2)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, peak, total_steps=steps)
    for step in range(steps):
        rows = torch.randint(0, len(x), (MEMBERS, batch), device=device)
        xb = x[rows] + 0.04 * torch.randn(MEMBERS, batch, x.shape[1], device=device)
        gone = torch.rand(MEMBERS, batch, 1, device=device) < UNSEEN_BODIES
        xb[..., BODY] = torch.where(gone, blank[BODY], xb[..., BODY])
        gone = torch.rand(MEMBERS, batch, 1, device=device) < HIDDEN_LANDMARKS
        xb[..., LANDMARKS] = xb[..., LANDMARKS].masked_fill(gone, 0.0)
        loss = _loss(net(xb, 0.2), y[rows], known[rows], valid[rows], importance)
        optimiser.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 10.0)
        optimiser.step()
        schedule.step()
        if step % max(1, steps // 8) == 0:
            print(f"  step {step}: loss {loss.item():.3f}", flush=True)
    net.eval()
    return Fit(x_mean, x_scale, y_mean, y_scale, tuple(p.detach().cpu() for p in (*net.w, *net.b))), net


def weights_of(fit: Fit, table: Table, members: MemberNet, components: int = 40) -> dict[str, NDArray[Any]]:
    """The arrays that `kinematics.network.Ensemble` reads; the distance scale comes from the training rows."""
    out: dict[str, NDArray[Any]] = {
        "x_mean": fit.x_mean, "x_scale": fit.x_scale, "y_mean": fit.y_mean, "y_scale": fit.y_scale,
        "base": FIRST_GUESS,
    }  # fmt: skip
    for k in range(3):
        out[f"w{k}"] = members.w[k].detach().cpu().numpy()
        out[f"b{k}"] = members.b[k].detach().cpu().numpy()[:, 0]
    z = np.clip((table.x[table.valid.astype(bool)] - fit.x_mean) / fit.x_scale, -MAX_Z, MAX_Z)
    _, s, vt = np.linalg.svd(z - z.mean(0), full_matrices=False)
    basis = vt[:components].T.astype(np.float32)
    scale = (s[:components] / math.sqrt(len(z))).astype(np.float32)
    scores = z @ basis
    rest = z - scores @ basis.T
    rest_scale = np.float32(np.sqrt((rest**2).sum(1).mean() / max(1, z.shape[1] - components)))
    distance = np.sqrt(((scores / scale) ** 2).sum(1) + (rest**2).sum(1) / rest_scale**2)
    out["basis"], out["basis_scale"] = basis, scale
    out["rest_scale"] = np.array([rest_scale], np.float32)
    out["ood_distance"] = np.array([np.quantile(distance, 0.995)], np.float32)
    return {name: np.asarray(value, np.float32) for name, value in out.items()}


def conformal_factor(sd: Array, error: Array, coverage: float = 0.9) -> Array:
    """(outputs,) factor by which the spreads must be stretched so that sd * COVERAGE_Z holds the stated share of the
    errors, with the finite-sample correction of split conformal prediction (Vovk et al. 2005; from memory).

    sd, error: (n, outputs), errors absolute, NaN where unknown."""
    ratio = error / (sd * COVERAGE_Z)
    out = np.ones(error.shape[1], np.float32)
    for k in range(error.shape[1]):
        r = np.sort(ratio[np.isfinite(ratio[:, k]), k])
        if len(r):
            out[k] = r[min(len(r) - 1, math.ceil((len(r) + 1) * coverage) - 1)]
    return out


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument(
        "--more", type=Path, nargs="*", default=[], help="further folders whose training rows are used too"
    )
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--steps", type=int, default=4000)
    parser.add_argument("--batch", type=int, default=512)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--start", type=Path, help="go on from these weights")
    parser.add_argument("--peak", type=float, default=3e-3, help="highest learning rate")
    args = parser.parse_args()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    train_rows = together([load(folder, "train", STATED_SHARE) for folder in (args.data, *args.more)])
    cal_rows = load(args.data, "cal", STATED_SHARE)
    start = None if args.start is None else alone(read_weights(args.start))
    fit, net = fit_means(
        train_rows,
        steps=args.steps,
        batch=args.batch,
        seed=args.seed,
        device=device,
        start=start,
        peak=args.peak,
    )
    weights = averaged(weights_of(fit, train_rows, net))
    weights["widening"] = widening(weights, cal_rows)
    weights["factor"], weights["skill"] = calibrate(weights, cal_rows)
    args.out.parent.mkdir(parents=True, exist_ok=True)
    np.savez_compressed(
        args.out, **{k: v.astype(np.float16) if k in MATRICES else v for k, v in weights.items()}
    )
    print(f"wrote {args.out} ({args.out.stat().st_size / 1e6:.1f} MB)")


def usable(weights: dict[str, Array], rows: Table) -> NDArray[np.bool_]:
    """(n,) the true hands of the calibration identities that the program would give numbers of."""
    _, _, hand_presence, ood_score = Ensemble(weights).predict_many(rows.x)
    rules = RefusalRules()
    use = rows.valid & rows.columns["found"]
    return np.asarray(use & (hand_presence >= rules.min_hand_presence) & (ood_score <= rules.max_ood_score))


def widening(weights: dict[str, Array], rows: Table) -> Array:
    """(2,) how the spreads grow with the distance from the training data: the power, and the usual distance."""
    *_, ood_score = Ensemble(weights).predict_many(rows.x[usable(weights, rows)])
    return np.array([WIDENING, np.median(ood_score)], np.float32)


def calibrate(weights: dict[str, Array], rows: Table) -> tuple[Array, Array]:
    """The stretch factors, and the skill (2, outputs) for fretting hands and others, from those hands of the
    calibration identities that the program would give numbers of.

    Fretting fingers are harder to see than those that pluck, and the estimator is not told which they are:
    theirs is the greater of the two factors."""
    use = usable(weights, rows)
    mean, sd, _, _ = Ensemble(weights).predict_many(rows.x[use])
    error = np.abs(rows.y[use] - mean).astype(np.float32)
    factor = conformal_factor(sd, error)
    fretting = rows.columns["fretting"][use].astype(bool)
    skill = np.full((2, error.shape[1]), np.nan, np.float32)
    for place, role in enumerate((fretting, ~fretting)):
        own = conformal_factor(sd[role], error[role])
        factor[WRIST_OUTPUTS:] = np.maximum(factor, own)[WRIST_OUTPUTS:]
        true = rows.y[use][role]
        known = np.isfinite(true).sum(0) >= LEAST_KNOWN
        about = np.nanmean(np.abs(true - np.nanmedian(true, 0)), 0)
        skill[place] = np.where(known, 1 - np.nanmean(error[role], 0) / about, np.nan)
    print("  stretch factors of the two wrist angles:", factor[:WRIST_OUTPUTS])
    return factor, skill


if __name__ == "__main__":
    main()
