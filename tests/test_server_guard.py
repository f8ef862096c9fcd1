"""Who is turned away by the page's server: foreign pages, hosts and frames."""

from __future__ import annotations

import socket

import pytest
from server_stage import ROUTES, Served, handshake
from websockets.exceptions import InvalidStatus


def foreign(port: int) -> list[dict[str, str]]:
    """What a browser sends with requests that other pages make."""
    return [
        # A name of someone else's pointed at 127.0.0.1 (DNS rebinding).
        {"Host": f"evil.example:{port}"},
        {"Host": "evil.example"},
        {"Host": "127.0.0.1"},
        {"Host": f"127.0.0.1:{port + 1}"},
        {"Host": f"localhost.evil.example:{port}"},
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Origin": f"https://127.0.0.1:{port}"},
        {"Origin": f"http://127.0.0.1:{port + 1}"},
        # Another program on the same port of ::1 is another page.
        {"Origin": f"http://localhost:{port}"},
        {"Sec-Fetch-Site": "cross-site"},
        # Ports do not count for the site: a page of another program on this machine.
        {"Sec-Fetch-Site": "same-site"},
        {"Origin": f"http://127.0.0.1:{port}", "Sec-Fetch-Site": "cross-site"},
    ]


def own(port: int) -> list[dict[str, str]]:
    return [
        {},
        {"Host": f"localhost:{port}"},
        {"Host": f"LocalHost:{port}", "Origin": f"http://localhost:{port}"},
        {"Host": f"[::1]:{port}"},
        {"Origin": f"http://127.0.0.1:{port}", "Sec-Fetch-Site": "same-origin"},
        {"Sec-Fetch-Site": "none"},
    ]


@pytest.mark.parametrize(("method", "path"), ROUTES)
@pytest.mark.parametrize("which", range(len(foreign(1))))
def test_other_pages_are_turned_away_everywhere(served: Served, method: str, path: str, which: int) -> None:
    response = served.client.request(method, path, headers=foreign(served.port)[which])
    assert response.status_code == 403
    assert list(response.json()) == ["error"]
    assert served.practice.calls == []


@pytest.mark.parametrize("which", range(len(own(1))))
def test_the_own_page_is_served(served: Served, which: int) -> None:
    headers = own(served.port)[which]
    for method, path in ROUTES:
        response = served.client.request(method, path, headers=headers)
        assert response.status_code == (404 if path == "/nothing-here" else 200), path


@pytest.mark.parametrize("which", range(len(foreign(1))))
def test_other_pages_cannot_open_the_socket(served: Served, which: int) -> None:
    headers = foreign(served.port)[which]
    if "Host" in headers:
        assert handshake(served, headers["Host"]) == 403
        return
    with pytest.raises(InvalidStatus) as refused:
        served.socket(**{name.replace("-", "_"): value for name, value in headers.items()})
    assert refused.value.response.status_code == 403


def test_the_handshake_is_accepted_from_the_own_hosts(served: Served) -> None:
    for host in (f"127.0.0.1:{served.port}", f"localhost:{served.port}"):
        assert handshake(served, host) == 101


def test_a_request_with_two_hosts_is_turned_away(served: Served) -> None:
    own_host = f"127.0.0.1:{served.port}"
    cookie = "=".join(served.admission.cookie)
    request = (
        f"GET /api/state HTTP/1.1\r\nHost: {own_host}\r\nHost: {own_host}\r\nCookie: {cookie}\r\n"
        "Connection: close\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", served.port), timeout=20) as plain:
        plain.sendall(request.encode())
        # The HTTP parser may refuse it before the doorkeeper does.
        assert plain.recv(4096).split()[1] in (b"400", b"403")


def test_following_a_link_to_the_page_works_but_framing_it_does_not(served: Served) -> None:
    visit = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}
    assert served.client.get("/", headers=visit).status_code == 200
    assert served.client.get("/", headers={**visit, "Sec-Fetch-Dest": "iframe"}).status_code == 403
    assert served.client.get("/api/state", headers=visit).status_code == 403
    assert served.client.post("/api/stop", headers=visit).status_code == 403


@pytest.mark.parametrize(("method", "path"), [*ROUTES, ("DELETE", "/api/state")])
def test_every_answer_carries_the_security_headers(served: Served, method: str, path: str) -> None:
    for headers in ({}, {"Origin": "https://evil.example"}):
        answer = served.client.request(method, path, headers=headers)
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'self';" in policy
        assert "img-src 'self' blob:;" in policy
        assert "frame-ancestors 'none'" in policy
        assert f"connect-src 'self' ws://127.0.0.1:{served.port} ws://localhost:{served.port};" in policy
        assert "unsafe" not in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Referrer-Policy"] == "no-referrer"
        assert answer.headers["Cross-Origin-Resource-Policy"] == "same-origin"
        assert "camera=()" in answer.headers["Permissions-Policy"]
        assert answer.headers["Cache-Control"] == "no-cache"
        assert "access-control-allow-origin" not in answer.headers
        assert "server" not in answer.headers
