"""The next thing to work on: the one passage, hand and direction that stands out, in one sentence, or nothing."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from posturewatch.comfort.limits import LEVELS
from posturewatch.comfort.phrases import leaning
from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.passages import Passage, Spread, probability_beyond, spreads
from posturewatch.exposure.standing_out import FindingRules, StandingOut, comparable, standing_out
from posturewatch.model.arrays import Array
from posturewatch.model.observation import Side
from posturewatch.model.verdict import Level

__all__ = [
    "Finding",
    "FingerPosture",
    "PostureEvidence",
    "finding_of",
    "most_outstanding",
    "next_to_work_on",
]


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
        return self.evidence.spread.side

    @property
    def quantity(self) -> str:
        return self.evidence.spread.entry.name

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
            f"limit_{found.spread.entry.unit}": round(found.spread.limit, 2),
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
    best = most_outstanding((one for own in series for one in spreads(own, passages, end_s)), passages, rules)
    if best is None:
        return None
    own = next(one for one in series if (one.side, one.entry) == (best.spread.side, best.spread.entry))
    return finding_of(best, passages[best.place], own, postures=postures, rules=rules)


def most_outstanding(
    found: Iterable[Spread], passages: Sequence[Passage], rules: FindingRules | None = None
) -> StandingOut | None:
    """What stands out most of all spreads of a session; see `next_to_work_on`."""
    rules = FindingRules() if rules is None else rules
    compared = [
        (spread, place)
        for spread in found
        for place in range(len(passages))
        if comparable(spread, place, rules)
    ]
    judged = [standing_out(spread, place, len(compared), rules) for spread, place in compared]
    return max(
        (one for one in judged if one is not None),
        key=lambda one: (LEVELS.index(one.spread.level), one.margin),
        default=None,
    )


def finding_of(
    best: StandingOut,
    passage: Passage,
    series: ExposureSeries,
    *,
    postures: Sequence[FingerPosture] = (),
    rules: FindingRules | None = None,
) -> Finding:
    """What stands out, told. passage, series: those that it is of; see `next_to_work_on`."""
    posture = _posture(best, passage, series, postures, FindingRules() if rules is None else rules)
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
    side, entry, direction = found.spread.side, found.spread.entry, found.spread.direction
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
        f"{side.capitalize()} {leaning(entry.name, direction)} beyond {limit} "
        f"{_UNIT_WORDS.get(entry.unit, entry.unit)} for {100 * found.share:.0f} % of {whole}"
        f"{fingers}; {contrast}."
    )


def _posture(
    found: StandingOut,
    passage: Passage,
    series: ExposureSeries,
    postures: Sequence[FingerPosture],
    rules: FindingRules,
) -> PostureEvidence | None:
    """The finger posture of the same hand that goes most with being beyond the limit, or None."""
    samples, seconds = series.parts(passage.windows)
    probability = probability_beyond(series, found.spread.direction, found.spread.limit)[samples]
    best: PostureEvidence | None = None
    for posture in postures:
        if posture.side != series.side or posture.time_s.size == 0:
            continue
        latest = np.searchsorted(posture.time_s, series.time_s[samples], side="right") - 1
        present = posture.present[np.maximum(latest, 0)]
        age_s = series.time_s[samples] - posture.time_s[np.maximum(latest, 0)]
        fresh = (latest >= 0) & (age_s <= series.rules.watch.max_gap_s)
        known = np.flatnonzero(np.isfinite(present) & fresh)
        beyond = (seconds * probability)[known]
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
