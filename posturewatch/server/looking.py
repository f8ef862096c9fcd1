"""Practices that are only looked at: nothing is recorded, and nothing of them can be changed; notes can be left."""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import Collection, Mapping
from typing import Any

from starlette.types import ASGIApp, Receive, Scope, Send

from posturewatch.errors import ConflictError
from posturewatch.model.observation import Side

__all__ = ["LookingOnly", "NoFrames", "NoPractice"]

#: What may be changed all the same: notes.
_NOTES = re.compile(r"^/api/(sessions/[0-9a-z]{1,32}/remarks|remarks/[0-9]{1,15})$")

_SENTENCE = "These practices are somebody else's; they can be looked at, and notes left on them."


class LookingOnly:
    """ASGI middleware: refuses every request that would change something, but for notes."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        changes = scope["type"] == "http" and scope["method"] not in ("GET", "HEAD")
        if not changes or _NOTES.fullmatch(scope["path"]):
            await self._app(scope, receive, send)
            return
        body = json.dumps({"error": _SENTENCE}).encode()
        headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
        await send({"type": "http.response.start", "status": 403, "headers": headers})
        await send({"type": "http.response.body", "body": body})


class NoPractice:
    """Where nothing is recorded."""

    def state(self) -> Mapping[str, Any]:
        """As that of a practice that is over."""
        return {
            "phase": "stopped", "session_id": None, "elapsed_s": None, "practised_s": None, "source": None,
            "notice": None, "fault": None, "asides": [], "dropped": 0, "marks": 0, "passage": None,
            "warns": [], "ending": None,
        }  # fmt: skip

    def start(self) -> Mapping[str, Any]:
        raise ConflictError(_SENTENCE)

    def stop(self) -> Mapping[str, Any]:
        return self.state()

    def mark(self, note: str | None = None) -> Mapping[str, Any]:
        raise ConflictError(_SENTENCE)

    def passage(
        self, piece: str | None, bars: str = "", tempo_bpm: float | None = None
    ) -> Mapping[str, Any] | None:
        raise ConflictError(_SENTENCE)

    def warn(self, sides: Collection[Side]) -> Mapping[str, Any]:
        raise ConflictError(_SENTENCE)

    def now_played(self) -> Mapping[str, Any] | None:
        return None


class NoFrames:
    """Where there is no picture."""

    async def latest_async(self, after_seq: int, timeout_s: float) -> None:
        await asyncio.sleep(timeout_s)
