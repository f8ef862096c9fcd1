"""The practice log in headless Chromium, on a prepared data folder with real clips."""

from __future__ import annotations

import re

import pytest
from log_page_stage import Open, clips, see, turn_to, wide
from page_stage import expect
from review_stage import ReviewStage

from posturewatch.review.entries import PieceChange

pytestmark = pytest.mark.browser


def test_a_session_tells_what_to_work_on_and_its_passages_can_be_changed(
    open_log: Open, kept_log: ReviewStage
) -> None:
    session = kept_log.sessions[-1]
    page = open_log(f"log.html#/session/{session}")
    # How much of it was measured stands beside the count, however reassuring that is.
    see(page, ".headline", "No warnings, but 1 hold past the extreme limit; wrist")
    see(page, ".headline", "measured 100\u00a0% of the time")
    see(page, "#finding", "Left wrist bent in (flexion) beyond 48.6 degrees")
    see(page, "#finding", "bars 12-16")
    page.click("summary:text-is('Over the session')")
    page.wait_for_selector(".chart canvas")
    page.click("summary:text-is('Change passages and marks')")
    page.click("#passages li:nth-child(2) >> text=Change")
    page.fill("#passages input[placeholder='bars 12-16']", "bars 12-20")
    page.keyboard.press("Enter")
    see(page, "#finding", "bars 12-20")
    assert [one["bars"] for one in kept_log.log.session(session)["passages"]] == [
        "",
        "bars 12-20",
        "bars 1-8",
    ]
    page.click("#marks li >> text=Change")
    page.fill("#marks input >> nth=1", "thumb high")
    page.click("#marks >> text=Save")
    see(page, "#marks", "thumb high")
    assert kept_log.log.session(session)["marks"][0]["note"] == "thumb high"
    watch = page.locator("#finding a", has_text="Watch clip")
    assert watch.get_attribute("href") == f"#/review/{clips(kept_log)[0]['id']}"
    page.click("#delete-session")
    page.click("dialog >> text=Delete session")
    see(page, "h1", "Sessions")
    assert session not in [one["id"] for one in kept_log.log.data()["sessions"]]


def test_fingers_are_told_after_the_wrist(open_log: Open, kept_log: ReviewStage) -> None:
    page = open_log(f"log.html#/session/{kept_log.sessions[-1]}")
    page.click("summary:text-is('Fingers')")
    left = page.locator("#fingers .fingers-group[data-side=left]")
    expect(left).to_contain_text("Lift was measured from the strings")
    rows = [row.locator("th, td").all_inner_texts() for row in left.locator("tbody tr").all()]
    # Held for 40 of 360 seconds; the ring finger was never measured.
    assert rows[2] == ["Ring", "not measured: not seen well enough from any view to be given"]
    assert rows[3] == ["Little", "100\u00a0%", "11\u00a0%", "11\u00a0%, 11\u00a0% certain"]
    by_passage = page.locator("#fingers .table-frame")
    assert "Left little finger lifted, past extreme limit" in by_passage.locator("th").all_inner_texts()
    assert by_passage.locator("tbody tr").nth(1).locator("td").first.inner_text() == "67\u00a0%"
    see(page, "#fingers", "A camera does not see force")
    titles = page.locator("details.card > summary").all_inner_texts()
    assert titles.index("Time by state and direction") < titles.index("Fingers")
    turn_to(page, "trends/26")
    see(page, ".card:has(h2:text-is('Fingers'))", "Left little finger lifted, past extreme limit")


@pytest.mark.calendar(slow=True)
def test_trends_show_each_week(open_log: Open, kept_log: ReviewStage) -> None:
    page = open_log("log.html#/trends/26")
    see(page, "#page", "Left wrist bent in (flexion), past extreme limit")
    page.click("summary:text-is('More')")
    # All of them drawn: what is drawn later forgets the pointer.
    page.wait_for_selector(".chart canvas")
    page.wait_for_function(
        "() => [...document.querySelectorAll('.chart')].every((one) => !one.clientWidth || one.querySelector('canvas'))"
    )
    # In the middle of these weeks, the one under the pointer is told beneath the chart.
    page.hover(".chart .u-over >> nth=0")
    see(page, ".chart .u-series:nth-child(2) .u-value", "8 %")
    see(page, "#week", "worst in “Nocturne sketch”")
    page.click("a:has-text('Nocturne sketch')")
    see(page, "h1", "Nocturne sketch")
    page.wait_for_selector(".chart canvas")


@pytest.mark.parametrize("width", [390, 1280])
def test_no_page_is_wider_than_the_window(open_log: Open, kept_log: ReviewStage, width: int) -> None:
    first, second = (one["id"] for one in clips(kept_log))
    session = kept_log.sessions[-1]
    page = open_log("log.html", width=width)
    for address, told in [
        ("sessions", "Sessions"),
        (f"session/{session}", "By passage"),
        ("clips", "Held: Left wrist"),
        (f"review/{first}/{second}", "Compare with"),
        ("trends", "By direction"),
        ("pieces", "Scales"),
        ("piece/2", "Where it was played"),
        ("guide/flexion", "common practice"),
        ("data", str(kept_log.store.data_dir)),
    ]:
        turn_to(page, address)
        see(page, "#page", told if told != "common practice" else "Common practice")
        page.wait_for_timeout(150)
        assert not wide(page), address


PAPER_PX = 718  # A4 (ISO 216) less a centimetre at either side, at 96 pixels an inch


def test_what_is_printed_is_whole_and_has_no_buttons(open_log: Open, kept_log: ReviewStage) -> None:
    for address, charts in ((f"session/{kept_log.sessions[-1]}", 1), ("trends", 3)):
        page = open_log(f"log.html#/{address}", width=PAPER_PX)
        page.wait_for_selector("details.card")
        page.wait_for_load_state("networkidle")
        page.wait_for_function("() => window.uPlot")
        assert page.locator(".chart canvas").count() < charts
        page.emulate_media(media="print", color_scheme="dark")
        page.evaluate("dispatchEvent(new Event('beforeprint'))")
        assert page.locator("details:not([open])").count() == 0
        assert page.locator(".chart canvas").count() == charts
        # Dark lines on white paper, whatever the screen has.
        assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
        assert page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
        assert not wide(page)
        for one in page.locator(".chart canvas, .chart .uplot").all():
            box = one.bounding_box()
            assert box is not None
            assert 300 < box["width"] <= PAPER_PX
        visible = "one => one.checkVisibility()"
        assert not any(one.evaluate(visible) for one in page.locator("button, .small-button, select").all())
        page.evaluate("dispatchEvent(new Event('afterprint'))")
        assert page.locator("details.card[open]").count() == 0


def test_a_month_of_sessions_is_no_long_way_down(open_log: Open, kept_log: ReviewStage) -> None:
    page = open_log("log.html#/sessions", width=390, height=844)
    page.wait_for_selector(".compact tbody tr")
    each = page.evaluate("document.querySelector('.compact tbody').offsetHeight") / len(kept_log.sessions)
    # 33 sessions were 4,650 pixels; a page has 30 of them.
    assert 30 * each < 2600


def test_a_long_name_ends_in_an_ellipsis(open_log: Open, kept_log: ReviewStage) -> None:
    long = "A very long name of a piece with its opus, its key, its nickname and the book it is from"
    kept_log.log.rename_piece(kept_log.log.pieces()[0]["id"], PieceChange.read({"name": long}))
    for address in ("pieces", "trends", f"session/{kept_log.sessions[-1]}"):
        page = open_log(f"log.html#/{address}", width=390, height=844)
        name = page.locator(f".long-name[title*='{long}']").first
        name.wait_for()
        assert (
            name.evaluate("one => one.scrollWidth > one.clientWidth && getComputedStyle(one).textOverflow")
            == "ellipsis"
        )
        assert name.evaluate("one => one.offsetHeight") < 40
        assert not wide(page)


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (1366, 625), (844, 390), (390, 844)])
def test_the_list_of_sessions_shows_every_column(
    open_log: Open, kept_log: ReviewStage, width: int, height: int
) -> None:
    long = "Study in B minor for the left hand alone, with the long middle section and its coda"
    kept_log.log.rename_piece(kept_log.log.pieces()[0]["id"], PieceChange.read({"name": long}))
    page = open_log("log.html#/sessions", width=width, height=height)
    page.locator(f".long-name[title*='{long}']").first.wait_for()
    assert page.locator(".table-frame").first.evaluate("one => one.scrollWidth <= one.clientWidth")
    assert not wide(page)


def test_on_paper_each_session_has_one_line_and_nothing_is_handed_in(
    open_log: Open, kept_log: ReviewStage
) -> None:
    long = "Study in B minor for the left hand alone, with the long middle section and its coda"
    kept_log.log.rename_piece(kept_log.log.pieces()[0]["id"], PieceChange.read({"name": long}))
    page = open_log("log.html#/sessions", width=PAPER_PX, height=1123)
    page.locator(f".long-name[title*='{long}']").first.wait_for()
    page.emulate_media(media="print")
    high = page.locator("tbody tr").evaluate_all("rows => rows.map((one) => one.offsetHeight)")
    line = page.locator("tbody td").first.evaluate("one => parseFloat(getComputedStyle(one).fontSize)")
    assert max(high) < 2.2 * line
    assert not page.is_visible("#films-card")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_the_practice_list_is_gone_through_by_one_key(open_log: Open, kept_log: ReviewStage) -> None:
    page = open_log("")
    see(page, "#passage", "Piece and passage")
    page.click("#passage")
    page.fill(".sheet input >> nth=0", "noc")
    page.wait_for_function(
        "() => [...document.querySelectorAll('.sheet option')].some((one) => one.value === 'Nocturne sketch')"
    )
    page.fill(".sheet input >> nth=0", "Nocturne sketch")
    page.fill(".sheet input >> nth=1", "bars 12-16")
    page.fill(".sheet input >> nth=2", "72")
    page.click("text=Add to the list")
    see(page, ".practice-list", "bars 12-16")
    page.fill(".sheet input >> nth=1", "bars 17-20")
    page.click("text=Add to the list")
    see(page, ".practice-list", "bars 17-20")
    page.click(".sheet >> text=Close")
    page.keyboard.press("n")
    see(page, "#passage", "Nocturne sketch, bars 12-16 · 72 bpm (1 of 2)")
    page.click("#next")
    see(page, "#passage", "bars 17-20")
    page.wait_for_timeout(400)
    page.keyboard.press("p")
    see(page, "#passage", "bars 12-16")
    assert kept_log.practice.now_played() == {
        "piece": "Nocturne sketch",
        "bars": "bars 12-16",
        "tempo_bpm": 72.0,
    }


def test_a_check_gives_the_advice_in_its_own_words(open_log: Open, kept_log: ReviewStage) -> None:
    page = open_log("", width=390, height=844)
    page.click("#check")
    page.click("label:has-text('6')")
    page.locator("[aria-label='left wrist, palm side']").click()
    page.click(".signs >> text=numbness or tingling")
    page.wait_for_timeout(100)
    assert not wide(page)
    page.click("text=Keep this")
    page.wait_for_selector(".advice")
    (check,) = kept_log.log.checks()
    assert (check["rating"], check["places"], check["signs"]) == (
        6,
        ["left palm side of the wrist"],
        ["numbness or tingling"],
    )
    assert page.locator(".advice > p").all_inner_texts() == check["advice"]["sentences"]
    assert check["advice"]["level"] == "end"


def test_a_check_is_offered_before_and_after_and_nothing_waits_for_it(
    open_log: Open, kept_log: ReviewStage
) -> None:
    session = kept_log.sessions[-1]
    kept_log.practice.session_ids = iter([session] * 2)
    page = open_log("")
    page.wait_for_selector("body[data-phase=stopped]")
    page.keyboard.press("PageUp")
    page.wait_for_selector("body[data-phase=watching]")
    see(page, "#before", "How did it feel before playing?")
    page.click("#before button:text-is('2')")
    see(page, "#before", "Kept: 2 of 10 before playing")
    # On a phone it stands below the picture.
    page.set_viewport_size({"width": 390, "height": 844})
    page.wait_for_function(
        """() => {
          const box = (one) => document.querySelector(one).getBoundingClientRect();
          const [picture, asked] = [box(".picture"), box("#before")];
          return asked.height > 0 && picture.bottom <= asked.top;
        }"""
    )
    page.set_viewport_size({"width": 1280, "height": 800})
    # A tap that was meant otherwise.
    page.click("#before >> text=Change")
    page.click("#before button:text-is('1')")
    see(page, "#before", "Kept: 1 of 10 before playing")
    page.click("#before >> text=Hide")
    page.wait_for_timeout(1300)
    page.keyboard.press("PageUp")
    see(page, "#felt", "How does it feel now?")
    page.click("#felt button:text-is('5')")
    see(page, "#felt .advice", "End this session")
    after, before = kept_log.log.session(session)["checks"]
    assert [(one["moment"], one["rating"]) for one in (before, after)] == [("before", 1), ("after", 5)]
    # The same practice is not asked of twice.
    page.click("#start-again")
    page.wait_for_selector("body[data-phase=watching]")
    page.wait_for_timeout(500)
    assert page.is_hidden("#before")


def test_a_quiet_sentence_is_shown_and_can_be_hidden(open_log: Open, kept_log: ReviewStage) -> None:
    kept_log.practice.asides = ["20 minutes of playing without a rest."]
    page = open_log("")
    see(page, "#aside", "without a rest")
    page.click("#aside button")
    page.wait_for_selector("#aside", state="hidden")


def test_everything_can_be_deleted(open_log: Open, kept_log: ReviewStage) -> None:
    page = open_log("log.html#/data")
    page.click("#forget")
    page.click("dialog >> text=Delete everything")
    expect(page.locator("section", has_text="Sessions").first).to_contain_text("None.")
    assert kept_log.log.data()["sessions"] == []
    assert kept_log.log.pieces() == []


def test_every_page_says_that_a_practice_is_recorded(open_log: Open, kept_log: ReviewStage) -> None:
    page = open_log("log.html#/trends")
    assert not page.is_visible("#recording")
    kept_log.practice.start()
    try:
        recording = re.compile(r"● Recording \d+:\d\d$")
        expect(page.locator("#recording")).to_have_text(recording)
        page.click("a[href='#/pieces']")
        see(page, "h1", "Pieces")
        expect(page.locator("#recording")).to_have_text(recording)
    finally:
        kept_log.practice.stop()
    page.wait_for_selector("#recording", state="hidden")


def test_a_teacher_sees_sessions_the_week_and_clips_at_a_glance(
    open_log: Open, kept_log: ReviewStage
) -> None:
    page = open_log("log.html#/sessions")
    see(page, "table thead", "Past the extreme limit")
    (share,) = {round(100 * one["extreme_share"]) for one in kept_log.log.sessions()}
    see(page, "table tbody tr", f"{share}\u00a0%")
    open_log("log.html#/trends").wait_for_selector("#week")
    clips = open_log("log.html#/clips")
    clips.wait_for_selector(".clips img")
    clips.wait_for_function(
        "() => [...document.querySelectorAll('.clips img')].every((one) => one.naturalWidth > 0)"
    )
    clips.click(".clip-name:has-text('Held')")
    download = clips.locator("a[download]")
    assert download.get_attribute("href") == f"/api/clips/{clips.url.rsplit('/', 1)[1]}/video"
    # The clip begins two seconds before its hold.
    see(clips, ".trace-reading", "2.00 s")
