"""Whoever lacks the key of the printed address, and the cookie given for it, gets nowhere."""

from __future__ import annotations

import socket

import httpx
import pytest
from server_stage import ROUTES, Served, handshake

from posturewatch.server.admission import HOW_TO_GET_IN


@pytest.mark.parametrize(
    ("method", "path"), [*ROUTES, ("DELETE", "/api/state"), ("POST", "/api/data/forget")]
)
def test_whoever_lacks_the_cookie_is_turned_away_everywhere(served: Served, method: str, path: str) -> None:
    name, value = served.admission.cookie
    for cookie in (
        "",
        "a=b",
        f"{name}=",
        f"{name}={value[:-1]}",
        f"{name}={value}x",
        f"{name}x={value}",
        f"x={value}",
    ):
        answer = httpx.request(
            method, f"http://127.0.0.1:{served.port}{path}", headers={"Cookie": cookie}, trust_env=False
        )
        assert answer.status_code == 403, cookie
        assert HOW_TO_GET_IN in answer.text
        assert value not in answer.text
        assert "Content-Security-Policy" in answer.headers
    assert served.practice.calls == []


def test_whoever_lacks_the_cookie_cannot_open_the_socket(served: Served) -> None:
    assert handshake(served, f"127.0.0.1:{served.port}", cookie="") == 403


def test_the_printed_address_lets_every_browser_in_and_an_opened_one_lets_in_once(served: Served) -> None:
    printed = served.admission.address(served.server.url)
    opened = served.admission.address_once(served.server.url)
    for address, times in ((printed, 3), (opened, 1)):
        for _ in range(times):
            with httpx.Client(trust_env=False) as browser:
                # A look ahead and a wrong key use nothing up.
                assert browser.get(address, headers={"Sec-Purpose": "prefetch"}).status_code == 403
                assert browser.get(f"{address}x").status_code == 403
                entered = browser.get(address)
                assert (entered.status_code, len(entered.history)) == (200, 0)
                assert 'http-equiv="refresh" content="0; url=/"' in entered.text
                assert address.partition("key=")[2] not in entered.text
                # RFC 6265bis, section 5.6: neither for scripts nor for other sites.
                given = entered.headers["Set-Cookie"].split("; ")
                assert {"HttpOnly", "SameSite=Strict", "Path=/"} == set(given[1:])
                assert browser.get(served.server.url).status_code == 200
                assert browser.get(f"{served.server.url}api/state").status_code == 200
    assert httpx.get(opened, trust_env=False).status_code == 403


def test_a_key_leads_to_no_other_server(served: Served) -> None:
    key = served.admission.address("").lstrip("?")
    for path in ("//evil.example/", "/%22%3E%3Cscript%3E", "/\\evil.example"):
        request = f"GET {path}?{key} HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\nConnection: close\r\n\r\n"
        with socket.create_connection(("127.0.0.1", served.port), timeout=20) as plain:
            plain.sendall(request.encode())
            answer = b"".join(iter(lambda: plain.recv(4096), b""))
        assert b"evil" not in answer
        assert b"<script" not in answer


def test_no_api_answers_to_a_key(served: Served) -> None:
    key = served.admission.address("").lstrip("?")
    assert httpx.get(f"{served.server.url}api/state?{key}", trust_env=False).status_code == 403
