"""What comfort says of one frame: zones, excursions opened and closed, warnings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Literal

from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import Side

__all__ = [
    "Cue",
    "Excursion",
    "ExcursionEnd",
    "HandState",
    "HandVerdict",
    "HoldWarning",
    "Level",
    "Verdict",
    "Zone",
    "ZoneState",
]

Level = Literal["comfort", "extreme"]
ExcursionEnd = Literal["returned", "unseen", "stopped", "crashed"]


class Zone(Enum):
    """Where a quantity stands. The value is the word kept in files and shown on the page."""

    WITHIN = "within comfort"
    BEYOND = "beyond comfort"
    EXTREME = "extreme"
    UNSEEN = "not measurable"


class HandState(Enum):
    """What can be said of a hand as a whole; see `posturewatch.comfort.hand_state` for the rule. The value is the word
    kept in files and shown on the page."""

    IN_COMFORT = "in comfort"
    PAST_COMFORT = "past comfort"
    EXTREME = "extreme"
    UNSURE = "unsure"
    PARTLY_SEEN = "partly seen"
    NOT_SEEN = "not seen"


@dataclass(frozen=True)
class Cue:
    """A posture of the fingers that teachers look for.

    label: what is measured, after the hand's name. short: the same in the fewest words, where the finger is named
    already. posture: what follows "mostly with", with the finger's name for {finger}. fretting_only: reported of a
    fretting hand alone. while_playing: its share is one of the playing time, else of the time in which it is known.
    finger: None where it is about all of them.
    """

    name: str
    finger: str | None
    label: str
    short: str
    posture: str
    fretting_only: bool = False
    while_playing: bool = True


@dataclass(frozen=True)
class HandVerdict:
    """state of a hand in one frame. quantity: the angle that decides it; refusal: why it has no number, where the
    hand is partly or not seen; both None where no single one decides. cues: those that are certain."""

    state: HandState
    quantity: str | None = None
    refusal: Refusal | None = None
    cues: tuple[Cue, ...] = ()


@dataclass(frozen=True)
class ZoneState:
    """zone of one quantity of one hand; direction is the anatomical direction it leans to (None when unseen);
    extreme_probability is the probability that the angle is beyond the extreme limit of that direction, given its
    standard deviation (0 when unseen: what was not seen is never warned of)."""

    zone: Zone
    direction: str | None
    extreme_probability: float


@dataclass(frozen=True)
class Excursion:
    """Time beyond a limit, with hysteresis; see `posturewatch.comfort.excursions`. Times in seconds of the session;
    peak is the value farthest beyond the limit (signed, in the quantity's unit) at peak_s. end_s is None while it
    lasts. `end` says why it ended. warned_s is the time at which the player was warned of it, or None."""

    side: Side
    quantity: str
    direction: str
    level: Level
    limit: float
    start_s: float
    peak: float
    peak_s: float
    end_s: float | None = None
    end: ExcursionEnd | None = None
    warned_s: float | None = None

    @property
    def key(self) -> tuple[Side, str, str, Level]:
        return (self.side, self.quantity, self.direction, self.level)


@dataclass(frozen=True)
class HoldWarning:
    """An extreme value that has been held. since_s: when the hold began; fired_s: when the warning fired."""

    side: Side
    quantity: str
    direction: str
    limit: float
    since_s: float
    fired_s: float


@dataclass(frozen=True)
class Verdict:
    """Comfort's answer for one frame: `fired` and `cleared` are this frame's events, `active` the state."""

    time_s: float
    zones: Mapping[tuple[Side, str], ZoneState]
    hands: Mapping[Side, HandVerdict]
    opened: tuple[Excursion, ...]
    closed: tuple[Excursion, ...]
    fired: tuple[HoldWarning, ...]
    cleared: tuple[HoldWarning, ...]
    active: tuple[HoldWarning, ...]
