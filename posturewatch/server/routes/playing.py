"""Routes of the running practice: start, stop, mark, what is played, and the practice list."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends
from starlette.responses import Response

from posturewatch.review.entries import Choice, PracticeItems
from posturewatch.review.practice_log import PracticeLog
from posturewatch.server.answers import answer
from posturewatch.server.bodies import LONG_BODY_BYTES, MarkNow, Nothing, Step, Warns, body_of
from posturewatch.server.collaborators import PracticeControl

__all__ = ["playing_routes"]


def playing_routes(practice: PracticeControl, log: PracticeLog) -> APIRouter:
    """Routes that act on the running practice."""
    router = APIRouter()

    @router.get("/api/state")
    def state() -> Response:
        return answer(practice.state())

    @router.post("/api/start")
    def start(body: Annotated[Nothing, Depends(body_of(Nothing))]) -> Response:
        return answer(practice.start())

    @router.post("/api/stop")
    def stop(body: Annotated[Nothing, Depends(body_of(Nothing))]) -> Response:
        return answer(practice.stop())

    @router.post("/api/mark")
    def mark(body: Annotated[MarkNow, Depends(body_of(MarkNow))]) -> Response:
        return answer(practice.mark(body.note))

    @router.post("/api/warns")
    def warn(body: Annotated[Warns, Depends(body_of(Warns))]) -> Response:
        return answer(practice.warn(body.sides))

    @router.get("/api/passage")
    def now() -> Response:
        return answer({"passage": practice.now_played()})

    @router.post("/api/passage")
    def play(body: Annotated[Choice, Depends(body_of(Choice))]) -> Response:
        return answer({"passage": practice.passage(**body.model_dump())})

    @router.get("/api/practice-list")
    def listed() -> Response:
        return answer(log.practice_list())

    @router.put("/api/practice-list")
    def set_list(
        body: Annotated[PracticeItems, Depends(body_of(PracticeItems, LONG_BODY_BYTES))],
    ) -> Response:
        return answer(log.set_practice_list(body))

    @router.post("/api/practice-list/step")
    def step(body: Annotated[Step, Depends(body_of(Step))]) -> Response:
        stepped = log.step(by=body.by or 0, to=body.to)
        item = stepped.pop("item")
        return answer({**stepped, "passage": practice.passage(**item)})

    return router
