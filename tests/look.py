"""How the page looks, in figures: the contrast of every pair of colours that meets on it, and how high letters are.

    python tests/look.py

Contrast by the Web Content Accessibility Guidelines 2.2, 1.4.3 (text, 4.5:1) and 1.4.11 (marks that carry meaning,
3:1), in both themes: the live page in every state of a hand, its summary, every page of the practice log, and what is
set up before. Heights on a 14-inch screen that the window fills. Ends with 1 where a pair is below its bound. What is
drawn into the picture lies on whatever the camera sees, and has an outline of its own instead.
"""

from __future__ import annotations

import sys
import tempfile
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from page_stage import ARGUMENTS, CHROMIUM, WAIT_MS, WELL, Stage, admit, every_state, hand_state
from review_stage import ReviewStage
from set_up_stage import SetUpStage
from test_page_accessibility import SCHEMES, Scheme
from test_page_look import (
    HELD,
    KEPT_MARKS,
    MARKS,
    SCREENS,
    chart_colours,
    contrast,
    glyph_px,
    measured,
    px_per_mm,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page

BOUNDS = {"text": 4.5, "mark": 3.0}
#: Borders by which one finds what can be pressed or filled in, on what lies around it.
EDGES = """() => {
  const ground = (node) => {
    const { backgroundColor } = getComputedStyle(node);
    const clear = /^rgba\\(.*, 0\\)$/.test(backgroundColor);
    return clear && node.parentElement ? ground(node.parentElement) : backgroundColor;
  };
  const one = ".button, .bar-button, .small-button, .warns-face, select, textarea, .tile:has(:checked), "
    + "input:not([type=checkbox], [type=radio], [type=range], [type=file])";
  return [...document.querySelectorAll(one)].filter((node) => node.checkVisibility() && !node.closest(":disabled"))
    .map((node) => [node.className || node.tagName.toLowerCase(), getComputedStyle(node).borderTopColor,
      ground(node.parentElement)]);
}"""
#: What is pressed only later is grey on purpose, and exempt.
TEXTS = """() => {
  const clear = (colour) => /^rgba\\(.*, 0\\)$/.test(colour) || colour === "transparent";
  const ground = (node) => {
    const { backgroundColor } = getComputedStyle(node);
    return clear(backgroundColor) && node.parentElement ? ground(node.parentElement) : backgroundColor;
  };
  const own = (node) => [...node.childNodes].some((one) => one.nodeType === 3 && one.textContent.trim() !== "");
  return [...document.querySelectorAll("body *")]
    .filter((node) => own(node) && node.checkVisibility({ visibilityProperty: true }) && node.offsetHeight > 1)
    .filter((node) => !node.closest(":disabled, svg, .spoken, .warns-word, .symbols, option"))
    .map((node) => [node.className || node.tagName.toLowerCase(), getComputedStyle(node).color, ground(node)]);
}"""
GLYPHS = {
    "number of a hand": (".hand .scale[data-main=true] b", "0"),
    "its other number": (".hand .scale[data-main=false] b", "0"),
    "word for a hand": (".hand .word", "H"),
    "direction and limit": (".hand .scale[data-main=true] .scale-text", "H"),
    "name of a hand": (".hand-name", "H"),
    "message": (".message-text", "H"),
    "button": (".controls .button", "H"),
    "time practised": (".clock", "0"),
}

#: Kind, colour and ground, with the first thing that has them.
Pairs = dict[tuple[str, str, str], str]


def collect(page: Page, pairs: Pairs) -> None:
    """Adds what is visible now."""
    for kind, asked in (("text", TEXTS), ("mark", EDGES)):
        for name, colour, ground in page.evaluate(asked):
            said = str(name).split()[0] if isinstance(name, str) and name else "text"
            pairs.setdefault((kind, colour, ground), said)
    for name, colour, ground in measured(page, [*MARKS, *KEPT_MARKS]):
        if colour != "none":
            pairs.setdefault(("mark", colour, ground), name)


def live(browser: Browser, scheme: Scheme, pairs: Pairs) -> None:
    stage = Stage()
    context = browser.new_context(
        color_scheme=scheme, viewport={"width": 1280, "height": 800}, reduced_motion="reduce"
    )
    admit(context, stage.url, stage.admission)
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    page.goto(stage.url)
    page.wait_for_selector("body[data-phase=stopped]")
    collect(page, pairs)
    for _ in every_state(page, stage):
        collect(page, pairs)
    page.click("#stop")
    page.wait_for_selector("#felt .offer")
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    collect(page, pairs)
    context.close()
    stage.close()


def kept(browser: Browser, stage: ReviewStage, scheme: Scheme, pairs: Pairs) -> dict[str, float]:
    """The pages of the log; returns the contrasts of the charts' colours."""
    context = browser.new_context(color_scheme=scheme, viewport={"width": 1280, "height": 800})
    admit(context, stage.url, stage.admission)
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    clip = next(one for one in stage.log.clips() if one["reason"] == "warning")
    for address in ("sessions", f"session/{stage.sessions[-1]}", "clips", f"review/{clip['id']}", "trends", "pieces",
                    "piece/2", "guide/flexion", "data"):  # fmt: skip
        page.goto("about:blank")
        page.goto(f"{stage.url}log.html#/{address}")
        page.wait_for_selector("#page h1")
        page.wait_for_load_state("networkidle")
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        collect(page, pairs)
    page.goto(stage.url)
    for button in ("#check", "#passage"):
        page.click(button)
        page.wait_for_selector(".sheet")
        collect(page, pairs)
        page.keyboard.press("Escape")
    found = chart_colours(page)
    context.close()
    return found


def before(browser: Browser, folder: Path, scheme: Scheme, pairs: Pairs) -> None:
    """What is set up before a practice, without a camera, and the settings."""
    with ExitStack() as stack:
        stage = SetUpStage("0", folder / "settings.toml", folder / f"data-{scheme}", stack)
        context = browser.new_context(color_scheme=scheme, viewport={"width": 1280, "height": 800})
        admit(context, stage.url, stage.admission)
        page = context.new_page()
        page.set_default_timeout(WAIT_MS)
        for address in ("setup.html", "settings.html"):
            page.goto(stage.url + address)
            page.wait_for_selector(".step")
            page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
            collect(page, pairs)
        context.close()


def heights(browser: Browser) -> Iterator[tuple[str, list[float]]]:
    """Of each kind of text its height in millimetres, by screen."""
    stage = Stage()
    found: dict[str, list[float]] = {}
    for width, height, screen_height, _ in SCREENS:
        stage.hands = WELL
        context = browser.new_context(viewport={"width": width, "height": height})
        admit(context, stage.url, stage.admission)
        page = context.new_page()
        page.goto(stage.url)
        page.wait_for_selector("body[data-phase=stopped], body[data-phase=watching]")
        if page.locator("#start").is_visible():
            page.click("#start")
        hand_state(page, "left", "within")
        mm = px_per_mm(width, screen_height)
        for name, (selector, letter) in GLYPHS.items():
            found.setdefault(name, []).append(glyph_px(page, selector, letter) / mm)
        stage.hands = (HELD, WELL[1])
        page.wait_for_selector(".message[data-kind=warning]")
        found.setdefault("warning", []).append(glyph_px(page, ".message-text", "H") / mm)
        found.setdefault("advice beside it", []).append(glyph_px(page, ".message-advice", "H") / mm)
        context.close()
    stage.close()
    yield from found.items()


def main() -> int:
    from playwright.sync_api import sync_playwright

    weak = 0
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as folder:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        log = ReviewStage(Path(folder))
        for scheme in SCHEMES:
            pairs: Pairs = {}
            live(browser, scheme, pairs)
            charts = kept(browser, log, scheme, pairs)
            before(browser, Path(folder), scheme, pairs)
            rows = [
                (kind, contrast(one, other), one, other, name) for (kind, one, other), name in pairs.items()
            ]
            print(f"\n{scheme}: {len(rows)} pairs of colours")
            for kind, ratio, one, other, name in sorted(rows):
                low = ratio < BOUNDS[kind]
                weak += low
                print(f"{kind:5} {ratio:6.2f}{' LOW' if low else '    '} {one} on {other}  {name}")
            for name, ratio in charts.items():
                weak += ratio < BOUNDS["mark"]
                print(f"chart {ratio:6.2f}     {name}")
        log.close()
        print("\nheight of a letter in mm, at " + ", ".join(f"{one[0]}x{one[1]}" for one in SCREENS))
        for name, several in heights(browser):
            print(f"{name:22}" + "".join(f"{one:7.1f}" for one in several))
        browser.close()
    print(f"\n{weak} below their bound")
    return int(weak > 0)


if __name__ == "__main__":
    sys.exit(main())
