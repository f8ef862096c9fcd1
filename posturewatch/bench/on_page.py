"""What the live page tells of videos, and whether it may: `python -m posturewatch.bench.on_page VIDEO...`.

Every frame goes through the whole measurement, and what comes of it through the page's own scripts in a headless
Chromium, at the times of the frames. Beside each video stands what a player reads of its hands:

comfort         share of the time in which a hand is called in comfort; how much of that lacks evidence, by a rule of
                its own here (every watched angle a number, its 90 % interval inside the comfort limits); and how much
                of it has a number whose interval reaches past an extreme limit
changes         a minute of each hand: of the word for its state, and of its large number coming or going; and of the
                message. What is first said of a hand is no change, nor is a warning that comes and goes
headline        of the summary that would follow

Wants playwright (`pip install -e ".[test]"`) and Chromium.
"""

from __future__ import annotations

import argparse
import itertools
import math
import shutil
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from posturewatch.capture import open_source
from posturewatch.comfort.exceedance import INTERVAL_SD
from posturewatch.comfort.limits import LimitProfile
from posturewatch.comfort.zones import bounds
from posturewatch.config.resources import web_dir
from posturewatch.config.settings import Settings
from posturewatch.errors import UnavailableError
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import HandMeasurement
from posturewatch.model.observation import SIDES, Observation
from posturewatch.model.quantities import in_group
from posturewatch.model.reading import Reading
from posturewatch.pipeline.build import Built, Mode, Parts, build
from posturewatch.pipeline.films.results import FilmFacts, film_summary
from posturewatch.pipeline.monitor import Observer
from posturewatch.review.vocabulary import vocabulary
from posturewatch.server.live_message import reading_header
from posturewatch.storage.in_memory import InMemorySession
from posturewatch.storage.records import now_utc

if TYPE_CHECKING:
    from playwright.sync_api import Page, Route

__all__ = ["Told", "on_page", "page_scripts"]

_ADDRESS = "http://posturewatch.invalid"
_TYPES = {".js": "text/javascript", ".css": "text/css"}

#: Of a video's frames: what is shown of each hand, and the message.
_SHOW = """
async ({ headers, summary, warns }) => {
  const [{ HandPanel }, { message }, { Telling }, { showSummary }] = await Promise.all(
    ["hands", "message", "telling", "summary"].map((name) => import(`/js/${name}.js`)));
  const panels = ["left", "right"].map((side) => {
    const node = document.createElement("article");
    node.dataset.side = side;
    document.body.append(node);
    return new HandPanel(node, () => {});
  });
  const telling = new Telling();
  const view = { connection: "open", turning: null, error: null, pictures: true, warnings: [], hands: {}, quiet: "",
    state: { phase: "watching", fault: null, notice: null, warns } };
  const shown = headers.map((header) => {
    view.warnings = header.warnings;
    for (const panel of panels) {
      const hand = header.hands.find((one) => one.side === panel.side);
      view.hands[panel.side] = panel.show(hand, header.time_s, header.warnings);
    }
    view.quiet = telling.update(view.hands, warns, header.time_s);
    return {
      states: panels.map((panel) => panel.node.dataset.state),
      known: panels.map((panel) => panel.node.querySelector("[data-main=true]").dataset.known === "true"),
      // Warnings are counted by themselves.
      message: view.warnings.length > 0 ? "" : message(view).text,
    };
  });
  const node = document.createElement("main");
  const kept = { clips: [], passages: [], finding: null };
  showSummary(node, summary, { fault: null, onStart() {}, sessionId: "", kept, fail() {} });
  return { shown, headline: node.querySelector(".headline").textContent };
}
"""


@dataclass(frozen=True)
class Told:
    """What the page tells of one video. time_s (n,) of the frames; by frame the state and whether a large number is
    shown, of the left and the right hand, and the message, empty where it is a warning; evidence: by frame and hand
    whether comfort may be said, and whether an interval reaches past an extreme limit."""

    name: str
    time_s: Sequence[float]
    states: Sequence[Sequence[str]]
    known: Sequence[Sequence[bool]]
    messages: Sequence[str]
    evidence: Sequence[Sequence[tuple[bool, bool]]]
    headline: str

    @property
    def minutes(self) -> float:
        """From the first frame to the last."""
        return (self.time_s[-1] - self.time_s[0]) / 60.0 if self.time_s else 0.0

    def comfort(self) -> tuple[int, int, int, int]:
        """Of all frames of both hands: how many there are, are called in comfort, are so without evidence, and reach
        past an extreme limit meanwhile."""
        called = [
            self.evidence[at][hand]
            for at, states in enumerate(self.states)
            for hand, state in enumerate(states)
            if state == "within"
        ]
        lacking = sum(not enough for enough, _ in called)
        return 2 * len(self.states), len(called), lacking, sum(past for _, past in called)

    def changes(self) -> tuple[int, int, int]:
        """How often a state, a large number's being there, and the message change, beside warnings."""
        states = sum(
            _switches([row[hand] for row in self.states if row[hand] not in ("idle", "held")])
            for hand in range(len(SIDES))
        )
        numbers = sum(_switches(_from_first([row[hand] for row in self.known])) for hand in range(len(SIDES)))
        return states, numbers, _switches([one for one in self.messages if one])


def _from_first(known: Sequence[bool]) -> Sequence[bool]:
    return known[known.index(True) :] if True in known else []


def _switches(values: Sequence[object]) -> int:
    return sum(a != b for a, b in itertools.pairwise(values))


def judged(hand: HandMeasurement, limits: LimitProfile) -> tuple[bool, bool]:
    """Whether every watched angle of the wrist has a number and interval inside its comfort limits, and whether an
    interval reaches past an extreme one; from the measured values alone."""
    comfortable, past = True, False
    for entry in in_group("wrist"):
        one = hand.values[entry.name]
        if one.value is None or one.sd is None:
            comfortable = False
            continue
        for direction in entry.directions:
            comfort, extreme = bounds(limits.bands[entry.name, direction])
            reach = entry.sign(direction) * one.value + INTERVAL_SD * one.sd
            comfortable &= reach <= comfort
            past |= math.isfinite(extreme) and reach > extreme
    return comfortable, past


class _Headers:
    """The sink that keeps what the page would get of each frame."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self.headers: list[dict[str, Any]] = []
        self.evidence: list[list[tuple[bool, bool]]] = []

    def put(self, reading: Reading) -> None:
        limits = self._parts.limits
        self.headers.append(reading_header(reading, limits, self._parts.settings.roles))
        self.evidence.append([judged(reading.measurement.hand(side), limits.of(side)) for side in SIDES])


class _NoForearms:
    """Looks as another does, and sees no forearm."""

    def __init__(self, tracker: Observer) -> None:
        self._tracker = tracker

    def observe(self, frame: Frame) -> Observation:
        seen = self._tracker.observe(frame)
        return replace(seen, hands=tuple(replace(hand, forearm=None) for hand in seen.hands))


def _build_without_forearms(mode: Mode, settings: Settings) -> Built:
    made = build(mode, settings)
    return replace(made, tracker=_NoForearms(made.tracker))


def on_page(page: Page, video: Path, parts: Parts) -> Told:
    """What the page tells of a video.

    Parameters
    ----------
    page
        As `page_scripts` gives it.
    parts
        Settings, limits and what measures.

    Raises
    ------
    PosturewatchError
        Where the video cannot be read.
    """
    sink = _Headers(parts)
    source = open_source(str(video), pace="asap")
    session = InMemorySession()
    try:
        monitor, release = parts.monitor("video", source, (session, sink))
        try:
            outcome = monitor.run(threading.Event())
        finally:
            release()
    finally:
        source.close()
    facts = FilmFacts(source.describe(), 0.0, None, now_utc())
    summary = film_summary(facts, parts, session, outcome, source.notice, interrupted=False)
    # What a kept session has besides.
    kept = {**summary, "limits": parts.limits.name, "marks": []}
    warns = [side for side in SIDES if side in parts.rules.warn_sides]
    told = page.evaluate(_SHOW, {"headers": sink.headers, "summary": kept, "warns": warns})
    shown = told["shown"]
    return Told(
        video.name,
        [header["time_s"] for header in sink.headers],
        [one["states"] for one in shown],
        [one["known"] for one in shown],
        [one["message"] for one in shown],
        sink.evidence,
        told["headline"],
    )


@contextmanager
def page_scripts(parts: Parts) -> Iterator[Page]:
    """A page in a headless Chromium that can load the live page's scripts; nothing is fetched from anywhere.

    Raises
    ------
    UnavailableError
        Where playwright or Chromium is missing.
    """
    try:
        from playwright.sync_api import sync_playwright
    except ImportError as error:
        raise UnavailableError('This wants playwright; install it with: pip install -e ".[test]"') from error
    names = ("chromium", "chromium-browser", "google-chrome")
    chromium = next((path for name in names if (path := shutil.which(name))), None)
    if chromium is None:
        raise UnavailableError("This wants Chromium; install it with your system's packages.")
    words = vocabulary(parts.limits, parts.settings.roles)
    files = web_dir()

    def answer(route: Route) -> None:
        address = route.request.url.removeprefix(_ADDRESS)
        if address == "/api/vocabulary":
            route.fulfill(json=words)
        elif (files / address[1:]).is_file():
            route.fulfill(path=files / address[1:], content_type=_TYPES[Path(address).suffix])
        else:
            route.fulfill(body="<!doctype html><title>page</title>", content_type="text/html")

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page()
        page.route("**/*", answer)
        page.goto(_ADDRESS)
        yield page
        browser.close()


def line(told: Told) -> str:
    """One video as a line of the table."""
    frames, called, lacking, past = told.comfort()
    rates = [f"{count / told.minutes:.1f}" if told.minutes else "-" for count in told.changes()]
    return (
        f"{told.name:<28}{60 * told.minutes:>6.1f} s {_share(called, frames):>8}{_share(lacking, called):>9}"
        f"{_share(past, called):>9}{rates[0]:>9}{rates[1]:>9}{rates[2]:>9}  {told.headline}"
    )


def _share(part: int, whole: int) -> str:
    return f"{part / whole:.1%}" if whole else "-"


HEAD = (
    f"{'video':<28}{'length':>8} {'comfort':>8}{'lacking':>9}{'past':>9}"
    f"{'state':>9}{'number':>9}{'message':>9}  headline"
)


def together(all_told: Sequence[Told]) -> list[str]:
    """The videos together; a minute of a hand for states and numbers, of the page for messages."""
    minutes = sum(one.minutes for one in all_told)
    sums = [sum(counts) for counts in zip(*(one.comfort() for one in all_told), strict=True)]
    states, numbers, messages = (
        sum(counts) for counts in zip(*(one.changes() for one in all_told), strict=True)
    )
    frames, called, lacking, past = sums
    rest = minutes or math.nan
    return [
        f"called in comfort {_share(called, frames)} of the time; without evidence in {_share(lacking, called)} "
        f"of that, with an interval past an extreme limit in {_share(past, called)}",
        f"changes a minute: {states / rest / len(SIDES):.1f} of a hand's state, "
        f"{numbers / rest / len(SIDES):.1f} of its number coming or going, {messages / rest:.1f} of the message, "
        "beside warnings",
    ]


def main() -> int:
    """Prints the table; 1 where comfort was called without evidence."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("videos", nargs="+", type=Path, metavar="VIDEO")
    parser.add_argument(
        "--without-forearms", action="store_true", help="as if no forearm were in the picture"
    )
    args = parser.parse_args()
    settings = Settings()
    make = _build_without_forearms if args.without_forearms else build
    parts = Parts(settings, settings.limit_profile(), settings.rules(), make)
    print(HEAD)
    found: list[Told] = []
    with page_scripts(parts) as page:
        for video in args.videos:
            found.append(on_page(page, video, parts))
            print(line(found[-1]), flush=True)
    print("\n".join(together(found)))
    return 1 if any(one.comfort()[2] for one in found) else 0


if __name__ == "__main__":
    raise SystemExit(main())
