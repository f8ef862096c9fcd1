"""Clips beside their angles, in headless Chromium."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from log_page_stage import PAUSED, SETTLED, Open, clips, review, see
from review_stage import RATE_HZ, ReviewStage, flexion_deg

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

TIME = "document.querySelector('video').currentTime"


def reading_at(page: Page, kept_log: ReviewStage) -> None:
    """What is told beside the picture is what was measured at that picture's time."""
    clip_s = page.evaluate(TIME)
    session_s = int((clips(kept_log)[0]["start_s"] + clip_s) * RATE_HZ + 1e-6) / RATE_HZ
    value = flexion_deg(session_s)
    # Kept with a deviation of 3 degrees: the 90 % interval reaches 4.9 to either side.
    zone = (
        "extreme" if value > 48.6
        else "unsure" if value + 4.93 > 48.6
        else "past comfort range" if value > 37.7
        else "unsure" if value + 4.93 > 37.7
        else "in comfort range"
    )  # fmt: skip
    see(page, ".trace-reading", f"{round(value)}° flexion, {zone}")
    see(page, ".chip[data-side=left] b", f"{round(value)}° flexion")


def test_a_clip_steps_seeks_and_tells_the_measured_angle(open_log: Open, kept_log: ReviewStage) -> None:
    page = review(open_log, clips(kept_log)[0]["id"])
    page.wait_for_function(SETTLED)
    reading_at(page, kept_log)
    # Opened at the hold, two seconds after the clip's beginning.
    opened = 2.0 * RATE_HZ
    for count in (1, 2, 3):
        page.keyboard.press("ArrowRight")
        page.wait_for_function(SETTLED)
        # In the middle of the picture, so that no rounding shows its neighbour.
        assert page.evaluate(TIME) == pytest.approx((opened + count + 0.5) / RATE_HZ, abs=0.01)
    page.click("#back")
    page.wait_for_function(SETTLED)
    assert page.evaluate(TIME) == pytest.approx((opened + 2.5) / RATE_HZ, abs=0.01)
    box = page.locator(".trace").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] * 0.6, box["y"] + 40)
    page.wait_for_function(SETTLED)
    assert page.evaluate(TIME) == pytest.approx(8.0 * 0.6, abs=0.05)
    reading_at(page, kept_log)
    assert page.locator(".trace-limit.extreme").count() == 1
    page.keyboard.press("o")
    assert page.is_hidden(".film-overlay")


def test_a_clip_plays_at_each_speed_and_loops(open_log: Open, kept_log: ReviewStage) -> None:
    page = review(open_log, clips(kept_log)[0]["id"])
    for key, speed in (("1", 0.25), ("2", 0.5), ("3", 1)):
        page.keyboard.press(key)
        assert page.evaluate("document.querySelector('video').playbackRate") == speed
    page.keyboard.press("l")
    page.keyboard.press("Space")
    page.wait_for_function(f"() => {TIME} > 2.3")
    see(page, "#play", "Pause")
    page.evaluate("document.querySelector('video').currentTime = 7.7")
    page.wait_for_function(f"() => {TIME} < 2")
    page.keyboard.press("Space")
    see(page, "#play", "Play")


def test_two_clips_of_different_sessions_run_in_step(open_log: Open, kept_log: ReviewStage) -> None:
    first, second = clips(kept_log)
    assert first["session_id"] != second["session_id"]
    page = review(open_log, first["id"])
    page.select_option("#compare", str(second["id"]))
    page.wait_for_selector(".players.two")
    page.wait_for_function(SETTLED)
    times = "[...document.querySelectorAll('video')].map((one) => one.currentTime)"
    page.keyboard.press("ArrowRight")
    page.wait_for_function(SETTLED)
    one, two = page.evaluate(times)
    assert one == pytest.approx(two, abs=0.02)
    box = page.locator(".trace").nth(1).bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] * 0.5, box["y"] + 40)
    page.wait_for_function(SETTLED)
    one, two = page.evaluate(times)
    assert one == pytest.approx(two, abs=0.02)
    assert one > 2
    page.keyboard.press("Space")
    page.wait_for_function(f"() => {TIME} > {one + 0.6}")
    page.keyboard.press("Space")
    # The second one is put beside the first once it is told that that has paused.
    page.wait_for_function(PAUSED)
    page.wait_for_function(SETTLED)
    one, two = page.evaluate(times)
    assert one == pytest.approx(two, abs=0.15)


def test_a_clip_is_kept_noted_and_deleted(open_log: Open, kept_log: ReviewStage) -> None:
    clip = clips(kept_log)[0]
    page = review(open_log, clip["id"])
    page.click("label:has-text('Keep it')")
    see(page, "#say", "Kept.")
    page.fill("textarea", "elbow too low")
    page.click("text=Save note")
    page.wait_for_selector("span:text-is('saved')")
    kept = kept_log.log.clip(clip["id"])
    assert (kept["kept"], kept["note"]) == (True, "elbow too low")
    page.click("text=Delete clip")
    page.click("dialog >> text=Keep it")
    assert len(clips(kept_log)) == 2
    page.click("text=Delete clip")
    page.click("dialog >> text=Delete clip")
    page.wait_for_selector("#finding")
    assert [one["id"] for one in clips(kept_log)] == [clips(kept_log)[0]["id"]] != [clip["id"]]
    assert not kept_log.log._store.data_dir.joinpath(
        "clips", clip["session_id"], clip["name"] + ".mp4"
    ).exists()


def test_a_finger_can_be_followed_through_a_clip(open_log: Open, kept_log: ReviewStage) -> None:
    page = review(open_log, clips(kept_log)[0]["id"])
    page.select_option(".player select", label="Left hand, little finger lift")
    see(page, ".trace-reading", "30 mm lift, extreme")
    page.evaluate("document.querySelector('video').currentTime = 1.05")
    see(page, ".trace-reading", "0 mm lift, in comfort range")
    # Over the picture stands the wrist.
    see(page, ".chip[data-side=left] b", "flexion")
