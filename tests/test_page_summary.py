"""The summary after the stop, in headless Chromium."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from page_stage import Stage, expect, expect_text, hand_state, phase

from posturewatch.comfort.phrases import NO_FORCE

if TYPE_CHECKING:
    from page_stage import OpenPage
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser


def unfold(page: Page) -> None:
    page.evaluate("document.querySelectorAll('#summary details').forEach((one) => { one.open = true; })")


FOCUSED = "document.activeElement.id || document.activeElement.tagName"


def plain(text: str) -> str:
    """Without spaces at which no line breaks."""
    return text.replace("\u00a0", " ")


def test_stop_by_key_shows_the_summary_and_the_key_starts_again(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.keyboard.press("PageUp")
    hand_state(page, "left", "within")
    page.wait_for_timeout(1300)
    page.keyboard.press("PageUp")
    expect_text(page, "#summary h1", "Practice ended")
    assert page.evaluate(FOCUSED) == "H1"
    unfold(page)
    text = plain(page.inner_text("#summary"))
    for words in (
        "30 s of practice",
        "1 warning; wrist flexion measured 90 % of the time, certain enough to judge the hand 90 % of the time.",
        "0:10",
        "Left wrist bent in (flexion)",
        "60° flexion",
        "1 mark",
        "0:04",
        "Measured 90 % of the time. The rest: hand not seen 3 s.",
        "Longest hold past the extreme limit (48.6° flexion): 6 s, at 0:10.",
        "10th to 90th percentile",
        "cannot see force",
        "does not replace a teacher or a clinician",
        "If it hurts, stop.",
    ):
        assert words in text, words
    # 6 of the 27 measured seconds, all far beyond the limit but where the low-pass rounds the steps.
    rows = page.locator("#summary table").nth(1).locator("tbody tr")
    flexion = [plain(row.locator("td").first.inner_text()) for row in rows.all()]
    assert flexion == ["21 s (78 %)", "–", "–", "6 s (22 %), 5.9 s certain"]
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


def _ended_without_summary(open_page: OpenPage, addresses: str) -> Page:
    """A practice that was begun and stopped while nothing comes from these addresses."""
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    page.route(addresses, lambda route: route.abort("connectionrefused"))
    page.click("#stop")
    return page


def test_a_summary_that_does_not_come_is_asked_for_again(open_page: OpenPage, stage: Stage) -> None:
    page = _ended_without_summary(open_page, "**/summary")
    # It stands until the summary comes.
    late = page.locator(".message[data-kind=notice] .message-text")
    expect(late).to_have_text("The summary has not come yet; trying again.")
    page.unroute("**/summary")
    expect_text(page, "#summary h1", "Practice ended")
    expect(page.locator("#banner")).to_be_hidden()
    expect(late).to_have_count(0)


def test_a_new_practice_waits_for_no_summary(open_page: OpenPage, stage: Stage) -> None:
    page = _ended_without_summary(open_page, "**/session-1/summary")
    expect(page.locator(".message[data-kind=notice]")).to_contain_text("The summary has not come yet")
    page.click("#start")
    hand_state(page, "left", "within")
    expect_text(page, ".message[data-kind=calm]", "in comfort range")
    page.click("#stop")
    page.wait_for_selector("#summary h1")


def test_pauses_between_questions_grow_and_it_is_told_when_it_takes_long(open_page: OpenPage) -> None:
    """On a clock of its own; what is not there is not asked for again, nor what nobody waits for any more."""
    found = open_page().evaluate(
        """async () => {
          const { askedAgain } = await import("/js/again.js");
          let [clock, asked, told, pauses] = [0, 0, [], []];
          const [later, now] = [window.setTimeout, performance.now];
          window.setTimeout = (act, ms) => { pauses.push(ms); clock += ms; Promise.resolve().then(act); };
          performance.now = () => clock;
          const run = async (answers, wanted = () => true) => {
            [clock, asked, told, pauses] = [0, 0, [], []];
            const answer = await askedAgain(async () => answers[asked++], wanted, (error) => told.push([clock, error]));
            return [answer.body, asked, pauses, told];
          };
          const [fault, there] = [{ body: null, error: "No.", status: 500 }, { body: "it", error: null }];
          const all = [
            await run([there]),
            await run([...Array(7).fill(fault), there]),
            await run([...Array(4).fill({ body: null, error: "Unreachable." }), there]),
            await run([fault, { ...fault, status: 404 }]),
            await run(Array(9).fill(fault), () => asked < 3),
          ];
          [window.setTimeout, performance.now] = [later, now];
          return all;
        }"""
    )
    once, late, unreachable, gone, unwanted = found
    assert once == ["it", 1, [], []]
    assert late[:3] == ["it", 8, [1000, 2000, 4000, 8000, 16000, 16000, 16000]]
    # From the first fault after four seconds on.
    assert late[3] == [[time_ms, "No."] for time_ms in (7000, 15000, 31000, 47000)]
    assert unreachable[3] == [[7000, ""]]
    assert gone == [None, 2, [1000], []]
    assert unwanted == [None, 3, [1000, 2000], []]


def test_the_summary_tells_fingers_after_the_wrist_or_why_not(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    page.click("#stop")
    page.wait_for_selector("#summary h1")
    unfold(page)
    left, right = (page.locator(f".fingers-group[data-side={side}]") for side in ("left", "right"))
    headings = page.locator(
        ".summary-columns > .card:has(.fingers-group[data-side=left]) h3"
    ).all_inner_texts()
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
    text = plain(left.inner_text())
    for words in (
        "Lift was measured from the strings in the picture for 30 s.",
        "When a finger was not measured, this was why: ",
        "Middle finger's end joint bent backwards: 100 % past 5°, 100 % past 15° (0 % certain)",
        "Little finger held straight and high while another is down: 100 % of the playing time.",
    ):
        assert words in text, words
    assert "Not measured: too uncertain from this view." in right.inner_text()
    assert right.locator("table").count() == 0
    assert page.inner_text("#summary").count(NO_FORCE) == 1


def test_what_could_hardly_be_judged_is_told_with_the_camera_first(open_page: OpenPage, stage: Stage) -> None:
    """No way of playing is advised on what was too uncertain to judge."""
    for one in stage.log.summary("session-1")["hands"]:
        one["states_s"] = {"unsure": one["total_s"]}
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    page.click("#stop")
    expect_text(page, "#next-step", "past the extreme limit once, for 6 s, from 0:10.")
    expect_text(
        page, "#next-step", "Most of the time the angles were too uncertain to judge: move the camera"
    )
    assert "Often tried first" not in page.locator("#next-step").inner_text()


def test_the_summary_is_read_from_its_first_cards(open_page: OpenPage, stage: Stage) -> None:
    moment = {"kind": "warning", "start_s": 10.0, "key_s": 13.0, "end_s": 16.0, "side": "left",
              "quantity": "wrist_flexion", "direction": "flexion"}  # fmt: skip
    stage.log.clip_list.append(
        {"id": 7, "start_s": 8.0, "end_s": 18.0, "state": "there", "moments": [moment]}
    )
    page = open_page(390, 844)
    page.click("#start")
    hand_state(page, "left", "within")
    page.click("#stop")
    page.wait_for_selector("#summary h1")
    assert page.locator("#summary details[open]").count() == 0
    expect_text(
        page,
        "#next-step",
        "Left wrist bent in (flexion): past the extreme limit once, for 6 s, from 0:10.",
    )
    assert page.locator("#next-step a").first.get_attribute("href") == "/log.html#/review/7"
    hold = page.locator(".holds li")
    assert hold.locator("img").get_attribute("src").startswith("/api/clips/7/picture?time_s=1")  # type: ignore[union-attr]
    expect_text(page, ".holds", "6 s past it, from 0:10")
    # What to do about it, as the page on what it means says first of this direction.
    expect_text(page, "#next-step", "Often tried first: Bring the elbow a little forward")
    # 6 of 30 seconds, from a third of the practice on.
    box = page.evaluate(
        """() => {
          const rects = [...document.querySelectorAll(".timeline-hand")][0].querySelectorAll(".time-extreme");
          const lefts = [...rects].map((one) => parseFloat(one.getAttribute("x")));
          return [Math.min(...lefts), Math.max(...lefts)];
        }"""
    )
    assert box == pytest.approx([100 / 3, 100 * 16 / 30 - 100 / 120], abs=1.0)
    mark = page.locator(".timeline-clips a")
    assert mark.get_attribute("href") == "/log.html#/review/7"
    size = mark.bounding_box()
    # Target size (enhanced), WCAG 2.2, 2.5.5.
    assert size is not None
    assert min(size["width"], size["height"]) >= 44
    assert not page.evaluate("document.documentElement.scrollWidth > innerWidth")
