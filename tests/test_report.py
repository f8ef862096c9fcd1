"""Reports: what they say is what was kept, in words that promise no more than was measured; as a page and on paper."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from log_factories import record
from review_stage import ReviewStage

from posturewatch.cli.main import main
from posturewatch.errors import ConflictError
from posturewatch.model.observation import Side
from posturewatch.review.derived import open_store
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.report.charts import dial
from posturewatch.review.report.content import Angle, Beyond, Hand, Moment, Report
from posturewatch.review.report.figure import FILLS, Box, Fill, Line, Text, hatching
from posturewatch.review.report.gather import gather
from posturewatch.review.report.html import report_html
from posturewatch.review.report.pdf import report_pdf
from posturewatch.review.report.phrases import headline, moment_text, next_step, spread_text, view_sentence
from posturewatch.review.report.writing import Reports, Wanted
from posturewatch.storage.records import SessionStart
from posturewatch.storage.store import open_reader


@pytest.fixture(scope="module")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ReviewStage]:
    """For reading; all tests share it."""
    one = ReviewStage(tmp_path_factory.mktemp("log"))
    yield one
    one.close()


@pytest.fixture(scope="module")
def drawn() -> list[Side]:
    """The hands whose lines were asked for."""
    return []


@pytest.fixture(scope="module")
def report(stage: ReviewStage, drawn: list[Side]) -> Report:
    def draw(picture: bytes, side: Side) -> bytes | None:
        drawn.append(side)
        return picture

    last = stage.sessions[-1]
    stage.log.session(last)
    return gather(stage.store, [last], who='Mira "M" <b>K</b>', draw=draw, clips=True)


def test_numbers_are_those_that_were_kept(report: Report, stage: ReviewStage, drawn: list[Side]) -> None:
    summary = stage.log.summary(stage.sessions[-1])
    practice = report.last
    flexion = next(one for one in practice.hands[0].angles if one.label == "wrist flexion")
    kept = next(
        one for one in summary["quantities"] if (one["side"], one["quantity"]) == ("left", "wrist_flexion")
    )
    assert flexion.measured_s == kept["measured_s"]
    assert flexion.percentiles == tuple(kept["percentiles_deg"].values())
    (extreme,) = [
        level
        for each in kept["directions"] if each["direction"] == "flexion"
        for level in each["levels"] if level["level"] == "extreme"
    ]  # fmt: skip
    assert flexion.beyond[0].past_extreme_s == extreme["seconds"]
    assert (
        practice.hands[0].states_s
        == next(one for one in summary["hands"] if one["side"] == "left")["states_s"]
    )
    assert [row.name for row in practice.passages] == [
        "Scales", "Nocturne sketch, bars 12-16", "Nocturne sketch, bars 1-8",
    ]  # fmt: skip
    document = stage.log.session(stage.sessions[-1])
    assert practice.finding == document["finding"]["sentence"]
    (moment,) = report.moments
    assert (moment.value, moment.sd, moment.level, moment.passage) == (
        60.0, 3.0, "extreme", "Nocturne sketch, bars 12-16",
    )  # fmt: skip
    assert moment.picture is not None
    assert moment.picture.startswith(b"\xff\xd8")
    assert moment.clip is not None
    assert moment.lines
    assert drawn == ["left"]
    assert practice.marks == ((60.0, "thumb again"),)


class Seen(HTMLParser):
    """Tags, addresses and the text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.addresses: list[str] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href", "poster", "data")]

    def handle_data(self, data: str) -> None:
        self.text += data


def test_the_page_needs_nothing_else_and_trusts_no_text(report: Report) -> None:
    page = report_html(report)
    seen = Seen(page)
    assert not {"script", "link", "iframe", "object", "b"} & set(seen.tags)
    assert seen.addresses
    assert all(one.startswith("data:") for one in seen.addresses)
    assert "url(" not in page
    assert "@import" not in page
    assert 'Mira "M" <b>K</b>' in seen.text
    for part in (
        "Wu et al. 2005, J Biomech 38:981-992",
        "Flexion and ulnar deviation are positive",
        "Keir, Bach, Hudes, Rempel 2007",
        "A camera cannot see force",
        "diagnoses nothing",
        "No wrist-angle limit has been validated",
        "If it hurts, stop.",
        "10th to 90th percentile",
        "not measured, never as comfortable",
        "thumb again",
    ):
        assert part in seen.text, part


def pages(data: bytes) -> list[tuple[float, float]]:
    """Width and height of each page in points, from the file itself (ISO 32000-1, 7.7.3)."""
    boxes = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", data)
    return [(float(width), float(height)) for width, height in boxes]


@pytest.mark.parametrize(
    # ISO 216: 210 x 297 mm; ANSI/ASME Y14.1: 8.5 x 11 inches.
    ("paper", "size"),
    [("a4", (210 / 25.4 * 72, 297 / 25.4 * 72)), ("letter", (8.5 * 72, 11 * 72))],
)
def test_on_paper_it_has_two_pages_at_most(report: Report, paper: Any, size: tuple[float, float]) -> None:
    data = report_pdf(report, paper)
    assert data.startswith(b"%PDF-")
    found = pages(data)
    assert 1 <= len(found) <= 2
    for page in found:
        assert page == pytest.approx(size, abs=0.01)
    full = replace(
        report,
        who="Dvořák 漢字 🎻",
        practices=(replace(report.last, passages=report.last.passages * 9, marks=report.last.marks * 20),)
        * 12,
        moments=report.moments * 3,
    )
    assert len(pages(report_pdf(full, paper))) <= 2


def test_fills_are_told_apart_without_colour() -> None:
    """Relative luminance as WCAG 2.1 defines it; a hatching stands for itself."""

    def luminance(colour: str) -> float:
        channels = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
        linear = [one / 12.92 if one <= 0.03928 else ((one + 0.055) / 1.055) ** 2.4 for one in channels]
        return float(0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2])

    plain: list[Fill] = ["in comfort", "past comfort", "extreme"]
    lights = [luminance(FILLS[name][0]) for name in plain]
    # Each half as light again as the next, at least.
    assert all(one > 1.5 * other for one, other in itertools.pairwise(lights))
    assert FILLS["unsure"][1:] != FILLS["partly seen"][1:]
    for name in ("unsure", "partly seen"):
        box = Box(30.0, 7.0, 41.0, 13.0, name)
        lines = hatching(box)
        assert len(lines) > 3
        for line in lines:
            for x, y in ((line.x1, line.y1), (line.x2, line.y2)):
                assert 30.0 - 1e-6 <= x <= 71.0 + 1e-6
                assert 7.0 - 1e-6 <= y <= 20.0 + 1e-6
    assert hatching(Box(0, 0, 10, 10, "extreme")) == []


def hand(measured_s: float, *, reason: str = "hand not seen", unsure_s: float = 0.0) -> Hand:
    angle = Angle(
        "wrist flexion",
        100.0,
        measured_s,
        (1.0, 2.0, 3.0) if measured_s else None,
        (),
        ((reason, 100.0 - measured_s),),
    )
    states = {"in comfort": measured_s - unsure_s, "unsure": unsure_s, "not seen": 100.0 - measured_s}
    return Hand("left", "left, fretting hand", True, 100.0, states, {}, (angle,))


@pytest.mark.parametrize(
    ("warnings", "unwarned", "measured_s", "unsure_s", "said", "little"),
    [
        (0, 0, 92.0, 12.0, "No warnings; MEASURED 92 % of the time, JUDGED 80 % of the time.", False),
        (0, 0, 31.0, 0.0, "No warnings; MEASURED 31 % of the time, JUDGED 31 % of the time: too little to say.", True),
        (2, 2, 100.0, 88.0, "2 warnings; MEASURED 100 % of the time, JUDGED 12 % of the time.", True),
        # Measured throughout and unsure for most of it is no all clear.
        (0, 0, 100.0, 60.0, "No warnings; MEASURED 100 % of the time, JUDGED 40 % of the time: too little to say.",
         True),
        (0, 1, 80.0, 0.0, "No warnings, but 1 hold past an extreme limit; MEASURED 80 % of the time, JUDGED 80 % of "
         "the time.", False),
        (0, 1, 80.0, 60.0, "No warnings, but 1 hold past an extreme limit; MEASURED 80 % of the time, JUDGED 20 % of "
         "the time: too little to say.", True),
        (0, 0, 0.0, 0.0, "No warnings; no wrist was measured: too little to say.", True),
    ],
)  # fmt: skip
def test_how_much_was_measured_and_judged_is_in_every_headline(
    warnings: int, unwarned: int, measured_s: float, unsure_s: float, said: str, little: bool
) -> None:
    told = headline(warnings, unwarned, [hand(measured_s, unsure_s=unsure_s)])
    said = said.replace("MEASURED", "wrist flexion of the left, fretting hand measured")
    said = said.replace("JUDGED", "certain enough to judge the hand")
    assert (told[0].replace("\u00a0", " "), told[1]) == (said, little)


def test_the_view_says_what_would_help() -> None:
    assert "The view was good" in view_sentence([hand(95.0)])
    said = view_sentence([hand(20.0, reason="forearm not seen")])
    assert "The view was poor" in said
    assert "Let the camera see a hand's length of forearm" in said


@pytest.mark.parametrize(("unsure_s", "first"), [(20.0, False), (80.0, True)])
def test_a_hold_that_could_hardly_be_judged_is_told_and_the_camera_comes_first(
    unsure_s: float, first: bool
) -> None:
    """A strain is said although little is certain; what is to be done about it then is to see more."""
    hold = {"hold": True, "level": "comfort", "side": "left", "quantity": "wrist_flexion", "direction": "flexion",
            "past_s": 3.0, "start_s": 4.0}  # fmt: skip
    said = next_step({"excursions": [hold]}, [hand(100.0, unsure_s=unsure_s)])
    assert "past the comfort limit once" in said
    assert ("help the camera first" in said) is first


def test_a_good_view_of_an_unsure_hand_does_not_stand_alone() -> None:
    limits = (Beyond("flexion", "wrist bent in", 37.7, 48.6, 0.0, 0.0, 0.0, None),)

    def told(unsure_s: float, *, limited: bool = True) -> str:
        seen = hand(100.0, unsure_s=unsure_s)
        angles = tuple(replace(one, beyond=limits if limited else ()) for one in seen.angles)
        return view_sentence([replace(seen, angles=angles)]).replace("\u00a0", " ")

    assert "In 60 % of the time an angle was too near a limit" in told(60.0)
    assert "too near" not in told(5.0)
    # Without a limit there is none to be near.
    assert "too near" not in told(60.0, limited=False)


def test_one_hand_that_was_judged_says_nothing_of_the_other() -> None:
    plucking = replace(hand(100.0, unsure_s=100.0), side="right", watched=False)
    said = next_step({"excursions": []}, [hand(100.0, unsure_s=20.0), plucking]).replace("\u00a0", " ")
    assert "of the left hand, in the 80 % of the time in which it could be judged" in said
    assert "Of the right hand too little could be judged" in said


def test_percentiles_that_lie_close_do_not_hide_a_wide_interval() -> None:
    (still,) = hand(100.0).angles
    assert spread_text(replace(still, half_deg=27.4)) == "+2° (+1° to +3°); ±27°"


@pytest.mark.parametrize("value", [31.0, -31.0])
def test_a_drawn_angle_and_its_limits_are_told_apart_without_colour(value: float) -> None:
    """By how thick lines are and how they are dashed; and no word reaches into the drawing beside it."""
    size = 164.0
    lines = [one for one in dial(moment(value, 6.0), size).shapes if isinstance(one, Line)]
    straight, comfort, extreme, forearm, hand = ((one.width > 2, one.dash) for one in lines)
    assert forearm == hand == (True, 0.0)
    assert len({straight, comfort, extreme, hand}) == 4
    for one in dial(moment(value, 6.0), size).shapes:
        if isinstance(one, Text):
            # Letters of a sans-serif type are 0.55 of its size wide in the mean.
            assert one.x + 0.55 * one.size * len(one.text) <= size


def moment(value: float, sd: float | None) -> Moment:
    return Moment(
        "3 March 2025, 18:00", 10.0, "left", "left hand", "wrist_flexion", "wrist flexion", "flexion",
        "wrist bent in (flexion)", value, sd, "extreme", 37.7, 48.6, 4.0, True, "",
    )  # fmt: skip


def test_a_peak_whose_interval_reaches_inside_the_limit_says_so() -> None:
    near, far = moment_text(moment(52.0, 5.0)), moment_text(moment(70.0, 5.0))
    assert "probably between +44° and +60°; it may have been inside the extreme limit of 48.6°" in near
    assert "beyond the extreme limit of 48.6° all the same" in far
    assert "probably" not in moment_text(moment(52.0, None))


def test_the_weeks_before_go_with_it(stage: ReviewStage) -> None:
    reports = Reports(stage.store)
    last = stage.sessions[-1]
    assert reports.with_weeks_before(last, 0) == [last]
    assert reports.with_weeks_before(last, 12) == stage.sessions[::-1]


def test_sessions_of_weeks_in_one_report(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        ids = [
            record(
                store, 400.0, bent=(10.0, 40.0), switches=((0.0, "Étude", ""),), rate_hz=4.0,
                started_at=f"2025-03-{day:02d}T18:00:00.000+00:00", source_name="camera 0",
            )
            for day in (3, 10, 17)
        ]  # fmt: skip
        log = PracticeLog(store)
        for identity in ids:
            log.session(identity)
        assert Reports(store).with_weeks_before(ids[-1], 2) == [ids[2], ids[1]]
        import datetime as dt

        found = gather(store, ids[::-1], today=dt.date(2025, 3, 20))
        running = store.begin(SessionStart("camera 0", "camera", "0.1.0", store.session(ids[0]).limits))
        with pytest.raises(ConflictError, match="still running"):
            gather(store, [running.session_id])
    assert [one.id for one in found.practices] == ids
    (trend,) = found.trends
    assert trend.words == "left wrist bent in (flexion)"
    assert [share for _, share in trend.weeks] == pytest.approx([30 / 400] * 3, abs=0.01)
    page = Seen(report_html(found)).text
    assert "3 practices" in page
    assert "Over the weeks" in page


def test_the_command_writes_both_kinds(
    stage: ReviewStage, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        "posturewatch.pipeline.moment_lines.MomentLines.__call__", lambda self, picture, side: None
    )
    data = ["--data-dir", str(open_reader(stage.store.data_dir).data_dir)]
    # The page is open: it has the folder, and the report is written all the same.
    assert main(["report", "last", "--out", str(tmp_path / "new" / "a.html"), *data]) == 0
    assert main(["report", "last", "--out", str(tmp_path / "a.PDF"), "--paper", "letter", *data]) == 0
    assert (tmp_path / "a.PDF").read_bytes().startswith(b"%PDF")
    assert "<!doctype html>" in (tmp_path / "new" / "a.html").read_text(encoding="utf-8")
    capsys.readouterr()
    (tmp_path / "file").write_text("")
    for arguments, part in (
        (["last", "--out", "a.docx"], "let the file's name end in .html or .pdf"),
        (["last", "--out", "a.pdf", "--paper", "a3"], "There is no paper 'a3'"),
        (["last", "--out", "a.pdf", "--name", "x" * 99], "A name is one line"),
        (["zzz", "--out", "a.pdf"], "There is no session 'zzz'"),
        (["last", "--out", str(tmp_path / "file" / "a.pdf")], "cannot be written"),
    ):
        assert main(["report", *arguments, *data]) == 2
        said = capsys.readouterr().err
        assert part in said
        assert said.count("\n") == 1


def test_an_unknown_kind_is_no_report() -> None:
    from posturewatch.errors import InputError

    with pytest.raises(InputError):
        Wanted("docx")
