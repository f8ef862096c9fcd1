"""The server itself: a listening socket on this machine alone, and uvicorn in a thread of its own."""

from __future__ import annotations

import errno
import socket
import sys
import threading

import uvicorn
from starlette.types import ASGIApp

from posturewatch.errors import UnavailableError

__all__ = ["PageServer", "listen"]

_HOST = "127.0.0.1"

_STOP_WAIT_S = 10.0

#: What a page sends over the socket is a frame's number.
_MAX_SOCKET_BYTES = 1024


def listen(port: int) -> socket.socket:
    """A socket listening on 127.0.0.1; port 0 lets the system choose a free one (see `getsockname`).

    Raises
    ------
    UnavailableError
        With one sentence where the port is taken or not allowed.
    """
    if not 0 <= port <= 65535:
        raise UnavailableError(f"A port is a number from 0 to 65535, not {port}.")
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    # Elsewhere this lets a port be used again right after a stop; on Windows it would let two programs share
    # one port, and a second option there keeps it ours.
    if sys.platform == "win32":
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
    else:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((_HOST, port))
        listener.listen()
    except OSError as refused:
        listener.close()
        if refused.errno in (errno.EADDRINUSE, getattr(errno, "WSAEADDRINUSE", errno.EADDRINUSE)):
            raise UnavailableError(
                f"Port {port} is taken, perhaps by posturewatch running already; choose another with --port."
            ) from refused
        raise UnavailableError(
            f"Port {port} cannot be used ({refused.strerror}); choose another with --port, such as 8137."
        ) from refused
    return listener


class PageServer:
    """Serves an application on a socket from `listen`, in the background, until `close`."""

    def __init__(self, app: ASGIApp, listener: socket.socket) -> None:
        self._listener = listener
        self._port = int(listener.getsockname()[1])
        config = uvicorn.Config(
            app,
            # What it has to say goes where the program's own words go: its own way would write to whatever standard
            # error was at this moment, and closes the handlers of everybody else.
            log_config=None,
            log_level="warning",
            access_log=False,
            server_header=False,
            # Nothing stands in front of this server, so nobody may speak for another address.
            proxy_headers=False,
            lifespan="off",
            ws="auto",
            ws_max_size=_MAX_SOCKET_BYTES,
            # Frames are compressed already.
            ws_per_message_deflate=False,
            timeout_graceful_shutdown=2,
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._run, name="page-server", daemon=True)

    @property
    def port(self) -> int:
        """The port it listens on."""
        return self._port

    @property
    def url(self) -> str:
        """The page's address."""
        return f"http://{_HOST}:{self._port}/"

    @property
    def running(self) -> bool:
        """Whether it answers."""
        return self._thread.is_alive()

    def start(self) -> None:
        """Begin to serve; the page may be opened at once, the socket being open already."""
        self._thread.start()

    def close(self) -> None:
        """Stop serving and free the port; may be called twice."""
        self._server.should_exit = True
        if self._thread.is_alive():
            self._thread.join(_STOP_WAIT_S)
        self._listener.close()

    def _run(self) -> None:
        self._server.run(sockets=[self._listener])
