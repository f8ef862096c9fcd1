"""The page's server on a real socket: files, routes, the live socket."""

from __future__ import annotations

import json
import logging
import math
import shutil
import socket
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from page_stand_ins import OneSummary, Player, ScriptedPractice, limits, page_words
from server_stage import Served

from posturewatch.config.resources import web_dir
from posturewatch.errors import ConflictError, InputError, SourceError, UnavailableError
from posturewatch.model.measurement import Refusal
from posturewatch.server.admission import Admission
from posturewatch.server.answers import to_json
from posturewatch.server.app import create_app
from posturewatch.server.files import PageFiles
from posturewatch.server.live_message import reading_header, unpack
from posturewatch.server.serving import PageServer, listen


@pytest.mark.parametrize(
    ("path", "content_type"),
    [
        ("/", "text/html; charset=utf-8"),
        ("/index.html", "text/html; charset=utf-8"),
        ("/style.css", "text/css; charset=utf-8"),
        ("/js/main.js", "text/javascript; charset=utf-8"),
        ("/icon.svg", "image/svg+xml"),
    ],
)
def test_files_come_with_their_type(served: Served, path: str, content_type: str) -> None:
    answer = served.client.get(path)
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == content_type
    name = "index.html" if path == "/" else path.lstrip("/")
    assert answer.content == (web_dir() / name).read_bytes()
    head = served.client.head(path)
    assert (head.status_code, head.content) == (200, b"")


def test_a_page_that_has_moved_is_found_by_its_old_name(served: Served) -> None:
    # RFC 9110, section 15.4.9; the browser keeps the part after the # (section 10.2.2).
    answer = served.client.get("/book.html")
    assert (answer.status_code, answer.headers["Location"]) == (308, "/log.html")


@pytest.mark.parametrize(
    "path",
    [
        "/../pyproject.toml",
        "/js/../../pyproject.toml",
        "/%2e%2e/pyproject.toml",
        "/..%2fpyproject.toml",
        "/js/%2e%2e/%2e%2e/pyproject.toml",
        "/..\\pyproject.toml",
        "//etc/passwd",
        "/etc/passwd",
        "/js/",
        "/js",
        "/index.html%00.js",
        "/docs",
        "/redoc",
        "/openapi.json",
        "/api",
        "/api/nothing",
    ],
)
def test_nothing_else_is_served(served: Served, path: str) -> None:
    # Sent by hand: clients tidy such paths up.
    request = (
        f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\nCookie: {'='.join(served.admission.cookie)}\r\n"
        "Connection: close\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", served.port), timeout=20) as plain:
        plain.sendall(request.encode())
        answer = b"".join(iter(lambda: plain.recv(65536), b""))
    assert answer.split()[1] in (b"404", b"400")
    assert b"[project]" not in answer


def test_only_the_folders_own_files_are_listed(tmp_path: Path) -> None:
    (tmp_path / "outside.js").write_text("secret")
    inside = tmp_path / "web"
    shutil.copytree(web_dir(), inside)
    (inside / ".hidden.js").write_text("hidden")
    (inside / "notes.txt").write_text("notes")
    try:
        (inside / "link.js").symlink_to(tmp_path / "outside.js")
    except OSError:
        pytest.skip("this system does not let us make a link")
    addresses = PageFiles(inside).addresses
    assert "/js/main.js" in addresses
    assert not {"/.hidden.js", "/notes.txt", "/link.js"} & set(addresses)


def test_a_missing_page_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(
        UnavailableError, match=r"^The page's files are missing; install posturewatch again\.$"
    ):
        PageFiles(tmp_path)


def test_start_mark_and_stop_reach_the_practice(served: Served) -> None:
    assert served.client.post("/api/mark").json()["marked_s"] is None
    assert served.client.post("/api/start").json()["phase"] == "watching"
    assert served.client.get("/api/state").json()["phase"] == "watching"
    marked = served.client.post("/api/mark", json={"note": "bar 12"}).json()
    assert marked["marked_s"] >= 0
    assert marked["marks"] == 1
    assert served.client.post("/api/stop").json()["phase"] == "stopped"
    assert served.practice.calls == ["mark", "start", "mark", "stop"]


@pytest.mark.parametrize(
    ("path", "body", "content_type", "status"),
    [
        ("/api/mark", b"{not json", "application/json", 400),
        ("/api/mark", b"\xff\xfe", "application/json", 400),
        ("/api/mark", b"[" * 4000, "application/json", 400),
        ("/api/mark", b"[1, 2]", "application/json", 422),
        ("/api/mark", b'{"note": 3}', "application/json", 422),
        ("/api/mark", json.dumps({"note": "x" * 201}).encode(), "application/json", 422),
        ("/api/mark", b'{"colour": "red"}', "application/json", 422),
        ("/api/start", b'{"note": "x"}', "application/json", 422),
        ("/api/stop", b'{"note": "x"}', "application/json", 422),
        ("/api/mark", b'{"note": "x"}', "text/plain", 415),
        ("/api/mark", b"note=x", "application/x-www-form-urlencoded", 415),
        ("/api/mark", b"x" * 5000, "application/json", 413),
    ],
)
def test_bad_bodies_get_one_sentence(
    served: Served, path: str, body: bytes, content_type: str, status: int
) -> None:
    answer = served.client.post(path, content=body, headers={"Content-Type": content_type})
    assert answer.status_code == status
    sentence = answer.json()["error"]
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert served.practice.calls == []


@pytest.mark.parametrize(("method", "path"), [("GET", "/api/start"), ("DELETE", "/api/state"), ("POST", "/")])
def test_wrong_methods_get_one_sentence(served: Served, method: str, path: str) -> None:
    answer = served.client.request(method, path)
    assert answer.status_code in (404, 405)
    assert answer.json()["error"].endswith(".")


def test_sessions_and_summaries(served: Served) -> None:
    assert served.client.get("/api/sessions").json() == {
        "sessions": [{"id": "session-1"}, {"id": "session-2"}]
    }
    # NaN is not JSON; it arrives as null.
    assert served.client.get("/api/sessions/session-1/summary").json() == {
        "duration_s": 12.5,
        "percentile": None,
    }


@pytest.mark.parametrize("name", ["unknown", "..%2f..%2fetc", "a b", "x" * 90])
def test_an_unknown_session_is_one_sentence(served: Served, name: str) -> None:
    answer = served.client.get(f"/api/sessions/{name}/summary")
    assert answer.status_code == 404
    assert answer.json()["error"].endswith(".")


@pytest.mark.parametrize(
    ("error", "status", "sentence"),
    [
        (SourceError("No camera was found."), 503, "No camera was found."),
        (InputError("That cannot be."), 422, "That cannot be."),
        (ConflictError("Not while it runs."), 409, "Not while it runs."),
    ],
)
def test_known_faults_of_the_practice_arrive_as_their_sentence(
    served: Served, monkeypatch: pytest.MonkeyPatch, error: Exception, status: int, sentence: str
) -> None:
    def fail() -> dict[str, Any]:
        raise error

    monkeypatch.setattr(served.practice, "start", fail)
    answer = served.client.post("/api/start")
    assert (answer.status_code, answer.json()) == (status, {"error": sentence})


def test_the_socket_brings_state_and_pictures(served: Served) -> None:
    served.practice.start()
    with served.socket() as live:
        states: list[Any] = []
        pictures: list[Any] = []
        while len(states) < 3 or len(pictures) < 5:
            message = live.recv(timeout=20)
            if isinstance(message, str):
                states.append(json.loads(message))
            else:
                pictures.append(unpack(message)[0])
                live.send(str(pictures[-1]["seq"]))
    assert states[0]["state"]["phase"] == "watching"
    indexes = [header["index"] for header in pictures]
    assert indexes == sorted(set(indexes))


def test_a_page_that_draws_nothing_gets_few_pictures_and_then_the_newest(served: Served) -> None:
    served.practice.start()
    with served.socket(Origin=f"http://127.0.0.1:{served.port}") as live:
        headers: list[dict[str, Any]] = []
        while len(headers) < 3:
            message = live.recv(timeout=20)
            if isinstance(message, bytes):
                headers.append(unpack(message)[0])
    # Two are sent at once; the third only after a wait, and it is then the newest one, not the third.
    assert headers[1]["index"] - headers[0]["index"] <= 3
    assert headers[2]["time_s"] - headers[1]["time_s"] > 0.8


@pytest.mark.parametrize("nonsense", ["hello", "", "-1", "1e9", "9" * 900])
def test_nonsense_from_a_page_does_no_harm(served: Served, nonsense: str) -> None:
    served.practice.start()
    with served.socket() as live:
        live.send(nonsense)
        live.send(nonsense.encode())
        seen = 0
        while seen < 2:
            seen += isinstance(live.recv(timeout=20), bytes)


def test_a_page_that_never_reads_slows_nobody(served: Served) -> None:
    served.practice.start()
    stuck = socket.create_connection(("127.0.0.1", served.port), timeout=20)
    with closing(stuck):
        stuck.sendall(
            f"GET /api/live HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\nUpgrade: websocket\r\n"
            "Connection: Upgrade\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n"
            "Sec-WebSocket-Version: 13\r\n\r\n".encode()
        )
        with served.socket() as live:
            got = 0
            while got < 8:
                message = live.recv(timeout=20)
                if isinstance(message, bytes):
                    got += 1
                    live.send(str(unpack(message)[0]["seq"]))


def test_a_taken_port_is_one_sentence() -> None:
    with closing(listen(0)) as listener:
        port = listener.getsockname()[1]
        with pytest.raises(UnavailableError, match=rf"^Port {port} is taken, .*--port\.$"):
            listen(port)


@pytest.mark.parametrize("port", [-1, 65536])
def test_an_impossible_port_is_one_sentence(port: int) -> None:
    with pytest.raises(UnavailableError, match=r"^A port is a number from 0 to 65535, not -?\d+\.$"):
        listen(port)


def test_the_socket_listens_on_this_machine_alone() -> None:
    with closing(listen(0)) as listener:
        assert listener.getsockname()[0] == "127.0.0.1"


def test_closing_ends_open_sockets_and_frees_the_port() -> None:
    one = Served()
    one.practice.start()
    with one.socket() as live:
        live.recv(timeout=20)
        one.close()
    one.server.close()
    with closing(listen(one.port)) as again:
        assert again.getsockname()[1] == one.port
    assert not one.server.running


def test_a_server_leaves_to_others_where_what_is_logged_goes(capsys: pytest.CaptureFixture[str]) -> None:
    """A handler that is bound to a stream outlives it, and everything that is logged later fails."""
    root, closed = logging.getLogger(), list[logging.Handler]()

    class Mine(logging.Handler):
        def close(self) -> None:
            closed.append(self)

    mine = Mine()
    root.addHandler(mine)
    try:
        server = PageServer(create_nothing, listen(0))
        server.start()
        server.close()
        assert mine in root.handlers
    finally:
        root.removeHandler(mine)
    assert closed == []
    for name in ("uvicorn", "uvicorn.error", "uvicorn.access"):
        assert logging.getLogger(name).handlers == []


async def create_nothing(scope: object, receive: object, send: object) -> None:
    """An application that answers nothing."""


def test_the_vocabulary_has_the_published_limits(served: Served) -> None:
    # Keir, Bach, Hudes, Rempel (2007), Hum Factors 49:88-99: wrist angles at which a quarter of people reach a
    # carpal tunnel pressure of 30 mmHg.
    published = {"flexion": 48.6, "extension": 32.7, "ulnar": 14.5, "radial": 21.8}
    document = served.client.get("/api/vocabulary").json()
    assert document["limits"]["name"] == "carpal-pressure"
    wrist = [entry for entry in document["quantities"] if entry["group"] == "wrist"]
    assert {name: one["extreme"] for entry in wrist for name, one in entry["directions"].items()} == published
    # Wu et al. (2005), J Biomech 38:981-992: flexion and ulnar deviation are positive.
    signs = {name: one["sign"] for entry in wrist for name, one in entry["directions"].items()}
    assert signs == {"flexion": 1, "extension": -1, "ulnar": 1, "radial": -1}


def test_the_vocabulary_knows_every_word_of_a_live_message(served: Served) -> None:
    document = served.client.get("/api/vocabulary").json()
    known = {
        part: {one["name"] for one in document[part]} for part in ("refusals", "zones", "lift_planes", "cues")
    }
    directions = {entry["name"]: set(entry["directions"]) for entry in document["quantities"]}
    down = {"index_lift": (0.0, 1.0), "index_dip": (-25.0, 2.0)}
    reading = Player().reading(0, 0.0, (60.0, -30.0, down), Refusal.HAND_NOT_SEEN)
    header = reading_header(reading, limits(), {"left": "fretting", "right": "plucking"})
    left, right = header["hands"]
    assert left["lift_plane"] in known["lift_planes"]
    assert left["cues"]
    assert {cue["cue"] for cue in left["cues"]} <= known["cues"]
    for hand in (left, right):
        assert set(hand["quantities"]) == set(directions)
        for name, entry in hand["quantities"].items():
            assert entry["zone"] in known["zones"]
            assert entry["direction"] is None or entry["direction"] in directions[name]
            assert entry["refusal"] is None or entry["refusal"] in known["refusals"]
    assert {one["side"]: one["role_label"] for one in document["hands"]} == {
        "left": "fretting hand",
        "right": "plucking hand",
    }


def test_json_has_no_nan() -> None:
    text = to_json({"a": [math.inf, 1.5, (math.nan,)], "b": {"c": -math.inf}})
    assert json.loads(text) == {"a": [None, 1.5, [None]], "b": {"c": None}}


def test_the_framework_sends_no_telemetry(monkeypatch: pytest.MonkeyPatch) -> None:
    # Newer releases of the framework would otherwise export traces where the environment says so.
    monkeypatch.setenv("FASTAPI_OTEL_AUTO_CONFIGURE", "true")
    monkeypatch.setenv("OTEL_EXPORTER_OTLP_ENDPOINT", "http://127.0.0.1:9")
    practice = ScriptedPractice(lambda time_s: ((0.0, 0.0), (0.0, 0.0)))
    app = create_app(
        practice=practice,
        feed=practice.feed,
        log=OneSummary({}),
        vocabulary=page_words(),
        web_dir=web_dir(),
        port=80,
        admission=Admission(80),
    )
    telemetry = getattr(app, "_telemetry", None)
    if telemetry is None:
        pytest.skip("this release of the framework has no telemetry")
    switches = ("auto_configure", "tracing", "metrics", "logs", "operation_spans")
    assert not any(telemetry[switch] for switch in switches)
