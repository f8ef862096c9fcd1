"""Keys, foot pedals and the keyboard alone, on the live page in headless Chromium."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from page_stage import Stage, expect_text, hand_state, recorded

if TYPE_CHECKING:
    from page_stage import OpenPage

pytestmark = pytest.mark.browser


FOCUSED = "document.activeElement.id || document.activeElement.tagName"


def test_mark_by_keys(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    told = "all => all.some((text) => /Marked\\s\\d+:\\d\\d/.test(text))"
    # The button's own word goes after a while.
    on_button = recorded(page, "#mark")
    for count, key in enumerate(["Space", "Enter", "PageDown"], start=1):
        said = recorded(page, "#say")
        page.keyboard.press(key)
        page.wait_for_function(told, arg=said)
        expect_text(page, "#facts", f"{count} mark")
        # A second press within a third of a second counts as the pedal's contact bouncing.
        page.wait_for_timeout(400)
    page.wait_for_function(told, arg=on_button)
    assert stage.practice.calls == ["start", "mark", "mark", "mark"]
    assert page.evaluate("window.scrollY") == 0


@pytest.mark.parametrize("key", ["Space", "Enter"])
def test_a_focused_button_keeps_the_key_to_itself(open_page: OpenPage, stage: Stage, key: str) -> None:
    page = open_page()
    page.focus("#start")
    page.keyboard.press(key)
    hand_state(page, "left", "within")
    page.focus("#mark")
    page.keyboard.press(key)
    expect_text(page, "#facts", "1 mark")
    page.focus("#mute")
    page.keyboard.press(key)
    page.wait_for_selector("#mute[aria-pressed=true]")
    page.focus("#stop")
    page.keyboard.press(key)
    page.wait_for_selector("#summary h1")
    assert stage.practice.calls == ["start", "mark", "stop"]


def test_a_clicked_button_lets_go_of_the_keyboard(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    page.click("#mute")
    page.keyboard.press("Space")
    expect_text(page, "#facts", "1 mark")
    assert page.get_attribute("#mute", "aria-pressed") == "true"


def test_a_foot_left_on_the_pedal_marks_once(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    for _ in range(5):
        page.keyboard.down("PageDown")
    page.keyboard.up("PageDown")
    expect_text(page, "#facts", "1 mark")
    assert stage.practice.calls == ["start", "mark"]


def test_the_page_can_be_used_by_keyboard_alone(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    # Each hand's switch for its warnings stands beside its name, above the buttons.
    first = []
    for _ in range(3):
        page.keyboard.press("Tab")
        first.append(page.evaluate(FOCUSED))
    assert first == ["warns-left", "warns-right", "start"]
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline == "solid"
    page.keyboard.press("Enter")
    hand_state(page, "left", "within")
    reached = []
    for _ in range(6):
        page.keyboard.press("Tab")
        reached.append(page.evaluate(FOCUSED))
    assert reached == ["mark", "stop", "mute", "fingers-toggle", "passage", "log"]
