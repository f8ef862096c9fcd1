"""A film that was handed in: its folder, its file as it comes in, and what is to become of it."""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from posturewatch.errors import InputError, StoreError
from posturewatch.pipeline.films.keeping import Played

__all__ = ["HandedIn", "Incoming", "folder_for"]

_ABOUT = "film.json"
_PREFIX = "film-"

#: Bytes of a file's name that every system takes, and some to spare.
_LONGEST_NAME = 150

#: What is left free on the disk for all else.
_SPARE_BYTES = 500_000_000


@dataclass
class HandedIn:
    """A film that lies in a folder of its own.

    Attributes
    ----------
    phase
        "waiting", "measuring", "keeping", "kept" or "failed".
    session_id
        Its session, once it is kept.
    sentence
        What went wrong, or what is to be said of it.
    """

    id: str
    folder: Path
    name: str
    played: Played
    bytes: int
    phase: str = "waiting"
    session_id: str | None = None
    sentence: str | None = None
    removed: bool = field(default=False)

    @property
    def path(self) -> Path:
        """Of its file."""
        return self.folder / self.name

    def enter(self, phase: str) -> None:
        """It has come to this phase."""
        self.phase = phase

    def failed(self, sentence: str) -> None:
        """It cannot be measured or kept; the sentence calls it by its name, not by where it lies meanwhile."""
        self.phase, self.sentence = "failed", sentence.replace(str(self.path), self.name)

    def kept(self, session_id: str, sentence: str) -> None:
        """It is a session now."""
        self.phase, self.session_id, self.sentence = "kept", session_id, sentence or None

    def to_json(self) -> dict[str, Any]:
        """In JSON's types."""
        return {
            "id": self.id,
            "name": self.name,
            "piece": self.played.piece,
            "bars": self.played.bars,
            "bytes": self.bytes,
            "phase": self.phase,
            "share": 1.0 if self.phase == "kept" else None,
            "left_s": None,
            "session_id": self.session_id,
            "sentence": self.sentence,
        }

    @classmethod
    def left_in(cls, folder: Path) -> list[HandedIn]:
        """Films that an earlier run did not come to the end of, oldest first; what came in only in part is deleted."""
        found = []
        for own in sorted(folder.glob(f"{_PREFIX}*"), key=lambda one: one.stat().st_mtime):
            try:
                about = json.loads((own / _ABOUT).read_text(encoding="utf-8"))
                path = own / str(about["name"])
                played = Played(about["piece"], about["bars"])
                found.append(cls(own.name.removeprefix(_PREFIX), own, path.name, played, path.stat().st_size))
            except (OSError, ValueError, KeyError, TypeError):
                shutil.rmtree(own, ignore_errors=True)
        return found


def folder_for(folder: Path) -> Path:
    """A fresh folder for a film.

    Raises
    ------
    StoreError
        Where it cannot be made.
    """
    own = folder / f"{_PREFIX}{secrets.token_hex(4)}"
    try:
        # Never the data folder itself: where that has gone, another one in its place keeps it from coming back.
        folder.mkdir(exist_ok=True)
        own.mkdir(mode=0o700)
    except OSError as error:
        raise StoreError(
            f"The film cannot be taken in ({error.strerror}); free some space in {folder}."
        ) from error
    return own


class Incoming:
    """A film that is coming in; `write` block by block, then `finish`, or else `abort`.

    Parameters
    ----------
    taken
        Called with the film once it is there as a whole.
    """

    def __init__(
        self,
        folder: Path,
        name: str,
        played: Played,
        modified_s: float | None,
        limit_bytes: int,
        taken: Callable[[HandedIn], dict[str, Any]],
    ) -> None:
        self._folder = folder
        self._name = usable_name(name)
        self._played = played
        self._modified_s = modified_s
        self._limit_bytes = limit_bytes
        self._taken = taken
        self._bytes = 0
        self._file = (folder / self._name).open("wb")

    def expect(self, total_bytes: int) -> None:
        """Refuses at once what is too large or does not fit on the disk.

        Raises
        ------
        InputError
            With one sentence.
        """
        if total_bytes > self._limit_bytes:
            raise InputError(
                f"The film has {total_bytes / 1e9:.1f} GB, more than the {self._limit_bytes / 1e9:g} GB that are taken "
                "here; cut it, or use: posturewatch analyse."
            )
        if total_bytes + _SPARE_BYTES > shutil.disk_usage(self._folder).free:
            raise InputError(
                f"There is no room for {total_bytes / 1e9:.1f} GB on the disk of {self._folder.parent}; free some, "
                "or use: posturewatch analyse, which takes the film from where it is."
            )

    def write(self, data: bytes) -> None:
        """The next block.

        Raises
        ------
        InputError
            Where the film becomes too large, or the disk is full.
        """
        self._bytes += len(data)
        if self._bytes > self._limit_bytes:
            self.expect(self._bytes)
        try:
            self._file.write(data)
        except OSError as error:
            raise InputError(
                f"The film could not be written to its end ({error.strerror}); free some space on the disk."
            ) from error

    def finish(self) -> dict[str, Any]:
        """The film as it waits to be measured, in JSON's types.

        Raises
        ------
        InputError
            For an empty one, and where it could not be written.
        """
        if self._bytes == 0:
            raise InputError("The film is empty (0 bytes); copy or record it again.")
        about = {"name": self._name, "piece": self._played.piece, "bars": self._played.bars}
        try:
            self._file.close()
            if self._modified_s is not None:
                os.utime(self._folder / self._name, (self._modified_s, self._modified_s))
            (self._folder / _ABOUT).write_text(json.dumps(about), encoding="utf-8")
        except (OSError, OverflowError, ValueError) as error:
            raise InputError(
                f"The film could not be written to its end ({error}); free some space."
            ) from error
        identity = self._folder.name.removeprefix(_PREFIX)
        return self._taken(HandedIn(identity, self._folder, self._name, self._played, self._bytes))

    def abort(self) -> None:
        """Deletes what came in; without effect after `finish`."""
        if not (self._folder / _ABOUT).exists():
            with suppress(OSError):
                self._file.close()
            shutil.rmtree(self._folder, ignore_errors=True)


def usable_name(name: str) -> str:
    """A file's name that every system takes, as near as can be to the one that was given."""
    last = re.split(r"[/\\]", name)[-1]
    cleaned = re.sub(r'[\x00-\x1f\x7f<>:"|?*\ud800-\udfff]', "_", last).strip(" .")
    stem, dot, ending = cleaned.rpartition(".")
    if not dot or not stem:
        stem, ending = cleaned, ""
    ending = ending[:10]
    stem = stem.encode()[:_LONGEST_NAME].decode(errors="ignore")
    named = f"{stem}.{ending}" if ending else stem
    return named if named and named != _ABOUT else "film.mp4"
