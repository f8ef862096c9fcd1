"""No page has a fault that axe-core finds, by the rules of the Web Content Accessibility Guidelines 2.2, A and AA.

The library is one of the development tools in .ci/js, and brings the rules with it.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import pytest
from page_stage import WAIT_MS, Stage, admit, every_state
from review_stage import ReviewStage
from test_page_look import KEPT_MARKS, MARKS, TEXTS, chart_colours, measured, weak

if TYPE_CHECKING:
    from page_stage import OpenPage
    from playwright.sync_api import Browser, Page

AXE = Path(__file__).parent.parent / ".ci/js/node_modules/axe-core/axe.min.js"
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not AXE.is_file(), reason="axe-core is not there: npm --prefix .ci/js ci"),
]

Scheme = Literal["light", "dark"]
SCHEMES: tuple[Scheme, ...] = ("light", "dark")


def faults(page: Page) -> list[Any]:
    page.evaluate(AXE.read_text("utf-8"))
    found: list[Any] = page.evaluate(
        """async () => {
          const runOnly = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"];
          const { violations } = await axe.run(document, { runOnly });
          return violations.map((one) => [one.id, one.help, one.nodes.map((node) => node.target.join(" "))]);
        }"""
    )
    return found


@pytest.mark.parametrize("scheme", SCHEMES)
def test_the_live_page_in_every_state(open_page: OpenPage, stage: Stage, scheme: Scheme) -> None:
    """While the numbers move; and all that is drawn stands out from its ground."""
    page = open_page(1280, 800, color_scheme=scheme, reduced_motion="reduce")
    assert faults(page) == []
    for states in every_state(page, stage):
        assert faults(page) == [], states
        assert len(measured(page, TEXTS)) > 20
        assert len(measured(page, MARKS)) > 10
        assert weak(page, TEXTS, MARKS) == [], states
    page.click("#stop")
    page.wait_for_selector("#felt .offer")
    assert faults(page) == []
    assert weak(page, [], KEPT_MARKS) == []


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ReviewStage]:
    one = ReviewStage(tmp_path_factory.mktemp("kept"))
    yield one
    one.close()


@pytest.mark.parametrize("scheme", SCHEMES)
def test_every_page_of_the_log_and_the_sheets(browser: Browser, kept: ReviewStage, scheme: Scheme) -> None:
    context = browser.new_context(color_scheme=scheme, viewport={"width": 1280, "height": 800})
    admit(context, kept.url, kept.admission)
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    clip = next(one for one in kept.log.clips() if one["reason"] == "warning")
    for address in ("sessions", f"session/{kept.sessions[-1]}", "clips", f"review/{clip['id']}", "trends", "pieces",
                    "piece/2", "guide/flexion", "data"):  # fmt: skip
        page.goto("about:blank")
        page.goto(f"{kept.url}log.html#/{address}")
        page.wait_for_selector("#page h1")
        page.wait_for_load_state("networkidle")
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        assert faults(page) == [], address
        assert weak(page, [], KEPT_MARKS) == [], address
        if address.startswith("session/"):
            page.click("#report")
            page.wait_for_selector("dialog[open]")
            assert faults(page) == [], "what a report is to be"
            page.keyboard.press("Escape")
    assert min(chart_colours(page).values()) >= 3.0
    page.goto(kept.url)
    for button in ("#check", "#passage"):
        page.click(button)
        page.wait_for_selector(".sheet")
        assert faults(page) == [], button
        page.keyboard.press("Escape")
    # A report is a page of its own that a teacher opens elsewhere.
    report = context.request.get(f"{kept.url}api/sessions/{kept.sessions[-1]}/report.html").text()
    page.goto("about:blank")
    page.set_content(report)
    assert faults(page) == [], "a report"
    context.close()
