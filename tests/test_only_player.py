"""Two people before the camera: it is said, and only the player is measured, or nobody."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from cli_stand_ins import ScriptedHands, film
from numpy.typing import NDArray

from posturewatch.capture import open_source
from posturewatch.cli.main import main
from posturewatch.config.settings import Settings
from posturewatch.model.frame import Frame
from posturewatch.model.observation import BODY_LANDMARKS, BodyObservation, HandObservation, Observation
from posturewatch.pipeline.build import build
from posturewatch.pipeline.view.only_player import Choice, OnlyPlayer, PlayerAmong, Strip
from posturewatch.pipeline.view.people_notice import SEVERAL_IN_FILM, SEVERAL_PEOPLE, PeopleNotice
from posturewatch.tracking.people import Person

WIDTH, HEIGHT = 1000, 600
NEAR, FAR = Person(300.0, 240.0), Person(800.0, 120.0)
EQUAL = Person(800.0, 238.0)


def after(looks: Sequence[Sequence[Person]], alone: Person | None = None) -> tuple[Choice, PlayerAmong]:
    among = PlayerAmong()
    if alone is not None:
        among.alone(alone)
    choice = Choice(0, None)
    for people in looks:
        choice = among.add(people, WIDTH)
    return choice, among


def test_one_look_at_a_second_person_is_not_believed() -> None:
    choice, among = after([[NEAR], [NEAR, FAR], [NEAR], [NEAR]])
    assert (choice, among.several) == (Choice(1, None), False)


def test_who_is_clearly_larger_plays_and_is_parted_from_the_other_by_their_sizes() -> None:
    assert after([[NEAR, FAR]] * 2)[0] == Choice(2, None)
    # 240 of the 360 pixels of both trunks: two thirds of the way from 300 to 800.
    assert after([[NEAR, FAR]] * 4)[0] == Choice(2, Strip(0, 633))


def test_of_two_alike_nobody_is_told_apart() -> None:
    assert after([[NEAR, EQUAL]] * 20)[0] == Choice(2, None)
    # Nor where now one and now the other looks larger.
    turns = [[NEAR, Person(800.0, 180.0)], [Person(800.0, 240.0), Person(300.0, 180.0)]] * 10
    assert after(turns)[0] == Choice(2, None)


def test_who_was_alone_before_plays_wherever_somebody_larger_comes() -> None:
    larger = Person(800.0, 400.0)
    choice, among = after([[larger, NEAR]] * 4, alone=Person(310.0, 250.0))
    assert choice.people == 2
    assert choice.strip is not None
    assert (choice.strip.low, 300 < choice.strip.high < 800) == (0, True)
    # While one of them is not found for a moment nothing changes.
    assert among.add([larger], WIDTH) == Choice(2, choice.strip)
    # And once the other one has gone for six looks, the player is alone again.
    for _ in range(6):
        choice = among.add([NEAR], WIDTH)
    assert choice == Choice(1, None)


def test_somebody_on_either_side() -> None:
    middle, left, right = Person(500.0, 200.0), Person(100.0, 100.0), Person(900.0, 100.0)
    choice, _ = after([[middle, left, right]] * 4)
    assert choice == Choice(3, Strip(233, 767))


# ---- what the tracker is shown ----


def body(x_px: float, people: int) -> BodyObservation:
    points = np.zeros((33, 3))
    points[:, 0] = x_px
    points[[BODY_LANDMARKS["left_hip"], BODY_LANDMARKS["right_hip"]], 1] = 240.0
    return BodyObservation(points, np.zeros((33, 3)), np.ones(33), 0.0, people)


def hand(x_px: float, side: str) -> HandObservation:
    points = np.zeros((21, 3))
    points[:, 0] = x_px + np.arange(21)
    return cast(HandObservation, SimpleNamespace(side=side, landmarks_px=points))


@dataclass
class FakeTracker:
    """Sees the player's right hand, and the other one's left hand where that is in its picture."""

    people: int = 1
    shown: list[NDArray[np.uint8]] = field(default_factory=list)

    def observe(self, frame: Frame) -> Observation:
        self.shown.append(frame.image_bgr)
        hands = [hand(280.0, "right")]
        if (frame.image_bgr[:, 800] == 255).all():
            hands.append(hand(800.0, "left"))
        return Observation(frame.index, frame.time_s, WIDTH, HEIGHT, tuple(hands), body(300.0, self.people))


@dataclass
class FakePeople:
    people: Sequence[Person]
    looks: int = 0

    def look(self, image_bgr: Any) -> tuple[Person, ...]:
        self.looks += 1
        return tuple(self.people)

    def close(self) -> None:
        pass


def frame(time_s: float) -> Frame:
    return Frame(round(time_s * 10), time_s, np.full((HEIGHT, WIDTH, 3), 255, np.uint8))


def watched(tracker: FakeTracker, people: FakePeople) -> Callable[[float, float], Observation]:
    alone = OnlyPlayer(tracker, lambda: people)

    def until(begin_s: float, end_s: float) -> Observation:
        for step in range(round(begin_s * 10), round(end_s * 10) + 1):
            seen = alone.observe(frame(step / 10))
        return seen

    return until


def sides(seen: Observation) -> list[str]:
    return [one.side for one in seen.hands]


def test_a_player_who_is_alone_costs_nothing() -> None:
    tracker, people = FakeTracker(), FakePeople([NEAR, FAR])
    seen = watched(tracker, people)(0.0, 5.0)
    assert people.looks == 0
    assert seen.body is not None
    assert (sides(seen), seen.body.people) == (["right", "left"], 1)


def test_the_other_ones_hand_is_never_taken_for_the_players() -> None:
    tracker, people = FakeTracker(), FakePeople([NEAR, FAR])
    until = watched(tracker, people)
    until(0.0, 2.0)
    tracker.people = 2
    seen = until(2.1, 6.0)
    assert seen.body is not None
    assert (sides(seen), seen.body.people) == (["right"], 2)
    assert (tracker.shown[-1][:, 700:] == 128).all()
    assert (tracker.shown[-1][:, :600] == 255).all()
    # The other one goes; the tracker, shown the player alone, cannot know, but whoever looks at all of it does.
    tracker.people, people.people = 1, [NEAR]
    seen = until(6.1, 11.0)
    assert seen.body is not None
    assert (sides(seen), seen.body.people) == (["right", "left"], 1)


def test_where_it_is_unclear_who_plays_no_hand_is_measured() -> None:
    tracker, people = FakeTracker(people=2), FakePeople([NEAR, EQUAL])
    seen = watched(tracker, people)(0.0, 6.0)
    assert seen.body is not None
    assert (sides(seen), seen.body.people) == ([], 2)


def test_a_false_suspicion_is_not_told() -> None:
    tracker, people = FakeTracker(people=2), FakePeople([NEAR])
    seen = watched(tracker, people)(0.0, 3.0)
    assert seen.body is not None
    assert (sides(seen), seen.body.people) == (["right", "left"], 1)


def test_it_is_said_while_it_is_so_and_a_moment_longer() -> None:
    notice = PeopleNotice()

    def put(time_s: float, people: int) -> str | None:
        observation = Observation(0, time_s, WIDTH, HEIGHT, (), body(300.0, people))
        notice.put(cast(Any, SimpleNamespace(frame=frame(time_s), observation=observation)))
        return notice.notice

    assert put(0.0, 1) is None
    assert put(1.0, 2) == SEVERAL_PEOPLE
    assert put(6.0, 1) == SEVERAL_PEOPLE
    assert put(8.0, 1) is None
    put(9.0, 2)
    assert put(0.0, 1) is None  # another source


@pytest.mark.models
@pytest.mark.parametrize(
    ("comes_s", "measured"), [(3.0, True), (0.0, False)], ids=["comes later", "from the start"]
)
def test_a_second_player_in_the_picture_is_left_out(comes_s: float, measured: bool) -> None:
    """The demo's player, beside whom another one just as large sits: known from having been alone before, else not."""
    built = build("video", Settings())
    source = open_source("demo", pace="asap")
    theirs, own, several, frames = 0, 0, 0, 0
    try:
        while (taken := source.read(60.0)) is not None and taken.frame.time_s < 7.0:
            seen = built.tracker.observe(beside_another(taken.frame, second=taken.frame.time_s >= comes_s))
            if taken.frame.time_s > 5.0:
                frames += 1
                several += seen.body is not None and seen.body.people == 2
                theirs += others(seen, taken.frame.width_px)
                own += len(seen.hands)
    finally:
        source.close()
        built.release()
    assert theirs == 0
    assert several > 0.3 * frames  # the finder misses somebody now and then
    assert (own > 0.5 * frames) is measured


def others(seen: Observation, width_px: int) -> int:
    return sum(float(one.landmarks_px[:, 0].mean()) > width_px for one in seen.hands)


def beside_another(frame: Frame, *, second: bool) -> Frame:
    image = frame.image_bgr
    height, width = image.shape[:2]
    other = image[:, round(0.15 * width) : round(0.85 * width)]
    wide = np.full((height, width + other.shape[1], 3), 200, np.uint8)
    wide[:, :width] = image
    if second:
        wide[:, width:] = other
    return Frame(frame.index, frame.time_s, wide)


# ---- a film that is analysed ----


@pytest.mark.parametrize("people", [1, 2])
def test_an_analysed_film_says_it_too(
    people: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    class InTheEnd(ScriptedHands):
        def observe(self, frame: Frame) -> Observation:
            seen = super().observe(frame)
            return replace(seen, body=body(20.0, people if frame.time_s > 1.5 else 1))

    InTheEnd(lambda time_s: 10.0).use(monkeypatch)
    named = ["--keep", "--jobs", "1", "--data-dir", str(tmp_path / "data")]
    assert main(["analyse", str(film(tmp_path / "a.mkv", 2.0)), *named]) == 0
    said = capsys.readouterr()
    assert (SEVERAL_IN_FILM in said.out + said.err) is (people == 2)
