"""Who may use the page: whoever holds the key in the address that was printed, and then the cookie given for it.

Every user and program of this machine can reach a port of 127.0.0.1; the camera's frames and the practice log are one
player's own. So each request has to carry a secret that only the terminal of that player has shown.
"""

from __future__ import annotations

import hmac
import re
import secrets
import threading
from collections.abc import Iterable

__all__ = ["HOW_TO_GET_IN", "Admission"]

#: 256 random bits, far beyond guessing (RFC 4086, section 8).
_SECRET_BYTES = 32

HOW_TO_GET_IN = (
    "This page opens for whoever started posturewatch: use the whole address that it printed in its terminal, "
    "with the key at its end."
)

#: What may be opened with a key: the pages themselves, so that no address leads to another server.
_PAGES = re.compile(r"/([A-Za-z0-9_-]+\.html)?")


class Admission:
    """The secrets of one run of the server.

    The key of the printed address can be used again, as for a second browser. An address that another program is
    started with can be read by every user of the machine while it runs (in the list of processes), so that its key
    opens the page once.

    Parameters
    ----------
    port
        Of the server: cookies know no ports, and a second server on this machine has another one.
    """

    def __init__(self, port: int) -> None:
        self._name = f"posturewatch-{port}"
        self._token, self._key = (secrets.token_urlsafe(_SECRET_BYTES) for _ in range(2))
        self._once: set[str] = set()
        self._lock = threading.Lock()

    @property
    def cookie(self) -> tuple[str, str]:
        """Name and value of the cookie that opens every route."""
        return self._name, self._token

    @property
    def set_cookie(self) -> str:
        """The header that gives it to a browser: for no script and no other site (RFC 6265bis)."""
        return f"{self._name}={self._token}; Path=/; HttpOnly; SameSite=Strict"

    def address(self, url: str) -> str:
        """The page's address with the key, to be shown to the player alone."""
        return f"{url}?key={self._key}"

    def address_once(self, url: str) -> str:
        """The page's address with a key that opens it once, to start a browser with."""
        with self._lock:
            key = secrets.token_urlsafe(_SECRET_BYTES)
            self._once.add(key)
        return f"{url}?key={key}"

    def admits(self, cookies: Iterable[str]) -> bool:
        """Whether one of these Cookie headers carries the cookie."""
        pairs = (pair.strip().partition("=") for header in cookies for pair in header.split(";"))
        # All of them are compared, so that the time says nothing.
        compared = [_same(value, self._token) for name, _, value in pairs if name == self._name]
        return any(compared)

    def opens(self, key: str) -> bool:
        """Whether this key opens the page; one that does so once is used up by that."""
        with self._lock:
            used = [one for one in self._once if _same(key, one)]
            self._once.difference_update(used)
        return _same(key, self._key) or bool(used)

    @staticmethod
    def welcome(path: str) -> str:
        """A page that goes on to the page proper by itself.

        No redirection: a browser that comes from elsewhere would send no strict cookie with its next request.
        """
        target = path if _PAGES.fullmatch(path) else "/"
        return _page(
            f'<meta http-equiv="refresh" content="0; url={target}">', f'<a href="{target}">posturewatch</a>'
        )

    @staticmethod
    def refusal() -> str:
        """A page that says how to get in."""
        return _page("", HOW_TO_GET_IN)


def _same(given: str, secret: str) -> bool:
    """Compared in a time that does not depend on where they differ."""
    return hmac.compare_digest(given.encode("utf-8", "replace"), secret.encode())


def _page(head: str, body: str) -> str:
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>posturewatch</title>{head}</head>'
        f"<body><p>{body}</p></body></html>\n"
    )
