"""Addresses of streams as they may be shown and kept."""

from __future__ import annotations

import re
from urllib.parse import urlsplit

__all__ = ["is_address", "public_address"]

_SCHEME = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*://")


def is_address(source: str) -> bool:
    """Whether a source is named by an address rather than by a path or a number."""
    return _SCHEME.match(source) is not None


def public_address(address: str) -> str:
    """Scheme, host and port alone: name and password, but also path and query can be what lets one in (RFC 3986,
    section 7.5)."""
    scheme = address.partition("://")[0].lower()
    try:
        parts = urlsplit(address)
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
    if host is None:
        return f"{scheme}://…"
    shown = f"[{host}]" if ":" in host else host
    return f"{scheme}://{shown}" + ("" if port is None else f":{port}")
