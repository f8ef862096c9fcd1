"""The discomfort check: what a player says before and after, and the advice that follows. No diagnosis.

Ratings run from 0 to 10. That pain of 3 or more means a pause, and 5 or more or any warning sign the end of the
session, is this project's convention; the signs are general medical knowledge, each with how it is known:
F seen in an abstract, table or secondary copy of a source, M from memory, not seen, D derived here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal, get_args

from posturewatch.model.observation import SIDES

__all__ = [
    "ADVICE_LEVELS",
    "END_AT",
    "HIGHEST",
    "MEANINGFUL_CHANGE",
    "PAUSE_AT",
    "REGIONS",
    "SIGNS",
    "Advice",
    "AdviceLevel",
    "BodyRegion",
    "Sign",
    "advise",
    "form_json",
    "place_names",
]

#: From the least to the most pressing.
AdviceLevel = Literal["none", "watch", "pause", "end", "same day", "emergency"]
ADVICE_LEVELS: tuple[AdviceLevel, ...] = get_args(AdviceLevel)

HIGHEST = 10

#: Pain while playing from which on to pause, and to end the session (D, convention).
PAUSE_AT = 3
END_AT = 5

#: A change of the rating by about so much is meaningful (M).
MEANINGFUL_CHANGE = 2


@dataclass(frozen=True)
class BodyRegion:
    """A region of the outline of one hand and forearm."""

    name: str
    label: str


REGIONS: tuple[BodyRegion, ...] = (
    BodyRegion("thumb", "thumb"),
    BodyRegion("index finger", "index finger"),
    BodyRegion("middle finger", "middle finger"),
    BodyRegion("ring finger", "ring finger"),
    BodyRegion("little finger", "little finger"),
    BodyRegion("palm", "palm"),
    BodyRegion("back of the hand", "back of the hand"),
    BodyRegion("thumb side of the wrist", "wrist, thumb side"),
    BodyRegion("palm side of the wrist", "wrist, palm side"),
    BodyRegion("back of the wrist", "wrist, back"),
    BodyRegion("little finger side of the wrist", "wrist, little finger side"),
    BodyRegion("inside of the forearm", "forearm, inside"),
    BodyRegion("outside of the forearm", "forearm, outside"),
    BodyRegion("elbow", "elbow"),
)


@dataclass(frozen=True)
class Sign:
    """A warning sign. level: what it alone calls for. mark: how it is known."""

    name: str
    label: str
    level: AdviceLevel
    mark: str


#: The most pressing first, in the order in which the page asks.
SIGNS: tuple[Sign, ...] = (
    Sign("chest or arm pain with breathlessness", "chest or arm pain with breathlessness", "emergency", "M"),
    Sign("hot swollen joint with fever", "a hot, swollen joint together with fever", "same day", "M"),
    Sign("sudden weakness", "sudden weakness", "same day", "M"),
    Sign("numbness or tingling", "numbness or tingling", "end", "M"),
    Sign("weakness", "weakness", "end", "F"),
    Sign(
        "loss of control",
        "painless loss of control, or fingers curling by themselves",
        "end",
        "F",
    ),
    Sign("night waking", "waking at night from it", "end", "M"),
    Sign("locking", "a finger or joint that locks", "end", "M"),
    Sign("swelling, heat or redness", "swelling, heat or redness", "end", "M"),
    Sign("sudden severe pain or a pop", "sudden severe pain, or a pop", "end", "M"),
    Sign("colour change", "a change of colour", "end", "M"),
    Sign("pain at rest", "pain at rest or in daily tasks", "end", "M"),
    Sign("lasting pain", "pain for more than one to two weeks despite rest", "end", "M"),
    Sign("pain from neck or arm", "pain that comes down from the neck or the arm", "end", "M"),
)

_SIGNS = {sign.name: sign for sign in SIGNS}

_EMERGENCY = "Chest or arm pain with breathlessness is an emergency: call the emergency number now."
_SAME_DAY = "Stop playing and have a doctor look at it today."
_END = "End this session, or do not begin it, and see a clinician before you play on as usual."
_PAUSE = "Pause now. Go on only when it has eased, and more gently; stop if it comes back."
_ROSE = "It has risen by {by} since before you played: about 2 points are a meaningful change. Rest."
_WATCH = "Keep an eye on it: pause at 3, end the session at 5."
_NOT_A_DIAGNOSIS = "This is a rule of caution, not a diagnosis."

_CONVENTION = "Pause at 3, end at 5 or with any warning sign: convention of this program (D)."
_CHANGE = "A change of about 2 points on a 0-10 rating is meaningful (M, from memory)."


@dataclass(frozen=True)
class Advice:
    """What to do now. sentences: the most pressing first, empty for level "none". sources: what they rest on."""

    level: AdviceLevel
    sentences: tuple[str, ...]
    sources: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        return {"level": self.level, "sentences": list(self.sentences), "sources": list(self.sources)}


def place_names() -> tuple[str, ...]:
    """ "left thumb" and so on: the places of both sides as a check has them."""
    return tuple(f"{side} {place.name}" for side in SIDES for place in REGIONS)


def advise(rating: int, signs: Iterable[str] = (), *, rating_before: int | None = None) -> Advice:
    """The advice for a rating and the warning signs that are there.

    Parameters
    ----------
    rating : int
        Pain now, 0 to 10.
    signs : iterable of str
        Names of the warning signs that are there.
    rating_before : int, optional
        The rating of the same day before playing.

    Raises
    ------
    ValueError
        For a rating out of range.
    KeyError
        For an unknown sign.
    """
    for one in (rating, rating_before):
        if one is not None and not 0 <= one <= HIGHEST:
            raise ValueError(f"a rating is 0 to {HIGHEST}, got {one}")
    named = {_SIGNS[name] for name in signs}
    found = [sign for sign in SIGNS if sign in named]
    levels = {sign.level for sign in found}
    sentences, sources = [], []
    if "emergency" in levels:
        sentences.append(_EMERGENCY)
    if "same day" in levels:
        sentences.append(_SAME_DAY)
    if "end" in levels or rating >= END_AT:
        sentences.append(_END)
    sources += [f"{sign.label}: sign to see a clinician ({_known(sign.mark)})." for sign in found]
    if rating >= END_AT:
        levels.add("end")
        sources.append(_CONVENTION)
    elif rating >= PAUSE_AT:
        levels.add("pause")
        if not found:
            sentences.append(_PAUSE)
        sources.append(_CONVENTION)
    elif rating > 0:
        levels.add("watch")
        if not found:
            sentences.append(_WATCH)
        sources.append(_CONVENTION)
    if rating_before is not None and rating - rating_before >= MEANINGFUL_CHANGE:
        levels.add("pause")
        sentences.append(_ROSE.format(by=rating - rating_before))
        sources.append(_CHANGE)
    if not levels:
        return Advice("none", (), ())
    level = max(levels, key=ADVICE_LEVELS.index)
    if level != "watch":
        sentences.append(_NOT_A_DIAGNOSIS)
    return Advice(level, tuple(sentences), tuple(dict.fromkeys(sources)))


def _known(mark: str) -> str:
    return {"F": "F, seen in a source", "M": "M, general medical knowledge, from memory"}[mark]


def form_json() -> dict[str, Any]:
    """What the page asks, in JSON's types."""
    return {
        "scale": {"lowest": 0, "highest": HIGHEST, "label": "0 is no pain, 10 the worst you can imagine"},
        "sides": list(SIDES),
        "places": [{"name": place.name, "label": place.label} for place in REGIONS],
        "signs": [{"name": sign.name, "label": sign.label, "level": sign.level} for sign in SIGNS],
    }
