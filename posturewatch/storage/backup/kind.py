"""What a backup is: the database, and the clips beside it as in the data folder."""

from __future__ import annotations

import re
import sqlite3
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from posturewatch.archive.kinds import GIGABYTE, HTML, MP4, SQLITE, Kind
from posturewatch.storage.folder.database import FILE_NAME
from posturewatch.storage.tables.clips import CLIPS_FOLDER

__all__ = ["BACKUP", "BUNDLE", "ID", "REPLACED", "REPORT", "About", "SessionLine", "lines_of"]

BACKUP = Kind("backup", 1, {FILE_NAME: SQLITE, f"{CLIPS_FOLDER}/": MP4}, "a backup")

REPORT = "report.html"

#: Some sessions for somebody else to look at, with a report that opens without this program.
BUNDLE = Kind(
    "bundle",
    1,
    {FILE_NAME: SQLITE, f"{CLIPS_FOLDER}/": MP4, REPORT: HTML},
    "a bundle of practices",
    most_files=2_000,
    most_bytes=20 * GIGABYTE,
)


#: What ids of sessions look like.
ID = re.compile(r"^[0-9a-z]{1,32}$")

#: How the folders begin in which what a backup replaced is kept; each is a data folder of its own.
REPLACED = "replaced-"


class SessionLine(BaseModel):
    """A session by its id and its beginning (UTC, ISO 8601)."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)

    id: Annotated[str, Field(pattern=ID.pattern)]
    started_at: Annotated[str, Field(max_length=40)]


class About(BaseModel):
    """A backup's own part of the manifest. whole: all that was kept, not one session. clips: whether the films are in
    it too. sessions: newest first."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)

    whole: bool
    clips: bool
    sessions: list[SessionLine]


def lines_of(connection: sqlite3.Connection) -> list[SessionLine]:
    """The sessions of a database of any version, newest first."""
    rows = connection.execute("SELECT id, started_at FROM session ORDER BY started_at DESC, number DESC")
    # One that damage has given another id is in the database all the same.
    return [
        SessionLine(id=identity, started_at=started_at[:40])
        for identity, started_at in rows
        if isinstance(identity, str) and ID.fullmatch(identity) and isinstance(started_at, str)
    ]
