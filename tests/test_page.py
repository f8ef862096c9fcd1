"""The live page in headless Chromium, fed by a scripted practice."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from page_stage import (
    FINGERS,
    LEFT_NUMBER,
    PICTURE_SUM,
    WAIT_MS,
    WELL,
    Stage,
    expect,
    expect_text,
    hand_state,
    phase,
    recorded,
    wait_for_change,
)
from page_stand_ins import OneSummary, page_words

from posturewatch.comfort.rules import WatchRules
from posturewatch.config.resources import web_dir
from posturewatch.model.measurement import Refusal
from posturewatch.server.app import create_app
from posturewatch.server.serving import PageServer, listen

if TYPE_CHECKING:
    from page_stage import OpenPage
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser


def test_start_shows_moving_picture_and_changing_numbers(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    expect_text(page, ".message-text", "Ready.")
    page.click("#start")
    phase(page, "watching")
    hand_state(page, "left", "within")
    expect_text(page, ".hand[data-side=left] .word", "In comfort range")
    expect_text(page, ".hand[data-side=left] .hand-name", "fretting")
    expect_text(page, ".hand[data-side=right] .scale:first-child", "extension")
    expect_text(page, ".message-text", "Both hands: in comfort range.")
    wait_for_change(page, PICTURE_SUM)
    wait_for_change(page, LEFT_NUMBER)
    assert stage.practice.calls == ["start"]


def test_the_picture_is_mirrored_by_drawing_it_so(open_page: OpenPage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    # The stand-in draws the left hand in the right half, as a camera sees it; on the page it is on the left.
    # The hand's line is the only saturated light blue (#8fe3ff) there.
    page.wait_for_function(
        """() => {
          const canvas = document.getElementById("canvas");
          const { width, height } = canvas;
          const { data } = canvas.getContext("2d").getImageData(0, 0, width, height);
          let count = [0, 0];
          for (let i = 0; i < data.length; i += 4) {
            const near = Math.abs(data[i] - 143) + Math.abs(data[i + 1] - 227) + Math.abs(data[i + 2] - 255) < 30;
            if (near) count[((i / 4) % width) < width / 2 ? 0 : 1] += 1;
          }
          return Math.min(...count) > 50;
        }"""
    )
    mirror = page.evaluate("getComputedStyle(document.getElementById('canvas')).transform")
    assert mirror == "none"


def test_a_warning_appears_and_clears(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.keyboard.press("PageUp")
    hand_state(page, "left", "within")
    stage.hands = ((38.2, 4.0), (-8.0, 3.0))
    hand_state(page, "left", "beyond")
    stage.hands = ((60.0, 4.0), (-8.0, 3.0))
    hand_state(page, "left", "held")
    expect_text(page, ".hand[data-side=left] .word", "Ease off")
    expect_text(page, ".message[data-kind=warning]", "Left wrist bent in, held")
    expect_text(page, ".message[data-kind=warning]", "Ease it towards straight.")
    # Said once, without the seconds that keep counting.
    expect_text(page, "#say", "Left wrist bent in (flexion). Ease it towards straight.")
    hand_state(page, "right", "within")
    stage.hands = WELL
    hand_state(page, "left", "within")
    page.wait_for_selector(".message[data-kind=calm]")


def test_either_hand_is_switched_to_warn_or_not(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    switch = page.locator(".hand[data-side=right] .warns")
    expect(switch).to_have_text("Warnings on")
    switch.click()
    expect(switch).to_have_text("Warnings off")
    assert stage.practice.warns == ["left"]
    page.click("#start")
    stage.hands = (WELL[0], (-60.0, 3.0))
    hand_state(page, "right", "extreme")
    expect_text(page, ".message-text", "Right hand: extreme wrist angle. Its warnings are off.")
    states = recorded(page, ".hand[data-side=right]", "data-state")
    # Longer than a hold takes to be warned of.
    page.wait_for_timeout(1500)
    assert "held" not in states.json_value()
    hand_state(page, "right", "extreme")
    switch.click()
    hand_state(page, "right", "held")
    expect_text(page, ".message[data-kind=warning]", "Right wrist bent back, held")
    switch.click()
    page.wait_for_selector(".message[data-kind=calm]")
    hand_state(page, "right", "extreme")
    # Nothing was eased, so nothing says so.
    assert "Eased" not in page.inner_text("#say")


def test_a_warning_of_a_finger_leaves_the_card_of_the_wrist_alone(open_page: OpenPage, stage: Stage) -> None:
    stage.practice.rules = WatchRules(finger_hold_s=0.5, warn_groups=("wrist", "finger"))
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    stage.hands = ((12.0, 4.0, FINGERS), (-8.0, 3.0))
    expect_text(page, ".message[data-kind=warning]", "Left little finger lifted, held")
    # The card shows wrist angles, and these are comfortable; long enough for a state to have come through.
    page.wait_for_timeout(1000)
    hand_state(page, "left", "within")
    expect_text(page, ".message[data-kind=warning]", "Left little finger lifted, held")


def test_a_warning_sounds_once_and_not_when_muted(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.evaluate(
        """() => {
          window.started = 0;
          const start = OscillatorNode.prototype.start;
          OscillatorNode.prototype.start = function (...rest) { window.started += 1; return start.apply(this, rest); };
        }"""
    )
    page.click("#start")
    hand_state(page, "left", "within")
    # The browser lets the page sound.
    page.wait_for_selector("#sound-hint", state="hidden")
    stage.hands = ((60.0, 4.0), (-8.0, 3.0))
    hand_state(page, "left", "held")
    expect(page.locator(".message-text")).to_contain_text(re.compile(r"held [1-9]\d*\ss"))
    assert page.evaluate("window.started") == 2
    stage.hands = WELL
    hand_state(page, "left", "within")
    page.click("#mute")
    assert page.get_attribute("#mute", "aria-pressed") == "true"
    stage.hands = ((60.0, 4.0), (-8.0, 3.0))
    hand_state(page, "left", "held")
    assert page.evaluate("window.started") == 2
    page.reload()
    phase(page, "watching")
    assert page.get_attribute("#mute", "aria-pressed") == "true"


def test_what_is_not_measurable_is_said_with_what_would_help(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    stage.hands = (Refusal.FOREARM_NOT_SEEN, (-8.0, 3.0))
    hand_state(page, "left", "partly")
    expect_text(page, ".hand[data-side=left] .word", "Partly seen")
    page.wait_for_function(f"() => {LEFT_NUMBER} === '–'")
    expect_text(
        page, ".message-text", "Left hand: wrist flexion not measured, forearm not seen. Let the camera"
    )
    expect_text(page, ".message-text", Refusal.FOREARM_NOT_SEEN.help)
    # One thing at a time, of the hand on the fingerboard first; the other's is said when that is solved.
    stage.hands = (Refusal.HAND_NOT_SEEN, Refusal.HAND_NOT_SEEN)
    hand_state(page, "left", "unseen")
    hand_state(page, "right", "unseen")
    expect_text(page, ".hand[data-side=left] .word", "Hand not seen")
    expect_text(page, ".message-text", f"Both hands: hand not seen. {Refusal.HAND_NOT_SEEN.help}")
    stage.hands = (WELL[0], Refusal.HAND_CUT_OFF)
    expect_text(page, ".message-text", "Right hand: wrist flexion not measured, hand cut off by the edge")
    expect_text(page, ".message-text", Refusal.HAND_CUT_OFF.help)
    stage.hands = WELL
    hand_state(page, "left", "within")


def test_the_camera_notice_is_shown(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    stage.practice.notice = "The camera does not answer; trying again."
    expect_text(page, ".message[data-kind=notice]", "The camera does not answer; trying again.")
    stage.practice.notice = None
    page.wait_for_selector(".message[data-kind=calm]")


@pytest.mark.parametrize(
    ("kind", "message", "said"),
    [
        ("camera", "notice", "No picture is coming from the camera."),
        # Which cannot be plugged in, and whose last picture was not followed by another.
        ("film", "calm", "No new picture of the film yet."),
    ],
)
def test_numbers_vanish_when_no_picture_comes(
    open_page: OpenPage, stage: Stage, kind: str, message: str, said: str
) -> None:
    stage.practice.source_kind = kind
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    stage.practice.feed.put = lambda reading: None  # type: ignore[method-assign]
    hand_state(page, "left", "unseen")
    expect_text(page, f".message[data-kind={message}]", said)
    assert page.evaluate(LEFT_NUMBER) == "–"


def test_a_lost_connection_is_said_and_mended(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    port = stage.server.port
    stage.server.close()
    phase(page, "lost")
    expect_text(page, ".message[data-kind=lost]", "Connection to posturewatch lost; trying again.")
    hand_state(page, "left", "unseen")
    app = create_app(
        practice=stage.practice,
        feed=stage.practice.feed,
        log=OneSummary({}),
        vocabulary=page_words(),
        web_dir=web_dir(),
        port=port,
        admission=stage.admission,
    )
    stage.server = PageServer(app, listen(port))
    stage.server.start()
    phase(page, "watching")
    hand_state(page, "left", "within")


def test_the_warning_does_not_move_the_picture(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    # All there is besides has come, and what asks for a click has gone.
    page.wait_for_selector("#before .offer")
    page.wait_for_selector("#sound-hint", state="hidden")
    before = page.locator("#canvas").bounding_box()
    stage.hands = ((60.0, 4.0), (-8.0, 3.0))
    page.wait_for_selector(".message[data-kind=warning]")
    assert page.locator("#canvas").bounding_box() == before


@pytest.mark.parametrize(("width", "height"), [(390, 844), (320, 640), (1280, 720)])
def test_nothing_is_wider_than_the_window(open_page: OpenPage, stage: Stage, width: int, height: int) -> None:
    page = open_page(width, height)
    wider = "document.documentElement.scrollWidth > document.documentElement.clientWidth"
    page.click("#start")
    for hands, state in [
        (WELL, "within"),
        ((Refusal.UNUSUAL_VIEW, (-8.0, 3.0)), "partly"),
        (((0.0, -40.0), (-8.0, 3.0)), "held"),
    ]:
        stage.hands = hands
        hand_state(page, "left", state)
        assert not page.evaluate(wider), state
        word = page.evaluate(
            """() => [...document.querySelectorAll(".word")].every((word) => word.scrollWidth <= word.clientWidth)"""
        )
        assert word, state
    small = page.evaluate(
        """() => [...document.querySelectorAll("button")].filter((button) => !button.hidden)
          .filter((button) => button.getBoundingClientRect().height < 56).map((button) => button.id)"""
    )
    assert small == []
    page.click("#fingers-toggle")
    stage.hands = ((12.0, 4.0, FINGERS), (-8.0, 3.0))
    page.wait_for_selector(".finger[data-finger=little] .finger-cue:not(:empty)")
    assert not page.evaluate(wider)
    for part in (".finger-name", ".finger-size", ".finger-word", ".finger-cue"):
        cut = (
            f"[...document.querySelectorAll('{part}')].filter((one) => one.scrollWidth > one.clientWidth + 1)"
        )
        assert page.evaluate(f"{cut}.map((one) => one.textContent)") == [], part
    page.click("#stop")
    page.wait_for_selector("#summary h1")
    assert not page.evaluate(wider)


def test_a_browser_gets_in_by_the_whole_address_alone(browser: Browser, stage: Stage) -> None:
    address = stage.admission.address(stage.url)
    for attempt in range(2):  # two browsers with nothing in common
        context = browser.new_context()
        page = context.new_page()
        page.set_default_timeout(WAIT_MS)
        refused = page.goto(stage.url)
        assert refused is not None
        assert refused.status == 403
        expect_text(page, "body", "use the whole address that it printed in its terminal")
        # From a page of another site, as a link in a message is followed.
        page.goto(f"data:text/html,<a id=link href={address}>the page</a>")
        if attempt:
            page.click("#link")
        else:
            page.goto(address)
        phase(page, "stopped")
        assert page.url == stage.url
        assert page.evaluate("document.cookie") == ""
        page.reload()
        phase(page, "stopped")
        context.close()
