"""The report's button in headless Chromium, and the routes behind it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from log_page_stage import Open
from review_stage import ReviewStage


@pytest.fixture
def client(kept_log: ReviewStage) -> Iterator[httpx.Client]:
    with httpx.Client(
        base_url=kept_log.url, trust_env=False, timeout=30, cookies=dict([kept_log.admission.cookie])
    ) as one:
        yield one


def test_a_report_is_a_file_to_save(kept_log: ReviewStage, client: httpx.Client) -> None:
    last = kept_log.sessions[-1]
    page = client.get(f"/api/sessions/{last}/report.html", params={"who": "Mira", "weeks": 4})
    assert page.headers["content-type"] == "text/html; charset=utf-8"
    assert page.headers["content-disposition"] == f'attachment; filename="posture-report-{last}.html"'
    assert "Mira" in page.text
    paper = client.get(f"/api/sessions/{last}/report.pdf", params={"paper": "letter"})
    assert (paper.headers["content-type"], paper.content[:5]) == ("application/pdf", b"%PDF-")
    for path, status, part in (
        (f"/api/sessions/{last}/report.docx", 404, "nothing at this address"),
        (f"/api/sessions/{last}/report.pdf?paper=a3", 422, "no paper"),
        (f"/api/sessions/{last}/report.pdf?weeks=-1", 422, "weeks"),
        ("/api/sessions/none/report.pdf", 404, "no session"),
    ):
        refused = client.get(path)
        assert refused.status_code == status
        assert part in refused.json()["error"]


@pytest.mark.browser
def test_the_button_saves_a_report(kept_log: ReviewStage, open_log: Open, tmp_path: Path) -> None:
    page = open_log(f"log.html#/session/{kept_log.sessions[-1]}")
    page.click("#report")
    dialog = page.locator("dialog[open]")
    dialog.get_by_label("Player's name").fill("Mira")
    with page.expect_download() as downloading:
        dialog.get_by_role("button", name="Save").click()
    saved = tmp_path / downloading.value.suggested_filename
    downloading.value.save_as(saved)
    assert saved.name == f"posture-report-{kept_log.sessions[-1]}.pdf"
    assert saved.read_bytes().startswith(b"%PDF-")
    page.wait_for_selector("dialog", state="detached")
    # The name is remembered on this machine.
    page.click("#report")
    assert page.locator("dialog[open] input").input_value() == "Mira"
    # The next page has no dialog of this one over it.
    page.evaluate("location.hash = '#/sessions'")
    page.wait_for_selector("dialog", state="detached")
