"""The web application: the page's files, the routes under /api and the live socket."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.websockets import WebSocket

from posturewatch.errors import ConflictError, InputError, PosturewatchError, UnknownError
from posturewatch.review.exchange.notes import Notes
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.report.writing import Reports
from posturewatch.server.admission import Admission
from posturewatch.server.answers import answer, fault
from posturewatch.server.collaborators import BeforeStart, Films, FrameFeed, PracticeControl
from posturewatch.server.files import PageFiles
from posturewatch.server.guard import Guard
from posturewatch.server.live_socket import LiveSocket
from posturewatch.server.looking import LookingOnly
from posturewatch.server.routes.before_start import before_start_routes
from posturewatch.server.routes.films import film_routes
from posturewatch.server.routes.kept import kept_routes
from posturewatch.server.routes.playing import playing_routes
from posturewatch.server.routes.remarks import remark_routes
from posturewatch.server.routes.reports import report_routes
from posturewatch.server.routes.sessions import session_routes

__all__ = ["create_app"]

_SENTENCES = {
    404: "There is nothing at this address.",
    405: "This address does not take that kind of request.",
}

#: The first kind that fits; what is none of them is a fault of the machine.
_STATUS: tuple[tuple[type[PosturewatchError], int], ...] = (
    (UnknownError, 404),
    (ConflictError, 409),
    (InputError, 422),
    (PosturewatchError, 503),
)


def create_app(
    *,
    practice: PracticeControl,
    feed: FrameFeed,
    log: PracticeLog,
    vocabulary: Mapping[str, Any],
    web_dir: Path,
    port: int,
    admission: Admission,
    set_up: BeforeStart | None = None,
    reports: Reports | None = None,
    films: Films | None = None,
    notes: Notes | None = None,
    looking_only: bool = False,
) -> FastAPI:
    """The application for a server on 127.0.0.1:port; requests that name another host are refused.

    Parameters
    ----------
    practice, feed, log
        The running practice, its live frames, and what is kept.
    vocabulary
        The words of the page, as `posturewatch.review.vocabulary` has them.
    web_dir
        The folder of the page's files.
    admission
        Who may use it.
    set_up
        What comes before a practice, where something is to be set up.
    reports
        Makes reports of what is kept, where there are to be any.
    films
        Takes films in, where it does.
    notes
        What others say of what is kept, where they may.
    looking_only
        Nothing can be changed but notes.

    Raises
    ------
    UnavailableError
        Where web_dir holds no page.
    """
    files = PageFiles(web_dir)
    app = _framework()
    if looking_only:
        app.add_middleware(LookingOnly)
    # The last one that is added looks first.
    app.add_middleware(Guard, port=port, admission=admission)
    _add_faults(app)
    for router in (playing_routes(practice, log), session_routes(log), kept_routes(log), film_routes(films)):
        app.include_router(router)
    _add_further(app, log, reports, notes, set_up)
    _add_words(app, vocabulary)
    _add_live(app, practice, feed)
    # Last, since it takes every other address.
    _add_files(app, files)
    return app


def _add_further(
    app: FastAPI, log: PracticeLog, reports: Reports | None, notes: Notes | None, set_up: BeforeStart | None
) -> None:
    if reports is not None:
        app.include_router(report_routes(log, reports))
    if notes is not None:
        app.include_router(remark_routes(notes))
    if set_up is not None:
        app.include_router(before_start_routes(set_up))


def _add_live(app: FastAPI, practice: PracticeControl, feed: FrameFeed) -> None:
    @app.websocket("/api/live")
    async def live(socket: WebSocket) -> None:
        await LiveSocket(socket, practice, feed).run()


def _add_words(app: FastAPI, vocabulary: Mapping[str, Any]) -> None:
    @app.get("/api/vocabulary")
    def words() -> Response:
        return answer(vocabulary)


def _add_files(app: FastAPI, files: PageFiles) -> None:
    @app.api_route("/{path:path}", methods=["GET", "HEAD"], include_in_schema=False)
    async def page(request: Request) -> Response:
        if request.url.path.startswith("/api/"):
            return fault(_SENTENCES[404], 404)
        return files.response(request.url.path)


def _framework() -> FastAPI:
    # No interactive documentation: its pages load scripts from elsewhere. No telemetry either, which newer
    # releases of the framework would take from environment variables; older ones ignore the argument.
    return FastAPI(
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        telemetry={
            "auto_configure": False,
            "tracing": False,
            "metrics": False,
            "logs": False,
            "operation_spans": False,
        },
    )


def _add_faults(app: FastAPI) -> None:
    @app.exception_handler(PosturewatchError)
    async def known(request: Request, error: PosturewatchError) -> Response:
        return fault(error.sentence, next(status for kind, status in _STATUS if isinstance(error, kind)))

    @app.exception_handler(RequestValidationError)
    async def unusable(request: Request, error: RequestValidationError) -> Response:
        first = error.errors()[0]
        where, name = first["loc"][0], first["loc"][-1]
        if where == "path":
            return fault("There is nothing of that number.", 404)
        return fault(f"The address gives no usable {name}: {first['msg'].lower()}.", 422)

    @app.exception_handler(HTTPException)
    async def refused(request: Request, error: HTTPException) -> Response:
        sentence = _SENTENCES.get(error.status_code, error.detail)
        return fault(sentence if error.detail in _STANDARD_DETAILS else error.detail, error.status_code)

    # Also logged with its traceback where posturewatch was started; the page gets one sentence.
    @app.exception_handler(Exception)
    async def failed(request: Request, error: Exception) -> Response:
        return fault(
            "Something in the program failed. Try again; if it fails again, close posturewatch and start it anew.",
            500,
        )


#: The framework's own words for its refusals, replaced by sentences.
_STANDARD_DETAILS = frozenset({"Not Found", "Method Not Allowed"})
