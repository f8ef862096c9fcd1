"""The pages before a practice in headless Chromium, on a made film with scripted hands."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from cli_stand_ins import ScriptedHands, film
from page_stage import expect, expect_text, opened_pages, phase
from set_up_stage import SetUpStage, set_up_stage  # noqa: F401  a fixture
from test_page_accessibility import AXE, faults

from posturewatch.config.settings import SETTINGS
from posturewatch.storage.reader import SessionReader

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

Open = Callable[..., "Page"]


@pytest.fixture
def stage(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    set_up_stage: Callable[[object], SetUpStage],  # noqa: F811
) -> SetUpStage:
    ScriptedHands(lambda time_s: 10.0).use(monkeypatch)
    return set_up_stage(film(tmp_path / "a.mkv", 60.0))


@pytest.fixture
def open_page(browser: Browser, stage: SetUpStage) -> Iterator[Open]:
    """As `opened_pages`, on another screen; what the routes refuse is part of the tests."""
    with opened_pages(browser, stage, harmless=("ERR_", "409", "422")) as opened:
        yield lambda address: opened(address, 1366, 768)


def test_from_the_first_look_to_a_practice(open_page: Open, stage: SetUpStage, tmp_path: Path) -> None:
    page = open_page("setup.html")
    page.wait_for_selector("body[data-preview=on]")
    expect_text(page, ".setup-head", "Nothing is recorded yet.")
    expect_text(page, "#steps", "Front camera")
    # Of each choice, until it is kept: the steps are shown anew then.
    for choice in ("classical guitar", "left"):
        with page.expect_response(lambda answer: answer.request.method == "PATCH"):
            page.check(f"input[value='{choice}']")
    expect(page.locator("input[value=left]")).to_be_checked()
    # What listens is chosen by name, and kept with the player.
    microphone = page.locator("select", has_text="Clip microphone")
    expect(microphone).to_contain_text("Desk microphone (the usual one)")
    expect(microphone).to_have_value("")
    with page.expect_response(lambda answer: "microphone" in (answer.request.post_data or "")):
        microphone.select_option("Clip microphone")
    expect(microphone).to_have_value("Clip microphone")
    expect_text(page, "#steps", "The film has 96 × 64 at 25")
    page.wait_for_selector("body[data-preview=on]")
    assert 'name = "classical guitar"' in stage.file.read_text(encoding="utf-8")
    kept = stage.file.parent / "players" / "player.toml"
    assert 'microphone = "Clip microphone"' in kept.read_text(encoding="utf-8")
    expect(page.locator("#no-picture")).to_be_empty()
    page.click("#skip")  # the page shows it once the settings have it
    expect(page.locator("#skip")).to_be_checked()
    page.click("#countdown")
    expect(page.locator(".counting")).to_have_text(re.compile(r"^\d+$"))
    page.click("#countdown")
    expect(page.locator(".counting")).to_have_count(0)
    assert SessionReader(tmp_path / "data").sessions() == []
    page.click("h1")
    page.keyboard.press("PageUp")
    # The page that is left knows of the practice, too.
    page.wait_for_url(stage.url)
    phase(page, "watching")
    expect_text(page, ".hand[data-side=right] .hand-name", "fretting")
    page.click("#stop")
    phase(page, "stopped")
    # Who has done it finds what was chosen, in one line.
    page.goto(stage.url + "setup.html")
    expect_text(page, "#steps", "Classical guitar, left-handed")
    expect(page.locator("input[value='violin']")).to_have_count(0)


def test_a_neutral_a_hand_and_a_limit_of_ones_own(open_page: Open, stage: SetUpStage) -> None:
    page = open_page("setup.html")
    page.wait_for_selector("body[data-preview=on]")
    # What is looked for when the page is opened has been found: then the steps are shown anew.
    expect_text(page, "#steps", "Front camera")
    expect(page.locator("select", has_text="Clip microphone")).to_be_visible()
    expect(page.locator(".grades")).to_contain_text("well")
    expect_text(page, "#verdict", "Left hand measured: wrist flexion")
    page.click("text=Your hands")
    page.click("text=Your limits")
    page.click("text=Left hand: hold it")
    expect_text(page, "#measuring", "wrist straight")
    page.wait_for_selector("text=✓ Left hand: held")
    page.click("#measuring >> text=Close")
    expect(page.locator("#measuring")).to_be_hidden()
    page.fill("input[name=hand]", "3")
    page.click("text=Keep >> nth=0")
    expect_text(page, "#banner", "100 to 260 mm")
    page.fill("input[name=hand]", "184")
    page.click("text=Keep >> nth=0")
    # Offered once there is a length; the sentence goes before it is kept.
    page.get_by_role("button", name="Take a typical hand").wait_for()
    expect(page.locator("#banner")).to_be_hidden()
    # What would pass a bound is asked about; a limit is one hand's, and says where it comes from.
    page.fill("input[name='left flexion extreme']", "90")
    page.keyboard.press("Tab")
    expect_text(page, "dialog", "can only narrow, to 48.6° at most")
    page.click("text=Leave it as it was")
    expect(page.locator("input[name='left flexion extreme']")).to_have_value("")
    page.fill("input[name='left flexion extreme']", "4")
    page.keyboard.press("Tab")
    expect_text(page, "dialog", "narrower than a camera can tell")
    page.click("text=Keep 4°")
    cells = page.locator(".own-limits tr", has_text="(flexion), extreme").locator("td")
    expect(cells.nth(0)).to_contain_text("4° set by you")
    expect(cells.nth(1)).to_contain_text("48.6° published")
    page.fill("input[name='left flexion extreme']", "30")
    page.keyboard.press("Tab")
    expect(cells.nth(0)).to_contain_text("30° set by you")
    kept = (stage.file.parent / "players" / "player.toml").read_text(encoding="utf-8")
    assert "value_deg = 30.0" in kept


def test_every_setting_can_be_read_and_changed(open_page: Open, stage: SetUpStage) -> None:
    stage.file.parent.mkdir(parents=True)
    stage.file.write_text("# mine\n[rest]\nnudge_min = 25.0  # often enough\n", encoding="utf-8")
    stage.settings.reload()
    page = open_page("settings.html")
    rows = page.locator(".setting")
    # What most players want is open, the language above all; the rest is folded.
    page.wait_for_selector(".setting")
    assert page.locator("details.step .setting").first.get_attribute("data-setting") == "page.language"
    expect(page.locator("[data-setting='camera.mirrored']")).to_be_visible()
    expect(page.locator("[data-setting='watch.hold_s']")).to_be_hidden()
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    expect(rows).to_have_count(sum(len(keys) for keys in SETTINGS.values()))
    names = page.locator(".setting .name").all_inner_texts()
    assert [name for name in names if "_" in name] == []
    expect_text(page, "#file", str(stage.file))
    hold = page.locator("[data-setting='watch.hold_s']")
    expect(hold).to_contain_text("0.5 to 60 s")
    hold.locator("input").fill("100")
    page.keyboard.press("Tab")
    # Told at the field and in sight, in the player's words; what was typed stays.
    told = "Hold before a warning must be a number from 0.5 to 60, not 100"
    expect_text(page, "#banner", told)
    expect(page.locator("#banner")).to_be_in_viewport()
    expect(hold.locator(".told")).to_contain_text(told)
    expect(hold.locator("input")).to_have_value("100")
    page.check("[data-setting='camera.mirrored'] input")
    expect(page.locator("[data-setting='camera.mirrored'] .told")).to_contain_text("kept")
    expect(hold.locator("input")).to_have_value("100")
    hold.locator("input").fill("4,5")
    page.keyboard.press("Tab")
    expect(hold).to_contain_text("Back to 3")
    expect(hold.locator(".told")).to_contain_text("kept")
    expect(page.locator("#banner")).to_be_hidden()
    page.select_option("[data-setting='limits.profile'] select", "rula")
    expect(page.locator("[data-setting='limits.personal.flexion_comfort_deg']")).to_contain_text("McAtamney")
    text = stage.file.read_text(encoding="utf-8")
    assert text.startswith("# mine\n[rest]\nnudge_min = 25.0  # often enough\n")
    assert "hold_s = 4.5" in text
    hold.locator("button").click()
    expect(hold).not_to_contain_text("Back to")
    assert "hold_s" not in stage.file.read_text(encoding="utf-8")
    page.select_option("[data-setting='page.language'] select", "de")
    expect_text(page, "h1", "Einstellungen")
    expect_text(page, "[data-setting='watch.hold_s']", "bevor gewarnt wird. 0,5 bis 60")
    expect_text(page, "[data-setting='instrument.name']", "Klassische Gitarre")
    expect_text(page, "[data-setting='limits.personal.flexion_extreme_deg']", "für beide Hände")


@pytest.mark.skipif(not AXE.is_file(), reason="axe-core is not there: npm --prefix .ci/js ci")
@pytest.mark.parametrize("address", ["setup.html", "settings.html"])
def test_the_pages_can_be_used_by_everybody(open_page: Open, address: str) -> None:
    """By axe-core's rules of the Web Content Accessibility Guidelines, in the light and in the dark, and on a phone."""
    page = open_page(address)
    page.wait_for_selector(".step")
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        assert faults(page) == []
    page.set_viewport_size({"width": 390, "height": 844})
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.emulate_media(color_scheme="light")


def test_a_films_set_up_does_not_speak_of_a_camera(open_page: Open, stage: SetUpStage) -> None:
    page = open_page("setup.html")
    page.wait_for_selector("body[data-preview=on]")
    said = page.evaluate(
        """async () => {
          const { PlacementStep } = await import("/js/setup/placement.js");
          const advice = { help: "frame rate", side: null, move_deg: null };
          const low = { enough: true, rate_hz: 4, towards_head_deg: null, grades: [], advice };
          return [true, false].map((film) => {
            new PlacementStep().show(low, undefined, { film }, true);
            return document.querySelector("#advice p").textContent;
          });
        }"""
    )
    assert ["camera" in one for one in said] == [False, True], said
    stage.set_up.choose({"source": str(stage.file.parent / "none.mkv")})
    expect_text(page, "#no-picture", "none.mkv")
    expect(page.locator("#no-picture")).not_to_contain_text("camera")


def test_a_view_that_measures_poorly_is_not_called_good_enough(open_page: Open) -> None:
    page = open_page("setup.html")
    page.wait_for_selector("body[data-preview=on]")
    said = page.evaluate(
        """async () => {
          const { PlacementStep } = await import("/js/setup/placement.js");
          const of = (name, grade) => ({ side: "left", name, grade, sd: 4, share: 1, refusal: null });
          const wrists = [["well", "well"], ["well", "fairly"], ["well", "poorly"], ["not", "well"]];
          return wrists.map(([flexion, deviation]) => {
            const grades = [of("wrist_flexion", flexion), of("wrist_ulnar_deviation", deviation)];
            const found = { enough: true, rate_hz: 25, towards_head_deg: 30, grades, advice: null };
            new PlacementStep().show(found, undefined, { film: false }, true);
            return document.querySelector("#advice p").textContent;
          });
        }"""
    )
    assert ["good enough" in one.lower() for one in said] == [False, True, False, False], said
    assert ["no better place" in one for one in said] == [False, False, True, True], said
