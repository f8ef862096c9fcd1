"""The one sentence on the live page while nothing is warned of: true of what stands beside the hands, and steady.

The rules are those of the page's own contract: one thing at a time, of a hand that is warned of before another; comfort
is not told one frame longer than it is shown; and under six changes a minute while the other hand flickers.
"""

from __future__ import annotations

import random
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from page_stage import OpenPage

pytestmark = pytest.mark.browser

RATE_HZ = 10.0
STATES = ("beyond", "extreme", "unsure", "partly", "unseen")


def told(page: Any, left: list[str], right: list[str], warns: list[str]) -> list[str]:
    """By frame, what is told of hands with these states."""
    found: list[str] = page.evaluate(
        """async ([left, right, warns, rate]) => {
          const { Telling } = await import("/js/telling.js");
          const telling = new Telling();
          const shown = (state) => ({ state, quantity: state === "unsure" ? "wrist_flexion" : null, refusal: null });
          const both = left.map((state, i) => ({ left: shown(state), right: shown(right[i]) }));
          return both.map((hands, i) => telling.update(hands, warns, i / rate));
        }""",
        [left, right, warns, RATE_HZ],
    )
    return found


def test_what_is_told_does_not_change_with_a_hand_that_is_not_warned_of(open_page: OpenPage) -> None:
    page, chance = open_page(), random.Random(3)
    flickering = [chance.choice(STATES) for _ in range(60) for _ in range(10)]
    unsure = told(page, ["unsure"] * 600, flickering, ["left"])
    assert set(unsure) == {"Left hand: wrist flexion is too uncertain to call it comfortable."}
    # With nothing to say of the hand that is warned of, the other is told of, and never in a state that has gone.
    names = {"beyond": "past comfort range", "extreme": "extreme wrist angle", "unsure": "too uncertain",
        "partly": "not everything", "unseen": "not seen"}  # fmt: skip
    for sentence, state in zip(told(page, ["within"] * 600, flickering, ["left"]), flickering, strict=True):
        assert sentence.startswith("Right hand: ")
        assert names[state] in sentence


def test_comfort_is_not_told_longer_than_it_is_shown(open_page: OpenPage) -> None:
    page = open_page()
    left = ["within"] * 30 + ["unsure"] * 30 + ["within"] * 30
    found = told(page, left, ["within"] * 90, ["left"])
    assert set(found[:30]) == {"Both hands: in comfort range."}
    assert set(found[30:60]) == {"Left hand: wrist flexion is too uncertain to call it comfortable."}
    assert set(found[60:]) == {"Both hands: in comfort range."}


def test_comfort_of_both_hands_goes_with_that_of_either(open_page: OpenPage) -> None:
    page = open_page()
    found = told(page, ["within"] * 90, ["within"] * 30 + ["unsure"] * 30 + ["within"] * 30, ["left"])
    assert set(found[30:60]) == {"Right hand: wrist flexion is too uncertain to call it comfortable."}
    assert set(found[60:]) == {"Both hands: in comfort range."}


def test_what_stays_true_does_not_give_way_to_a_moment_of_the_other_hand(open_page: OpenPage) -> None:
    """A hand that bends and eases again within three seconds, time after time, beside one that is unsure; what lasts
    has its turn, and at once where a warning is over."""
    page = open_page()
    moments = (["within"] * 20 + ["unsure"] * 10 + ["extreme"] * 30) * 6
    still = "Right hand: wrist flexion is too uncertain to call it comfortable."
    assert set(told(page, moments, ["unsure"] * 360, ["left"])) == {still}
    lasts = told(page, ["within"] * 50 + ["extreme"] * 50, ["unsure"] * 100, ["left"])
    assert set(lasts[:89]) == {still}
    assert set(lasts[91:]) == {"Left hand: extreme wrist angle."}
    assert set(told(page, ["within"] * 50 + ["held"] * 50, ["unsure"] * 100, ["left"])[50:]) == {""}


def test_an_extreme_angle_is_left_to_its_warning_for_a_moment(open_page: OpenPage) -> None:
    """Where "too uncertain to call it comfortable" stood, that stays true; any other word gives way at once."""
    page = open_page()
    extreme = "Left hand: extreme wrist angle."
    after_unsure = told(page, ["unsure"] * 50 + ["extreme"] * 50, ["unsure"] * 100, ["left"])
    assert extreme not in after_unsure[:89]
    assert set(after_unsure[91:]) == {extreme}
    assert set(told(page, ["unseen"] * 50 + ["extreme"] * 50, ["unsure"] * 100, ["left"])[50:]) == {extreme}
    # Of a hand that is not warned of, no warning comes.
    other = told(page, ["within"] * 100, ["unsure"] * 50 + ["extreme"] * 50, ["left"])
    assert set(other[50:]) == {"Right hand: extreme wrist angle. Its warnings are off."}
