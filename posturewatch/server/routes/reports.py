"""Routes of reports: one file about a session, or about it and those of the weeks before."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Query
from starlette.background import BackgroundTask
from starlette.responses import FileResponse, Response

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

    @router.get("/api/sessions/{session_id}/bundle.zip")
    def bundle(session_id: str, who: str = "", weeks: Weeks = 0) -> Response:
        log.session(session_id)
        folder = Path(tempfile.mkdtemp(prefix="posturewatch-bundle-"))
        away = BackgroundTask(shutil.rmtree, folder, ignore_errors=True)
        try:
            path = folder / f"practice-{session_id}.zip"
            reports.bundle(reports.with_weeks_before(session_id, weeks), Wanted(who=who), path)
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        return FileResponse(path, media_type="application/zip", filename=path.name, background=away)

    return router
