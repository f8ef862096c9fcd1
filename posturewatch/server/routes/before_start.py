"""Routes of what comes before a practice: the look through the camera, choices, and the settings."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends
from starlette.responses import Response

from posturewatch.server.answers import answer
from posturewatch.server.bodies import LONG_BODY_BYTES, Nothing, body_of
from posturewatch.server.collaborators import BeforeStart
from posturewatch.server.set_up_bodies import Choices, SettingChange

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

    @router.get("/api/setup/instruments")
    def instruments() -> Response:
        return answer({"instruments": set_up.instruments()})

    @router.patch("/api/setup")
    def choose(body: Annotated[Choices, Depends(body_of(Choices))]) -> Response:
        return answer(set_up.choose(body.changes()))

    @router.get("/api/settings")
    def settings() -> Response:
        return answer(set_up.settings())

    @router.patch("/api/settings")
    def change(body: Annotated[SettingChange, Depends(body_of(SettingChange, LONG_BODY_BYTES))]) -> Response:
        return answer(set_up.change_settings({(body.section, body.key): body.value}))

    return router
