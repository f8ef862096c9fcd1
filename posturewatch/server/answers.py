"""Answers of the routes: JSON without NaN, and faults as one sentence."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from starlette.responses import Response

__all__ = ["answer", "deleted", "fault", "to_json"]


def to_json(payload: Any) -> str:
    """JSON text; NaN and infinities, which JSON lacks, become null.

    Raises
    ------
    TypeError
        For other types.
    """
    # Names of folders need not be UTF-8; what cannot be written is replaced.
    return (
        json.dumps(_finite(payload), allow_nan=False, ensure_ascii=False).encode("utf-8", "replace").decode()
    )


def answer(payload: Any, status: int = 200) -> Response:
    """A JSON answer; NaN becomes null."""
    return Response(to_json(payload), status_code=status, headers={"Content-Type": "application/json"})


def deleted(freed: int | None = None) -> Response:
    """That it is gone, and how many bytes that freed where that is known."""
    return answer({"deleted": True} if freed is None else {"deleted": True, "bytes": freed})


def fault(sentence: str, status: int) -> Response:
    """A refusal or a failure, with the sentence that the page shows."""
    return answer({"error": sentence}, status)


def _finite(value: Any) -> Any:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): _finite(entry) for key, entry in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(entry) for entry in value]
    return value
