"""Notes of somebody who was shown practices: as they are written, and as the file in which they come back."""

from __future__ import annotations

import json
import secrets
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from posturewatch.errors import InputError, UnknownError
from posturewatch.review.entries import Entry
from posturewatch.storage.records import now_utc
from posturewatch.storage.store import Store
from posturewatch.storage.tables.remarks import add_remark, delete_remark, remarks_of

__all__ = ["NOTES_BYTES", "Notes", "NotesTaken", "RemarkEntry", "notes_of_file"]

#: Characters of a note, and of its author's name.
LONGEST_TEXT = 2000
LONGEST_AUTHOR = 80

#: The largest file of notes that is read.
NOTES_BYTES = 2_000_000

_Text = Annotated[
    str,
    AfterValidator(str.strip),
    Field(
        min_length=1,
        max_length=LONGEST_TEXT,
        description=f"A note is text of 1 to {LONGEST_TEXT} characters; change it.",
    ),
]
_Time = Annotated[
    float | None,
    Field(ge=0.0, le=1e6, description="A note's time is a number of seconds, 0 or more; change it."),
]


class RemarkEntry(Entry):
    """A note on a session, or on a moment of it."""

    noun = "A note"
    needs = "A note needs a text."

    text: _Text
    time_s: _Time = None


class _Remark(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)

    uid: Annotated[str, Field(pattern=r"^[0-9a-f]{32}$")]
    time_s: _Time
    author: Annotated[str, Field(max_length=LONGEST_AUTHOR)]
    text: _Text
    written_at: Annotated[str, Field(max_length=40)]


class _Session(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid")

    id: Annotated[str, Field(pattern=r"^[0-9a-z]{1,32}$")]
    started_at: Annotated[str, Field(max_length=40)]
    remarks: Annotated[list[_Remark], Field(max_length=1000)]


class _File(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid")

    format: Literal["posturewatch notes"]
    version: Literal[1]
    sessions: Annotated[list[_Session], Field(max_length=1000)]


@dataclass(frozen=True)
class NotesTaken:
    """added: notes that have come; known: that were there already; strange: on sessions that are not kept here."""

    added: int
    known: int
    strange: int

    def to_json(self) -> dict[str, int]:
        """In JSON's types."""
        return {"added": self.added, "known": self.known, "strange": self.strange}


class Notes:
    """The notes of a practice log; may be used from any thread.

    Parameters
    ----------
    author
        Who writes, where notes are written here; None where they are only read.
    on_change
        Called after each change.
    """

    def __init__(
        self, store: Store, *, author: str | None = None, on_change: Callable[[], None] = lambda: None
    ) -> None:
        self._store = store
        self._author = author
        self._on_change = on_change

    @property
    def writes(self) -> bool:
        """Whether notes can be written here."""
        return self._author is not None

    def add(self, session_id: str, entry: RemarkEntry) -> dict[str, Any]:
        """A new note.

        Raises
        ------
        UnknownError
            For an unknown session.
        InputError
            For a time beyond its end, and where notes are only read.
        """
        if self._author is None:
            raise InputError("Notes are written by whom you show a practice; your own are its marks.")
        uid = secrets.token_hex(16)
        with self._store.writing() as connection:
            number = _number(connection, session_id)
            add_remark(
                connection, number, uid=uid, time_s=entry.time_s, author=self._author, text=entry.text,
                written_at=now_utc(),
            )  # fmt: skip
            (made,) = [one for one in remarks_of(connection, number) if one["uid"] == uid]
        self._on_change()
        return made

    def delete(self, number: int) -> None:
        """Forgets a note.

        Raises
        ------
        UnknownError
            For an unknown one.
        """
        with self._store.erasing() as connection:
            delete_remark(connection, number)
        self._on_change()

    def document(self) -> dict[str, Any]:
        """All notes, as they are written to a file."""
        with self._store.reading() as connection:
            sessions = [] if connection is None else _sessions(connection)
        return {"format": "posturewatch notes", "version": 1, "sessions": sessions}

    def take(self, document: object) -> NotesTaken:
        """Takes in the notes of a file.

        Raises
        ------
        InputError
            Where it is no file of notes; nothing is taken then.
        """
        try:
            file = _File.model_validate(document)
        except ValidationError as error:
            raise InputError(
                "That is no file of notes, or it is damaged; ask for it again (its name ends in -notes.json)."
            ) from error
        added = known = strange = 0
        with self._store.writing() as connection:
            for session in file.sessions:
                try:
                    number = _number(connection, session.id)
                except UnknownError:
                    strange += len(session.remarks)
                    continue
                for one in session.remarks:
                    if add_remark(connection, number, **one.model_dump()):
                        added += 1
                    else:
                        known += 1
        self._on_change()
        return NotesTaken(added, known, strange)


def notes_of_file(path: Path) -> object:
    """What is in a file of notes, in JSON's types, not checked yet.

    Raises
    ------
    InputError
        Where it cannot be read or is not JSON.
    """
    try:
        if path.stat().st_size > NOTES_BYTES:
            raise InputError(
                f"{path} is too large for a file of notes; choose the one that ends in -notes.json."
            )
        found: object = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{path} cannot be read ({error.strerror}); check the path.") from error
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path} is no file of notes; choose the one that ends in -notes.json.") from error
    return found


def _sessions(connection: sqlite3.Connection) -> list[dict[str, Any]]:
    found = []
    for number, identity, started_at in connection.execute(
        "SELECT number, id, started_at FROM session WHERE number IN (SELECT session FROM remark) ORDER BY number"
    ).fetchall():
        remarks = [
            {name: value for name, value in one.items() if name != "id"}
            for one in remarks_of(connection, number)
        ]
        found.append({"id": identity, "started_at": started_at, "remarks": remarks})
    return found


def _number(connection: sqlite3.Connection, session_id: str) -> int:
    row = connection.execute("SELECT number FROM session WHERE id = ?", (session_id,)).fetchone()
    if row is None:
        raise UnknownError("That session is not kept; look at the list of sessions again.")
    return int(row[0])
