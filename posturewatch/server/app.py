"""The web application: the page's files, the routes under /api and the live socket."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.websockets import WebSocket

from posturewatch.errors import InputError, PosturewatchError
from posturewatch.server.answers import answer, fault
from posturewatch.server.bodies import read_body
from posturewatch.server.book import add_book
from posturewatch.server.control import (
    PassageControl,
    Pictures,
    PracticeControl,
    PracticeLogControl,
    SummaryControl,
)
from posturewatch.server.files import PageFiles
from posturewatch.server.guard import Guard
from posturewatch.server.live_socket import LiveSocket

__all__ = ["create_app"]

_MAX_NOTE_LENGTH = 200
_SESSION_ID = re.compile(r"[A-Za-z0-9_.-]{1,80}\Z")

_SENTENCES = {
    404: "There is nothing at this address.",
    405: "This address does not take that kind of request.",
}


def create_app(
    *,
    practice: PracticeControl,
    pictures: Pictures,
    shelf: SummaryControl,
    vocabulary: Mapping[str, Any],
    web_dir: Path,
    port: int,
    book: PracticeLogControl | None = None,
    passages: PassageControl | None = None,
    libraries: Mapping[str, Path] | None = None,
) -> FastAPI:
    """The application for a server on 127.0.0.1:port; requests that name another host are refused.

    vocabulary: the words of the page, as `posturewatch.review.vocabulary` has them; answered at /api/vocabulary.

    book, passages: for the routes of `posturewatch.server.book`, which are there only with both.

    libraries: further scripts by the address under which the page finds them.

    Raises UnavailableError where web_dir holds no page.
    """
    files = PageFiles(web_dir, libraries)
    # No interactive documentation: its pages load scripts from elsewhere. No telemetry either, which newer
    # releases of the framework would take from environment variables; older ones ignore the argument.
    app = FastAPI(
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
    app.add_middleware(Guard, port=port)
    _add_faults(app)
    _add_practice(app, practice)
    _add_sessions(app, shelf)

    @app.get("/api/vocabulary")
    def words() -> Response:
        return answer(vocabulary)

    if book is not None and passages is not None:
        add_book(app, book=book, passages=passages)

    @app.websocket("/api/live")
    async def live(socket: WebSocket) -> None:
        await LiveSocket(socket, practice, pictures).run()

    @app.api_route("/{path:path}", methods=["GET", "HEAD"])
    async def page(request: Request) -> Response:
        if request.url.path.startswith("/api/"):
            return fault(_SENTENCES[404], 404)
        return files.response(request.url.path)

    return app


def _add_practice(app: FastAPI, practice: PracticeControl) -> None:
    @app.get("/api/state")
    def state() -> Response:
        return answer(practice.state())

    @app.post("/api/start")
    async def start(request: Request) -> Response:
        await read_body(request, frozenset())
        return answer(await run_in_threadpool(practice.start))

    @app.post("/api/stop")
    async def stop(request: Request) -> Response:
        await read_body(request, frozenset())
        return answer(await run_in_threadpool(practice.stop))

    @app.post("/api/mark")
    async def mark(request: Request) -> Response:
        note = (await read_body(request, frozenset({"note"}))).get("note")
        if note is not None and not (isinstance(note, str) and len(note) <= _MAX_NOTE_LENGTH):
            raise HTTPException(422, f"A note is text of at most {_MAX_NOTE_LENGTH} characters.")
        return answer(await run_in_threadpool(practice.mark, note))


def _add_sessions(app: FastAPI, shelf: SummaryControl) -> None:
    @app.get("/api/sessions")
    def sessions() -> Response:
        return answer({"sessions": list(shelf.sessions())})

    @app.get("/api/sessions/{session_id}/summary")
    def summary(session_id: str) -> Response:
        if not _SESSION_ID.match(session_id):
            raise HTTPException(404, "There is no session of that name.")
        try:
            return answer(shelf.summary(session_id))
        except InputError as unknown:
            raise HTTPException(404, unknown.sentence) from unknown


def _add_faults(app: FastAPI) -> None:
    @app.exception_handler(PosturewatchError)
    async def known(request: Request, error: PosturewatchError) -> Response:
        return fault(error.sentence, 409 if isinstance(error, InputError) else 503)

    @app.exception_handler(HTTPException)
    async def refused(request: Request, error: HTTPException) -> Response:
        sentence = _SENTENCES.get(error.status_code, error.detail)
        return fault(sentence if error.detail in _STANDARD_DETAILS else error.detail, error.status_code)

    # Also logged with its traceback where posturewatch was started; the page gets one sentence.
    @app.exception_handler(Exception)
    async def failed(request: Request, error: Exception) -> Response:
        return fault("Something in the program failed; see where posturewatch was started.", 500)


#: The framework's own words for its refusals, replaced by sentences.
_STANDARD_DETAILS = frozenset({"Not Found", "Method Not Allowed"})
