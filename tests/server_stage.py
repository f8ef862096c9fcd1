"""The page's server on a real socket, with stand-ins for all it answers for."""

from __future__ import annotations

import math
import socket
from collections.abc import Iterator

import httpx
import pytest
from page_stand_ins import OneSummary, ScriptedPractice, page_words
from websockets.sync.client import ClientConnection, connect

from posturewatch.config.resources import web_dir
from posturewatch.server.admission import Admission
from posturewatch.server.app import create_app
from posturewatch.server.serving import PageServer, listen

SUMMARY = {"duration_s": 12.5, "percentile": math.nan}


ROUTES = [
    ("GET", "/"),
    ("GET", "/js/main.js"),
    ("GET", "/api/state"),
    ("GET", "/api/sessions"),
    ("GET", "/api/vocabulary"),
    ("GET", "/api/sessions/session-1/summary"),
    ("GET", "/nothing-here"),
    ("POST", "/api/start"),
    ("POST", "/api/stop"),
    ("POST", "/api/mark"),
]


class Served:
    """A server with its stand-ins, and clients for it."""

    def __init__(self) -> None:
        self.practice = ScriptedPractice(lambda time_s: ((12.0, 4.0), (-8.0, 3.0)))
        listener = listen(0)
        self.port = int(listener.getsockname()[1])
        self.admission = Admission(self.port)
        app = create_app(
            practice=self.practice,
            feed=self.practice.feed,
            log=OneSummary(SUMMARY),
            vocabulary=page_words(),
            web_dir=web_dir(),
            port=self.port,
            admission=self.admission,
        )
        self.server = PageServer(app, listener)
        self.server.start()
        # trust_env=False: a proxy named in the environment has no part in this.
        self.client = httpx.Client(
            base_url=f"http://127.0.0.1:{self.port}",
            trust_env=False,
            timeout=20,
            cookies=dict([self.admission.cookie]),
        )

    def socket(self, **headers: str) -> ClientConnection:
        named = {"Cookie": "=".join(self.admission.cookie)}
        named |= {name.replace("_", "-"): value for name, value in headers.items()}
        return connect(
            f"ws://127.0.0.1:{self.port}/api/live", additional_headers=named, proxy=None, open_timeout=20
        )

    def close(self) -> None:
        self.client.close()
        self.practice.close()
        self.server.close()


@pytest.fixture(scope="module")
def running_server() -> Iterator[Served]:
    one = Served()
    yield one
    one.close()


@pytest.fixture
def served(running_server: Served) -> Iterator[Served]:
    """The server that the tests of a file share; each finds its practice stopped."""
    yield running_server
    running_server.practice.stop()
    running_server.practice.calls.clear()


def handshake(served: Served, host: str, cookie: str | None = None) -> int:
    """The status of an opening handshake (RFC 6455, section 1.3, its sample key) with any Host."""
    request = (
        f"GET /api/live HTTP/1.1\r\nHost: {host}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        f"Cookie: {'='.join(served.admission.cookie) if cookie is None else cookie}\r\n"
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", served.port), timeout=20) as plain:
        plain.sendall(request.encode())
        return int(plain.recv(4096).split()[1])
