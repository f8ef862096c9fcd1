"""Routes of what is kept beside the sessions: pieces, clips, discomfort checks, trends and the player's own data."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query
from starlette.responses import FileResponse, Response

from posturewatch.review.entries import CheckEntry, ClipChange, PieceChange
from posturewatch.review.practice_log import PracticeLog
from posturewatch.server.answers import answer, deleted
from posturewatch.server.bodies import LONG_BODY_BYTES, Forget, body_of
from posturewatch.server.routes.parameters import Number, PieceNumber

__all__ = ["kept_routes"]

#: Ten years.
_MOST_WEEKS = 520

#: Characters of a piece's name that are looked for.
_MOST_TYPED = 200


def kept_routes(log: PracticeLog) -> APIRouter:
    """Routes below /api/pieces, /api/clips, /api/checks, /api/trends and /api/data."""
    router = APIRouter()
    _add_pieces(router, log)
    _add_clips(router, log)
    _add_checks(router, log)
    _add_own_data(router, log)
    return router


def _add_pieces(router: APIRouter, log: PracticeLog) -> None:
    @router.get("/api/pieces")
    def pieces() -> Response:
        return answer({"pieces": log.pieces()})

    @router.get("/api/pieces/suggest")
    def suggest(begins: str = "") -> Response:
        return answer({"pieces": log.suggestions(begins[:_MOST_TYPED])})

    @router.get("/api/pieces/{number}")
    def piece(number: Number) -> Response:
        return answer(log.piece(number))

    @router.patch("/api/pieces/{number}")
    def rename(number: Number, body: Annotated[PieceChange, Depends(body_of(PieceChange))]) -> Response:
        return answer(log.rename_piece(number, body))

    @router.delete("/api/pieces/{number}")
    def forget(number: Number) -> Response:
        log.delete_piece(number)
        return deleted()


def _add_clips(router: APIRouter, log: PracticeLog) -> None:
    @router.get("/api/clips")
    def clips(session: str | None = None, piece: PieceNumber = None) -> Response:
        return answer({"clips": log.clips(session_id=session, piece=piece)})

    @router.get("/api/clips/{number}")
    def clip(number: Number) -> Response:
        return answer(log.clip(number))

    @router.get("/api/clips/{number}/video")
    def video(number: Number) -> Response:
        return FileResponse(log.video_path(number), media_type="video/mp4")

    @router.get("/api/clips/{number}/picture")
    def picture(number: Number, time_s: float | None = None) -> Response:
        return Response(log.clip_picture(number, time_s), media_type="image/jpeg")

    @router.patch("/api/clips/{number}")
    def change(number: Number, body: Annotated[ClipChange, Depends(body_of(ClipChange))]) -> Response:
        return answer(log.change_clip(number, body))

    @router.delete("/api/clips/{number}")
    def delete(number: Number) -> Response:
        return deleted(log.delete_clip(number))


def _add_checks(router: APIRouter, log: PracticeLog) -> None:
    @router.get("/api/checks/form")
    def form() -> Response:
        return answer(log.check_form())

    @router.get("/api/checks")
    def checks() -> Response:
        return answer({"checks": log.checks()})

    @router.post("/api/checks")
    def add(body: Annotated[CheckEntry, Depends(body_of(CheckEntry, LONG_BODY_BYTES))]) -> Response:
        return answer(log.add_check(body))

    @router.delete("/api/checks/{number}")
    def delete(number: Number) -> Response:
        log.delete_check(number)
        return deleted()


def _add_own_data(router: APIRouter, log: PracticeLog) -> None:
    @router.get("/api/trends")
    def trends(weeks: Annotated[int, Query(ge=1, le=_MOST_WEEKS)] = 52) -> Response:
        return answer(log.trends(weeks=weeks))

    @router.get("/api/data")
    def data() -> Response:
        return answer(log.data())

    @router.post("/api/data/forget")
    def forget(body: Annotated[Forget, Depends(body_of(Forget))]) -> Response:
        return deleted(log.forget_everything())
