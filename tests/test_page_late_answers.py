"""Answers that come late, and what is pressed twice before one has come, in headless Chromium: what the page shows is
the newest, and what was asked for twice in one breath is done once."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from cli_stand_ins import ScriptedHands, film
from log_page_stage import Open, clips, kept_log, open_log, see  # noqa: F401  fixtures
from page_stage import WAIT_MS, Stage, expect, expect_text, opened_pages, phase
from review_stage import ReviewStage
from set_up_stage import set_up_stage  # noqa: F401  a fixture

from posturewatch.review.entries import PracticeItems

if TYPE_CHECKING:
    from page_stage import OpenPage
    from playwright.sync_api import APIResponse, Browser, Page, Route

pytestmark = pytest.mark.browser


class Held:
    """Requests of a page that are done at once, and whose answers wait until they are given to it."""

    def __init__(self, page: Page, pattern: str, method: str = "POST") -> None:
        self._page, self._method = page, method
        self._waiting: list[tuple[Route, APIResponse]] = []
        self.asked = 0
        page.route(pattern, self._take)

    def _take(self, route: Route) -> None:
        if route.request.method != self._method:
            route.fallback()
            return
        self.asked += 1
        self._waiting.append((route, route.fetch()))

    def wait(self, count: int = 1) -> None:
        """Until so many are done and wait."""
        for _ in range(WAIT_MS // 20):
            if len(self._waiting) >= count:
                return
            self._page.wait_for_timeout(20)
        raise AssertionError(f"{len(self._waiting)} of {count} requests came")

    def give(self, place: int = 0) -> None:
        """The answer to one of those that wait, and time for the page to take it."""
        route, answer = self._waiting.pop(place)
        with self._page.expect_response(lambda response: response.request == route.request) as taken:
            route.fulfill(response=answer)
        taken.value.finished()
        settle(self._page)


def settle(page: Page) -> None:
    """Until what the page had to do has been done and drawn."""
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def test_both_switches_of_warnings_may_be_pressed_at_once(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.keyboard.press("PageUp")
    phase(page, "watching")
    expect(page.locator("#warns-left")).to_have_attribute("aria-pressed", "true")
    held = Held(page, "**/api/warns")
    page.evaluate("for (const side of ['left', 'right']) document.getElementById(`warns-${side}`).click()")
    held.wait()
    held.give()
    held.wait()
    held.give()
    assert stage.practice.warns == []
    for side in ("left", "right"):
        expect(page.locator(f"#warns-{side}")).to_have_attribute("aria-pressed", "false")


def test_a_marks_late_answer_does_not_put_the_summary_away(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    page.keyboard.press("PageUp")
    phase(page, "watching")
    held = Held(page, "**/api/mark")
    page.click("#mark")
    held.wait()
    page.click("#stop")
    title = page.wait_for_selector("#summary h1")
    held.give()
    assert title is not None
    assert title.is_visible()
    phase(page, "stopped")


def test_a_question_that_comes_late_is_not_asked_of_a_practice_that_is_over(
    open_page: OpenPage, stage: Stage
) -> None:
    page = open_page()
    held = Held(page, "**/api/checks/form", "GET")
    page.keyboard.press("PageUp")
    held.wait()
    page.click("#stop")
    page.wait_for_selector("#summary h1")
    asked = page.evaluate_handle(
        """() => {
          const before = document.getElementById("before"), seen = [];
          new MutationObserver(() => seen.push(before.textContent)).observe(before, { childList: true });
          return seen;
        }"""
    )
    held.give()
    assert [text for text in asked.json_value() if text] == []


def test_a_rating_that_is_tapped_twice_is_kept_once(open_log: Open, kept_log: ReviewStage) -> None:  # noqa: F811
    kept_log.practice.session_ids = iter(kept_log.sessions[-1:])
    page = open_log("")
    phase(page, "stopped")
    page.keyboard.press("PageUp")
    held = Held(page, "**/api/checks")
    see(page, "#before", "How did it feel before playing?")
    page.click("#before button:text-is('2')")
    held.wait()
    page.click("#before button:text-is('2')")
    page.click("#before button:text-is('3')")
    held.give()
    see(page, "#before", "Kept: 2 of 10 before playing")
    assert held.asked == 1
    kept_log.practice.stop()


def test_the_list_stands_where_the_last_step_led(open_log: Open, kept_log: ReviewStage) -> None:  # noqa: F811
    items = [{"piece": "Scales", "bars": f"bars {number}"} for number in (1, 2, 3)]
    kept_log.log.set_practice_list(PracticeItems.model_validate({"items": items}))
    page = open_log("")
    expect(page.locator("#next")).to_be_visible()
    held = Held(page, "**/api/practice-list/step")
    page.click("#next")
    held.wait(1)
    page.evaluate("document.getElementById('next').click()")
    held.wait(2)
    held.give(1)
    see(page, "#passage", "Scales, bars 2 (2 of 3)")
    held.give(0)
    see(page, "#passage", "Scales, bars 2 (2 of 3)")
    expect(page.locator("#previous")).to_be_enabled()


def test_enter_held_down_keeps_a_mark_once(open_log: Open, kept_log: ReviewStage) -> None:  # noqa: F811
    session = kept_log.sessions[0]
    page = open_log(f"log.html#/session/{session}")
    page.wait_for_selector("#add-mark", state="attached")
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    page.click("#add-mark")
    page.fill(".label-form .note-input", "here")
    held = Held(page, "**/marks")
    page.press(".label-form .note-input", "Enter")
    held.wait()
    page.keyboard.press("Enter")
    held.give()
    see(page, "#marks", "here")
    assert held.asked == 1


def test_what_was_written_since_is_not_called_saved(open_log: Open, kept_log: ReviewStage) -> None:  # noqa: F811
    (clip, *_) = clips(kept_log)
    page = open_log(f"log.html#/review/{clip['id']}")
    page.fill("textarea", "thumb")
    held = Held(page, "**/api/clips/*", "PATCH")
    page.click("text=Save note")
    held.wait()
    page.fill("textarea", "thumb and wrist")
    held.give()
    expect(page.locator("textarea")).to_have_value("thumb and wrist")
    expect(page.get_by_text("not saved yet", exact=True)).to_be_visible()
    expect(page.get_by_text("saved", exact=True)).to_have_count(0)


def test_the_second_clip_does_not_play_alone(open_log: Open, kept_log: ReviewStage) -> None:  # noqa: F811
    first, second = (one["id"] for one in clips(kept_log)[:2])
    page = open_log(f"log.html#/review/{first}/{second}")
    page.wait_for_selector("#play")
    # Played, and paused before the first picture: the pause takes both.
    page.evaluate(
        """async () => {
          const play = document.getElementById("play");
          play.click();
          for (let i = 0; i < 9; i += 1) await null;
          play.click();
        }"""
    )
    settle(page)
    paused = "() => [...document.querySelectorAll('video')].map((one) => one.paused)"
    assert page.evaluate(paused) == [True, True]


def test_a_report_that_is_given_up_is_not_saved(open_log: Open, kept_log: ReviewStage) -> None:  # noqa: F811
    page = open_log(f"log.html#/session/{kept_log.sessions[0]}")
    page.evaluate(
        """() => {
          window.saved = 0;
          const { createObjectURL } = URL;
          URL.createObjectURL = (file) => {
            window.saved += file.type === "application/pdf" ? 1 : 0;
            return createObjectURL.call(URL, file);
          };
        }"""
    )
    waiting: list[Route] = []
    page.route("**/report.pdf?*", lambda route: waiting.append(route))
    page.click("#report")
    with page.expect_request("**/report.pdf?*"):
        page.get_by_role("button", name="Save", exact=True).click()
    settle(page)
    page.click("dialog >> text=Cancel")
    waiting[0].fulfill(body=b"%PDF-", content_type="application/pdf")
    settle(page)
    assert page.evaluate("window.saved") == 0
    assert page.is_hidden("#banner")


def _films(*names: str) -> dict[str, Any]:
    done = {"phase": "kept", "share": None, "left_s": None, "sentence": None, "session_id": None}
    return {"films": [{"id": name, "name": name, **done} for name in names], "limit_bytes": 10**9}


def test_a_film_that_was_removed_does_not_come_back(open_log: Open, kept_log: ReviewStage) -> None:  # noqa: F811
    page = open_log("log.html#/guide")
    kept, waiting = ["one.mp4", "two.mp4"], []

    def films(route: Route) -> None:
        if route.request.method == "DELETE":
            kept.remove(route.request.url.rpartition("/")[2])
            route.fulfill(json={})
        else:
            waiting.append((route, json.dumps(_films(*kept))))

    def give(place: int) -> None:
        route, text = waiting.pop(place)
        with page.expect_response(lambda response: response.request == route.request) as taken:
            route.fulfill(body=text, content_type="application/json")
        taken.value.finished()
        settle(page)

    page.route("**/api/films", films)
    page.route("**/api/films/*", films)
    with page.expect_request("**/api/films"):
        page.click("a[href='#/sessions']")
    settle(page)
    give(0)
    rows = page.locator(".films li")
    expect(rows).to_have_count(2)
    # Both removed, one after the other; the answer to the first look comes last.
    for name in ("one.mp4", "two.mp4"):
        with page.expect_request(lambda request: request.method == "GET" and request.url.endswith("/films")):
            rows.filter(has_text=name).get_by_role("button").click()
        settle(page)
    give(1)
    expect(rows).to_have_count(0)
    give(0)
    expect(rows).to_have_count(0)


@pytest.fixture
def before_start(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    browser: Browser,
    set_up_stage: Any,  # noqa: F811
) -> Any:
    ScriptedHands(lambda time_s: 10.0).use(monkeypatch)
    stage = set_up_stage(film(tmp_path / "a.mkv", 60.0))
    with opened_pages(browser, stage, harmless=("ERR_", "409", "422")) as opened:
        yield lambda address: opened(address, 1366, 768)


def test_an_answer_from_before_a_choice_does_not_take_it_back(before_start: Open) -> None:
    page = before_start("setup.html")
    page.wait_for_selector("body[data-preview=on]")
    asked = Held(page, "**/api/setup", "GET")
    asked.wait()
    with page.expect_response(lambda response: response.request.method == "PATCH"):
        page.check("input[value=left]")
    settle(page)
    asked.give()
    assert page.is_checked("input[value=left]")


def test_a_countdown_begun_anew_counts_seconds(before_start: Open) -> None:
    page = before_start("setup.html")
    page.wait_for_selector("body[data-preview=on]")
    # The page's seconds pass when the test says so.
    page.evaluate(
        """() => {
          const counts = [];
          window.setInterval = (act) => counts.push(act);
          window.clearInterval = (number) => { counts[number - 1] = null; };
          window.second = () => { for (const act of counts) act?.(); };
        }"""
    )
    for _ in range(3):
        page.click("#countdown")
    expect(page.locator(".counting")).to_have_text("10")
    page.evaluate("window.second()")
    expect_text(page, ".counting", "9")


def test_an_earlier_changes_later_answer_is_not_shown(before_start: Open) -> None:
    page = before_start("settings.html")
    page.wait_for_selector(".setting")
    held = Held(page, "**/api/settings", "PATCH")
    mirrored, rate = (page.locator(f"[data-setting='camera.{key}'] input") for key in ("mirrored", "rate_hz"))
    mirrored.click()
    held.wait(1)
    rate.fill("24")
    page.keyboard.press("Tab")
    held.wait(2)
    held.give(1)
    expect(rate).to_have_value("24")
    held.give(0)
    assert rate.input_value() == "24"
