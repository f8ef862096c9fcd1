"""A served page fed by a scripted practice, and what its tests share."""

from __future__ import annotations

import copy
import functools
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Protocol
from urllib.parse import urlsplit

import pytest
from page_stand_ins import OneSummary, ScriptedPractice, page_words, summary_of

from posturewatch.comfort.rules import WatchRules
from posturewatch.config.resources import web_dir
from posturewatch.model.measurement import Refusal
from posturewatch.server.admission import Admission
from posturewatch.server.app import create_app
from posturewatch.server.serving import PageServer, listen

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, JSHandle, Locator, Page

    OpenPage = Callable[..., Page]

CHROMIUM = next(
    (path for name in ("chromium", "chromium-browser", "google-chrome") if (path := shutil.which(name))), None
)
#: A sum over the picture that changes when it moves, and the number shown for the left wrist.
PICTURE_SUM = """(() => {
  const canvas = document.getElementById("canvas");
  if (!canvas.width) return 0;  // no picture so far
  const data = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
  let sum = 0;
  for (let i = 0; i < data.length; i += 404) sum += data[i] * (i % 1009);
  return sum;
})()"""
LEFT_NUMBER = "document.querySelector('.hand[data-side=left] .scale b').textContent"

#: What Chromium is to do without. The suggestions below its address line are two pages of their own, drawn anew in
#: every window and never seen here, which takes about as long as a page of ours. The rest is what playwright leaves out
#: itself, whose list this one replaces.
_WITHOUT = [
    "WebUIOmniboxPopup",
    "WebUIOmniboxAimPopup",
    "AvoidUnnecessaryBeforeUnloadCheckSync",
    "DestroyProfileOnBrowserClose",
    "HttpsUpgrades",
    "LensOverlay",
    "MediaRouter",
    "OptimizationHints",
    "PaintHolding",
    "ThirdPartyStoragePartitioning",
]
ARGUMENTS = [
    "--no-sandbox",
    f"--disable-features={','.join(_WITHOUT)}",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-gpu",
    "--autoplay-policy=user-gesture-required",
]

WELL = ((12.0, 4.0), (-8.0, 3.0))
WAIT_MS = 60_000

#: Fingers of the fretting hand: (value, sd) by quantity.
FINGERS = {
    "index_lift": (9.0, 3.0),
    "middle_lift": (1.0, 1.5),
    "ring_lift": (19.0, 3.0),
    "little_lift": (31.0, 4.0),
    "middle_dip": (-18.0, 6.0),
    "little_pip": (5.0, 6.0),
    "thumb_ip": (50.0, 6.0),
}


#: What both hands do, and what is then said of them: every state of a hand, where the right one is not warned of.
_EVERY_STATE: tuple[tuple[tuple[Any, ...], tuple[str, str]], ...] = (
    (((12.0, 4.0, FINGERS), WELL[1]), ("within", "within")),
    (((38.2, 4.0), Refusal.HAND_NOT_SEEN), ("beyond", "unseen")),
    ((Refusal.FOREARM_NOT_SEEN, (-24.0, 3.0)), ("partly", "unsure")),
    (((60.0, 4.0), (-60.0, 3.0)), ("held", "extreme")),
)


class Stage:
    """A served page whose hands do what the test says."""

    def __init__(self, language: str = "en") -> None:
        self.hands: tuple[Any, ...] = WELL
        self.wander_deg = 6.0
        rules = WatchRules(hold_s=1.0, rearm_s=0.5)
        self.practice = ScriptedPractice(self._script, rate_hz=12, rules=rules)
        listener = listen(0)
        port = int(listener.getsockname()[1])
        self.admission = Admission(port)
        self.log = OneSummary(copy.deepcopy(_summary()))
        app = create_app(
            practice=self.practice,
            feed=self.practice.feed,
            log=self.log,
            vocabulary=page_words(language),
            web_dir=web_dir(),
            port=port,
            admission=self.admission,
        )
        self.server = PageServer(app, listener)
        self.server.start()
        self.url = self.server.url

    def _script(self, time_s: float) -> tuple[Any, ...]:
        # A slow saw-tooth on both hands' flexion, so that numbers change.
        swing_deg = self.wander_deg * ((time_s * 0.5) % 1.0)
        return tuple(
            hand if isinstance(hand, Refusal) else (hand[0] + swing_deg, *hand[1:]) for hand in self.hands
        )

    def close(self) -> None:
        self.practice.close()
        self.server.close()


def _practised(time_s: float) -> tuple[Any, ...]:
    """Half a minute: 6 s of held flexion, 3 s without the left hand, the rest well; the index finger taps."""
    fingers = {**FINGERS, "index_lift": (10.0 * (time_s % 1.0 < 0.5), 1.0)}
    if 10.0 <= time_s < 16.0:
        return ((60.0, 4.0, fingers), (-8.0, 3.0))
    if 20.0 <= time_s < 23.0:
        return (Refusal.HAND_NOT_SEEN, (-8.0, 3.0))
    return ((12.0, 4.0, fingers), (-8.0, 3.0))


@functools.cache
def _summary() -> dict[str, Any]:
    return summary_of(_practised, 30.0, marks=[4.0])


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    sync_api = pytest.importorskip("playwright.sync_api", reason="the browser tests need playwright")
    if CHROMIUM is None:
        pytest.skip("no Chromium found; install chromium to run the browser tests")
    with sync_api.sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield launched
        launched.close()


@pytest.fixture
def stage(request: pytest.FixtureRequest) -> Iterator[Stage]:
    """In English, or in the language given to it by `indirect`."""
    one = Stage(getattr(request, "param", "en"))
    yield one
    one.close()


class Served(Protocol):
    """A served page, and how one gets in."""

    @property
    def url(self) -> str: ...
    @property
    def admission(self) -> Admission: ...


@contextmanager
def opened_pages(
    browser: Browser,
    stage: Served,
    *,
    own_schemes: frozenset[str] = frozenset(),
    harmless: tuple[str, ...] = (),
) -> Iterator[OpenPage]:
    """Opens pages; at the end nothing may have failed in them, and nothing may have left this machine.

    own_schemes: of addresses that the page makes for itself; harmless: parts of faults that belong to the test.
    """
    contexts, faults, requests = [], [], []

    def open_one(address: str = "", width: int = 1280, height: int = 800, **more: Any) -> Page:
        context = browser.new_context(viewport={"width": width, "height": height}, **more)
        contexts.append(context)
        admit(context, stage.url, stage.admission)
        page = context.new_page()
        page.set_default_timeout(WAIT_MS)
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda line: faults.append(line.text) if line.type == "error" else None)
        page.on("request", lambda request: requests.append(request.url))
        page.on("websocket", lambda socket: requests.append(socket.url))
        page.goto(stage.url + address)
        return page

    yield open_one
    for context in contexts:
        context.close()
    sent = [parts for parts in map(urlsplit, requests) if parts.scheme not in own_schemes]
    assert {parts.hostname for parts in sent} == {"127.0.0.1"}
    assert {parts.scheme for parts in sent} <= {"http", "ws"}
    assert [fault for fault in faults if not any(part in fault for part in harmless)] == []


@pytest.fixture
def open_page(browser: Browser, stage: Stage) -> Iterator[OpenPage]:
    """Opens the live page, as `opened_pages`."""
    with opened_pages(browser, stage, harmless=("ERR_CONNECTION",)) as opened:

        def open_one(width: int = 1280, height: int = 720, address: str = "", **more: Any) -> Page:
            page = opened(address, width, height, **more)
            phase(page, "stopped")
            return page

        yield open_one


def admit(context: BrowserContext, url: str, admission: Admission) -> None:
    """As if the browser had opened the page by its whole address."""
    name, value = admission.cookie
    context.add_cookies([{"name": name, "value": value, "url": url, "sameSite": "Strict", "httpOnly": True}])


def phase(page: Page, word: str) -> None:
    page.wait_for_selector(f"body[data-phase={word}]")


def hand_state(page: Page, side: str, state: str) -> None:
    page.wait_for_selector(f".hand[data-side={side}][data-state={state}]")


def every_state(page: Page, stage: Stage) -> Iterator[tuple[str, str]]:
    """Starts a practice, with the fingers shown and the right hand not warned of, and gives the states of both hands
    while the page shows them, until it has shown every one."""
    page.click("#fingers-toggle")
    page.click("#warns-right")
    page.click("#start")
    page.wait_for_selector("#before .offer")
    for hands, states in _EVERY_STATE:
        stage.hands = hands
        for side, state in zip(("left", "right"), states, strict=True):
            hand_state(page, side, state)
        yield states


def expect(found: Locator | Page) -> Any:
    """What is to be seen there; waited for as long as everything else, where playwright's own patience is 5 s."""
    from playwright import sync_api

    sync_api.expect.set_options(timeout=WAIT_MS)
    return sync_api.expect(found)


def expect_text(page: Page, selector: str, text: str) -> None:
    expect(page.locator(selector)).to_contain_text(text)


def recorded(page: Page, selector: str, attribute: str | None = None) -> JSHandle:
    """A list that the page goes on with: the element's attribute, or its text, whenever that changes."""
    return page.evaluate_handle(
        """([selector, attribute]) => {
          const node = document.querySelector(selector), seen = [];
          const look = () => seen.push(attribute === null ? node.textContent : node.getAttribute(attribute));
          const text = { childList: true, characterData: true, subtree: true };
          new MutationObserver(look).observe(node, attribute === null ? text : { attributeFilter: [attribute] });
          return seen;
        }""",
        [selector, attribute],
    )


def wait_for_change(page: Page, read: str) -> None:
    before = page.evaluate(read)
    page.wait_for_function(f"before => ({read}) !== before", arg=before)


def finger(page: Page, name: str, state: str) -> Locator:
    page.wait_for_selector(f".finger[data-finger={name}][data-state={state}]")
    return page.locator(f".finger[data-finger={name}]")
