"""The bodies of requests: JSON objects of a bounded size, checked by a model of what may be entered."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable
from typing import Annotated, Literal, TypeVar

from pydantic import Field, model_validator
from starlette.exceptions import HTTPException
from starlette.requests import Request

from posturewatch.model.observation import SIDES, Side
from posturewatch.review.entries import LONGEST_MARK_NOTE, Entry

__all__ = [
    "LONG_BODY_BYTES",
    "MAX_BODY_BYTES",
    "Forget",
    "MarkNow",
    "Nothing",
    "Step",
    "Warns",
    "body_of",
    "json_of",
]

MAX_BODY_BYTES = 4096

#: A practice list of a hundred entries fits, and a check with all its places.
LONG_BODY_BYTES = 65_536

#: Whole numbers of the database (SQLite's INTEGER, 8 bytes), and their longest text.
_LEAST, _MOST = -(2**63), 2**63 - 1
_MOST_DIGITS = 20

_Entry = TypeVar("_Entry", bound=Entry)


class Nothing(Entry):
    """The body of a request that needs none."""


class MarkNow(Entry):
    """A mark at the present moment of the practice."""

    note: Annotated[
        str | None,
        Field(
            max_length=LONGEST_MARK_NOTE,
            description=f"A note is text of at most {LONGEST_MARK_NOTE} characters; shorten it.",
        ),
    ] = None


class Warns(Entry):
    """The hands that are warned of."""

    sides: Annotated[
        list[Side],
        Field(max_length=len(SIDES), description="Name the hands to be warned of: left, right, or none."),
    ]


class Step(Entry):
    """Through the practice list: forward or back by one, or to an entry."""

    by: Literal[1, -1] | None = Field(default=None, description="Step through the list by 1 or -1.")
    to: int | None = Field(default=None, description="Name the entry to go to by its number, from 0.")

    @model_validator(mode="after")
    def _one_of_both(self) -> Step:
        if (self.by is None) == (self.to is None):
            raise ValueError("Step through the list by 1 or -1, or to one of its entries")
        return self


class Forget(Entry):
    """That everything is meant."""

    needs = "Say that everything is meant; it cannot be undone."

    everything: Literal[True] = Field(description=needs)


def body_of(model: type[_Entry], max_bytes: int = MAX_BODY_BYTES) -> Callable[[Request], Awaitable[_Entry]]:
    """A dependency that reads a request's body as this model; an empty body is an empty object.

    It raises HTTPException or InputError, each with one sentence.
    """

    async def body(request: Request) -> _Entry:
        return model.read(await json_of(request, max_bytes))

    return body


async def json_of(request: Request, max_bytes: int) -> object:
    """A request's body, a JSON object; an empty body is an empty one. Raises HTTPException with one sentence."""
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
        # Strictly UTF-8 (RFC 8259, section 8.1), which the library is not of itself.
        found: object = json.loads(raw.decode(), parse_int=_whole)
    except (ValueError, RecursionError) as broken:
        raise HTTPException(400, "The request is not JSON.") from broken
    if not _is_text_throughout(found):
        raise HTTPException(
            422, "The request holds half a character (a lone surrogate); type that text anew."
        )
    if not isinstance(found, dict):
        raise HTTPException(422, "The request has to be a JSON object.")
    return found


def _whole(digits: str) -> int:
    """A whole number that the database can keep."""
    if len(digits) > _MOST_DIGITS or not _LEAST <= int(digits) <= _MOST:
        raise HTTPException(422, "The request holds a number that is too large; change it.")
    return int(digits)


def _is_text_throughout(found: object) -> bool:
    """Whether every string in it can be written: JSON's escapes can name halves of characters, UTF-8 cannot."""
    if isinstance(found, str):
        return not any("\ud800" <= character <= "\udfff" for character in found)
    if isinstance(found, dict):
        return all(_is_text_throughout(one) for pair in found.items() for one in pair)
    return not isinstance(found, list) or all(map(_is_text_throughout, found))
