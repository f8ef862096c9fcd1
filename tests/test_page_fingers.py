"""The strip of fingers on the live page, in headless Chromium."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from page_stage import FINGERS, Stage, expect, expect_text, finger, hand_state, phase

from posturewatch.comfort.phrases import NO_FORCE
from posturewatch.model.measurement import Refusal

if TYPE_CHECKING:
    from page_stage import OpenPage

pytestmark = pytest.mark.browser


def test_the_strip_of_fingers_is_off_until_asked_for_and_stays(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    assert not page.is_visible("#fingers")
    page.focus("#fingers-toggle")
    page.keyboard.press("Space")
    expect(page.locator("#fingers")).to_be_visible()
    expect(page.locator("#fingers-toggle")).to_have_attribute("aria-pressed", "true")
    assert stage.practice.calls == ["start"]
    page.reload()
    phase(page, "watching")
    assert page.is_visible("#fingers")
    page.click("#fingers-toggle")
    expect(page.locator("#fingers")).to_be_hidden()


def test_the_strip_shows_lift_cues_and_what_is_not_measurable(open_page: OpenPage, stage: Stage) -> None:
    stage.hands = ((12.0, 4.0, FINGERS), (-8.0, 3.0, {"index_lift": (33.0, 1.0)}))
    page = open_page()
    page.click("#fingers-toggle")
    page.click("#start")
    names = [" ".join(one.split()) for one in page.locator(".finger-name").all_inner_texts()]
    assert names == ["T thumb", "1 index", "2 middle", "3 ring", "4 little"]
    expect(finger(page, "index", "within")).to_contain_text("9")
    expect(finger(page, "ring", "beyond")).to_contain_text("Past range")
    # The cue in its few words, and in full for whoever points at it.
    expect(finger(page, "little", "extreme").locator(".finger-cue")).to_have_text("straight and high")
    expect(finger(page, "middle", "within").locator(".finger-cue")).to_have_text("end joint bent back")
    # No limit is set for the thumb: it is not called within or beyond any.
    expect(finger(page, "thumb", "within").locator(".finger-word")).to_have_text("bent")
    expect_text(page, ".strip-foot", "Lift in mm, from the strings in the picture.")
    expect_text(page, ".strip-foot", NO_FORCE)
    height = "Number(document.querySelector('.finger[data-finger=ring] .lift-fill').getAttribute('height'))"
    # 19 mm of a bar that ends at 1.36 times the extreme limit of 25 mm.
    page.wait_for_function(f"() => Math.abs({height} - {100 * 19 / 34}) < 0.5")
    page.focus(".finger[data-finger=little]")
    expect_text(
        page,
        ".strip-foot",
        "Little finger lift: 31\u00a0mm ±7, extreme; little finger held straight and high",
    )
    # A lift whose 90 % interval reaches past the comfort limit (15 mm) is not called within, though a single deviation
    # would not: 1.645 of 9 mm are 14.8 (quantile of the normal distribution). Nor is one past comfort called so where
    # it may be extreme, or a thumb bent or bent back where the interval leaves that open.
    unclear = {"middle_lift": (1.0, 9.0), "ring_lift": (19.0, 5.0), "thumb_ip": (-11.0, 9.0)}
    stage.hands = ((12.0, 4.0, FINGERS | unclear), (-8.0, 3.0))
    expect(finger(page, "middle", "unsure").locator(".finger-word")).to_have_text("Unsure")
    expect(finger(page, "ring", "unsure").locator(".finger-word")).to_have_text("Unsure")
    expect(finger(page, "thumb", "unsure").locator(".finger-word")).to_have_text("Unsure")
    page.focus(".finger[data-finger=middle]")
    expect_text(page, ".strip-foot", "Middle finger lift: 1\u00a0mm ±15, too uncertain to say")
    expect(finger(page, "index", "within").locator(".finger-word")).to_have_text("In range")
    page.focus(".finger[data-finger=little]")
    stage.hands = ((12.0, 4.0, {"index_lift": (12.0, 3.0)}), (-8.0, 3.0))
    finger(page, "little", "unseen")
    expect_text(page, ".strip-foot", "not measured, too uncertain from this view. Move the camera a little")
    # The wrist stays what is told large, and fingers never change its word.
    hand_state(page, "left", "within")
    stage.hands = (Refusal.HAND_NOT_SEEN, (-8.0, 3.0))
    finger(page, "index", "unseen")
    page.evaluate("document.activeElement.blur()")
    expect_text(page, ".strip-foot", "Fingers not measured, hand not seen.")


def test_a_finger_lost_for_a_moment_does_not_flicker(open_page: OpenPage) -> None:
    """Its word stays, and that nothing comes of it just now is marked with every frame."""
    frames: list[tuple[bool, str, str]] = open_page().evaluate(
        """async () => {
          const { FingerColumn } = await import("/js/finger-column.js");
          const { OF_FINGERS } = await import("/js/terms.js");
          const column = new FingerColumn(OF_FINGERS.find((one) => one.name === "ring_lift"), () => {});
          const found = [];
          for (let i = 0; i < 180; i += 1) {
            const lost = i > 60 && i % 40 < 10;
            const entry = lost ? { value: null, sd: null, display: null, refusal: "too uncertain from this view" }
              : { value: 19, sd: 3, display: 19, refusal: null };
            column.show(entry, [], i / 10);
            found.push([lost, column.node.dataset.state, column.node.dataset.pending]);
          }
          return found;
        }"""
    )
    assert {state for _, state, _ in frames[60:]} == {"beyond"}
    assert [pending == "true" for _, _, pending in frames[60:]] == [lost for lost, _, _ in frames[60:]]
    assert sum(lost for lost, _, _ in frames) == 30
