"""Whether one passage's share of time beyond a limit stands out against the rest of the session."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from posturewatch.exposure.autocorrelation import autocorrelation_time
from posturewatch.exposure.passages import Spread
from posturewatch.model.arrays import Array

__all__ = ["FindingRules", "StandingOut", "comparable", "standing_out"]


@dataclass(frozen=True)
class FindingRules:
    """When the data carry a finding. All common practice or plain reason.

    passage_s, session_s, rest_s: least measured seconds in the passage, in all, and outside the passage.
    measured_share: least share of the passage that was measured; what was not measured may be otherwise.
    share: least share of the measured time beyond the limit. Errors of neighbouring frames are alike, so many
        unlikely seconds do not add up to evidence: seconds that are certain alone must reach it too.
    ratio, excess: how many times, and by how much, it exceeds the share elsewhere.
    error_rate: of naming a passage that only happened to differ, over all that are compared.
    least_correlation_s: seconds closer than this are never taken for independent.
    posture_s: least seconds beyond and not beyond the limit for which a finger posture must be known.
    posture_share: a posture is named when it is there in this share of the time beyond the limit, and at
        least `ratio` times as often as otherwise.
    """

    passage_s: float = 20.0
    session_s: float = 60.0
    rest_s: float = 20.0
    measured_share: float = 0.5
    share: float = 0.1
    ratio: float = 2.0
    excess: float = 0.1
    error_rate: float = 0.05
    least_correlation_s: float = 2.0
    posture_s: float = 5.0
    posture_share: float = 0.6


@dataclass(frozen=True)
class StandingOut:
    """A place of a spread that stands out. Shares are expected shares of measured time.

    share_elsewhere: over all other places together. highest: the highest of any other place, None where that
    cannot be said (a place not measured, or one measured briefly and higher). certain_share: see `FindingRules.share`.
    p_value: of so large a difference to the rest by accident, over all comparisons. margin: by how much the
    share is above that elsewhere, its error taken off.
    """

    spread: Spread
    place: int
    share: float
    share_elsewhere: float
    highest: float | None
    certain_share: float
    measured_s: float
    measured_elsewhere_s: float
    p_value: float
    margin: float


def comparable(spread: Spread, place: int, rules: FindingRules) -> bool:
    """Whether the place can stand out at all: enough was measured in it and elsewhere, and the session has
    enough certain time beyond the limit, wherever it lies. What cannot is no comparison that could go wrong, and
    so is not counted as one (Tarone 1990, Biometrics 46:515-522, from memory)."""
    measured_s = spread.measured_s
    here_s, total_s = float(measured_s[place]), float(measured_s.sum())
    return (
        here_s >= max(rules.passage_s, rules.measured_share * float(spread.length_s[place]))
        and total_s >= rules.session_s
        and total_s - here_s >= rules.rest_s
        and float(spread.certain_s.sum()) >= rules.share * here_s
    )


def standing_out(spread: Spread, place: int, comparisons: int, rules: FindingRules) -> StandingOut | None:
    """The place's standing out, or None where it does not clearly enough.

    Parameters
    ----------
    place : int
        Of the spread's places; one that is `comparable`.
    comparisons : int
        How many are made in all.
    """
    measured_s, beyond_s = spread.measured_s, spread.beyond_s
    others = np.arange(measured_s.size) != place
    here_s, rest_s = float(measured_s[place]), float(measured_s[others].sum())
    share, elsewhere = float(beyond_s[place]) / here_s, float(beyond_s[others].sum()) / rest_s
    certain_share = float(spread.certain_s[place]) / here_s
    solid = np.flatnonzero(others & (measured_s >= rules.passage_s))
    rivals = [(elsewhere, rest_s)]
    rivals += [(float(beyond_s[one] / measured_s[one]), float(measured_s[one])) for one in solid]
    strongest = max(rivals)
    if min(share, certain_share) < rules.share or share < strongest[0] + rules.excess:
        return None
    if share < rules.ratio * strongest[0]:
        return None
    memory_s = max(
        rules.least_correlation_s, autocorrelation_time(_residual(spread, place)), _excursion_memory(spread)
    )
    # A passage held beyond the limit from end to end is one excursion, and still says something.
    memory_s = min(memory_s, rules.passage_s)
    # Against all the rest counting every comparison; against the strongest rival, already picked, once.
    difference, error = _difference((share, here_s), rivals[0], memory_s)
    margin = difference - ndtri(1.0 - rules.error_rate / comparisons) * error
    p_value = min(1.0, comparisons * ndtr(-difference / error))
    difference, error = _difference((share, here_s), strongest, memory_s)
    margin = min(margin, difference - ndtri(1.0 - rules.error_rate) * error)
    if margin <= 0:
        return None
    return StandingOut(
        spread,
        place,
        share,
        elsewhere,
        _highest(spread, others, rules),
        certain_share,
        here_s,
        rest_s,
        float(p_value),
        float(margin),
    )


def _excursion_memory(spread: Spread) -> float:
    """For how many seconds excursions make one observation: their mean length times the share of time
    not beyond. Of few and long ones, the autocorrelation about a mean that they made themselves shows too
    little. Excursions that come and go at random have twice this; half of it is chosen, so that of simulated
    sessions whose passages are all alike hardly any gets a finding (`tests/test_exposure_findings.py`).
    """
    lasted_s = spread.excursion_s[spread.excursion_s > 0]
    if lasted_s.size == 0:
        return 0.0
    share = float(spread.beyond_s.sum() / spread.measured_s.sum())
    return float(lasted_s.mean()) * (1.0 - share)


def _residual(spread: Spread, place: int) -> Array:
    """By whole second: time beyond the limit less what the mean share here, or elsewhere, would give."""
    cells = spread.cells
    residual = np.zeros(cells.spans)
    for chosen in (cells.place == place, cells.place != place):
        beyond, measured = (
            np.bincount(cells.second[chosen], one[chosen], cells.spans)
            for one in (spread.beyond, cells.measured)
        )
        residual += beyond - measured * (beyond.sum() / measured.sum())
    return residual


def _difference(
    here: tuple[float, float], rival: tuple[float, float], memory_s: float
) -> tuple[float, float]:
    """(difference, standard error) of two shares, each with its seconds, of which memory_s make one
    independent observation. One more success and failure each keep it honest for few (Agresti & Caffo 2000,
    Am Stat 54:280-288, from memory)."""
    shares, variances = [], []
    for share, seconds in (here, rival):
        count = seconds / memory_s
        kept = (share * count + 1.0) / (count + 2.0)
        shares.append(kept)
        variances.append(kept * (1.0 - kept) / (count + 2.0))
    return shares[0] - shares[1], math.sqrt(sum(variances))


def _highest(spread: Spread, others: NDArray[np.bool_], rules: FindingRules) -> float | None:
    measured_s, beyond_s = spread.measured_s, spread.beyond_s
    solid = others & (measured_s >= rules.passage_s)
    if not solid.any() or np.any(others & (measured_s <= 0) & (spread.length_s >= rules.passage_s)):
        return None
    highest = float((beyond_s[solid] / measured_s[solid]).max())
    brief = others & ~solid & (measured_s > 0)
    return None if np.any(beyond_s[brief] > highest * measured_s[brief]) else highest
