"""Routes of the kept sessions: document, summary, samples, passages, marks and exports."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query
from starlette.responses import Response, StreamingResponse

from posturewatch.errors import InputError
from posturewatch.review.entries import MarkChange, MarkEntry, PassageChange, PassageEntry
from posturewatch.review.practice_log import PracticeLog
from posturewatch.server.answers import answer, deleted
from posturewatch.server.bodies import body_of
from posturewatch.server.routes.parameters import Bins, ClipNumber, Number, Seconds

__all__ = ["session_routes"]


def session_routes(log: PracticeLog) -> APIRouter:
    """Routes below /api/sessions, /api/passages and /api/marks."""
    router = APIRouter()

    @router.get("/api/sessions")
    def sessions() -> Response:
        return answer({"sessions": log.sessions()})

    @router.get("/api/sessions/{session_id}")
    def session(session_id: str) -> Response:
        return answer(log.session(session_id))

    @router.delete("/api/sessions/{session_id}")
    def forget(session_id: str) -> Response:
        return deleted(log.forget_session(session_id))

    @router.get("/api/sessions/{session_id}/summary")
    def summary(session_id: str) -> Response:
        return answer(log.summary(session_id))

    @router.get("/api/sessions/{session_id}/comparison")
    def comparison(
        session_id: str,
        other: Annotated[str | None, Query(alias="with", max_length=64)] = None,
        clip: ClipNumber = None,
    ) -> Response:
        reference = other if clip is None else clip
        if reference is not None and None in (other, clip):
            return answer(log.comparison(session_id, reference))
        raise InputError("Name a practice or a clip to compare with, and not both.")

    @router.get("/api/sessions/{session_id}/samples")
    def samples(session_id: str, start_s: Seconds, end_s: Seconds) -> Response:
        return answer(log.samples(session_id, start_s, end_s))

    @router.get("/api/sessions/{session_id}/trace")
    def trace(session_id: str, bins: Bins = 600) -> Response:
        return answer(log.trace(session_id, bins))

    @router.get("/api/sessions/{session_id}/export.csv")
    def as_csv(session_id: str) -> Response:
        return StreamingResponse(
            log.export_csv(session_id),
            media_type="text/csv; charset=utf-8",
            headers=_to_save(f"{session_id}.csv"),
        )

    @router.get("/api/sessions/{session_id}/export.json")
    def as_json(session_id: str) -> Response:
        return StreamingResponse(
            log.export_json(session_id),
            media_type="application/json",
            headers=_to_save(f"{session_id}.json"),
        )

    _add_labels(router, log)
    return router


def _add_labels(router: APIRouter, log: PracticeLog) -> None:
    @router.post("/api/sessions/{session_id}/passages")
    def add_passage(
        session_id: str, body: Annotated[PassageEntry, Depends(body_of(PassageEntry))]
    ) -> Response:
        return answer(log.add_passage(session_id, body))

    @router.patch("/api/passages/{number}")
    def change_passage(
        number: Number, body: Annotated[PassageChange, Depends(body_of(PassageChange))]
    ) -> Response:
        return answer(log.change_passage(number, body))

    @router.delete("/api/passages/{number}")
    def delete_passage(number: Number) -> Response:
        log.delete_passage(number)
        return deleted()

    @router.post("/api/sessions/{session_id}/marks")
    def add_mark(session_id: str, body: Annotated[MarkEntry, Depends(body_of(MarkEntry))]) -> Response:
        return answer(log.add_mark(session_id, body))

    @router.patch("/api/marks/{number}")
    def change_mark(number: Number, body: Annotated[MarkChange, Depends(body_of(MarkChange))]) -> Response:
        return answer(log.change_mark(number, body))

    @router.delete("/api/marks/{number}")
    def delete_mark(number: Number) -> Response:
        log.delete_mark(number)
        return deleted()


def _to_save(name: str) -> dict[str, str]:
    # The name has been found among the kept sessions: letters and digits only.
    return {"Content-Disposition": f'attachment; filename="{name}"'}
