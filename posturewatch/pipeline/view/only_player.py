"""Where several people are in the picture: which of them plays, and a tracker that sees that one alone."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np

from posturewatch.model.arrays import Image
from posturewatch.model.frame import Frame
from posturewatch.model.observation import BODY_LANDMARKS, SIDES, BodyObservation, Observation
from posturewatch.pipeline.monitor import Observer
from posturewatch.tracking.people import Person

__all__ = ["Choice", "OnlyPlayer", "PlayerAmong", "Strip"]

#: People are looked for so often once the tracker has seen more than one.
_EVERY_S = 0.5

#: Several people are believed in once so many of the last looks showed them, and no longer once none of them did.
_LOOKS, _SEVERAL = 6, 2

#: Who is larger by this factor is nearer, and plays; that has to be so in as many looks in a row.
_LARGER, _IN_A_ROW = 1.25, 3

#: A known player is who is nearest to where the player was, where nobody else is less than twice as far away.
_CLEARLY = 0.5

#: Grey says nothing to the networks.
_GREY = 128


@dataclass(frozen=True)
class Strip:
    """Columns of the picture in which the player is, in pixels: from low to below high."""

    low: int
    high: int


@dataclass(frozen=True)
class Choice:
    """people: how many are in the picture; strip: where the player is, None where nobody is told apart."""

    people: int
    strip: Strip | None


@dataclass
class PlayerAmong:
    """Takes looks at the people in the picture, and says where the player is among them.

    The player is who was alone in the picture before, in that place; else whoever is clearly larger, being nearer.
    """

    _several: deque[bool] = field(default_factory=lambda: deque(maxlen=_LOOKS))
    _player: Person | None = None
    _larger: list[Person] = field(default_factory=list)
    _strip: Strip | None = None
    _believed: bool = False

    @property
    def several(self) -> bool:
        """Whether more than one person is believed to be in the picture."""
        return self._believed

    def alone(self, player: Person) -> None:
        """The player as seen alone in the picture."""
        if not self._believed:
            self._player = player

    def add(self, people: Sequence[Person], width_px: int) -> Choice:
        """The next look."""
        self._several.append(len(people) > 1)
        if sum(self._several) >= _SEVERAL:
            self._believed = True
        elif len(self._several) == _LOOKS and not any(self._several):
            self._believed, self._strip, self._larger = False, None, []
        if not self._believed:
            return Choice(1, None)
        if len(people) > 1:
            found = self._known(people) if self._player is not None else self._nearer(people)
            if found is not None:
                self._player = found
            self._strip = None if found is None else _around(found, people, width_px)
        return Choice(max(2, len(people)), self._strip)

    def _known(self, people: Sequence[Person]) -> Person | None:
        assert self._player is not None
        was_px = self._player.x_px
        first, second = sorted(people, key=lambda one: abs(one.x_px - was_px))[:2]
        clearly = abs(first.x_px - was_px) < _CLEARLY * abs(second.x_px - was_px)
        return first if clearly else None

    def _nearer(self, people: Sequence[Person]) -> Person | None:
        first, second = sorted(people, key=lambda one: -one.trunk_px)[:2]
        same = all(abs(one.x_px - first.x_px) < abs(one.x_px - second.x_px) for one in self._larger)
        larger = first.trunk_px >= _LARGER * second.trunk_px
        self._larger = [*self._larger, first] if larger and same else []
        return first if len(self._larger) >= _IN_A_ROW else None


def _around(player: Person, people: Sequence[Person], width_px: int) -> Strip:
    """Up to the borders between the player and those beside, which part them by their sizes."""
    low, high = 0.0, float(width_px)
    for other in people:
        apart = other.x_px - player.x_px
        if abs(apart) < 1:
            continue
        border = player.x_px + apart * player.trunk_px / (player.trunk_px + other.trunk_px)
        low, high = (low, min(high, border)) if apart > 0 else (max(low, border), high)
    return Strip(round(low), round(high))


class People(Protocol):
    """Finds the people in an image; see `posturewatch.tracking.people`."""

    def look(self, image_bgr: Image) -> tuple[Person, ...]: ...
    def close(self) -> None: ...


class OnlyPlayer:
    """A tracker that is shown the player alone: what is beside the player is grey.

    A hand that reaches beyond is left out, as are both where nobody is told apart. How many people there are is said
    of the body.

    Parameters
    ----------
    tracker
        Sees what is left; its own count of people says when to look.
    make_people
        Makes what finds them, when it is needed first.
    release
        Releases the tracker.
    """

    def __init__(
        self,
        tracker: Observer,
        make_people: Callable[[], People],
        release: Callable[[], object] = lambda: None,
    ) -> None:
        self._release = release
        self._tracker = tracker
        self._make_people = make_people
        self._people: People | None = None
        self._among = PlayerAmong()
        self._choice: Choice | None = None
        self._looked_s = float("-inf")
        self._suspected = False

    def observe(self, frame: Frame) -> Observation:
        """What is seen of the player in a frame."""
        if frame.time_s < self._looked_s:  # another source, or the same one anew
            self._among, self._choice, self._suspected = PlayerAmong(), None, False
            self._looked_s = float("-inf")
        if (self._suspected or self._among.several) and frame.time_s - self._looked_s >= _EVERY_S:
            self._looked_s = frame.time_s
            self._people = self._people or self._make_people()
            self._choice = self._among.add(self._people.look(frame.image_bgr), frame.width_px)
        choice = self._choice
        if choice is None or choice.people < 2:
            seen = self._tracker.observe(frame)
            self._suspected = seen.body is not None and seen.body.people > 1
            if seen.body is not None and not self._suspected:
                self._among.alone(_person(seen.body))
            return _counted(seen, 1)  # what the tracker alone has seen is not told
        if choice.strip is None:
            return replace(_counted(self._tracker.observe(frame), choice.people), hands=())
        return _counted(
            _inside(self._tracker.observe(_shown(frame, choice.strip)), choice.strip), choice.people
        )

    def close(self) -> None:
        """Hands the networks back."""
        if self._people is not None:
            self._people.close()
        self._release()


def _person(body: BodyObservation) -> Person:
    shoulders, hips = (
        body.landmarks_px[[BODY_LANDMARKS[f"{side}_{joint}"] for side in SIDES], :2].mean(axis=0)
        for joint in ("shoulder", "hip")
    )
    return Person(float(shoulders[0]), float(np.hypot(*(hips - shoulders))))


def _counted(seen: Observation, people: int) -> Observation:
    return seen if seen.body is None else replace(seen, body=replace(seen.body, people=people))


def _shown(frame: Frame, strip: Strip) -> Frame:
    image = frame.image_bgr.copy()
    image[:, : strip.low] = _GREY
    image[:, strip.high :] = _GREY
    return replace(frame, image_bgr=image)


def _inside(seen: Observation, strip: Strip) -> Observation:
    hands = tuple(
        hand
        for hand in seen.hands
        if (hand.landmarks_px[:, 0] >= strip.low).all() and (hand.landmarks_px[:, 0] < strip.high).all()
    )
    return replace(seen, hands=hands)
