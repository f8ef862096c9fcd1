"""How the live page looks from two metres away: sizes and contrasts, against outside measures.

Sizes: a 14-inch screen, its width from its diagonal and its shape. The picture is to take half of it; digits of a
hand's number 8 mm, a warning's letters 9 mm and those of any other message 6 mm. Contrast: Web Content Accessibility
Guidelines 2.2, 1.4.3 (text, 4.5:1) and 1.4.11 (marks that carry meaning, 3:1), by the formulas given there.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any

import pytest
from page_stage import WELL, Stage, every_state, expect, hand_state

from posturewatch.model.measurement import Refusal

if TYPE_CHECKING:
    from page_stage import OpenPage
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

DIAGONAL_MM = 14 * 25.4
#: Width and height of the window, the screen's height, and how much of it the picture takes: half where the window is
#: the whole screen; under the bars of a browser there is less room, and letters are as large all the same.
SCREENS = [(1280, 800, 800, 0.5), (1366, 768, 768, 0.5), (1366, 625, 768, 0.3)]
#: The longest warning of one hand.
HELD = (0.0, 3.0, {"wrist_ulnar_deviation": (32.0, 2.0)})


def px_per_mm(width: int, height: int) -> float:
    return math.hypot(width, height) / DIAGONAL_MM


def glyph_px(page: Page, selector: str, letter: str) -> float:
    """The height of a letter's ink as the element writes it."""
    found: float = page.evaluate(
        """([selector, letter]) => {
          const { fontWeight, fontSize, fontFamily } = getComputedStyle(document.querySelector(selector));
          const pen = document.createElement("canvas").getContext("2d");
          pen.font = `${fontWeight} ${fontSize} ${fontFamily}`;
          return pen.measureText(letter).actualBoundingBoxAscent;
        }""",
        [selector, letter],
    )
    return found


@pytest.mark.parametrize("stage", ["en", "de"], indirect=True)
@pytest.mark.parametrize(("width", "height", "screen_height", "share"), SCREENS)
def test_the_picture_is_large_and_what_is_read_from_afar_too(
    open_page: OpenPage, stage: Stage, width: int, height: int, screen_height: int, share: float
) -> None:
    page = open_page(width, height)
    page.click("#start")
    hand_state(page, "left", "within")
    box = page.locator(".picture").bounding_box()
    assert box is not None
    assert box["width"] * box["height"] >= share * width * height
    assert page.evaluate("document.documentElement.scrollHeight") <= height
    mm = px_per_mm(width, screen_height)
    assert glyph_px(page, ".hand .scale[data-main=true] b", "0") >= 8 * mm
    assert glyph_px(page, ".message-text", "H") >= 6 * mm
    stage.hands = (HELD, WELL[1])
    page.wait_for_selector(".message[data-kind=warning]")
    assert glyph_px(page, ".message-text", "H") >= 9 * mm
    # Nothing of it is cut off, and it need not be made smaller; nor is anything of the hands' cards.
    text = page.locator(".message-text")
    assert text.get_attribute("data-size") == "whole"
    assert text.evaluate("one => one.offsetHeight <= one.parentElement.clientHeight")
    cut = "[...document.querySelectorAll('.hand')].filter((one) => one.scrollHeight > one.clientHeight + 1).length"
    assert page.evaluate(cut) == 0


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (1366, 625), (390, 844), (844, 390)])
def test_two_warnings_at_once_are_smaller_rather_than_cut(
    open_page: OpenPage, stage: Stage, width: int, height: int
) -> None:
    page = open_page(width, height)
    page.click("#start")
    stage.hands = (HELD, HELD)
    hand_state(page, "left", "held")
    hand_state(page, "right", "held")
    page.wait_for_function("document.querySelector('.message-said').textContent.includes('Right wrist')")
    assert page.evaluate(
        "() => document.querySelector('.message-text').offsetHeight <= document.querySelector('.message').clientHeight"
    )


SIZES = [(1280, 800), (1366, 768), (1366, 625), (390, 844), (844, 390)]
#: By how much one box reaches into another one, in pixels of height.
OVERLAP = """() => {
  const [one, other] = ["#before", ".picture"].map((name) => document.querySelector(name).getBoundingClientRect());
  const aside = one.right <= other.left + 1 || other.right <= one.left + 1;
  return aside ? 0 : Math.max(0, Math.min(one.bottom, other.bottom) - Math.max(one.top, other.top));
}"""


@pytest.mark.parametrize("stage", ["en", "de"], indirect=True)
@pytest.mark.parametrize(("width", "height"), SIZES)
def test_the_question_before_playing_leaves_the_picture_in_sight(
    open_page: OpenPage, stage: Stage, width: int, height: int
) -> None:
    page = open_page(width, height)
    page.click("#start")
    page.wait_for_selector("#before .offer")
    hand_state(page, "left", "within")
    covered = page.evaluate(OVERLAP) / page.locator(".picture").evaluate("one => one.offsetHeight")
    # Of the lap at its lower edge at most, and of a phone's small picture nothing.
    assert covered <= (0.13 if width > 1000 else 0.0)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("stage", ["en", "de"], indirect=True)
@pytest.mark.parametrize(("width", "height"), SIZES)
def test_cards_say_what_each_hand_does_and_cut_nothing(
    open_page: OpenPage, stage: Stage, width: int, height: int
) -> None:
    """And every button that can be pressed is in sight where the page does not scroll."""
    page = open_page(width, height)
    page.click("#start")
    for hands, state in ((WELL, "within"), ((HELD, WELL[1]), "held")):
        stage.hands = hands
        hand_state(page, "left", state)
        cut = """[...document.querySelectorAll(".hand, .hand-name, .word")]
          .filter((one) => one.scrollHeight > one.clientHeight + 3 || one.scrollWidth > one.clientWidth + 1)
          .map((one) => one.textContent)"""
        assert page.evaluate(cut) == []
    if width > height:
        below = """(height) => [...document.querySelectorAll(".controls .button:not(:disabled)")]
          .filter((one) => one.checkVisibility() && one.getBoundingClientRect().bottom > height).map((one) => one.id)"""
        assert page.evaluate(below, height) == []


@pytest.mark.parametrize("stage", ["en", "de"], indirect=True)
@pytest.mark.parametrize(("width", "height"), [(844, 390), (740, 360), (667, 375)])
def test_on_a_phone_on_its_side_nothing_is_scrolled_to(
    open_page: OpenPage, stage: Stage, width: int, height: int
) -> None:
    """With the fingers shown and the question before playing asked, in every state of a hand."""
    page = open_page(width, height)
    hidden = """(height) => [document.documentElement, ...document.querySelectorAll("body *")]
      .filter((one) => one.matches("html, .side, .controls, .finger-name") && one.checkVisibility())
      .filter((one) => one.scrollHeight > one.clientHeight + 1 || one.scrollWidth > one.clientWidth + 1
        || one.getBoundingClientRect().bottom > height + 0.5).map((one) => one.className || one.tagName)"""
    for states in every_state(page, stage):
        assert page.evaluate(hidden, height) == [], states
    # Not without the fingers either, where both hands need the most words.
    stage.hands = (Refusal.HAND_NOT_SEEN, Refusal.HAND_NOT_SEEN)
    page.click("#fingers-toggle")
    for side in ("left", "right"):
        hand_state(page, side, "unseen")
    assert page.evaluate(hidden, height) == []
    # Put away, where it has not gone by itself as it does after a minute.
    page.evaluate("document.querySelector('#before > .more')?.click()")
    expect(page.locator("#before")).to_be_hidden()
    assert page.evaluate(hidden, height) == []


def test_the_large_number_is_the_one_that_is_warned_of(open_page: OpenPage, stage: Stage) -> None:
    """Also where another angle of that hand is nearer to its limit, or farther past it."""
    page = open_page(1280, 800)
    page.click("#start")
    stage.hands = (HELD, WELL[1])
    page.wait_for_selector(".message[data-kind=warning]")
    # Flexion goes farther past its limit of 48.6 degrees, at once; tilt stays warned of.
    stage.hands = ((100.0, 3.0, HELD[2]), WELL[1])
    page.wait_for_function(
        "() => [...document.querySelectorAll('.hand[data-side=left] b')].some((one) => parseInt(one.textContent) >= 98)"
    )
    page.wait_for_timeout(2500)
    # Both of one frame.
    both = page.wait_for_function(
        """() => document.querySelector(".message[data-kind=warning]") && [
          ".message-said", ".hand[data-side=left] .scale[data-main=true]"
        ].map((one) => document.querySelector(one).innerText)"""
    )
    said, main = both.json_value()
    assert ("tilted" in said, "bent in" in said) != (False, False)
    assert ("ulnar" if "tilted" in said else "flexion") in main


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definitions) of a computed colour."""
    parts = [float(part) for part in re.findall(r"[\d.]+", colour)][:3]
    shares = [part / 255 for part in parts] if colour.startswith("rgb") else parts
    linear = [s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def measured(page: Page, wanted: list[tuple[str, str]]) -> list[tuple[str, str, str]]:
    """By selector, the colour of that property and that of the ground behind it, of everything that is visible."""
    found: list[tuple[str, str, str]] = page.evaluate(
        """(wanted) => {
          const clear = (colour) => /^rgba\\(.*, 0\\)$/.test(colour) || colour === "transparent";
          const ground = (node) => {
            const { backgroundColor } = getComputedStyle(node);
            return clear(backgroundColor) && node.parentElement ? ground(node.parentElement) : backgroundColor;
          };
          return wanted.flatMap(([selector, property]) => [...document.querySelectorAll(selector)]
            .filter((node) => node.checkVisibility({ visibilityProperty: true }))
            .map((node) => [selector, getComputedStyle(node)[property], ground(node)]));
        }""",
        wanted,
    )
    return found


TEXTS = [(".message-text", "color"), (".clock", "color"), (".hand-name", "color"), (".hand .word", "color"),
    (".scale-text *", "color"), (".finger p", "color"), (".strip-foot", "color"), (".hint", "color"),
    (".controls .button:not(:disabled)", "color")]  # fmt: skip
MARKS = [(".shape", "color"), (".dial-track", "stroke"), (".dial-comfort", "stroke"), (".dial-limit", "stroke"),
    (".dial-arm", "stroke"), (".dial-straight", "stroke"), (".dial-spread", "stroke"), (".dial-hand path", "stroke"),
    (".lift-fill", "fill"), (".lift-track", "stroke"), (".lift-limit", "stroke"), (".lift-strings", "stroke"),
    (".finger-shape", "color")]  # fmt: skip


#: On the pages of what is kept.
KEPT_MARKS = [(".time-within", "fill"), (".time-extreme", "fill"), (".time-beyond-line", "stroke"),
    (".time-dot", "fill"), (".time-unseen", "stroke"), (".timeline-clips a", "color"),
    (".timeline-hand", "outlineColor"), (".timeline-passages span", "borderTopColor"), (".state-bar", "outlineColor"),
    (".state-within", "fill"), (".state-extreme", "fill"), (".state-beyond", "stroke"), (".state-unsure", "stroke"),
    (".trace-line", "stroke"), (".trace-zero", "stroke"), (".trace-limit", "stroke"), (".trace-needle", "stroke"),
    (".trace-dot", "fill"), (".trace-moment", "stroke"), (".region", "stroke")]  # fmt: skip

#: Colours in which charts are drawn, on the ground of a card.
CHART_COLOURS = ("button", "beyond", "muted", "focus", "ink", "extreme", "mark")


def weak(page: Page, texts: list[tuple[str, str]], marks: list[tuple[str, str]]) -> list[Any]:
    """What stands out too little of these."""
    return [
        (*one, round(contrast(one[1], one[2]), 2))
        for wanted, least in ((texts, 4.5), (marks, 3.0))
        for one in measured(page, wanted)
        if contrast(one[1], one[2]) < least
    ]


def chart_colours(page: Page) -> dict[str, float]:
    """The contrast of each colour of the charts on a card."""
    found: dict[str, list[str]] = page.evaluate(
        """(names) => {
          const node = document.body.appendChild(document.createElement("i"));
          const rgb = (name) => {
            node.style.color = `var(--${name})`;
            return getComputedStyle(node).color;
          };
          const all = Object.fromEntries(names.map((name) => [name, [rgb(name), rgb("panel")]]));
          node.remove();
          return all;
        }""",
        list(CHART_COLOURS),
    )
    return {name: contrast(*pair) for name, pair in found.items()}


def test_black_on_white_has_the_contrast_that_the_guidelines_give() -> None:
    # The largest ratio there is, 21:1, and the grey #767676, the lightest that reaches 4.5:1 on white.
    assert contrast("rgb(0, 0, 0)", "rgb(255, 255, 255)") == pytest.approx(21.0)
    assert 4.5 <= contrast("rgb(118, 118, 118)", "rgb(255, 255, 255)") < 4.6
