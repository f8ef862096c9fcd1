"""What a report says, as plain values: worked out once, set in type by `html` and `pdf`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from posturewatch.model.observation import Side

__all__ = [
    "STATES",
    "Angle",
    "Beyond",
    "Discomfort",
    "Hand",
    "Moment",
    "PassageRow",
    "Practice",
    "Report",
    "Source",
    "Trend",
]

#: The states of a hand from comfort outwards, then what is not known.
STATES: tuple[str, ...] = ("in comfort", "unsure", "past comfort", "extreme", "partly seen", "not seen")


@dataclass(frozen=True)
class Beyond:
    """Time past the limits of one direction. words: what the hand does in it. comfort, extreme: the limits as
    magnitudes, None where there is none. past_comfort_s, past_extreme_s, certain_s, longest_s: seconds of measured time
    past the comfort limit, past the extreme one, past it with 90 % certainty, and past it in the longest hold."""

    direction: str
    words: str
    comfort: float | None
    extreme: float | None
    past_comfort_s: float | None
    past_extreme_s: float | None
    certain_s: float | None
    longest_s: float | None


@dataclass(frozen=True)
class Angle:
    """One angle of one hand over a practice. percentiles: 10th, 50th, 90th of the signed value over measured time,
    positive in the first direction of `beyond`; None where nothing was measured. reasons: why the rest of the time was
    not measured, the most frequent first, with its seconds. half_deg: how far the 90 % interval reached to either side,
    in the middle; None where nothing was measured."""

    label: str
    total_s: float
    measured_s: float
    percentiles: tuple[float, float, float] | None
    beyond: tuple[Beyond, ...]
    reasons: tuple[tuple[str, float], ...]
    half_deg: float | None = None

    @property
    def measured_share(self) -> float:
        """Of the whole time, 0 to 1."""
        return self.measured_s / self.total_s if self.total_s > 0 else 0.0


@dataclass(frozen=True)
class Hand:
    """One hand over a practice. label: what its player calls it. watched: whether it is the hand on the fingerboard,
    by which a practice is spoken of first. states_s: seconds by the names of `STATES`. timeline: by name, its share of
    each bin of the practice."""

    side: Side
    label: str
    watched: bool
    total_s: float
    states_s: Mapping[str, float]
    timeline: Mapping[str, tuple[float, ...]]
    angles: tuple[Angle, ...]

    @property
    def judged_share(self) -> float:
        """Of the whole time, 0 to 1: neither unsure nor only partly seen or not at all."""
        judged_s = sum(self.states_s.get(name, 0.0) for name in ("in comfort", "past comfort", "extreme"))
        return judged_s / self.total_s if self.total_s > 0 else 0.0


@dataclass(frozen=True)
class PassageRow:
    """What was played, how long, and the states of each hand meanwhile. measured_share: of the watched hand's angle
    that was measured least."""

    when: str
    name: str
    played_s: float
    measured_share: float | None
    states_s: Mapping[Side, Mapping[str, float]]


@dataclass(frozen=True)
class Discomfort:
    """What the player said of how it felt."""

    moment: str
    rating: int
    places: tuple[str, ...]
    signs: tuple[str, ...]
    note: str


@dataclass(frozen=True)
class Moment:
    """A hold past a limit, one of the worst. value, sd: signed angle at its peak, sd None where it is not known any
    more. limit: magnitude; level: comfort or extreme. past_s: time past the limit, None where it
    is not known any more. picture: a JPEG at the peak, None
    where none was kept; lines: whether forearm and hand are drawn in it.
    clip: the film of it, MP4, where it goes with the report."""

    when: str
    time_s: float
    side: Side
    hand: str
    quantity: str
    label: str
    direction: str
    words: str
    value: float
    sd: float | None
    level: str
    comfort: float | None
    extreme: float | None
    past_s: float | None
    warned: bool
    passage: str
    picture: bytes | None = None
    lines: bool = False
    clip: bytes | None = None


@dataclass(frozen=True)
class Practice:
    """One practice. headline: how many warnings, of how much measured time; too_little: whether that is too little to
    say anything good of it."""

    id: str
    when: str
    source: str
    instrument: str
    duration_s: float
    watched_s: float
    headline: str
    too_little: bool
    finding: str
    view: str
    hands: tuple[Hand, ...]
    warned_s: tuple[float, ...]
    passages: tuple[PassageRow, ...]
    marks: tuple[tuple[float, str], ...]
    discomfort: tuple[Discomfort, ...]
    program_version: str
    damage: tuple[str, ...] = ()

    @property
    def watched(self) -> Hand | None:
        """The hand by which it is spoken of first."""
        return next((one for one in self.hands if one.watched), self.hands[0] if self.hands else None)


@dataclass(frozen=True)
class Trend:
    """Share of measured time past a limit by week; None in weeks with too little measured."""

    words: str
    weeks: tuple[tuple[str, float | None], ...]


@dataclass(frozen=True)
class Source:
    """Limits and where they come from."""

    limits: str
    source: str


@dataclass(frozen=True)
class Report:
    """A report. who: as the player wishes to be named, may be empty. practices: oldest first."""

    who: str
    made_on: str
    practices: tuple[Practice, ...]
    moments: tuple[Moment, ...]
    trends: tuple[Trend, ...]
    limits_label: str
    limits_about: str
    sources: tuple[Source, ...]

    @property
    def last(self) -> Practice:
        """The newest practice, of which it says most."""
        return self.practices[-1]

    @property
    def too_little(self) -> bool:
        """Whether of one of the practices too little could be judged to say that nothing was held."""
        return any(one.too_little for one in self.practices)

    @property
    def passages(self) -> tuple[PassageRow, ...]:
        """Of all practices."""
        return tuple(row for one in self.practices for row in one.passages)
