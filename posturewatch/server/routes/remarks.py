"""Routes of notes that somebody who was shown a session has left on it."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends
from starlette.requests import Request
from starlette.responses import Response

from posturewatch.review.exchange.notes import NOTES_BYTES, Notes, RemarkEntry
from posturewatch.server.answers import answer, deleted
from posturewatch.server.bodies import LONG_BODY_BYTES, body_of, json_of
from posturewatch.server.routes.parameters import Number

__all__ = ["remark_routes"]


async def _file(request: Request) -> object:
    return await json_of(request, NOTES_BYTES)


def remark_routes(notes: Notes) -> APIRouter:
    """Routes below /api/remarks and /api/sessions/ID/remarks."""
    router = APIRouter()

    @router.post("/api/sessions/{session_id}/remarks")
    def add(
        session_id: str, body: Annotated[RemarkEntry, Depends(body_of(RemarkEntry, LONG_BODY_BYTES))]
    ) -> Response:
        return answer(notes.add(session_id, body))

    @router.delete("/api/remarks/{number}")
    def delete(number: Number) -> Response:
        notes.delete(number)
        return deleted()

    @router.post("/api/remarks")
    def take(body: Annotated[Any, Depends(_file)]) -> Response:
        return answer(notes.take(body).to_json())

    return router
