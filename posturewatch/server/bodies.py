"""The bodies of requests: JSON objects of a bounded size with known entries only."""

from __future__ import annotations

import json
from collections.abc import Collection

from starlette.exceptions import HTTPException
from starlette.requests import Request

__all__ = ["MAX_BODY_BYTES", "read_body"]

MAX_BODY_BYTES = 4096


async def read_body(
    request: Request, known: Collection[str], max_bytes: int = MAX_BODY_BYTES
) -> dict[str, object]:
    """The JSON object of a request, {} for an empty body; raises HTTPException with one sentence."""
    raw = b""
    async for chunk in request.stream():
        raw += chunk
        if len(raw) > max_bytes:
            raise HTTPException(413, f"A request holds at most {max_bytes} bytes.")
    if not raw:
        return {}
    if request.headers.get("content-type", "").split(";")[0].strip().lower() != "application/json":
        raise HTTPException(415, "Send the request as application/json.")
    try:
        body = json.loads(raw)
    except (ValueError, RecursionError) as broken:
        raise HTTPException(400, "The request is not JSON.") from broken
    if not isinstance(body, dict):
        raise HTTPException(422, "The request has to be a JSON object.")
    unknown = sorted(set(body) - set(known))
    if unknown:
        raise HTTPException(422, f"The request has the unknown entry {unknown[0][:40]!r}.")
    return body
