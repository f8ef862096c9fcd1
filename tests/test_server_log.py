"""The practice log's routes on a real socket: what they answer, what they refuse, and who is turned away."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi.openapi.utils import get_openapi
from log_factories import Taken, film, record
from page_stand_ins import NothingToChoose, ScriptedPractice, page_words

import posturewatch.server.routes as routes
from posturewatch.config.resources import web_dir
from posturewatch.review.derived import open_store
from posturewatch.review.entries import CheckEntry, MarkEntry
from posturewatch.review.exchange.notes import Notes
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.report.writing import Reports
from posturewatch.server.admission import Admission
from posturewatch.server.app import create_app
from posturewatch.server.serving import PageServer, listen
from posturewatch.storage.clip_repository import ClipRepository
from posturewatch.storage.records import now_utc

SWITCHES = ((0.0, "Nocturne sketch", "bars 1-8"), (20.0, "Scales", ""))
CONTENT = b"\0\0\0\x18ftypisom" + bytes(range(256)) * 40  # as MP4 files begin


class Served:
    def __init__(self, folder: Path) -> None:
        self.store = open_store(folder)
        self.session_id = record(self.store, 40.0, switches=SWITCHES, bent=(22.0, 30.0), started_at=now_utc())
        path = film(self.store, self.session_id, "clip-1", CONTENT)
        ClipRepository(self.store).written(self.session_id, Taken("clip-1", 21.0, 28.0, path, len(CONTENT)))
        self.log = PracticeLog(self.store)
        self.log.add_mark(self.session_id, MarkEntry.read({"time_s": 3.0}))
        self.log.add_check(CheckEntry.read({"moment": "after", "rating": 3, "session_id": self.session_id}))
        self.practice = ScriptedPractice(lambda time_s: ((0.0, 0.0), (0.0, 0.0)))
        listener = listen(0)
        self.port = int(listener.getsockname()[1])
        admission = Admission(self.port)
        self.app = create_app(
            practice=self.practice,
            feed=self.practice.feed,
            log=self.log,
            vocabulary=page_words(),
            web_dir=web_dir(),
            port=self.port,
            admission=admission,
            set_up=NothingToChoose(),
            reports=Reports(self.store),
            notes=Notes(self.store, author=""),
        )
        self.server = PageServer(self.app, listener)
        self.server.start()
        self.client = httpx.Client(
            base_url=f"http://127.0.0.1:{self.port}",
            trust_env=False,
            timeout=30,
            cookies=dict([admission.cookie]),
        )

    def get(self, path: str) -> Any:
        response = self.client.get(path)
        assert response.status_code == 200, (path, response.text)
        return response.json()

    def send(self, method: str, path: str, body: Any = None) -> Any:
        response = self.client.request(method, path, json=body)
        assert response.status_code == 200, (path, response.text)
        return response.json()

    def close(self) -> None:
        self.client.close()
        self.practice.close()
        self.server.close()
        self.store.close()


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    one = Served(tmp_path)
    yield one
    one.close()


@pytest.fixture(scope="module")
def untouched(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """For requests that must not change anything."""
    one = Served(tmp_path_factory.mktemp("untouched"))
    yield one
    one.close()


def documented() -> list[tuple[str, str]]:
    """(method, path) of every route that the module's text names, with ID in place of numbers and names."""
    text = routes.__doc__ or ""
    return re.findall(r"^    (GET|POST|PUT|PATCH|DELETE) +(/api/[^\s?{,]+)", text, re.MULTILINE)


def test_every_documented_route_is_there_and_guarded(served: Served) -> None:
    assert len(documented()) >= 30
    for method, path in documented():
        address = path.replace("/sessions/ID", f"/sessions/{served.session_id}").replace("ID", "1")
        foreign = served.client.request(method, address, headers={"Origin": "https://evil.example"})
        assert foreign.status_code == 403, address
        if method == "GET":
            queries = {"samples": "?start_s=0&end_s=1", "comparison": f"?with={served.session_id}"}
            query = queries.get(address.rpartition("/")[2], "")
            # The clip's file here is no video, so there is no picture of it.
            status = 404 if address.endswith("picture") else 200
            assert served.client.get(address + query).status_code == status, address
        elif method != "DELETE":
            # An empty request says too little, but it finds the route.
            answer = served.client.request(method, address)
            assert answer.status_code in (200, 422), (address, answer.status_code)
    assert served.log.data()["sessions"][0]["id"] == served.session_id


def test_no_route_is_undocumented(served: Served) -> None:
    paths = get_openapi(title="", version="", routes=served.app.routes)["paths"]
    found = {
        (method.upper(), re.sub(r"\{\w+\}", "ID", path))
        for path, methods in paths.items()
        for method in methods
        if path.startswith("/api")
    }
    assert found == set(documented())


def test_playing_through_the_list(served: Served) -> None:
    assert served.get("/api/passage") == {"passage": None}
    choice = {"piece": "Étude", "bars": "coda", "tempo_bpm": 72.0}
    assert served.send("POST", "/api/passage", choice) == {"passage": choice}
    assert served.get("/api/passage") == {"passage": choice}
    assert served.send("POST", "/api/passage", {"piece": None}) == {"passage": None}
    items = [choice, {"piece": "Scales", "bars": "", "tempo_bpm": None}]
    assert served.send("PUT", "/api/practice-list", {"items": items}) == {"items": items, "position": None}
    for body, position in (({"by": 1}, 0), ({"by": 1}, 1), ({"by": -1}, 0), ({"to": 1}, 1)):
        answer = served.send("POST", "/api/practice-list/step", body)
        assert answer == {"items": items, "position": position, "passage": items[position]}
    assert served.get("/api/passage") == {"passage": items[1]}
    assert served.get("/api/practice-list")["position"] == 1


def test_a_session_is_read_and_corrected(served: Served) -> None:
    base = f"/api/sessions/{served.session_id}"
    page = served.get(f"{base}")
    assert [one["piece"] for one in page["passages"]] == ["Nocturne sketch", "Scales"]
    assert len(page["exposure"]["session"]) == 4
    scales = page["passages"][1]
    served.send("PATCH", f"/api/passages/{scales['id']}", {"piece": "Arpeggios", "end_s": 35})
    served.send("POST", f"{base}/passages", {"piece": "Scales", "start_s": 35, "end_s": 40})
    served.send("DELETE", f"/api/passages/{page['passages'][0]['id']}")
    mark = served.send("POST", f"{base}/marks", {"time_s": 30.5, "note": "here"})
    served.send("PATCH", f"/api/marks/{mark['id']}", {"note": "there"})
    served.send("DELETE", f"/api/marks/{page['marks'][0]['id']}")
    page = served.get(f"{base}")
    assert [(one["piece"], one["start_s"], one["end_s"]) for one in page["passages"]] == [
        ("Arpeggios", 20.0, 35.0),
        ("Scales", 35.0, 40.0),
    ]
    assert page["marks"] == [{"id": mark["id"], "time_s": 30.5, "note": "there"}]
    assert len(served.get(f"{base}/samples?start_s=1&end_s=2")["series"][0]["time_s"]) == 10
    assert len(served.get(f"{base}/trace?bins=8")["series"][0]["low"]) == 8
    csv = served.client.get(f"{base}/export.csv")
    assert csv.headers["Content-Disposition"] == f'attachment; filename="{served.session_id}.csv"'
    assert csv.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert len(csv.text.splitlines()) == 1 + 800
    assert served.get(f"{base}/export.json")["session"]["id"] == served.session_id


def test_pieces_are_listed_suggested_renamed_and_forgotten(served: Served) -> None:
    pieces = {one["name"]: one["id"] for one in served.get("/api/pieces")["pieces"]}
    assert set(pieces) == {"Nocturne sketch", "Scales"}
    (found,) = served.get("/api/pieces/suggest?begins=sk")["pieces"]
    assert (found["name"], found["bars"]) == ("Nocturne sketch", ["bars 1-8"])
    renamed = served.send("PATCH", f"/api/pieces/{pieces['Scales']}", {"name": "Thirds"})
    assert renamed["name"] == "Thirds"
    page = served.get(f"/api/pieces/{pieces['Scales']}")
    assert page["played"][0]["session_id"] == served.session_id
    assert [clip["name"] for clip in page["clip_list"]] == ["clip-1"]
    refused = served.client.delete(f"/api/pieces/{pieces['Scales']}")
    assert (refused.status_code, refused.json()["error"][:18]) == (409, "Passages of Thirds")


def test_a_film_is_sent_whole_and_in_ranges(served: Served) -> None:
    """RFC 9110, section 14: what a player needs to seek."""
    (clip,) = served.get("/api/clips")["clips"]
    whole = served.client.get(f"/api/clips/{clip['id']}/video")
    assert (whole.status_code, whole.content) == (200, CONTENT)
    assert (whole.headers["Content-Type"], whole.headers["Accept-Ranges"]) == ("video/mp4", "bytes")
    part = served.client.get(f"/api/clips/{clip['id']}/video", headers={"Range": "bytes=100-299"})
    assert (part.status_code, part.content) == (206, CONTENT[100:300])
    assert part.headers["Content-Range"] == f"bytes 100-299/{len(CONTENT)}"
    beyond = served.client.get(f"/api/clips/{clip['id']}/video", headers={"Range": f"bytes={len(CONTENT)}-"})
    assert beyond.status_code == 416


def test_clips_are_kept_noted_missing_and_deleted(served: Served) -> None:
    (clip,) = served.get(f"/api/clips?session={served.session_id}")["clips"]
    address = f"/api/clips/{clip['id']}"
    assert served.send("PATCH", address, {"kept": True, "note": "thumb"})["kept"] is True
    assert served.get(address)["note"] == "thumb"
    assert served.get("/api/clips?session=zzz") == {"clips": []}
    served.log.video_path(clip["id"]).unlink()
    assert served.get(address)["state"] == "missing"
    gone = served.client.get(f"{address}/video")
    assert gone.status_code == 404
    assert gone.json()["error"].endswith(".")
    assert served.send("DELETE", address) == {"deleted": True, "bytes": 0}
    assert served.get("/api/clips") == {"clips": []}


def test_checks_bring_their_advice(served: Served) -> None:
    form = served.get("/api/checks/form")
    place, sign = form["places"][0]["name"], form["signs"][0]["name"]
    body = {"moment": "after", "rating": 2, "session_id": served.session_id}
    check = served.send("POST", "/api/checks", {**body, "places": [f"left {place}"], "signs": [sign]})
    assert check["advice"]["level"] == form["signs"][0]["level"] == "emergency"
    assert served.get("/api/checks")["checks"][0]["id"] == check["id"]
    assert served.send("DELETE", f"/api/checks/{check['id']}") == {"deleted": True}


@pytest.mark.calendar
def test_trends_and_own_data(served: Served) -> None:
    trends = served.get("/api/trends?weeks=2")
    assert [piece["piece"] for piece in trends["pieces"]] == ["Nocturne sketch", "Scales"]
    data = served.get("/api/data")
    assert data["sessions"][0]["clips_bytes"] == len(CONTENT)
    assert served.send("DELETE", f"/api/sessions/{served.session_id}")["bytes"] > len(CONTENT)
    assert served.get("/api/data")["sessions"] == []
    assert served.send("POST", "/api/data/forget", {"everything": True})["deleted"] is True
    assert served.get("/api/pieces") == {"pieces": []}


S = "SESSION"


@pytest.mark.parametrize(
    ("method", "path", "body", "status"),
    [
        ("POST", "/api/passage", {}, 422),
        ("POST", "/api/passage", {"piece": 3}, 422),
        ("POST", "/api/passage", {"piece": "x" * 121}, 422),
        ("POST", "/api/passage", {"piece": "One", "colour": "red"}, 422),
        ("POST", "/api/passage", {"piece": "One", "tempo_bpm": "fast"}, 422),
        ("PUT", "/api/practice-list", {}, 422),
        ("PUT", "/api/practice-list", {"items": {}}, 422),
        ("PUT", "/api/practice-list", {"items": ["One"]}, 422),
        ("PUT", "/api/practice-list", {"items": [{"bars": "1"}]}, 422),
        ("PUT", "/api/practice-list", {"items": [{"piece": "One", "start_s": 3}]}, 422),
        ("PUT", "/api/practice-list", {"items": [{"piece": "One"}] * 101}, 422),
        ("PUT", "/api/practice-list", {"items": [{"piece": "x" * 100}] * 1000}, 413),
        ("POST", "/api/practice-list/step", {}, 422),
        ("POST", "/api/practice-list/step", {"by": 2}, 422),
        ("POST", "/api/practice-list/step", {"by": True}, 422),
        ("POST", "/api/practice-list/step", {"by": 1, "to": 1}, 422),
        ("POST", "/api/practice-list/step", {"by": 1}, 422),
        ("GET", "/api/pieces/99", None, 404),
        ("GET", "/api/pieces/one", None, 404),
        ("GET", "/api/pieces/-1", None, 404),
        ("GET", "/api/pieces/" + "9" * 30, None, 404),
        ("PATCH", "/api/pieces/1", {"name": ""}, 422),
        ("PATCH", "/api/pieces/1", {}, 422),
        ("GET", "/api/sessions/zzz", None, 404),
        ("GET", "/api/sessions/..%2f..%2fetc", None, 404),
        ("DELETE", "/api/sessions/zzz", None, 404),
        ("DELETE", "/api/sessions/..", None, 404),
        ("GET", "/api/sessions/zzz/export.csv", None, 404),
        ("GET", "/api/sessions/zzz/export.json", None, 404),
        ("GET", f"/api/sessions/{S}/samples", None, 422),
        ("GET", f"/api/sessions/{S}/samples?start_s=0&end_s=nan", None, 422),
        ("GET", f"/api/sessions/{S}/samples?start_s=0&end_s=1e9", None, 422),
        ("GET", f"/api/sessions/{S}/trace?bins=0", None, 422),
        ("GET", f"/api/sessions/{S}/trace?bins=999999", None, 422),
        ("POST", f"/api/sessions/{S}/passages", {"piece": "One", "start_s": 0, "end_s": 10}, 422),
        ("POST", f"/api/sessions/{S}/passages", {}, 422),
        ("POST", "/api/sessions/zzz/passages", {"piece": "One", "start_s": 0, "end_s": 10}, 404),
        ("PATCH", "/api/passages/1", {"end_s": 30}, 422),
        ("PATCH", "/api/passages/99", {"end_s": 30}, 404),
        ("DELETE", "/api/passages/99", None, 404),
        ("POST", f"/api/sessions/{S}/marks", {"time_s": 99}, 422),
        ("PATCH", "/api/marks/1", {"note": ["x"]}, 422),
        ("DELETE", "/api/marks/99", None, 404),
        ("GET", "/api/clips?piece=x", None, 422),
        ("GET", "/api/clips/99", None, 404),
        ("GET", "/api/clips/99/video", None, 404),
        ("PATCH", "/api/clips/1", {"kept": "yes"}, 422),
        ("PATCH", "/api/clips/1", {"file": "/etc/passwd"}, 422),
        ("DELETE", "/api/clips/99", None, 404),
        ("POST", "/api/checks", {}, 422),
        ("POST", "/api/checks", {"moment": "after", "rating": 3, "session_id": "zzz"}, 404),
        ("POST", "/api/checks", {"moment": "before", "rating": 3, "signs": "weakness"}, 422),
        ("GET", "/api/trends?weeks=0", None, 422),
        ("GET", "/api/trends?weeks=521", None, 422),
        ("GET", "/api/trends?weeks=x", None, 422),
        ("POST", "/api/data/forget", {}, 422),
        ("POST", "/api/data/forget", {"everything": "yes"}, 422),
        ("POST", "/api/pieces", {}, 405),
    ],
)
def test_what_cannot_be_done_is_one_sentence(
    untouched: Served, method: str, path: str, body: Any, status: int
) -> None:
    before = untouched.log.session(untouched.session_id)
    answer = untouched.client.request(method, path.replace(S, untouched.session_id), json=body)
    if answer.status_code == 405:
        assert status in (404, 405)
    else:
        assert answer.status_code == status, answer.text
    sentence = answer.json()["error"]
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert untouched.log.session(untouched.session_id) == before


@pytest.mark.parametrize(
    ("body", "content_type", "status"),
    [
        (b"{not json", "application/json", 400),
        (b"[]", "application/json", 422),
        (json.dumps({"note": "x"}).encode(), "text/plain", 415),
        (b"x" * 5000, "application/json", 413),
    ],
)
def test_bad_bodies_change_nothing(untouched: Served, body: bytes, content_type: str, status: int) -> None:
    for method, path in (("PATCH", "/api/marks/1"), ("PATCH", "/api/clips/1"), ("POST", "/api/passage")):
        answer = untouched.client.request(method, path, content=body, headers={"Content-Type": content_type})
        assert answer.status_code == status
        assert answer.json()["error"].endswith(".")


#: Every route that takes a body, with one that it would take but for a number or a text.
BODIES: list[tuple[str, str, dict[str, Any]]] = [
    ("POST", "/api/mark", {"note": "TEXT"}),
    ("POST", "/api/passage", {"piece": "TEXT"}),
    ("POST", "/api/passage", {"piece": "One", "bars": "TEXT"}),
    ("POST", "/api/passage", {"piece": "One", "tempo_bpm": "NUMBER"}),
    ("PUT", "/api/practice-list", {"items": [{"piece": "TEXT"}]}),
    ("PUT", "/api/practice-list", {"items": [{"piece": "One", "tempo_bpm": "NUMBER"}]}),
    ("POST", "/api/practice-list/step", {"to": "NUMBER"}),
    ("PATCH", "/api/pieces/1", {"name": "TEXT"}),
    ("POST", f"/api/sessions/{S}/passages", {"piece": "TEXT", "start_s": 0, "end_s": 1}),
    ("POST", f"/api/sessions/{S}/passages", {"piece": "One", "start_s": 0, "end_s": "NUMBER"}),
    ("PATCH", "/api/passages/1", {"start_s": "NUMBER"}),
    ("POST", f"/api/sessions/{S}/marks", {"time_s": "NUMBER"}),
    ("POST", f"/api/sessions/{S}/marks", {"time_s": 1, "note": "TEXT"}),
    ("PATCH", "/api/marks/1", {"time_s": "NUMBER"}),
    ("PATCH", "/api/marks/1", {"note": "TEXT"}),
    ("PATCH", "/api/clips/1", {"note": "TEXT"}),
    ("POST", "/api/checks", {"moment": "after", "rating": "NUMBER", "session_id": S}),
    ("POST", "/api/checks", {"moment": "after", "rating": 1, "note": "TEXT", "session_id": S}),
    ("POST", "/api/checks", {"moment": "after", "rating": 1, "session_id": "TEXT"}),
    ("POST", "/api/start", {"TEXT": 1}),
]


@pytest.mark.parametrize(("method", "path", "body"), BODIES)
def test_half_characters_and_numbers_without_measure_are_refused_everywhere(
    untouched: Served, method: str, path: str, body: dict[str, Any]
) -> None:
    before = untouched.log.session(untouched.session_id)
    # RFC 8259, sections 6 and 8.2: JSON's grammar has numbers of any size and halves of surrogate pairs.
    for text, number in ((r"\ud800", "9" * 400), (r"a\udfffb", "-" + "9" * 400), (r"\udc00\ud800", "1e400")):
        raw = (
            json.dumps(body)
            .replace(S, untouched.session_id)
            .replace("TEXT", text)
            .replace('"NUMBER"', number)
        )
        answer = untouched.client.request(
            method,
            path.replace(S, untouched.session_id),
            content=raw.encode(),
            headers={"Content-Type": "application/json"},
        )
        assert answer.status_code == 422, (raw[:60], answer.text)
        assert answer.json()["error"].endswith(".")
    assert untouched.log.session(untouched.session_id) == before
    assert untouched.practice.calls == []


@pytest.mark.parametrize("number", ["9" * 30, "9" * 400, "1e308", "-1", "nan", "inf"])
def test_numbers_without_measure_in_addresses_are_refused(untouched: Served, number: str) -> None:
    session = f"/api/sessions/{untouched.session_id}"
    for address in (f"/api/clips?piece={number}", f"{session}/samples?start_s=0&end_s={number}",
                    f"{session}/samples?start_s={number}&end_s=1", f"{session}/trace?bins={number}",
                    f"/api/trends?weeks={number}", f"/api/clips/{number}", f"/api/pieces/{number}"):  # fmt: skip
        answer = untouched.client.get(address)
        assert answer.status_code in (404, 422), (address, answer.text)
        assert answer.json()["error"].endswith(".")
