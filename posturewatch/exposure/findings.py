"""The next thing to work on: the one passage, hand and direction that stands out, in one sentence, or nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from posturewatch.comfort.limits import LEVELS
from posturewatch.comfort.phrases import leaning
from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.passages import Passage, spreads
from posturewatch.exposure.standing_out import FindingRules, StandingOut, comparable, standing_out
from posturewatch.model.arrays import Array
from posturewatch.model.observation import Side
from posturewatch.model.verdict import Level

__all__ = ["Finding", "FingerPosture", "PostureEvidence", "next_to_work_on"]


_UNIT_WORDS = {"deg": "degrees", "mm": "mm"}

#: Below this share of a passage measured, the sentence says how much of it was.
_WELL_MEASURED = 0.8


@dataclass(frozen=True)
class FingerPosture:
    """Whether the fingers of a hand are in some posture. text: what follows "mostly with", for instance "the
    fourth finger stretched". time_s: (m,) in order. present: (m,) probability, NaN where unknown."""

    side: Side
    text: str
    time_s: Array
    present: Array


@dataclass(frozen=True)
class PostureEvidence:
    """A finger posture that goes with a finding: its share of the time beyond the limit, and of the rest of
    the passage's time."""

    text: str
    share_beyond: float
    share_otherwise: float


@dataclass(frozen=True)
class Finding:
    """One sentence and what it rests on. evidence: see `StandingOut`. measured_share: of the passage's whole time."""

    sentence: str
    passage: Passage
    evidence: StandingOut
    measured_share: float
    posture: PostureEvidence | None

    @property
    def side(self) -> Side:
        return self.evidence.spread.series.side

    @property
    def quantity(self) -> str:
        return self.evidence.spread.series.entry.name

    @property
    def direction(self) -> str:
        return self.evidence.spread.direction

    @property
    def level(self) -> Level:
        return self.evidence.spread.level

    def to_json(self) -> dict[str, Any]:
        """JSON's types; what cannot be said is null."""
        found = self.evidence
        return {
            "sentence": self.sentence,
            "passage_id": self.passage.id,
            "piece": self.passage.piece,
            "part": self.passage.part,
            "side": self.side,
            "quantity": self.quantity,
            "direction": self.direction,
            "level": self.level,
            f"limit_{found.spread.series.entry.unit}": round(found.spread.limit, 2),
            "share": round(found.share, 4),
            "share_elsewhere": round(found.share_elsewhere, 4),
            "highest_elsewhere": None if found.highest is None else round(found.highest, 4),
            "certain_share": round(found.certain_share, 4),
            "measured_s": round(found.measured_s, 3),
            "measured_share": round(self.measured_share, 4),
            "measured_elsewhere_s": round(found.measured_elsewhere_s, 3),
            "p_value": round(found.p_value, 6),
            "posture": None
            if self.posture is None
            else {
                "text": self.posture.text,
                "share_beyond": round(self.posture.share_beyond, 4),
                "share_otherwise": round(self.posture.share_otherwise, 4),
            },
        }


def next_to_work_on(
    series: Sequence[ExposureSeries],
    passages: Sequence[Passage],
    end_s: float,
    *,
    postures: Sequence[FingerPosture] = (),
    rules: FindingRules | None = None,
) -> Finding | None:
    """The one passage, hand and direction of a session that stands out, or None where the data carry none.

    A finding about an extreme limit goes before one about a comfort limit; among those of one level, the one whose
    share is above that of the rest by the widest margin. That a difference is no accident is judged with as many
    independent observations as the seconds measured, divided by those for which being beyond the limit remembers
    itself (`autocorrelation_time`), at an error rate divided by the count of comparisons (Bonferroni).

    Parameters
    ----------
    series : sequence of ExposureSeries
        One per quantity and hand.
    passages : sequence of Passage
        Where the finding may lie; they do not overlap.
    end_s : float
        The session runs from 0 to here.
    postures : sequence of FingerPosture
        Of which one is named where it goes with the finding.

    Raises
    ------
    ValueError
        Where passages overlap.
    """
    rules = FindingRules() if rules is None else rules
    compared = [
        (spread, place)
        for one in series
        for spread in spreads(one, passages, end_s)
        for place in range(len(passages))
        if comparable(spread, place, rules)
    ]
    judged = [standing_out(spread, place, len(compared), rules) for spread, place in compared]
    found = [one for one in judged if one is not None]
    if not found:
        return None
    best = max(found, key=lambda one: (LEVELS.index(one.spread.level), one.margin))
    passage = passages[best.place]
    posture = _posture(best, passage, postures, rules)
    measured_share = best.measured_s / float(best.spread.length_s[best.place])
    return Finding(
        _sentence(best, passage, measured_share, posture),
        passage,
        best,
        measured_share,
        posture,
    )


def _sentence(
    found: StandingOut, passage: Passage, measured_share: float, posture: PostureEvidence | None
) -> str:
    series, direction = found.spread.series, found.spread.direction
    limit = f"{found.spread.limit:.1f}".removesuffix(".0")
    whole = f"{passage.name}"
    if measured_share < _WELL_MEASURED:
        whole = f"the {found.measured_s:.0f} s that could be measured of {whole}"
    fingers = "" if posture is None else f", mostly with {posture.text}"
    if found.highest is None:
        contrast = f"{100 * found.share_elsewhere:.0f} % in the rest of the session"
    else:
        # Rounded up, since it says that nothing lies above.
        contrast = f"nowhere else above {max(1, math.ceil(100 * found.highest - 1e-9))} %"
    return (
        f"{series.side.capitalize()} {leaning(series.entry.name, direction)} beyond {limit} "
        f"{_UNIT_WORDS.get(series.entry.unit, series.entry.unit)} for {100 * found.share:.0f} % of {whole}"
        f"{fingers}; {contrast}."
    )


def _posture(
    found: StandingOut, passage: Passage, postures: Sequence[FingerPosture], rules: FindingRules
) -> PostureEvidence | None:
    """The finger posture of the same hand that goes most with being beyond the limit, or None."""
    series = found.spread.series
    samples, seconds = series.parts(passage.windows)
    best: PostureEvidence | None = None
    for posture in postures:
        if posture.side != series.side or posture.time_s.size == 0:
            continue
        latest = np.searchsorted(posture.time_s, series.time_s[samples], side="right") - 1
        present = posture.present[np.maximum(latest, 0)]
        age_s = series.time_s[samples] - posture.time_s[np.maximum(latest, 0)]
        fresh = (latest >= 0) & (age_s <= series.rules.watch.max_gap_s)
        known = np.flatnonzero(np.isfinite(present) & fresh)
        beyond = (seconds * found.spread.probability[samples])[known]
        otherwise = seconds[known] - beyond
        if min(beyond.sum(), otherwise.sum()) < rules.posture_s:
            continue
        share_beyond = float(beyond @ present[known] / beyond.sum())
        share_otherwise = float(otherwise @ present[known] / otherwise.sum())
        if share_beyond < max(rules.posture_share, rules.ratio * share_otherwise):
            continue
        if best is None or share_beyond - share_otherwise > best.share_beyond - best.share_otherwise:
            best = PostureEvidence(posture.text, share_beyond, share_otherwise)
    return best
