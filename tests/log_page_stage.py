"""The pages of the practice log in headless Chromium, on a prepared data folder with real clips, and what their tests
share."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from page_stage import expect, opened_pages
from review_stage import ReviewStage

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

Open = Callable[..., "Page"]

SETTLED = "() => [...document.querySelectorAll('video')].every((one) => !one.seeking && one.readyState >= 2)"
PAUSED = "() => [...document.querySelectorAll('video')].every((one) => one.paused)"


@pytest.fixture
def kept_log(tmp_path: Path) -> Iterator[ReviewStage]:
    one = ReviewStage(tmp_path)
    yield one
    one.close()


@pytest.fixture
def open_log(browser: Browser, kept_log: ReviewStage) -> Iterator[Open]:
    """Pages of the log, as `opened_pages`; clips and files to save have addresses of their own."""
    with opened_pages(browser, kept_log, own_schemes=frozenset({"blob", "data"})) as opened:
        yield opened


def clips(kept_log: ReviewStage, reason: str = "warning") -> list[dict[str, Any]]:
    """Those of the newest session first."""
    return [one for one in kept_log.log.clips() if one["reason"] == reason]


def review(open_log: Open, *ids: int, **size: int) -> Page:
    page = open_log("log.html#/review/" + "/".join(map(str, ids)), **size)
    page.wait_for_selector(".player .trace")
    page.wait_for_function(SETTLED)
    return page


def turn_to(page: Page, address: str) -> None:
    """Another page of the log, until it is there and the one before it is gone: both may show the same words."""
    page.wait_for_selector("#page h1")
    page.evaluate(
        """(address) => {
          document.querySelector("#page h1").dataset.left = "true";
          location.hash = `#/${address}`;
        }""",
        address,
    )
    page.wait_for_selector("#page h1:not([data-left])")


def wide(page: Page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth"))


def see(page: Page, selector: str, text: str) -> None:
    expect(page.locator(selector).first).to_contain_text(text)
