"""The summary after the stop, in headless Chromium."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from page_stage import Stage, expect_text, hand_state, phase

from posturewatch.comfort.phrases import NO_FORCE

if TYPE_CHECKING:
    from page_stage import OpenPage

pytestmark = pytest.mark.browser


FOCUSED = "document.activeElement.id || document.activeElement.tagName"


def test_stop_by_key_shows_the_summary_and_the_key_starts_again(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.keyboard.press("PageUp")
    hand_state(page, "left", "within")
    page.wait_for_timeout(1300)
    page.keyboard.press("PageUp")
    expect_text(page, "#summary h1", "Practice ended")
    assert page.evaluate(FOCUSED) == "H1"
    text = page.inner_text("#summary")
    for words in (
        "30 s of practice",
        "1 warning; wrist flexion measured 90\u00a0% of the time.",
        "0:10",
        "Left wrist bent in (flexion)",
        "60°\u00a0flexion",
        "1 mark",
        "0:04",
        "Measured 90\u00a0% of the time. The rest: hand not seen 3 s.",
        "Longest hold past the extreme limit (48.6° flexion): 6 s, at 0:10.",
        "10th to 90th percentile",
        "cannot see force",
        "does not replace a teacher or a clinician",
        "If it hurts, stop.",
    ):
        assert words in text, words
    # 6 of the 27 measured seconds, all far beyond the limit but where the low-pass rounds the steps.
    rows = page.locator("#summary table").nth(1).locator("tbody tr")
    flexion = [row.locator("td").first.inner_text() for row in rows.all()]
    assert flexion == ["21 s (78\u00a0%)", "–", "–", "6 s (22\u00a0%), 5.9 s certain"]
    page.wait_for_timeout(1300)
    page.keyboard.press("PageUp")
    phase(page, "watching")
    hand_state(page, "left", "within")
    assert not page.is_visible("#summary")
    assert stage.practice.calls == ["start", "stop", "start"]


def test_a_summary_stays_when_the_connection_is_lost(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    page.click("#stop")
    page.wait_for_selector("#summary h1")
    assert not page.is_visible("#banner")
    stage.server.close()
    expect_text(page, "#banner", "Connection to posturewatch lost; trying again.")
    assert page.is_visible("#summary h1")


def test_the_summary_tells_fingers_after_the_wrist_or_why_not(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    page.click("#stop")
    page.wait_for_selector("#summary h1")
    left, right = (page.locator(f".fingers-group[data-side={side}]") for side in ("left", "right"))
    headings = page.locator(".card:has(.fingers-group[data-side=left]) h3").all_inner_texts()
    assert headings == ["Wrist flexion", "Wrist deviation", "Fingers"]
    assert left.locator("thead th").all_inner_texts() == ["Lift", "Measured", "Past 15 mm", "Past 25 mm"]
    rows = [row.locator("th, td").all_inner_texts() for row in left.locator("tbody tr").all()]
    # 27 of 30 seconds were seen.
    assert rows == [
        ["Index", "90\u00a0%", "0\u00a0%", "0\u00a0%"],
        ["Middle", "90\u00a0%", "0\u00a0%", "0\u00a0%"],
        ["Ring", "90\u00a0%", "100\u00a0%", "0\u00a0%"],
        ["Little", "90\u00a0%", "100\u00a0%", "100\u00a0%, 100\u00a0% certain"],
    ]
    text = left.inner_text()
    for words in (
        "Lift was measured from the strings in the picture for 30 s.",
        "When a finger was not measured, this was why: ",
        "Middle finger's end joint bent backwards: 100\u00a0% past 5°, 100\u00a0% past 15° (0\u00a0% certain)",
        "Little finger held straight and high while another is down: 100\u00a0% of the playing time.",
    ):
        assert words in text, words
    assert "Not measured: too uncertain from this view." in right.inner_text()
    assert right.locator("table").count() == 0
    assert page.inner_text("#summary").count(NO_FORCE) == 1
