"""Sessions from one database to another, row by row, with all that belongs to them."""

from __future__ import annotations

import json
import math
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from posturewatch.storage.backup.kind import ID
from posturewatch.storage.samples import checksums
from posturewatch.storage.samples.chunks import insert_chunk
from posturewatch.storage.samples.codec import ChunkError, Samples, decode
from posturewatch.storage.schema.row_checksums import ROWS, is_sound
from posturewatch.storage.tables.clips import CLIPS_FOLDER, moments_in

__all__ = ["COPIED", "ForeignError", "SessionCopier"]

_Row = dict[str, Any]


class ForeignError(ValueError):
    """A row that this program would never write; says which table, in a few words."""


@dataclass(frozen=True)
class _Part:
    """A table that belongs to a session: which of its columns are numbers of another table's rows, and how its rows of
    a session are found."""

    table: str
    refers: tuple[tuple[str, str], ...]
    where: str = "session = ?"
    numbered: bool = True
    derived: bool = False


_SESSION = ("session", "session")

_PARTS = (
    _Part("series", (_SESSION,)),
    _Part("chunk", (("series", "series"),), "series IN (SELECT id FROM series WHERE session = ?)"),
    _Part("excursion", (_SESSION,)),
    _Part("mark", (_SESSION,)),
    _Part("remark", (_SESSION,)),
    _Part("warning", (_SESSION,)),
    _Part("passage", (_SESSION, ("piece", "piece"))),
    _Part("clip", (_SESSION,)),
    _Part("discomfort", (_SESSION,)),
    _Part("lift_plane", (_SESSION,), numbered=False),
    _Part("seal", (_SESSION,), numbered=False),
    _Part("exposure", (_SESSION, ("passage", "passage")), derived=True),
    _Part(
        "exposure_level",
        (("exposure", "exposure"),),
        "exposure IN (SELECT id FROM exposure WHERE session = ?)",
        numbered=False,
        derived=True,
    ),
    _Part("review", (_SESSION,), numbered=False, derived=True),
)

#: Every table whose rows come along; the list of migrations is each database's own.
COPIED = ("session", "piece", "refusal", "practice_item", "practice_place", *(part.table for part in _PARTS))

_TYPES: dict[str, tuple[type, ...]] = {
    "INTEGER": (int,),
    "REAL": (float, int),
    "TEXT": (str,),
    "BLOB": (bytes,),
}


class SessionCopier:
    """Copies from one database to another, both of this program's version; the caller's transaction holds it together.

    Parameters
    ----------
    keep_numbers
        Rows keep their numbers, but for those of sessions, and what was computed comes along: for the first that is
        copied into an empty database. Otherwise they get new ones, and what is computed is left to be computed anew.
    """

    def __init__(self, source: sqlite3.Connection, target: sqlite3.Connection, *, keep_numbers: bool) -> None:
        self._source = source
        self._target = target
        self._keep_numbers = keep_numbers
        self._columns: dict[str, tuple[str, dict[str, str]]] = {}
        self._codes = self._refusals()

    def session(self, number: int, as_number: int | None = None) -> None:
        """A session with all that belongs to it, after those that are there or with this number.

        Raises
        ------
        ForeignError
            For a row that this program would never write.
        """
        (row,) = self._rows("session", "number = ?", number)
        identity = row["id"]
        if not ID.fullmatch(identity):
            raise ForeignError("session")
        new = self._insert("session", row, "number", as_number)
        numbers: dict[str, dict[Any, Any]] = {"session": {number: new}}
        numbers["piece"] = self._pieces("id IN (SELECT piece FROM passage WHERE session = ?)", number)
        for part in _PARTS:
            if part.derived and not self._keep_numbers:
                continue
            known = numbers.setdefault(part.table, {})
            order = " ORDER BY id" if part.numbered else ""
            for one in self._rows(part.table, part.where + order, number):
                if part.table == "clip":
                    _check_clip(identity, one)
                before = one.get("id")
                for column, table in part.refers:
                    if one[column] is not None:
                        one[column] = numbers[table].get(one[column])
                        if one[column] is None:
                            raise ForeignError(part.table)
                if part.table == "chunk":
                    self._chunk(one)
                else:
                    known[before] = self._insert(part.table, one, "id" if part.numbered else None)

    def rest(self) -> None:
        """Pieces that are not played in any session, checks that belong to none, and the practice list, where there is
        none yet."""
        self._pieces("1")
        checks = {
            tuple(one.values())
            for one in _without_id(self._rows("discomfort", "session IS NULL", of_target=True))
        }
        for one in self._rows("discomfort", "session IS NULL"):
            if tuple(value for name, value in one.items() if name != "id") not in checks:
                self._insert("discomfort", one, "id")
        if self._target.execute("SELECT 1 FROM practice_item").fetchone() is None:
            pieces = self._pieces("id IN (SELECT piece FROM practice_item)")
            for one in self._rows("practice_item", "1 ORDER BY position"):
                self._insert("practice_item", {**one, "piece": pieces[one["piece"]]}, None)
            for one in self._rows("practice_place", "one = 1"):
                self._target.execute("UPDATE practice_place SET position = ?", (one["position"],))
        if self._keep_numbers:
            # Numbers of what was deleted are not given again.
            for name, last in self._source.execute("SELECT name, seq FROM sqlite_sequence").fetchall():
                if name in COPIED and isinstance(last, int):
                    self._target.execute("DELETE FROM sqlite_sequence WHERE name = ?", (name,))
                    self._target.execute(
                        "INSERT INTO sqlite_sequence (name, seq) VALUES (?, ?)", (name, last)
                    )

    def _rows(self, table: str, where: str, *values: object, of_target: bool = False) -> Iterator[_Row]:
        select, types = self._known(table)
        connection = self._target if of_target else self._source
        for row in connection.execute(f"{select} WHERE {where}", values).fetchall():
            one = dict(zip(types, row, strict=True))
            for name, value in one.items():
                if value is not None and not isinstance(value, _TYPES[types[name]]):
                    raise ForeignError(table)
                if isinstance(value, float) and not math.isfinite(value):
                    raise ForeignError(table)
            for name in one:
                if name.endswith("_json") and one[name] is not None:
                    _check_json(table, name, one[name])
            if table in ROWS and is_sound(table, one):
                # With new numbers it gets a new one; what is not as it was kept stays recognisable by the old one.
                one["checksum"] = None
            yield one

    def _known(self, table: str) -> tuple[str, dict[str, str]]:
        """How rows of a table are selected, and the type of each column, from the target, which is ours."""
        if table not in self._columns:
            info = self._target.execute(f"PRAGMA table_info({table})").fetchall()
            types = {name: kind for _, name, kind, *_ in info}
            self._columns[table] = (f"SELECT {', '.join(types)} FROM {table}", types)
        return self._columns[table]

    def _insert(self, table: str, row: _Row, number: str | None, new: int | None = None) -> int:
        """The row's number in the target."""
        if number is not None and (new is not None or not self._keep_numbers):
            row = {name: value for name, value in row.items() if name != number}
            if new is not None:
                row[number] = new
        try:
            cursor = self._target.execute(
                f"INSERT INTO {table} ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})",
                tuple(row.values()),
            )
        except sqlite3.IntegrityError as error:
            raise ForeignError(table) from error
        return int(cursor.lastrowid or 0)

    def _pieces(self, where: str, *values: object) -> dict[int, int]:
        """Numbers in the target of these pieces, which one name makes one."""
        numbers = {}
        for one in self._rows("piece", where, *values):
            row = self._target.execute("SELECT id FROM piece WHERE key = ?", (one["key"],)).fetchone()
            numbers[one["id"]] = self._insert("piece", one, "id") if row is None else int(row[0])
        return numbers

    def _refusals(self) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
        """From the source's codes of refusals to the target's."""
        codes = np.zeros(256, np.uint8)
        known = {word: code for code, word in self._target.execute("SELECT code, word FROM refusal")}
        for row in list(self._rows("refusal", "1")):
            code, word = row["code"], row["word"]
            if not 1 <= code <= 255:
                raise ForeignError("refusal")
            if word not in known:
                known[word] = code if code not in known.values() else 1 + max(known.values())
                self._insert("refusal", {"code": known[word], "word": word}, None)
            codes[code] = known[word]
        return codes

    def _chunk(self, row: _Row) -> None:
        """As it is, with what may be wrong with it, unless its refusals have other codes here."""
        data, times = row["data"], (row["first_ms"], row["last_ms"])
        ours = np.arange(256, dtype=np.uint8)
        if not (np.equal(self._codes, ours) | np.equal(self._codes, 0)).all() and (
            row["checksum"] is None or checksums.of_chunk(*times, data) == row["checksum"]
        ):
            try:
                samples = decode(data)
            except ChunkError:
                pass
            else:
                recoded = Samples(samples.time_ms, samples.value, samples.sd, self._codes[samples.refusal])
                if len(recoded):
                    insert_chunk(self._target, row["series"], recoded, merged=bool(row["merged"]))
                return
        self._insert("chunk", row, "id")


def _check_json(table: str, column: str, text: str) -> None:
    # Damaged limits and summaries are told of when they are read; what is nothing like them is refused.
    try:
        value = json.loads(text)
        if column == "moments_json" and not (isinstance(value, list) and len(moments_in(text)) == len(value)):
            raise ForeignError(table)
    except RecursionError as error:
        raise ForeignError(table) from error
    except ValueError:
        if table == "clip" or column == "places_json":
            raise ForeignError(table) from None


def _check_clip(identity: str, row: _Row) -> None:
    """A clip's file lies in its session's folder."""
    name = str(row["file"]).removeprefix(f"{CLIPS_FOLDER}/{identity}/")
    if name == row["file"] or not name or "/" in name or "\\" in name or name.startswith("."):
        raise ForeignError("clip")


def _without_id(rows: Iterator[_Row]) -> Iterator[_Row]:
    for one in rows:
        yield {name: value for name, value in one.items() if name != "id"}
