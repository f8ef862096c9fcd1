"""A bundle opened to be looked at: checked, unpacked into a folder that goes away again, notes beside the bundle."""

from __future__ import annotations

import json
import os
import tempfile
from contextlib import ExitStack
from pathlib import Path

from posturewatch.errors import InputError, StoreError
from posturewatch.review.derived import open_store
from posturewatch.review.exchange.notes import LONGEST_AUTHOR, Notes, notes_of_file
from posturewatch.storage.backup.kind import BUNDLE
from posturewatch.storage.restoring import restore
from posturewatch.storage.store import Store

__all__ = ["OpenedBundle"]


class OpenedBundle:
    """A context; the practices are in `store`, which is nobody's practice log.

    Notes are written to `notes_path` with every change, so that none is lost; those that are there already are taken
    in first.

    Parameters
    ----------
    author
        Who looks at it, for the notes; may be empty.

    Raises
    ------
    ArchiveError
        Where it is no bundle, is damaged, or holds what this program would never write.
    InputError
        For a name that is too long, and where the notes that are there cannot be read.
    StoreError
        Where it cannot be unpacked.
    """

    def __init__(self, path: Path, author: str = "") -> None:
        if len(author) > LONGEST_AUTHOR:
            raise InputError(f"A name has at most {LONGEST_AUTHOR} characters; shorten it.")
        self.path = path
        self.notes_path = path.with_name(f"{path.stem}-notes.json")
        self._cleanup = ExitStack()
        try:
            folder = self._cleanup.enter_context(tempfile.TemporaryDirectory(prefix="posturewatch-bundle-"))
            self.store: Store = self._cleanup.enter_context(open_store(Path(folder) / "data"))
            self.damage = restore(self.store, path, kind=BUNDLE).damage
            self.notes = Notes(self.store, author=author, on_change=self._write)
            if self.notes_path.exists():
                self.notes.take(notes_of_file(self.notes_path))
        except BaseException:
            self._cleanup.close()
            raise

    def _write(self) -> None:
        """Under another name first: what is there is whole."""
        beside = self.notes_path.with_name(f".{self.notes_path.name}.part")
        try:
            with beside.open("w", encoding="utf-8") as file:
                json.dump(self.notes.document(), file, ensure_ascii=False, indent=1)
                file.flush()
                os.fsync(file.fileno())
            beside.replace(self.notes_path)
        except OSError as error:
            raise StoreError(
                f"The notes cannot be written to {self.notes_path} ({error.strerror}); make room there, or move the "
                "bundle to a folder that can be written to."
            ) from error

    def close(self) -> None:
        """Leaves nothing of the practices behind; may be called twice."""
        self._cleanup.close()

    def __enter__(self) -> OpenedBundle:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
