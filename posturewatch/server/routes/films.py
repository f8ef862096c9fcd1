"""Routes of films that are handed in: their bytes go to the disk as they come."""

from __future__ import annotations

import math
from typing import Annotated, Any

from anyio import to_thread
from fastapi import APIRouter, Query
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response

from posturewatch.errors import UnavailableError, UnknownError
from posturewatch.review.entries import Choice
from posturewatch.server.answers import answer, deleted
from posturewatch.server.collaborators import Films, IncomingFilm

__all__ = ["film_routes"]

#: What is written at a time.
_BLOCK_BYTES = 4_000_000

_LONGEST_NAME = 1000


class _NoFilms:
    """Where no films are taken in."""

    def films(self) -> dict[str, Any]:
        return {"films": [], "limit_bytes": 0}

    def hand_in(self, *args: object) -> IncomingFilm:
        raise UnavailableError("No films are taken in here; use: posturewatch analyse.")

    def remove(self, identity: str) -> None:
        raise UnknownError("That film is not on the list any more; look at it again.")


def film_routes(desk: Films | None) -> APIRouter:
    """Routes below /api/films; without a desk, none are taken in."""
    router = APIRouter()
    films: Films = _NoFilms() if desk is None else desk

    @router.get("/api/films")
    def listed() -> Response:
        return answer(films.films())

    @router.put("/api/films")
    async def hand_in(
        request: Request,
        name: Annotated[str, Query(max_length=_LONGEST_NAME)],
        piece: str | None = None,
        bars: str = "",
        modified_s: float | None = None,
    ) -> Response:
        played = Choice.read({"piece": piece or None, "bars": bars})
        when_s = modified_s if modified_s is not None and math.isfinite(modified_s) else None
        incoming = await to_thread.run_sync(films.hand_in, name, played.piece, played.bars, when_s)
        try:
            await _take(request, incoming)
            return answer(await to_thread.run_sync(incoming.finish))
        except ClientDisconnect as gone:
            raise HTTPException(400, "The film did not come to its end; hand it in again.") from gone
        finally:
            await to_thread.run_sync(incoming.abort)

    @router.delete("/api/films/{film_id}")
    def remove(film_id: str) -> Response:
        films.remove(film_id)
        return deleted()

    return router


async def _take(request: Request, incoming: IncomingFilm) -> None:
    """Writes the body as it comes, never more of it in memory than a block."""
    stated = request.headers.get("content-length", "")
    if stated.isdigit():
        await to_thread.run_sync(incoming.expect, int(stated))
    block = bytearray()
    async for chunk in request.stream():
        block += chunk
        if len(block) >= _BLOCK_BYTES:
            await to_thread.run_sync(incoming.write, bytes(block))
            block.clear()
    if block:
        await to_thread.run_sync(incoming.write, bytes(block))
