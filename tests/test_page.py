"""The real page in headless Chromium, fed by a scripted practice."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import pytest
from page_stand_ins import OneSummary, ScriptedPractice, page_words, summary_of

from posturewatch.comfort.phrases import NO_FORCE
from posturewatch.comfort.rules import WatchRules
from posturewatch.config.resources import web_dir
from posturewatch.model.measurement import Refusal
from posturewatch.model.quantities import in_group
from posturewatch.server.app import create_app
from posturewatch.server.serving import PageServer, listen

pytestmark = pytest.mark.browser

if TYPE_CHECKING:
    from playwright import sync_api
else:
    sync_api = pytest.importorskip("playwright.sync_api", reason="the browser tests need playwright")

_CHROMIUM = next(
    (path for name in ("chromium", "chromium-browser", "google-chrome") if (path := shutil.which(name))), None
)
_ARGUMENTS = [
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-gpu",
    "--autoplay-policy=user-gesture-required",
]

WELL = ((12.0, 4.0), (-8.0, 3.0))
WAIT_MS = 20_000

#: Fingers of the fretting hand: (value, sd) by quantity.
FINGERS = {
    "index_lift": (12.0, 3.0),
    "middle_lift": (1.0, 1.5),
    "ring_lift": (19.0, 4.0),
    "little_lift": (31.0, 4.0),
    "middle_dip": (-18.0, 6.0),
    "little_pip": (5.0, 6.0),
    "thumb_ip": (50.0, 6.0),
}


class Stage:
    """A served page whose hands do what the test says."""

    def __init__(self) -> None:
        self.hands: tuple[Any, ...] = WELL
        self.wander_deg = 6.0
        rules = WatchRules(hold_s=1.0, rearm_s=0.5)
        self.practice = ScriptedPractice(self._script, rate_hz=12, rules=rules)
        listener = listen(0)
        port = int(listener.getsockname()[1])
        summary = summary_of(_practised, 30.0, marks=[4.0])
        app = create_app(
            practice=self.practice,
            feed=self.practice.feed,
            log=OneSummary(summary),
            vocabulary=page_words(),
            web_dir=web_dir(),
            port=port,
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


@pytest.fixture(scope="module")
def browser() -> Iterator[sync_api.Browser]:
    if _CHROMIUM is None:
        pytest.skip("no Chromium found; install chromium to run the browser tests")
    with sync_api.sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=_CHROMIUM, args=_ARGUMENTS)
        yield launched
        launched.close()


@pytest.fixture
def stage() -> Iterator[Stage]:
    one = Stage()
    yield one
    one.close()


@pytest.fixture
def open_page(browser: sync_api.Browser, stage: Stage) -> Iterator[Callable[..., sync_api.Page]]:
    """Opens the page; at the end nothing may have failed in it, and nothing may have left this machine."""
    contexts, faults, requests = [], [], []

    def open_one(width: int = 1280, height: int = 720) -> sync_api.Page:
        context = browser.new_context(viewport={"width": width, "height": height})
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(WAIT_MS)
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda line: faults.append(line.text) if line.type == "error" else None)
        page.on("request", lambda request: requests.append(request.url))
        page.on("websocket", lambda socket: requests.append(socket.url))
        page.goto(stage.url)
        phase(page, "stopped")
        return page

    yield open_one
    for context in contexts:
        context.close()
    assert {urlsplit(url).hostname for url in requests} == {"127.0.0.1"}
    assert {urlsplit(url).scheme for url in requests} <= {"http", "ws"}
    assert [fault for fault in faults if "ERR_CONNECTION" not in fault] == []


def phase(page: sync_api.Page, word: str) -> None:
    page.wait_for_selector(f"body[data-phase={word}]")


def hand_state(page: sync_api.Page, side: str, state: str) -> None:
    page.wait_for_selector(f".hand[data-side={side}][data-state={state}]")


def expect_text(page: sync_api.Page, selector: str, text: str) -> None:
    sync_api.expect(page.locator(selector)).to_contain_text(text, timeout=WAIT_MS)


def wait_for_change(page: sync_api.Page, read: str) -> None:
    before = page.evaluate(read)
    page.wait_for_function(f"before => ({read}) !== before", arg=before)


#: A sum over the middle of the picture that changes when the drawn block moves.
PIXELS = """(() => {
  const canvas = document.getElementById("canvas");
  const data = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
  let sum = 0;
  for (let i = 0; i < data.length; i += 404) sum += data[i] * (i % 1009);
  return sum;
})()"""
LEFT_SIZE = "document.querySelector('.hand[data-side=left] .scale b').textContent"
FOCUSED = "document.activeElement.id || document.activeElement.tagName"


def test_start_shows_moving_picture_and_changing_numbers(
    open_page: Callable[..., sync_api.Page], stage: Stage
) -> None:
    page = open_page()
    expect_text(page, ".message-text", "Ready.")
    page.click("#start")
    phase(page, "watching")
    hand_state(page, "left", "within")
    expect_text(page, ".hand[data-side=left] .word", "Within")
    expect_text(page, ".hand[data-side=left] .hand-name", "fretting")
    expect_text(page, ".hand[data-side=right] .scale:first-child", "extension")
    expect_text(page, ".message-text", "No extreme wrist angle held.")
    wait_for_change(page, PIXELS)
    wait_for_change(page, LEFT_SIZE)
    assert stage.practice.calls == ["start"]


def test_the_picture_is_mirrored_and_its_number_is_not(open_page: Callable[..., sync_api.Page]) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    # The stand-in draws the left hand in the right half, as a camera sees it; on the page it is on the left.
    # The hand's line is the only saturated light blue (#8fe3ff) there.
    sides = page.evaluate(
        """() => {
          const canvas = document.getElementById("canvas");
          const { width, height } = canvas;
          const { data } = canvas.getContext("2d").getImageData(0, 0, width, height);
          let count = [0, 0];
          for (let i = 0; i < data.length; i += 4) {
            const near = Math.abs(data[i] - 143) + Math.abs(data[i + 1] - 227) + Math.abs(data[i + 2] - 255) < 30;
            if (near) count[((i / 4) % width) < width / 2 ? 0 : 1] += 1;
          }
          return count;
        }"""
    )
    assert min(sides) > 50
    mirror = page.evaluate("getComputedStyle(document.getElementById('canvas')).transform")
    assert mirror == "none"


def test_a_warning_appears_and_clears(open_page: Callable[..., sync_api.Page], stage: Stage) -> None:
    page = open_page()
    page.keyboard.press("PageUp")
    hand_state(page, "left", "within")
    stage.hands = ((42.0, 4.0), (-8.0, 3.0))
    hand_state(page, "left", "beyond")
    stage.hands = ((60.0, 4.0), (-8.0, 3.0))
    hand_state(page, "left", "held")
    expect_text(page, ".hand[data-side=left] .word", "Ease off")
    expect_text(page, ".message[data-kind=warning]", "Left wrist bent in (flexion), held")
    expect_text(page, ".message[data-kind=warning]", "Ease it towards straight.")
    # Said once, without the seconds that keep counting.
    expect_text(page, "#say", "Left wrist bent in (flexion). Ease it towards straight.")
    hand_state(page, "right", "within")
    stage.hands = WELL
    hand_state(page, "left", "within")
    page.wait_for_selector(".message[data-kind=calm]")


def test_a_warning_of_a_finger_leaves_the_card_of_the_wrist_alone(
    open_page: Callable[..., sync_api.Page], stage: Stage
) -> None:
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


def test_a_warning_sounds_once_and_not_when_muted(
    open_page: Callable[..., sync_api.Page], stage: Stage
) -> None:
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
    stage.hands = ((60.0, 4.0), (-8.0, 3.0))
    hand_state(page, "left", "held")
    sync_api.expect(page.locator(".message-text")).to_contain_text(
        re.compile(r"held [1-9]\d* s"), timeout=WAIT_MS
    )
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


def test_mark_by_keys(open_page: Callable[..., sync_api.Page], stage: Stage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    for count, key in enumerate(["Space", "Enter", "PageDown"], start=1):
        page.keyboard.press(key)
        expect_text(page, "#facts", f"{count} mark")
        expect_text(page, "#mark", "Marked 0:0")
        expect_text(page, "#say", "Marked 0:0")
        # A second press within a third of a second counts as the pedal's contact bouncing.
        page.wait_for_timeout(400)
    assert stage.practice.calls == ["start", "mark", "mark", "mark"]
    assert page.evaluate("window.scrollY") == 0


@pytest.mark.parametrize("key", ["Space", "Enter"])
def test_a_focused_button_keeps_the_key_to_itself(
    open_page: Callable[..., sync_api.Page], stage: Stage, key: str
) -> None:
    page = open_page()
    page.focus("#start")
    page.keyboard.press(key)
    hand_state(page, "left", "within")
    page.focus("#mark")
    page.keyboard.press(key)
    expect_text(page, "#facts", "1 mark")
    page.focus("#mute")
    page.keyboard.press(key)
    assert page.get_attribute("#mute", "aria-pressed") == "true"
    page.focus("#stop")
    page.keyboard.press(key)
    page.wait_for_selector("#summary h1")
    assert stage.practice.calls == ["start", "mark", "stop"]


def test_a_clicked_button_lets_go_of_the_keyboard(
    open_page: Callable[..., sync_api.Page], stage: Stage
) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    page.click("#mute")
    page.keyboard.press("Space")
    expect_text(page, "#facts", "1 mark")
    assert page.get_attribute("#mute", "aria-pressed") == "true"


def test_a_foot_left_on_the_pedal_marks_once(open_page: Callable[..., sync_api.Page], stage: Stage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    for _ in range(5):
        page.keyboard.down("PageDown")
    page.keyboard.up("PageDown")
    expect_text(page, "#facts", "1 mark")
    assert stage.practice.calls == ["start", "mark"]


def test_stop_by_key_shows_the_summary_and_the_key_starts_again(
    open_page: Callable[..., sync_api.Page], stage: Stage
) -> None:
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
        "1 warning",
        "0:10",
        "Left wrist bent in (flexion)",
        "60°\u00a0flexion",
        "1 mark",
        "0:04",
        "Measured 90\u00a0% of the time. The rest: hand not seen 3 s.",
        "Longest beyond the extreme limit (49° flexion): 6 s, at 0:10.",
        "10th, 50th and 90th percentile",
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


def test_what_is_not_measurable_is_said_with_what_would_help(
    open_page: Callable[..., sync_api.Page], stage: Stage
) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    stage.hands = (Refusal.FOREARM_NOT_SEEN, (-8.0, 3.0))
    # The number goes at once; the word only when the loss lasts.
    page.wait_for_selector(".hand[data-side=left][data-state=within][data-pending=true]")
    assert page.evaluate(LEFT_SIZE) == "–"
    hand_state(page, "left", "unseen")
    expect_text(page, ".hand[data-side=left] .word", "No reading")
    expect_text(
        page,
        ".hand[data-side=left] .help",
        "Forearm not seen. Let the camera see a hand's length of forearm beside the wrist.",
    )
    expect_text(
        page, ".message-text", "Right hand: no extreme wrist angle held. Left hand: not measurable now."
    )
    stage.hands = (Refusal.HAND_NOT_SEEN, Refusal.HAND_CUT_OFF)
    expect_text(page, ".message-text", "Neither hand can be measured now.")
    stage.hands = WELL
    hand_state(page, "left", "within")


def test_the_camera_notice_is_shown(open_page: Callable[..., sync_api.Page], stage: Stage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    stage.practice.notice = "The camera does not answer; trying again."
    expect_text(page, ".message[data-kind=notice]", "The camera does not answer; trying again.")
    stage.practice.notice = None
    page.wait_for_selector(".message[data-kind=calm]")


def test_numbers_vanish_when_no_picture_comes(open_page: Callable[..., sync_api.Page], stage: Stage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    stage.practice.feed.put = lambda reading: None  # type: ignore[method-assign]
    hand_state(page, "left", "unseen")
    expect_text(page, ".message[data-kind=notice]", "No picture is coming from the camera.")
    assert page.evaluate(LEFT_SIZE) == "–"


def test_a_lost_connection_is_said_and_mended(open_page: Callable[..., sync_api.Page], stage: Stage) -> None:
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
    )
    stage.server = PageServer(app, listen(port))
    stage.server.start()
    phase(page, "watching")
    hand_state(page, "left", "within")


def test_a_summary_stays_when_the_connection_is_lost(
    open_page: Callable[..., sync_api.Page], stage: Stage
) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    page.click("#stop")
    page.wait_for_selector("#summary h1")
    assert not page.is_visible("#banner")
    stage.server.close()
    expect_text(page, "#banner", "Connection to posturewatch lost; trying again.")
    assert page.is_visible("#summary h1")


def test_the_page_can_be_used_by_keyboard_alone(
    open_page: Callable[..., sync_api.Page], stage: Stage
) -> None:
    page = open_page()
    above = []
    while page.evaluate(FOCUSED) != "start":
        page.keyboard.press("Tab")
        above.append(page.evaluate(FOCUSED))
        assert len(above) <= 4
    assert above == ["passage", "check", "A", "start"]
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline == "solid"
    page.keyboard.press("Enter")
    hand_state(page, "left", "within")
    reached = []
    for _ in range(3):
        page.keyboard.press("Tab")
        reached.append(page.evaluate(FOCUSED))
    assert reached == ["mark", "stop", "mute"]


@pytest.mark.parametrize(("width", "height"), [(390, 844), (320, 640), (1280, 720)])
def test_nothing_is_wider_than_the_window(
    open_page: Callable[..., sync_api.Page], stage: Stage, width: int, height: int
) -> None:
    page = open_page(width, height)
    wider = "document.documentElement.scrollWidth > document.documentElement.clientWidth"
    page.click("#start")
    for hands, state in [
        (WELL, "within"),
        ((Refusal.UNUSUAL_VIEW, (-8.0, 3.0)), "unseen"),
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


def test_the_warning_does_not_move_the_picture(open_page: Callable[..., sync_api.Page], stage: Stage) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    before = page.locator("#canvas").bounding_box()
    stage.hands = ((60.0, 4.0), (-8.0, 3.0))
    page.wait_for_selector(".message[data-kind=warning]")
    assert page.locator("#canvas").bounding_box() == before


def finger(page: sync_api.Page, name: str, state: str) -> sync_api.Locator:
    page.wait_for_selector(f".finger[data-finger={name}][data-state={state}]")
    return page.locator(f".finger[data-finger={name}]")


def test_the_strip_of_fingers_is_off_until_asked_for_and_stays(
    open_page: Callable[..., sync_api.Page], stage: Stage
) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    assert not page.is_visible("#fingers")
    page.focus("#fingers-toggle")
    page.keyboard.press("Space")
    assert page.is_visible("#fingers")
    assert page.get_attribute("#fingers-toggle", "aria-pressed") == "true"
    assert stage.practice.calls == ["start"]
    page.reload()
    phase(page, "watching")
    assert page.is_visible("#fingers")
    page.click("#fingers-toggle")
    assert not page.is_visible("#fingers")


def test_the_strip_shows_lift_cues_and_what_is_not_measurable(
    open_page: Callable[..., sync_api.Page], stage: Stage
) -> None:
    stage.hands = ((12.0, 4.0, FINGERS), (-8.0, 3.0, {"index_lift": (33.0, 1.0)}))
    page = open_page()
    page.click("#fingers-toggle")
    page.click("#start")
    names = page.locator(".finger-name").all_inner_texts()
    assert names == ["T thumb", "1 index", "2 middle", "3 ring", "4 little"]
    expect = sync_api.expect
    expect(finger(page, "index", "within")).to_contain_text("12", timeout=WAIT_MS)
    expect(finger(page, "ring", "beyond")).to_contain_text("Beyond")
    # The cue in its few words, and in full for whoever points at it.
    expect(finger(page, "little", "extreme").locator(".finger-cue")).to_have_text("straight and high")
    expect(finger(page, "middle", "within").locator(".finger-cue")).to_have_text("end joint bent back")
    # No limit is set for the thumb: it is not called within or beyond any.
    expect(finger(page, "thumb", "within").locator(".finger-word")).to_have_text("bent")
    expect_text(page, ".strip-foot", "Lift in mm, from the strings in the picture.")
    expect_text(page, ".strip-foot", NO_FORCE)
    height = "Number(document.querySelector('.finger[data-finger=ring] .lift-fill').getAttribute('height'))"
    # 19 mm of a bar that ends at 1.36 times the extreme limit of 25 mm.
    assert page.evaluate(height) == pytest.approx(100 * 19 / 34, abs=0.5)
    page.focus(".finger[data-finger=little]")
    expect_text(
        page,
        ".strip-foot",
        "Little finger lift: 31\u00a0mm ±4, extreme; little finger held straight and high",
    )
    # A lift that one standard deviation would put beyond comfort (15 mm) is not called within.
    # Nor is a thumb called bent or bent back where one deviation leaves that open.
    stage.hands = ((12.0, 4.0, FINGERS | {"middle_lift": (1.0, 15.0), "thumb_ip": (-4.0, 9.0)}), (-8.0, 3.0))
    expect(finger(page, "middle", "within").locator(".finger-word")).to_have_text("Unsure", timeout=WAIT_MS)
    expect(finger(page, "thumb", "within").locator(".finger-word")).to_have_text("Unsure", timeout=WAIT_MS)
    page.focus(".finger[data-finger=middle]")
    expect_text(page, ".strip-foot", "Middle finger lift: 1\u00a0mm ±15, not surely within")
    expect(finger(page, "index", "within").locator(".finger-word")).to_have_text("Within")
    page.focus(".finger[data-finger=little]")
    stage.hands = ((12.0, 4.0, {"index_lift": (12.0, 3.0)}), (-8.0, 3.0))
    finger(page, "little", "unseen")
    expect_text(page, ".strip-foot", "not measurable, too uncertain from this view. Move the camera a little")
    # The wrist stays what is told large, and fingers never change its word.
    hand_state(page, "left", "within")
    stage.hands = (Refusal.HAND_NOT_SEEN, (-8.0, 3.0))
    finger(page, "index", "unseen")
    page.evaluate("document.activeElement.blur()")
    expect_text(page, ".strip-foot", "Fingers not measurable, hand not seen.")


def test_a_finger_lost_for_a_moment_does_not_flicker(
    open_page: Callable[..., sync_api.Page], stage: Stage
) -> None:
    stage.hands = ((12.0, 4.0, FINGERS), (-8.0, 3.0))
    page = open_page()
    page.click("#fingers-toggle")
    page.click("#start")
    finger(page, "ring", "beyond")
    page.evaluate(
        """() => {
          window.states = [];
          new MutationObserver((all) => all.forEach((one) => window.states.push(one.target.dataset.state)))
            .observe(document.querySelector(".finger[data-finger=ring]"), { attributeFilter: ["data-state"] });
        }"""
    )
    without = {name: one for name, one in FINGERS.items() if name != "ring_lift"}
    for _ in range(3):
        stage.hands = ((12.0, 4.0, without), (-8.0, 3.0))
        page.wait_for_selector(".finger[data-finger=ring][data-pending=true]")
        stage.hands = ((12.0, 4.0, FINGERS), (-8.0, 3.0))
        page.wait_for_selector(".finger[data-finger=ring][data-pending=false]")
    assert page.evaluate("window.states") == []


def test_the_summary_tells_fingers_after_the_wrist_or_why_not(
    open_page: Callable[..., sync_api.Page], stage: Stage
) -> None:
    page = open_page()
    page.click("#start")
    hand_state(page, "left", "within")
    page.click("#stop")
    page.wait_for_selector("#summary h1")
    left, right = (page.locator(f".fingers-group[data-side={side}]") for side in ("left", "right"))
    headings = page.locator(".card:has(.fingers-group[data-side=left]) h3").all_inner_texts()
    assert headings == ["Wrist flexion", "Wrist deviation", "Fingers"]
    assert left.locator("thead th").all_inner_texts() == ["Lift", "Measured", "Beyond 15 mm", "Beyond 25 mm"]
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
        "Middle finger's end joint bent backwards: 100\u00a0% beyond 5°, 100\u00a0% beyond 15° (0\u00a0% certain)",
        "Little finger held straight and high while another is down: 100\u00a0% of the playing time.",
    ):
        assert words in text, words
    assert "Not measured: too uncertain from this view." in right.inner_text()
    assert right.locator("table").count() == 0
    assert page.inner_text("#summary").count(NO_FORCE) == 1


def test_the_page_has_the_words_of_the_table_of_quantities(open_page: Callable[..., sync_api.Page]) -> None:
    page = open_page()
    entries = in_group("finger")
    asked = [[entry.name, direction] for entry in entries for direction in entry.directions]
    known, told = page.evaluate(
        """async (asked) => {
          const { quantityOf, leaning } = await import("/js/book/quantities.js");
          const known = (one) => [one.label, one.positive, one.negative, one.finger];
          return [asked.map(([name]) => known(quantityOf(name))),
            asked.map(([name, direction]) => leaning(name, direction))];
        }""",
        asked,
    )
    assert known == [
        [entry.label, entry.positive, entry.negative, entry.finger]
        for entry in entries
        for _ in entry.directions
    ]
    assert told == [entry.leaning(direction) for entry in entries for direction in entry.directions]
