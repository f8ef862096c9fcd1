"""Routes of what comes before a practice: the look through the camera, choices, and the settings."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends
from starlette.responses import Response

from posturewatch.server.answers import answer
from posturewatch.server.bodies import LONG_BODY_BYTES, Nothing, body_of
from posturewatch.server.collaborators import BeforeStart
from posturewatch.server.set_up_bodies import Choices, Hand, Measure, OwnLimit, SettingChange

__all__ = ["before_start_routes"]


def before_start_routes(set_up: BeforeStart) -> APIRouter:
    """Routes below /api/setup and /api/settings."""
    router = APIRouter()

    @router.get("/api/setup")
    def document() -> Response:
        return answer(set_up.document())

    @router.post("/api/setup/open")
    def open_preview(body: Annotated[Nothing, Depends(body_of(Nothing))]) -> Response:
        return answer(set_up.open())

    @router.post("/api/setup/close")
    def close_preview(body: Annotated[Nothing, Depends(body_of(Nothing))]) -> Response:
        return answer(set_up.close())

    @router.get("/api/setup/cameras")
    def cameras() -> Response:
        return answer({"cameras": set_up.cameras()})

    @router.get("/api/setup/microphones")
    def microphones() -> Response:
        return answer(set_up.microphones())

    @router.get("/api/setup/instruments")
    def instruments() -> Response:
        return answer({"instruments": set_up.instruments()})

    @router.patch("/api/setup")
    def choose(body: Annotated[Choices, Depends(body_of(Choices))]) -> Response:
        return answer(set_up.choose(body.changes()))

    _add_measuring(router, set_up)

    @router.get("/api/settings")
    def settings() -> Response:
        return answer(set_up.settings())

    @router.patch("/api/settings")
    def change(body: Annotated[SettingChange, Depends(body_of(SettingChange, LONG_BODY_BYTES))]) -> Response:
        return answer(set_up.change_settings({(body.section, body.key): body.value}))

    return router


def _add_measuring(router: APIRouter, set_up: BeforeStart) -> None:
    @router.post("/api/setup/measure")
    def measure(body: Annotated[Measure, Depends(body_of(Measure))]) -> Response:
        return answer(set_up.measure(body.what, body.side, body.quantity, body.direction))

    @router.post("/api/setup/measure/stop")
    def stop(body: Annotated[Nothing, Depends(body_of(Nothing))]) -> Response:
        return answer(set_up.stop_measuring())

    @router.post("/api/setup/measure/keep")
    def keep(body: Annotated[Nothing, Depends(body_of(Nothing))]) -> Response:
        return answer(set_up.keep_measured())

    @router.put("/api/setup/hand")
    def hand(body: Annotated[Hand, Depends(body_of(Hand))]) -> Response:
        return answer(set_up.set_hand(body.length_mm, body.method))

    @router.delete("/api/setup/range")
    def forget_range() -> Response:
        return answer(set_up.forget_range())

    @router.patch("/api/setup/limits")
    def limit(body: Annotated[OwnLimit, Depends(body_of(OwnLimit))]) -> Response:
        key = (body.quantity, body.direction, body.level)
        return answer(set_up.set_limit(body.side, key, body.value, sure=body.sure))

    @router.get("/api/setup/board.pdf")
    def board_pdf() -> Response:
        return Response(set_up.board("pdf"), media_type="application/pdf")

    @router.get("/api/setup/board.png")
    def board_png() -> Response:
        return Response(set_up.board("png"), media_type="image/png")
