"""The practice log of a data folder: everything the page reads and changes beside the recording, in JSON's types.

Numbers of pieces, passages, marks, clips and checks are those of the answers (`id`). Whatever is unknown raises
UnknownError, whatever cannot be done InputError, with one sentence, and then nothing has changed.
"""

from __future__ import annotations

import datetime as dt
import logging
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from posturewatch.clips.picture import picture_at
from posturewatch.comfort.discomfort import form_json
from posturewatch.errors import StoreError, UnknownError
from posturewatch.review import export
from posturewatch.review.comparison import compare
from posturewatch.review.entries import (
    CheckEntry,
    ClipChange,
    MarkChange,
    MarkEntry,
    PassageChange,
    PassageEntry,
    PieceChange,
    PracticeItems,
)
from posturewatch.review.reviews import forget_review, keep_review, stale_sessions
from posturewatch.review.samples import samples_json, trace_json
from posturewatch.review.session_document import full_document, piece_document, session_document
from posturewatch.review.session_list import session_list
from posturewatch.review.summaries import session_summary
from posturewatch.review.trends import local_today, trends
from posturewatch.storage import own_data
from posturewatch.storage.reader import read_lazily
from posturewatch.storage.store import Store
from posturewatch.storage.tables import checks, marks, passages, pieces, practice_list
from posturewatch.storage.tables import clips as clip_table

__all__ = ["PracticeLog"]

_LOG = logging.getLogger(__name__)

#: What trends and the list of sessions may spend on computing exposures that are not kept yet; the rest is done when
#: asked again.
_CATCH_UP_S = 2.0

#: Of a clip's picture: sharp on a phone, and small in a list.
_PICTURE_WIDTH_PX = 480


class PracticeLog:
    """Reads and changes of one store; may be used from any thread, also while a session is recorded."""

    def __init__(self, store: Store) -> None:
        self._store = store

    # ---- while playing ----

    def practice_list(self) -> dict[str, Any]:
        """The practice list: `items`, each piece, bars and tempo_bpm, and the `position` of the one in play, or
        None."""
        with self._reading() as connection:
            return practice_list.practice_list(connection)

    def set_practice_list(self, entry: PracticeItems) -> dict[str, Any]:
        """Replaces the practice list; the list as it is then."""
        with self._store.erasing() as connection:
            practice_list.set_practice_list(connection, [item.model_dump() for item in entry.items])
            return practice_list.practice_list(connection)

    def step(self, *, by: int = 0, to: int | None = None) -> dict[str, Any]:
        """The list, with `item`: what is to be played now."""
        with self._store.writing() as connection:
            item = practice_list.step(connection, by=by, to=to)
            return {**practice_list.practice_list(connection), "item": dict(item)}

    # ---- pieces ----

    def pieces(self) -> list[dict[str, Any]]:
        """All pieces, those not played for longest first."""
        with self._reading() as connection:
            return pieces.pieces(connection)

    def suggestions(self, begins: str) -> list[dict[str, Any]]:
        """Pieces in whose name a word begins like this, last played first."""
        with self._reading() as connection:
            return pieces.suggestions(connection, begins)

    def piece(self, number: int) -> dict[str, Any]:
        """The piece with each session in which it was played, oldest first, and its clips."""
        with self._reading() as connection:
            return piece_document(connection, self._store.data_dir, number)

    def rename_piece(self, number: int, change: PieceChange) -> dict[str, Any]:
        """Renames a piece everywhere; where another has that name already, both become one. The piece that is
        left."""
        with self._store.erasing() as connection:
            left = pieces.rename_piece(connection, number, change.name)
            if left != number:
                # Passages of one name may now belong together.
                for (session,) in connection.execute(
                    "SELECT DISTINCT session FROM passage WHERE piece = ?", (left,)
                ).fetchall():
                    forget_review(connection, session)
            return pieces.find_piece(connection, left)

    def delete_piece(self, number: int) -> None:
        """Forgets a piece.

        Raises
        ------
        ConflictError
            While passages of it are kept or it is on the practice list.
        """
        with self._store.erasing() as connection:
            pieces.delete_piece(connection, number)

    # ---- one session ----

    def sessions(self) -> list[dict[str, Any]]:
        """All sessions, newest first, with what each adds up to; see `posturewatch.review.session_list`."""
        self._catch_up()
        with self._reading() as connection:
            return session_list(connection, self._store.sessions())

    def summary(self, session_id: str) -> dict[str, Any]:
        """A session's summary; see `posturewatch.review.summaries.summarise_record`."""
        return session_summary(self._store, self._store.find_exactly(session_id))

    def session(self, session_id: str) -> dict[str, Any]:
        """Passages, marks, excursions, clips, checks, exposures and the finding of a session; exposures and
        finding are None while it runs."""
        info = self._store.find_exactly(session_id)
        if not info.open:
            self._catch_up(session_id)
        with self._reading() as connection:
            return session_document(connection, self._store.data_dir, info)

    def comparison(self, session_id: str, other: str | int) -> dict[str, Any]:
        """A session beside another, or beside a clip by its number; see `posturewatch.review.comparison.compare`."""
        clip = self.clip(other) if isinstance(other, int) else None
        documents = self.session(session_id), self.session(str(other) if clip is None else clip["session_id"])
        return compare(self._store, *documents, clip)

    def add_passage(self, session_id: str, entry: PassageEntry) -> dict[str, Any]:
        """A passage entered afterwards.

        Raises
        ------
        InputError
            Where it lies on another one or beyond the session.
        """
        with self._store.writing() as connection:
            number = _number(connection, session_id)
            forget_review(connection, number)
            return passages.add_passage(connection, number, **entry.model_dump()).to_json()

    def change_passage(self, number: int, change: PassageChange) -> dict[str, Any]:
        """Changes a passage.

        Raises
        ------
        InputError
            As `add_passage`, or for the end of one that is still being played.
        """
        with self._store.erasing() as connection:
            changed = passages.change_passage(connection, number, change.changes())
            forget_review(connection, _number(connection, changed.session_id))
            return changed.to_json()

    def delete_passage(self, number: int) -> None:
        """Forgets a passage; its samples stay."""
        with self._store.erasing() as connection:
            deleted = passages.delete_passage(connection, number)
            forget_review(connection, _number(connection, deleted.session_id))

    def add_mark(self, session_id: str, entry: MarkEntry) -> dict[str, Any]:
        """A mark set afterwards.

        Raises
        ------
        InputError
            For a time beyond the session's end.
        """
        with self._store.writing() as connection:
            return marks.add_mark(connection, _number(connection, session_id), entry.time_s, entry.note)

    def change_mark(self, number: int, change: MarkChange) -> dict[str, Any]:
        """Moves a mark or changes its note.

        Raises
        ------
        InputError
            For a time beyond the session's end.
        """
        with self._store.erasing() as connection:
            return marks.change_mark(connection, number, change.changes())

    def delete_mark(self, number: int) -> None:
        """Forgets a mark."""
        with self._store.erasing() as connection:
            marks.delete_mark(connection, number)

    def samples(self, session_id: str, start_s: float, end_s: float) -> dict[str, Any]:
        """The samples in [start_s, end_s), seconds of the session.

        Raises
        ------
        InputError
            For a stretch that is too long.
        """
        with self._reading() as connection:
            return samples_json(connection, _number(connection, session_id), start_s, end_s)

    def trace(self, session_id: str, bins: int) -> dict[str, Any]:
        """The whole session in at most so many bins.

        Raises
        ------
        InputError
            For too many.
        """
        with self._reading() as connection:
            return trace_json(read_lazily(connection, session_id), bins)

    # ---- clips ----

    def clips(self, *, session_id: str | None = None, piece: int | None = None) -> list[dict[str, Any]]:
        """Clips, newest session first; of one session or one piece where asked for."""
        with self._reading() as connection:
            return clip_table.clips(connection, self._store.data_dir, session_id=session_id, piece=piece)

    def clip(self, number: int) -> dict[str, Any]:
        """One clip."""
        with self._reading() as connection:
            return clip_table.find_clip(connection, self._store.data_dir, number)

    def video_path(self, number: int) -> Path:
        """Where the clip's video file lies.

        Raises
        ------
        UnknownError
            Where it is gone.
        """
        with self._reading() as connection:
            path = clip_table.whole_clip_path(connection, self._store.data_dir, number)
        if path is None:
            raise UnknownError(
                "The video of this clip is missing or damaged; delete the clip if you do not need its note."
            )
        return path

    def clip_picture(self, number: int, time_s: float | None = None) -> bytes:
        """A small picture of the clip as a JPEG: of this second of the session, else of the moment it was made for.

        Raises
        ------
        UnknownError
            Where its video is gone or cannot be read.
        """
        path, clip = self.video_path(number), self.clip(number)
        if time_s is None:
            time_s = clip["moments"][0]["key_s"] if clip["moments"] else clip["start_s"]
        picture = picture_at(path, time_s - clip["start_s"], _PICTURE_WIDTH_PX)
        if picture is None:
            raise UnknownError(
                "The video of this clip cannot be read; delete the clip if you do not need its note."
            )
        return picture

    def change_clip(self, number: int, change: ClipChange) -> dict[str, Any]:
        """Keeps a clip or lets it go, or changes its note."""
        with self._store.erasing() as connection:
            clip_table.change_clip(connection, number, change.changes())
            return clip_table.find_clip(connection, self._store.data_dir, number)

    def delete_clip(self, number: int) -> int:
        """Deletes a clip with its video file; the bytes freed.

        Raises
        ------
        StoreError
            Where the file cannot be deleted.
        """
        with self._store.erasing() as connection:
            return clip_table.delete_clip(connection, self._store.data_dir, number)

    # ---- discomfort ----

    def check_form(self) -> dict[str, Any]:
        """The form of the discomfort check: scale, places and warning signs."""
        return form_json()

    def checks(self) -> list[dict[str, Any]]:
        """All discomfort checks, newest first."""
        with self._reading() as connection:
            return checks.checks(connection)

    def add_check(self, entry: CheckEntry) -> dict[str, Any]:
        """Keeps a check and gives it back with its advice.

        Raises
        ------
        InputError
            For one after playing without a session.
        """
        values = entry.model_dump()
        identity = values.pop("session_id")
        with self._store.writing() as connection:
            session = None if identity is None else _number(connection, identity)
            return checks.add_check(connection, session, **values)

    def delete_check(self, number: int) -> None:
        """Forgets a check."""
        with self._store.erasing() as connection:
            checks.delete_check(connection, number)

    # ---- over weeks ----

    def trends(self, *, weeks: int, today: dt.date | None = None) -> dict[str, Any]:
        """Exposure and load of the last weeks up to the player's own `today`; see `posturewatch.review.trends`."""
        self._catch_up()
        with self._reading() as connection:
            return trends(connection, today=local_today() if today is None else today, weeks=weeks)

    # ---- own data ----

    def data(self) -> dict[str, Any]:
        """Where the data lie and how large they are."""
        return own_data.data_json(self._store)

    def forget_session(self, session_id: str) -> int:
        """Deletes a session with its clips for good; the bytes freed.

        Raises
        ------
        ConflictError
            While it is recorded.
        """
        return own_data.forget_session(self._store, session_id)

    def forget_everything(self) -> int:
        """Deletes everything but the settings; the bytes freed.

        Raises
        ------
        ConflictError
            While a session is recorded.
        """
        return own_data.forget_everything(self._store)

    def export_csv(self, session_id: str) -> Iterator[str]:
        """The session as CSV, in blocks of lines."""
        return export.csv_blocks(self._store, session_id)

    def export_json(self, session_id: str) -> Iterator[str]:
        """All that is known of the session, its samples included: the text of one JSON object in parts."""
        if not self._store.find_exactly(session_id).open:
            self._catch_up(session_id)
        return export.json_blocks(self._store, session_id, full_document(self._store, session_id))

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with self._store.reading() as connection:
            if connection is None:
                raise StoreError(
                    f"The practice data in {self._store.path} have gone; start posturewatch again."
                )
            yield connection

    def _catch_up(self, session_id: str | None = None) -> None:
        """Computes what is not kept: of this session, or of all, for as long as may be spent on it."""
        with self._reading() as connection:
            stale = stale_sessions(connection)
        began = time.monotonic()
        for number, identity in stale:
            if session_id in (None, identity):
                try:
                    with self._store.connecting() as connection:
                        keep_review(connection, number, read_lazily(connection, identity))
                except StoreError as error:
                    if session_id is not None:
                        raise
                    _LOG.error("no exposure for session %s: %s", identity, error)
                if session_id is None and time.monotonic() - began > _CATCH_UP_S:
                    return


def _number(connection: sqlite3.Connection, session_id: str) -> int:
    row = connection.execute("SELECT number FROM session WHERE id = ?", (session_id,)).fetchone()
    if row is None:
        raise UnknownError("That session is not kept; look at the list of sessions again.")
    return int(row[0])
