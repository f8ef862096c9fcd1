"""Routes of the book: passages, pieces, marks, clips, discomfort checks, trends, and the player's own data.

Every route answers JSON, a film or a file; a refusal is `{"error": sentence}` with 4xx. Bodies are JSON objects
(`Content-Type: application/json`); unknown entries are refused; a PATCH changes the entries it names. Times are
seconds of the session, `started_at` and the like UTC in ISO 8601. What is unknown or missing is null.

Shapes, by the name used below
    PASSAGE   {"id", "session_id", "piece_id", "piece", "bars", "tempo_bpm", "start_s", "end_s"}
              bars is free text ("bars 12-16"), "" without; end_s is null while it is being played
    CHOICE    {"piece", "bars", "tempo_bpm"}, what is played now or next; null for nothing in particular
    ITEM      {"piece", "bars", "tempo_bpm"}
    LIST      {"items": [ITEM], "position": int | null}, the practice list; position is the item in play
    PIECE     {"id", "name", "last_played", "minutes", "sessions", "passages", "clips"}
              last_played is null for a piece never played
    MARK      {"id", "time_s", "note"}
    CLIP      {"id", "session_id", "session_started_at", "name", "start_s", "end_s", "bytes", "reason",
               "has_sound", "kept", "note", "state", "film", "passage": PASSAGE | null, "moments": [MOMENT]}
              state: "there", "missing" (the file is gone), "removed" (made room for newer ones); film: address
              to play, null unless there. Second 0 of the film is the session's start_s.
    MOMENT    {"kind": "warning" | "extreme" | "mark", "start_s", "key_s", "end_s", "side", "quantity",
               "direction", "excursion_id", "mark_id"}
    CHECK     {"id", "session_id", "moment": "before" | "after", "checked_at", "rating", "places": [name],
               "signs": [name], "note", "advice": ADVICE}
    ADVICE    {"level": "none" | "watch" | "pause" | "end" | "same day" | "emergency", "sentences": [text],
               "sources": [text]}
    EXPOSURE  `posturewatch.exposure.values.Exposure.to_json`
    HANDS     [`posturewatch.exposure.hand_time.HandTime.to_json`]; beside each list of EXPOSURE as "hands"

While playing
    GET    /api/passage                         {"passage": CHOICE | null}
    POST   /api/passage  CHOICE | {"piece": null}   {"passage": CHOICE | null}; also before the session starts
    GET    /api/practice-list                   LIST
    PUT    /api/practice-list  {"items": [ITEM]}    LIST
    POST   /api/practice-list/step  {"by": 1 | -1} | {"to": int}    LIST + {"passage": CHOICE | null};
           stops at either end of the list; the first step forward goes to the first item

Pieces
    GET    /api/pieces                          {"pieces": [PIECE]}, those not played for longest first
    GET    /api/pieces/suggest?begins=noc       {"pieces": [{"id", "name", "last_played", "bars": [text]}]},
           where any word of the name begins so, last played first; bars: passages of it, last played first
    GET    /api/pieces/ID                       PIECE + {"played": [{"session_id", "started_at", "minutes",
           "passages": [PASSAGE], "exposure": [SHORT]}], "clip_list": [CLIP]}, oldest first; for SHORT see trends
    PATCH  /api/pieces/ID  {"name"}             PIECE; of that name already: both become one, whose it is
    DELETE /api/pieces/ID                       {"deleted": true}; 409 while passages of it are kept

One session
    GET    /api/sessions/ID/book                {"session": see /api/sessions, "passages": [PASSAGE],
           "marks": [MARK], "excursions": [as in the summary, with "id"], "clips": [CLIP], "checks": [CHECK],
           "exposure": {"session": [EXPOSURE], "passages": [{"passage_id", "exposure": [EXPOSURE]}],
                        "parts": [{"piece_id", "piece", "bars", "passage_ids", "exposure": [EXPOSURE]}],
                        "minutes": [{"start_s", "end_s", "exposure": [SHORT]}]} | null while it runs,
           "finding": `posturewatch.exposure.findings.Finding.to_json` | null; its passage_id is that of the
                      first passage of the part, its moments are ids of clips as text}
    DELETE /api/sessions/ID                     {"deleted": true, "bytes": int}; with its clips
    GET    /api/sessions/ID/samples?start_s=&end_s=    {"series": [{"side", "quantity", "unit", "time_s": [],
           "value": [], "sd": []}]}, null where refused; 300 s at most
    GET    /api/sessions/ID/trace?bins=600      {"bin_s", "series": [{"side", "quantity", "unit", "low": [],
           "median": [], "high": [], "measured": []}]}: by bin the lowest, median and highest value, and the
           measured share of its samples; null where nothing was measured; fewer bins in a short session
    POST   /api/sessions/ID/passages  {"piece", "bars"?, "tempo_bpm"?, "start_s", "end_s"}    PASSAGE
    PATCH  /api/passages/ID  {"piece"?, "bars"?, "tempo_bpm"?, "start_s"?, "end_s"?}    PASSAGE
    DELETE /api/passages/ID                     {"deleted": true}; the samples stay
    POST   /api/sessions/ID/marks  {"time_s", "note"?}    MARK
    PATCH  /api/marks/ID  {"time_s"?, "note"?}  MARK
    DELETE /api/marks/ID                        {"deleted": true}
    GET    /api/sessions/ID/export.csv, /api/sessions/ID/export.json    files to save

Clips
    GET    /api/clips?session=ID&piece=ID       {"clips": [CLIP]}, newest first; both filters optional
    GET    /api/clips/ID                        CLIP
    GET    /api/clips/ID/film                   video/mp4, in ranges; 404 with a sentence where it is missing
    PATCH  /api/clips/ID  {"kept"?, "note"?}    CLIP
    DELETE /api/clips/ID                        {"deleted": true, "bytes": int}

Discomfort
    GET    /api/checks/form                     {"scale": {"lowest", "highest", "label"}, "sides": [text],
           "places": [{"name", "label"}], "signs": [{"name", "label", "level"}]}; a place of a check is
           "left NAME" or "right NAME"
    GET    /api/checks                          {"checks": [CHECK]}, newest first
    POST   /api/checks  {"moment", "rating", "places"?, "signs"?, "note"?, "session_id"?}    CHECK
           before: without session_id, it joins the next session within the hour
    DELETE /api/checks/ID                       {"deleted": true}

Over weeks
    GET    /api/trends?weeks=52                 {"from": day | null, "to": day, "waiting": int,
           "load": [{"monday", "minutes", "sessions"}], "notice": sentence | null,
           "lines": [{"side", "quantity", "unit", "direction", "level", "weeks": [TOTAL + {"monday"}],
                      "change": {"earlier", "later", "share"} | null, "slope_per_week": float | null}],
           "pieces": [{"piece_id", "piece", "lines": [{"side", "quantity", "unit", "direction", "level",
                      "total": TOTAL}]}]}
           days are the player's own calendar days; all lines have the same weeks; pieces not played for longest
           first; waiting: sessions whose exposure is not computed yet (ask again); for TOTAL, change and slope
           see `posturewatch.exposure.trends`
    SHORT     {"side", "quantity", "unit", "total_s", "measured_s", "p10", "p50", "p90", "rests", "levels":
               [{"direction", "level": "comfort" | "extreme", "limit", "seconds", "share", "excess",
                 "excursions", "longest_s"}]}: beyond each limit that there is; share of the measured time

Own data
    GET    /api/data                            {"folder", "database_bytes", "clips_bytes", "set_aside_bytes",
           "other_bytes", "total_bytes", "sessions": [{"id", "started_at", "duration_s", "samples_bytes",
           "clips": int, "clips_bytes"}]}, newest first
    POST   /api/data/forget  {"everything": true}    {"deleted": true, "bytes": int}; settings stay
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response, StreamingResponse

from posturewatch.errors import InputError, UnknownError
from posturewatch.server.answers import answer, to_json
from posturewatch.server.bodies import read_body
from posturewatch.server.control import PassageControl, PracticeLogControl

__all__ = ["add_book"]

_Answer = TypeVar("_Answer")

#: A practice list of a hundred entries fits, and a check with all its places.
_MAX_BYTES = 65_536

_CHOICE = ("piece", "bars", "tempo_bpm")
_MOST_WEEKS = 520


def add_book(app: FastAPI, *, book: PracticeLogControl, passages: PassageControl) -> None:
    """Adds all routes of this module to an application that has the guard and the handlers of faults."""
    _add_playing(app, book, passages)
    _add_pieces(app, book)
    _add_session(app, book)
    _add_labels(app, book)
    _add_clips(app, book)
    _add_checks(app, book)
    _add_own_data(app, book)


def _add_playing(app: FastAPI, book: PracticeLogControl, passages: PassageControl) -> None:
    @app.get("/api/passage")
    def now() -> Response:
        return answer({"passage": passages.now_played()})

    @app.post("/api/passage")
    async def play(request: Request) -> Response:
        body = await read_body(request, _CHOICE)
        if "piece" not in body:
            raise HTTPException(422, "Say which piece is played, or null for nothing in particular.")
        choice = _asked(lambda: book.checked_choice(body))
        return answer({"passage": await run_in_threadpool(lambda: passages.passage(**choice))})

    @app.get("/api/practice-list")
    def listed() -> Response:
        return answer(book.practice_list())

    @app.put("/api/practice-list")
    async def set_list(request: Request) -> Response:
        items = (await read_body(request, ("items",), _MAX_BYTES)).get("items")
        if not isinstance(items, list) or not all(isinstance(item, dict) for item in items):
            raise HTTPException(422, "A practice list is a list of entries with a piece each.")
        return answer(await _done(lambda: book.set_practice_list(items)))

    @app.post("/api/practice-list/step")
    async def step(request: Request) -> Response:
        body = await read_body(request, ("by", "to"))
        by, to = _whole(body.get("by")), _whole(body.get("to"))
        if len(body) != 1 or (to is None and by not in (1, -1)):
            raise HTTPException(422, "Step through the list by 1 or -1, or to one of its entries.")
        stepped = await _done(lambda: book.step(by=by or 0, to=to))
        item = stepped.pop("item")
        return answer({**stepped, "passage": await run_in_threadpool(lambda: passages.passage(**item))})


def _add_pieces(app: FastAPI, book: PracticeLogControl) -> None:
    @app.get("/api/pieces")
    def pieces() -> Response:
        return answer({"pieces": book.pieces()})

    @app.get("/api/pieces/suggest")
    def suggest(begins: str = "") -> Response:
        return answer({"pieces": book.suggestions(begins[:200])})

    @app.get("/api/pieces/{number}")
    def piece(number: str) -> Response:
        return answer(_asked(lambda: book.piece(_number(number))))

    @app.patch("/api/pieces/{number}")
    async def rename(request: Request, number: str) -> Response:
        name = (await read_body(request, ("name",))).get("name")
        return answer(await _done(lambda: book.rename_piece(_number(number), name)))

    @app.delete("/api/pieces/{number}")
    def forget(number: str) -> Response:
        return _deleted(lambda: book.delete_piece(_number(number)))


def _add_session(app: FastAPI, book: PracticeLogControl) -> None:
    @app.get("/api/sessions/{session_id}/book")
    def session(session_id: str) -> Response:
        return answer(_asked(lambda: book.session(session_id)))

    @app.delete("/api/sessions/{session_id}")
    def forget(session_id: str) -> Response:
        return _deleted(lambda: book.forget_session(session_id))

    @app.get("/api/sessions/{session_id}/samples")
    def samples(session_id: str, start_s: str = "", end_s: str = "") -> Response:
        start, end = _seconds(start_s), _seconds(end_s)
        return answer(_asked(lambda: book.samples(session_id, start, end)))

    @app.get("/api/sessions/{session_id}/trace")
    def trace(session_id: str, bins: str = "600") -> Response:
        return answer(_asked(lambda: book.trace(session_id, _number(bins))))

    @app.get("/api/sessions/{session_id}/export.csv")
    def as_csv(session_id: str) -> Response:
        lines = _asked(lambda: book.export_csv(session_id))
        return StreamingResponse(
            lines, media_type="text/csv; charset=utf-8", headers=_to_save(f"{session_id}.csv")
        )

    @app.get("/api/sessions/{session_id}/export.json")
    def as_json(session_id: str) -> Response:
        text = to_json(_asked(lambda: book.export_json(session_id)))
        return Response(text, media_type="application/json", headers=_to_save(f"{session_id}.json"))


def _add_labels(app: FastAPI, book: PracticeLogControl) -> None:
    @app.post("/api/sessions/{session_id}/passages")
    async def add_passage(request: Request, session_id: str) -> Response:
        body = await read_body(request, (*_CHOICE, "start_s", "end_s"))
        return answer(await _done(lambda: book.add_passage(session_id, body)))

    @app.patch("/api/passages/{number}")
    async def change_passage(request: Request, number: str) -> Response:
        body = await read_body(request, (*_CHOICE, "start_s", "end_s"))
        return answer(await _done(lambda: book.change_passage(_number(number), body)))

    @app.delete("/api/passages/{number}")
    def delete_passage(number: str) -> Response:
        return _deleted(lambda: book.delete_passage(_number(number)))

    @app.post("/api/sessions/{session_id}/marks")
    async def add_mark(request: Request, session_id: str) -> Response:
        body = await read_body(request, ("time_s", "note"))
        return answer(await _done(lambda: book.add_mark(session_id, body)))

    @app.patch("/api/marks/{number}")
    async def change_mark(request: Request, number: str) -> Response:
        body = await read_body(request, ("time_s", "note"))
        return answer(await _done(lambda: book.change_mark(_number(number), body)))

    @app.delete("/api/marks/{number}")
    def delete_mark(number: str) -> Response:
        return _deleted(lambda: book.delete_mark(_number(number)))


def _add_clips(app: FastAPI, book: PracticeLogControl) -> None:
    @app.get("/api/clips")
    def clips(session: str | None = None, piece: str | None = None) -> Response:
        number = None if piece is None else _number(piece)
        return answer({"clips": book.clips(session_id=session, piece=number)})

    @app.get("/api/clips/{number}")
    def clip(number: str) -> Response:
        return answer(_asked(lambda: book.clip(_number(number))))

    @app.get("/api/clips/{number}/film")
    def film(number: str) -> Response:
        return FileResponse(_asked(lambda: book.film(_number(number))), media_type="video/mp4")

    @app.patch("/api/clips/{number}")
    async def change(request: Request, number: str) -> Response:
        body = await read_body(request, ("kept", "note"))
        return answer(await _done(lambda: book.change_clip(_number(number), body)))

    @app.delete("/api/clips/{number}")
    def delete(number: str) -> Response:
        return _deleted(lambda: book.delete_clip(_number(number)))


def _add_checks(app: FastAPI, book: PracticeLogControl) -> None:
    @app.get("/api/checks/form")
    def form() -> Response:
        return answer(book.check_form())

    @app.get("/api/checks")
    def checks() -> Response:
        return answer({"checks": book.checks()})

    @app.post("/api/checks")
    async def add(request: Request) -> Response:
        known = ("moment", "rating", "places", "signs", "note", "session_id")
        body = await read_body(request, known, _MAX_BYTES)
        return answer(await _done(lambda: book.add_check(body)))

    @app.delete("/api/checks/{number}")
    def delete(number: str) -> Response:
        return _deleted(lambda: book.delete_check(_number(number)))


def _add_own_data(app: FastAPI, book: PracticeLogControl) -> None:
    @app.get("/api/trends")
    def trends(weeks: str = "52") -> Response:
        number = _number(weeks)
        if not 1 <= number <= _MOST_WEEKS:
            raise HTTPException(422, f"Trends go back 1 to {_MOST_WEEKS} weeks.")
        return answer(book.trends(weeks=number))

    @app.get("/api/data")
    def data() -> Response:
        return answer(book.data())

    @app.post("/api/data/forget")
    async def forget(request: Request) -> Response:
        if (await read_body(request, ("everything",))).get("everything") is not True:
            raise HTTPException(422, "Say that everything is meant; it cannot be undone.")
        return await run_in_threadpool(lambda: _deleted(book.forget_everything))


def _asked(ask: Callable[[], _Answer], status: int = 422) -> _Answer:
    """What the book answers; what is not there becomes 404, what cannot be done the status."""
    try:
        return ask()
    except UnknownError as gone:
        raise HTTPException(404, gone.sentence) from gone
    except InputError as unusable:
        raise HTTPException(status, unusable.sentence) from unusable


async def _done(change: Callable[[], _Answer]) -> _Answer:
    return await run_in_threadpool(lambda: _asked(change))


def _deleted(delete: Callable[[], int | None]) -> Response:
    freed = _asked(delete, 409)
    return answer({"deleted": True} if freed is None else {"deleted": True, "bytes": freed})


def _whole(value: object) -> int | None:
    return value if isinstance(value, int) and not isinstance(value, bool) else None


def _number(text: str) -> int:
    """A whole number out of an address."""
    if not (text.isascii() and text.isdigit() and len(text) <= 15):
        raise HTTPException(404, "There is nothing of that number.")
    return int(text)


def _seconds(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise HTTPException(
            422, "Give the stretch as start_s and end_s, in seconds of the session."
        ) from None


def _to_save(name: str) -> dict[str, str]:
    # The name has been found among the kept sessions: letters and digits only.
    return {"Content-Disposition": f'attachment; filename="{name}"'}
