"""Routes of reports: one file about a session, or about it and those of the weeks before."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import Response

from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.report.writing import Reports, Wanted

__all__ = ["report_routes"]

_TYPES = {"html": "text/html; charset=utf-8", "pdf": "application/pdf"}

#: How many weeks before the session; a year at most.
Weeks = Annotated[int, Query(ge=0, le=52)]


def report_routes(log: PracticeLog, reports: Reports) -> APIRouter:
    """Routes below /api/sessions/ID/report."""
    router = APIRouter()

    def made(session_id: str, weeks: int, wanted: Wanted) -> Response:
        log.session(session_id)  # works out what is not kept yet
        data = reports.make(reports.with_weeks_before(session_id, weeks), wanted)
        # The session was found: its id is of letters and digits.
        name = f"posture-report-{session_id}.{wanted.kind}"
        headers = {"Content-Disposition": f'attachment; filename="{name}"'}
        return Response(data, media_type=_TYPES[wanted.kind], headers=headers)

    @router.get("/api/sessions/{session_id}/report.html")
    def page(session_id: str, who: str = "", clips: bool = False, weeks: Weeks = 0) -> Response:
        return made(session_id, weeks, Wanted("html", who=who, clips=clips))

    @router.get("/api/sessions/{session_id}/report.pdf")
    def paper(session_id: str, who: str = "", paper: str = "a4", weeks: Weeks = 0) -> Response:
        return made(session_id, weeks, Wanted("pdf", paper, who))

    return router
