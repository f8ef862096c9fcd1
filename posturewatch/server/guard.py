"""The doorkeeper of every route: only this program's own page may talk to it, and only for its own player.

A page of any web site runs in the same browser and can send requests to this machine's ports; it could look
through the camera. So each request has to name this server as its host (which a name pointed at 127.0.0.1 by
its owner does not), and whatever a browser says of where the request comes from has to be this very page. Other
users of this machine reach its ports as well: see `posturewatch.server.admission`.
"""

from __future__ import annotations

import json
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from posturewatch.server.admission import HOW_TO_GET_IN, Admission

__all__ = ["Guard", "allowed_hosts"]

_SAFE_METHODS = frozenset({"GET", "HEAD"})
_OWN_SITES = frozenset({"same-origin", "none"})

#: WebSocket close code for a broken policy (RFC 6455, section 7.4.1).
_POLICY_VIOLATION = 1008


def allowed_hosts(port: int) -> frozenset[str]:
    """The Host values by which this server may be called."""
    names = ("127.0.0.1", "localhost", "[::1]")
    hosts = {f"{name}:{port}" for name in names}
    # A browser leaves out the port that its scheme implies.
    return frozenset(hosts | set(names) if port == 80 else hosts)


class Guard:
    """ASGI middleware: refuses foreign Host, Origin and Sec-Fetch-Site, and whoever has neither cookie nor key, on HTTP
    and on the socket alike, and puts the security headers on every answer."""

    def __init__(self, app: ASGIApp, *, port: int, admission: Admission) -> None:
        self._app = app
        self._admission = admission
        self._hosts = allowed_hosts(port)
        self._headers = _security_headers(port)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        if refusal is None and self._brings_key(scope):
            await _answer(
                200, Admission.welcome(scope["path"]), self._with_headers(send), self._admission.set_cookie
            )
            return
        admitted = self._admission.admits(Headers(scope=scope).getlist("cookie"))
        if refusal is None and admitted:
            await self._app(scope, receive, self._with_headers(send))
        elif scope["type"] == "websocket":
            reason = "the key is missing" if refusal is None else refusal
            await send({"type": "websocket.close", "code": _POLICY_VIOLATION, "reason": reason})
        elif refusal is None and not scope["path"].startswith("/api/"):
            await _answer(403, Admission.refusal(), self._with_headers(send))
        else:
            await _refuse(refusal or HOW_TO_GET_IN, self._with_headers(send))

    def _brings_key(self, scope: Scope) -> bool:
        """Whether a browser opens the page with the key; a look ahead (prefetch) uses no key up."""
        if scope["type"] != "http" or scope["method"] != "GET" or scope["path"].startswith("/api/"):
            return False
        if "sec-purpose" in Headers(scope=scope):
            return False
        keys = parse_qs(scope["query_string"].decode("latin-1")).get("key", [])
        return len(keys) == 1 and self._admission.opens(keys[0])

    def _refusal(self, scope: Scope) -> str | None:
        """Why this request is turned away, in one sentence, or None."""
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0].lower() not in self._hosts:
            return "This address is not served here; open the address that posturewatch printed."
        # Compared with the Host in use and not with the whole list: another program may answer on the same
        # port under another of the three names.
        origins = headers.getlist("origin")
        if any(origin.lower() != f"http://{hosts[0].lower()}" for origin in origins):
            return "Requests from other pages are refused."
        sites = headers.getlist("sec-fetch-site")
        if any(site not in _OWN_SITES for site in sites) and not _is_visit(scope, headers):
            return "Requests from other pages are refused."
        return None

    def _with_headers(self, send: Send) -> Send:
        async def wrapped(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self._headers.items():
                    headers[name] = value
            await send(message)

        return wrapped


def _is_visit(scope: Scope, headers: Headers) -> bool:
    """A person following a link: the page opens on its own and tells the linking page nothing."""
    return (
        scope["type"] == "http"
        and scope["method"] in _SAFE_METHODS
        and scope["path"] == "/"
        and headers.get("sec-fetch-mode") == "navigate"
        and headers.get("sec-fetch-dest") == "document"
    )


def _security_headers(port: int) -> dict[str, str]:
    # Not every browser counts the socket as 'self', hence the addresses in full.
    sockets = " ".join(f"ws://{host}" for host in sorted(allowed_hosts(port)) if not host.startswith("["))
    policy = (
        "default-src 'self'",
        "img-src 'self' blob:",
        f"connect-src 'self' {sockets}",
        "object-src 'none'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    )
    return {
        "Content-Security-Policy": "; ".join(policy),
        "X-Content-Type-Options": "nosniff",
        "X-Frame-Options": "DENY",
        "Referrer-Policy": "no-referrer",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
        "Cache-Control": "no-cache",
    }


async def _answer(status: int, page: str, send: Send, cookie: str | None = None) -> None:
    body = page.encode()
    headers = [(b"content-type", b"text/html; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    if cookie is not None:
        headers.append((b"set-cookie", cookie.encode()))
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


async def _refuse(sentence: str, send: Send) -> None:
    body = json.dumps({"error": sentence}).encode()
    headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": 403, "headers": headers})
    await send({"type": "http.response.body", "body": body})
