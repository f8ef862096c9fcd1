"""Tells what `calibration.evaluate.instructed` kept: errors before and after following what was said of a view."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binomtest, wilcoxon

from posturewatch.comfort.looks import FAIR_ERROR, WELL_ERROR, Advice, Grade, Help, Placement
from posturewatch.model.arrays import Array
from posturewatch.model.observation import SIDES
from posturewatch.model.quantities import in_group

__all__ = ["Followed", "Seen", "lines"]

#: A change of a player's mean error counts from here on, degrees.
MUCH_DEG = 1.0
#: The same of the share of angles that are measured, and within ten degrees.
MUCH_SHARE = 0.05
#: Fewer moments with a number both before and after tell nothing of a player.
LEAST_MOMENTS = 10
_WRIST = [entry.name for entry in in_group("wrist")]
_AGAINST = ({Help.TOWARDS_HEAD, Help.TOWARDS_FRONT}, {Help.CLOSER, Help.FURTHER}, {Help.CLOSER, Help.FOREARM})


@dataclass(frozen=True)
class Seen:
    """One look. value, true: (frames, 2 hands, 2 wrist angles) degrees, NaN where there is no number; found: what was
    said of it."""

    value: Array
    true: Array
    found: Placement

    @property
    def off(self) -> Array:
        """How far each number is off, NaN without one."""
        return np.asarray(np.abs(self.value - self.true))


@dataclass(frozen=True)
class Followed:
    """One player, look after look. halted: what was said last could not be done, since it was done already; chosen_on:
    whether rules may have been chosen on this player."""

    number: int
    place: str
    photographed: bool
    fretting: int
    chosen_on: bool
    looks: tuple[Seen, ...]
    halted: bool

    @property
    def told(self) -> list[Advice]:
        """What was said, look after look."""
        return [one.found.advice for one in self.looks if one.found.advice is not None]


def lines(players: Sequence[Followed]) -> list[str]:
    """The whole report."""
    out = [
        f"{len(players)} rendered players, {sum(one.photographed for one in players)} of them photographed, "
        f"{sum(one.fretting == 1 for one in players)} left-handed; wrist angles of both hands, degrees"
    ]
    for name, some in (
        ("all players", players),
        ("players that rules were chosen on", [one for one in players if one.chosen_on]),
        ("the others", [one for one in players if not one.chosen_on]),
    ):
        out += ["", f"{name}: {len(some)}", *_changes(some), *_course(some), *_grades(some)]
    return out


def _changes(players: Sequence[Followed]) -> list[str]:
    told = [one for one in players if one.told]
    groups = [("all that was said, followed", told, -1), ("the first instruction alone", told, 1)]
    first = Counter(one.told[0].help for one in told)
    groups += [(f"  {what.value}", [one for one in told if one.told[0].help is what], 1) for what in first]
    places = dict.fromkeys(one.place for one in told)
    groups += [(f"begun at: {place}", [one for one in told if one.place == place], -1) for place in places]
    out = [_row(name, some, which) for name, some, which in groups if some]
    still = [one.looks[0].off.reshape(-1, 2) for one in players if not one.told]
    if still:
        out.append(
            f"nothing said at first: {len(still)} players, off by {_two(_means(np.concatenate(still)))}"
        )
    return [_HEAD, *out]


_HEAD = (
    "players; frames with both angles of the fretting and of the plucking hand; angles measured and within "
    f"{FAIR_ERROR:g} degrees; mean error of flexion and deviation at the same moments, and at all with a number; "
    f"players better and worse by {MUCH_DEG:g} degree at the same moments, and by {MUCH_SHARE:.0%} in the angles "
    f"measured and within {FAIR_ERROR:g} degrees"
)


def _row(name: str, players: Sequence[Followed], which: int) -> str:
    """Before and after of some players; which: the look that counts as after."""
    pairs = [(one.looks[0], one.looks[min(which, len(one.looks) - 1)]) for one in players]
    same = [_same(before, after) for before, after in pairs]
    cells: list[list[str]] = []
    for k in (0, 1):
        looks = [pair[k] for pair in pairs]
        hands = [
            np.mean(
                [_both(look, abs(other - one.fretting)) for one, look in zip(players, looks, strict=True)]
            )
            for other in (0, 1)
        ]
        near = np.mean([_near(look) for look in looks])
        at_same = np.concatenate([one[k] for one in same])
        at_all = np.concatenate([look.off.reshape(-1, 2) for look in looks])
        cells.append(
            [f"{hands[0]:.0%} {hands[1]:.0%}", f"{near:.0%}", _two(_means(at_same)), _two(_means(at_all))]
        )
    told = "; ".join(f"{before} -> {after}" for before, after in zip(*cells, strict=True))
    tests = (_test(_error_changes(same), MUCH_DEG), _test(_share_changes(pairs), MUCH_SHARE))
    return f"{name:28s} {len(players):3d}; {told}; {'; '.join(tests)}"


def _both(seen: Seen, hand: int) -> float:
    """Share of frames with both wrist angles of a hand."""
    return float(np.isfinite(seen.value[:, hand]).all(axis=-1).mean())


def _same(before: Seen, after: Seen) -> tuple[Array, Array]:
    """(N, 2) errors at the moments and hands at which an angle has a number both times, NaN elsewhere."""
    a, b = before.off, after.off
    both = np.isfinite(a) & np.isfinite(b)
    return np.where(both, a, np.nan).reshape(-1, 2), np.where(both, b, np.nan).reshape(-1, 2)


def _means(off: Array) -> NDArray[np.float64]:
    """(2,) mean errors of flexion and deviation."""
    known = np.isfinite(off)
    count = known.sum(axis=0)
    return np.where(count > 0, np.nan_to_num(off).sum(axis=0) / np.maximum(count, 1), np.nan)


def _two(values: Iterable[float]) -> str:
    return " ".join(f"{value:4.1f}" for value in values)


def _error_changes(same: Sequence[tuple[Array, Array]]) -> Array:
    """By how much each player's mean error grew at the same moments, of those who have enough of them."""
    enough = [pair for pair in same if np.isfinite(pair[0]).sum() >= LEAST_MOMENTS]
    return np.array([np.nanmean(after) - np.nanmean(before) for before, after in enough])


def _share_changes(pairs: Sequence[tuple[Seen, Seen]]) -> Array:
    """By how much each player's share of angles that are not measured within ten degrees grew."""
    return np.array([_near(before) - _near(after) for before, after in pairs])


def _near(seen: Seen) -> float:
    """Share of all angles that are measured, and within ten degrees."""
    return float((np.nan_to_num(seen.off, nan=np.inf) <= FAIR_ERROR).mean())


def _test(grew: Array, much: float) -> str:
    """How many players got better and worse, with the sign test's p and that of Wilcoxon's signed ranks."""
    better, worse = int((grew < -much).sum()), int((grew > much).sum())
    if better + worse == 0:
        return f"{better}/{worse} of {len(grew)}"
    sign = f"{better}/{worse} of {len(grew)}, sign {binomtest(better, better + worse).pvalue:.2g}"
    return f"{sign}, ranks {wilcoxon(grew).pvalue:.2g}" if (grew != 0).sum() >= 5 else sign


def _course(players: Sequence[Followed]) -> list[str]:
    """How often an instruction comes again, is taken back, or leads nowhere."""
    told = [[(one.help, one.side) for one in player.told] for player in players if player.told]
    again = sum(any(a == b for a, b in pairwise(some)) for some in told)
    back = sum(any({a[0], b[0]} in _AGAINST for a, b in pairwise(some)) for some in told)
    ended = [player for player in players if player.told and player.looks[-1].found.advice is None]
    return [
        f"of {len(told)} players who were told something: nothing more is said in the end {len(ended)}; the same said "
        f"twice running {again}; what is said last is so already "
        f"{sum(player.halted for player in players)}; sent back where they came from {back}",
    ]


def _grades(players: Sequence[Followed]) -> list[str]:
    """What each grade promises and keeps, before and after."""
    out = []
    for name, which in (("first look", 0), ("last look", -1)):
        kept: dict[Grade, list[float]] = {grade: [] for grade in Grade}
        for player in players:
            seen = player.looks[which]
            for one in seen.found.graded:
                if one.name in _WRIST:
                    off = seen.off[:, SIDES.index(one.side), _WRIST.index(one.name)]
                    if np.isfinite(off).sum() >= LEAST_MOMENTS:
                        kept[one.grade].append(float(np.nanmean(off)))
        cells = []
        for grade, bound in (
            (Grade.WELL, WELL_ERROR),
            (Grade.FAIRLY, FAIR_ERROR),
            (Grade.POORLY, FAIR_ERROR),
        ):
            errors = np.array(kept[grade])
            if errors.size:
                inside = f"{(errors <= bound).mean():.0%} within {bound:g}"
                cells.append(f"{errors.size} {grade.value}, off by {errors.mean():.1f}, {inside}")
        out.append(f"{name}: {'; '.join(cells)}")
    return out
