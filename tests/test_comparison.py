"""A session beside another one: the numbers are those that are kept, and a difference is told only where it is larger
than what both recordings may be wrong by."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from log_factories import record, take
from review_stage import Served

from posturewatch.cli.main import main
from posturewatch.errors import UnknownError
from posturewatch.review.derived import open_store
from posturewatch.storage.records import SessionStart
from posturewatch.storage.store import Store

SWITCHES = ((0.0, "Nocturne sketch", "Bars 1-8"), (20.0, "Scales", ""))


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Store, Served, list[str]]]:
    """Three sessions of the same passages: at 10 degrees of flexion; bent at 60 in the first; away for most of it."""
    with open_store(tmp_path_factory.mktemp("log")) as store:
        ids = [
            record(store, 40.0, switches=SWITCHES),
            record(store, 40.0, switches=((0.0, "nocturne sketch", "bars 1-8"), SWITCHES[1]), bent=(0.0, 20.0)),
            record(store, 40.0, switches=SWITCHES, away=(2.0, 40.0)),
            record(store, 10.0, switches=((0.0, "Étude", ""),)),
        ]  # fmt: skip
        served = Served(store)
        yield store, served, ids
        served.close()


def flexion(compared: dict[str, Any], piece: str) -> dict[str, Any]:
    (part,) = [one for one in compared["parts"] if one["piece"] == piece]
    (line,) = [one for one in part["lines"] if (one["side"], one["quantity"]) == ("left", "wrist_flexion")]
    return dict(line)


def test_a_difference_is_told_where_it_is_larger_than_both_intervals(
    kept: tuple[Store, Served, list[str]],
) -> None:
    _, served, (first, bent, away, _) = kept
    compared = served.log.comparison(bent, first)
    assert [(one["piece"], one["bars"].casefold()) for one in compared["parts"]] == [
        ("Nocturne sketch", "bars 1-8"),
        ("Scales", ""),
    ]
    line = flexion(compared, "Nocturne sketch")
    assert (line["now"]["median"], line["then"]["median"], line["difference"]) == (60.0, 10.0, 50.0)
    # Both were measured with a standard deviation of 3 degrees; 1.64 of it is half of a 90 % interval (normal table).
    assert line["uncertainty"] == pytest.approx(1.64 * 3.0 * math.sqrt(2), abs=0.05)
    assert line["verdict"] == "differs"
    assert {one["direction"]: (one["now"], one["then"]) for one in line["extreme"]}["flexion"] == (1.0, 0.0)
    scales = flexion(compared, "Scales")
    assert (scales["difference"], scales["verdict"]) == (0.0, "too close")
    assert compared["same_limits"]
    assert flexion(served.log.comparison(away, first), "Nocturne sketch")["verdict"] == "too little"


def test_a_clip_is_a_reference_of_its_own_seconds(kept: tuple[Store, Served, list[str]]) -> None:
    """Against the session of which it is a clip: 60 degrees in the first passage, 10 in the second."""
    store, served, (first, bent, _, other) = kept
    numbers = {}
    for identity, name, start_s in ((bent, "held", 5.0), (bent, "eased", 25.0), (other, "of another", 1.0)):
        take(store, identity, name, start_s)
        (numbers[name],) = (one["id"] for one in served.log.clips(session_id=identity) if one["name"] == name)
    compared = served.log.comparison(first, numbers["held"])
    assert (compared["then"]["id"], compared["clip"]["name"]) == (bent, "held")
    assert [one["piece"] for one in compared["parts"]] == ["Nocturne sketch"]
    line = flexion(compared, "Nocturne sketch")
    assert (line["now"]["median"], line["then"]["median"], line["verdict"]) == (10.0, 60.0, "differs")
    assert line["uncertainty"] == pytest.approx(1.64 * 3.0 * math.sqrt(2), abs=0.05)
    # Of the same session, too: this passage beside a few seconds of it.
    own = flexion(served.log.comparison(bent, numbers["eased"]), "Scales")
    assert (own["difference"], own["then"]["measured_share"], own["verdict"]) == (0.0, 1.0, "too close")
    assert served.log.comparison(first, numbers["of another"])["parts"] == []
    with pytest.raises(UnknownError):
        served.log.comparison(first, 10**6)


def test_the_command(kept: tuple[Store, Served, list[str]], capsys: pytest.CaptureFixture[str]) -> None:
    store, _, (first, bent, _, _) = kept
    folder = ["--data-dir", str(store.data_dir)]
    take(store, bent, "held", 5.0)
    assert main(["compare", first, bent, *folder]) == 0
    said = capsys.readouterr().out
    assert f"Beside session {bent}" in said
    assert "median +10, there +60 deg; -50 deg, more than the uncertainty of 7" in said
    assert "too close to tell" in said
    assert main(["compare", first, f"{bent}/held", *folder]) == 0
    said = capsys.readouterr().out
    assert f"Beside clip held (0:05 to 0:12) of session {bent}" in said
    assert "-50 deg, more than the uncertainty of 7" in said
    assert "Scales" not in said
    assert main(["compare", first, f"{bent}/held", "--json", *folder]) == 0
    assert json.loads(capsys.readouterr().out)["clip"]["name"] == "held"
    assert main(["compare", first, f"{bent}/none", *folder]) == 2
    assert "has no clip 'none'; its clips are: " in capsys.readouterr().err


def test_the_route(kept: tuple[Store, Served, list[str]]) -> None:
    store, served, (first, bent, _, other) = kept
    with httpx.Client(
        base_url=served.url, trust_env=False, timeout=30, cookies=dict([served.admission.cookie])
    ) as client:
        found = client.get(f"/api/sessions/{bent}/comparison", params={"with": first}).json()
        assert found["then"]["id"] == first
        assert client.get(f"/api/sessions/{bent}/comparison", params={"with": other}).json()["parts"] == []
        assert client.get(f"/api/sessions/{bent}/comparison", params={"with": "none"}).status_code == 404
        assert client.get(f"/api/sessions/{bent}/comparison").status_code == 422
        take(store, first, "mine", 3.0)
        (clip,) = (one["id"] for one in served.log.clips(session_id=first) if one["name"] == "mine")
        found = client.get(f"/api/sessions/{bent}/comparison", params={"clip": clip}).json()
        assert found["clip"] == {"id": clip, "name": "mine", "note": "", "start_s": 3.0, "end_s": 10.0}
        assert client.get(f"/api/sessions/{bent}/comparison", params={"clip": 999}).status_code == 404
        both = {"clip": clip, "with": first}
        assert client.get(f"/api/sessions/{bent}/comparison", params=both).status_code == 422
        running = store.begin(SessionStart("camera 0", "camera", "0.1.0", store.session(first).limits))
        refused = client.get(f"/api/sessions/{bent}/comparison", params={"with": running.session_id})
        running.close()
        assert (refused.status_code, "still running" in refused.json()["error"]) == (409, True)


@pytest.mark.browser
def test_another_practice_is_chosen_on_the_page(
    kept: tuple[Store, Served, list[str]], browser: Any, tmp_path: Path
) -> None:
    from page_stage import WAIT_MS, admit

    _, served, (first, bent, _, _) = kept
    context = browser.new_context()
    admit(context, served.url, served.admission)
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    page.goto(f"{served.url}log.html#/session/{bent}")
    page.locator("#compare-with").select_option(first)
    page.locator("#comparison").get_by_text("+50°, more than the uncertainty of 7°").wait_for()
    page.locator("#comparison").get_by_text("too close to tell").first.wait_for()
    store, log = kept[0], served.log
    take(store, first, "best", 3.0)
    (clip,) = (one["id"] for one in log.clips(session_id=first) if one["name"] == "best")
    # The last choice's answer comes after that of the clip chosen since.
    late: list[Any] = []
    page.route("**/comparison?with=*", lambda route: late.append(route))
    page.reload()
    page.locator("#compare-with").select_option(f"clip:{clip}")
    page.locator("#comparison").get_by_text("A clip is a few seconds").wait_for()
    with page.expect_response("**/comparison?with=*") as answer:
        late[0].continue_()
    answer.value.finished()
    page.unroute("**/comparison?with=*")
    page.evaluate("() => new Promise(requestAnimationFrame)")
    page.locator("#comparison").get_by_text("A clip is a few seconds").wait_for()
    page.locator("#comparison").get_by_text("+50°, more than the uncertainty of 7°").wait_for()
    assert page.locator("#comparison table").get_by_text("Scales").count() == 0
    # It is chosen again the next time.
    page.reload()
    page.locator("#comparison").get_by_text("A clip is a few seconds").wait_for()
    page.locator("#comparison").scroll_into_view_if_needed()
    page.screenshot(path=str(tmp_path / "comparison.png"))
    context.close()
