"""Left or right from evidence over time, on made-up sequences."""

from __future__ import annotations

import math

import numpy as np
import pytest

from posturewatch.tracking.sides import (
    BODY_CAP,
    LABEL_CAP,
    NETWORK_CAP,
    SideBelief,
    assign_sides,
    body_evidence,
    label_evidence,
    network_evidence,
)

SURE_LEFT = label_evidence(0.99, 1.0)
SURE_RIGHT = label_evidence(0.01, 1.0)


def follow(evidence_by_time: list[tuple[float, float]]) -> SideBelief:
    belief = SideBelief()
    for time_s, evidence in evidence_by_time:
        belief.update(time_s, evidence)
    return belief


def steady(start_s: float, end_s: float, evidence: float, rate_hz: float = 30.0) -> list[tuple[float, float]]:
    return [(t, evidence) for t in np.arange(start_s, end_s, 1 / rate_hz)]


@pytest.mark.parametrize(("p", "presence"), [(0.5, 1.0), (0.9, 0.0)])
def test_no_label_no_evidence(p: float, presence: float) -> None:
    assert label_evidence(p, presence) == pytest.approx(0)


@pytest.mark.parametrize("p", [0.0, 0.02, 0.3, 0.5, 0.8, 1.0])
def test_label_evidence_is_antisymmetric_and_capped(p: float) -> None:
    assert label_evidence(p, 0.7) == pytest.approx(-label_evidence(1 - p, 0.7))
    assert abs(label_evidence(p, 1.0)) <= LABEL_CAP


def test_networks_that_say_what_they_were_mostly_shown_say_nothing() -> None:
    """Bayes' rule: log odds are those before the picture plus the picture's. 88 of 100 were of the side."""
    before = math.log(0.88 / 0.12)
    assert network_evidence([]) == 0
    assert network_evidence([before]) == pytest.approx(0)
    assert network_evidence([before + 1, before + 2]) == pytest.approx(1.5)
    assert network_evidence([-2.0]) < 0
    assert (network_evidence([99.0]), network_evidence([-99.0])) == (NETWORK_CAP, -NETWORK_CAP)


def test_steady_networks_outweigh_a_steadily_wrong_label() -> None:
    belief = follow(steady(0, 0.2, SURE_RIGHT))
    assert belief.value < 0
    for t in np.arange(0.2, 1.2, 1 / 30):
        belief.update(float(t), SURE_RIGHT + NETWORK_CAP)
    assert belief.value > 0


AT = np.array([300.0, 200.0])


@pytest.mark.parametrize(
    ("left", "right", "expected"),
    [
        ((0, 0), (300, 0), BODY_CAP),  # on the left wrist, the right one far away
        ((300, 0), (0, 0), -BODY_CAP),
        ((40, 0), (40, 0), 0.0),  # crossed wrists say nothing
        ((400, 0), (0, 400), 0.0),  # another person's hand
    ],
)
def test_body_evidence(left: tuple[float, float], right: tuple[float, float], expected: float) -> None:
    assert body_evidence(AT, 50.0, (AT + left, 1.0), (AT + right, 1.0)) == pytest.approx(expected)


def test_an_untrusted_arm_says_nothing() -> None:
    assert body_evidence(AT, 50.0, (AT, 0.0), (AT + 300.0, 1.0)) == 0


def test_the_nearer_the_wrist_the_louder() -> None:
    said = [
        body_evidence(AT, 50.0, (np.add(AT, [d, 0.0]), 1.0), (np.add(AT, [200.0, 0.0]), 1.0))
        for d in (0, 40, 80, 110)
    ]
    assert said == sorted(said, reverse=True)
    assert said[-1] > 0


def test_a_short_flip_of_the_label_changes_nothing() -> None:
    belief = follow(steady(0, 3, SURE_LEFT) + steady(3, 3.8, SURE_RIGHT))
    assert belief.value > 3


def test_sustained_evidence_wins_at_last() -> None:
    belief = follow(steady(0, 2, SURE_LEFT) + steady(2, 10, SURE_RIGHT))
    assert belief.value < -2


def test_the_body_overrules_a_wrong_label() -> None:
    assert follow(steady(0, 2, SURE_RIGHT + BODY_CAP)).value > 3


@pytest.mark.parametrize("rate_hz", [10.0, 60.0])
def test_belief_grows_by_time_not_by_frames(rate_hz: float) -> None:
    reference = follow(steady(0, 2, 0.5)).value
    assert follow(steady(0, 2, 0.5, rate_hz)).value == pytest.approx(reference, rel=0.1)


def test_a_gap_is_not_evidence() -> None:
    belief = follow([(0.0, 0.0), (60.0, SURE_LEFT)])
    assert belief.value <= SURE_LEFT


def test_the_first_picture_counts_as_one() -> None:
    assert follow([(5.0, 1.2)]).value == pytest.approx(1.2)


@pytest.mark.parametrize(
    ("beliefs", "sides"),
    [
        ([], []),
        ([2.0], ["left"]),
        ([-0.1], ["right"]),
        ([3.0, -3.0], ["left", "right"]),
        ([2.0, 0.5], ["left", "right"]),  # the clearer one keeps its side
        ([0.5, 2.0], ["right", "left"]),
        ([-2.0, -0.4], ["right", "left"]),
        ([6.0, 5.0], ["left", None]),  # two surely left hands are two persons' hands
        ([4.0, -4.0, 1.0], ["left", "right", None]),
    ],
)
def test_no_side_is_given_twice(beliefs: list[float], sides: list[str | None]) -> None:
    assert [side for side, _ in assign_sides(beliefs)] == sides


@pytest.mark.parametrize("beliefs", [[1.0, -2.0], [0.3, 0.2], [-4.0, 1.0]])
def test_mirrored_evidence_gives_mirrored_sides(beliefs: list[float]) -> None:
    other = {"left": "right", "right": "left", None: None}
    there = assign_sides(beliefs)
    back = assign_sides([-b for b in beliefs])
    assert [other[side] for side, _ in there] == [side for side, _ in back]
    assert [c for _, c in there] == pytest.approx([c for _, c in back])


def test_a_swap_needs_more_than_a_tie() -> None:
    kept = assign_sides([-0.3, 0.3], ["left", "right"])
    assert [side for side, _ in kept] == ["left", "right"]
    assert [confidence for _, confidence in kept] == [0.5, 0.5]
    swapped = assign_sides([-2.0, 2.0], ["left", "right"])
    assert [side for side, _ in swapped] == ["right", "left"]


def test_confidence_of_one_hand_is_its_probability() -> None:
    ((side, confidence),) = assign_sides([-1.0])
    assert side == "right"
    assert confidence == pytest.approx(math.e / (1 + math.e))  # the logistic function at 1


def test_a_hand_keeps_its_side_when_the_other_is_lost_and_flips() -> None:
    left, right = SideBelief(), SideBelief()
    sides: list[str | None] = [None, None]
    for t in np.arange(0, 3, 1 / 30):
        left.update(t, SURE_LEFT)
        right.update(t, SURE_RIGHT)
        sides = [side for side, _ in assign_sides([left.value, right.value], sides)]  # type: ignore[arg-type]
    assert sides == ["left", "right"]
    side: str | None = "left"
    for t in np.arange(
        3, 4, 1 / 30
    ):  # the right hand is gone; for a second the label calls the left one right
        left.update(t, SURE_RIGHT)
        side = assign_sides([left.value], [side])[0][0]  # type: ignore[list-item]
    assert side == "left"


def test_of_two_that_claim_one_side_the_likelier_hand_gets_it() -> None:
    claims = [4.0, 4.0, -4.0]
    assert [side for side, _ in assign_sides(claims, being=[-1.0, 3.0, 2.0])] == [None, "left", "right"]
    assert [side for side, _ in assign_sides(claims, being=[3.0, -1.0, 2.0])] == ["left", None, "right"]
    # One that is hardly a hand is nobody's, however sure its side.
    assert assign_sides([2.0], being=[-5.0]) == [(None, 0.5)]


def test_too_many_hands_raise() -> None:
    with pytest.raises(ValueError, match="at most four"):
        assign_sides([0.0] * 5)
