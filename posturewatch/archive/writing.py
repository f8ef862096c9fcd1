"""Writing an archive: whole under its name, or not there."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import os
import secrets
import zipfile
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import IO, Any

from posturewatch import __version__
from posturewatch.archive.faults import ArchiveError
from posturewatch.archive.kinds import HEAD_BYTES, Kind
from posturewatch.archive.manifest import FORMAT, FORMAT_VERSION, MANIFEST, FileEntry, Manifest
from posturewatch.archive.names import key, why_not

__all__ = ["BLOCK_BYTES", "ArchiveWriter"]

#: Read and written at a time, so that films of any size need no more memory.
BLOCK_BYTES = 1 << 20


class ArchiveWriter:
    """A context that writes an archive. It has its name once all of it is on the disk; a fault leaves nothing behind.

    Parameters
    ----------
    path
        Must not be there.
    about
        The kind's own part of the manifest, in JSON's types.

    Raises
    ------
    ArchiveError
        Where the file is there already or cannot be written.
    ValueError
        For a file that the kind does not have, or one of another type.
    """

    def __init__(self, path: Path, kind: Kind, *, about: Mapping[str, Any] | None = None) -> None:
        self.path = path
        self._kind = kind
        self._about = dict(about or {})
        self._entries: list[FileEntry] = []
        self._names: set[str] = {key(MANIFEST)}
        if os.path.lexists(path):
            raise ArchiveError(f"{path} is there already; choose another name.")
        self._partial = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
        try:
            self._opened = self._partial.open("xb")
        except OSError as error:
            raise self._cannot(error) from error
        self._zip = zipfile.ZipFile(self._opened, "w", zipfile.ZIP_DEFLATED)

    def add_bytes(self, path: str, content: bytes) -> None:
        """A file with that content."""
        self._add(path, io.BytesIO(content), len(content))

    def add_file(self, path: str, source: Path) -> None:
        """A copy of that file.

        Raises
        ------
        OSError
            Where it cannot be read.
        """
        with source.open("rb") as opened:
            self._add(path, opened, os.fstat(opened.fileno()).st_size)

    def _add(self, path: str, content: IO[bytes], about_bytes: int) -> None:
        why, file_type = why_not(path), self._kind.type_of(path)
        if why is not None or file_type is None or key(path) in self._names:
            raise ValueError(
                f"{path!r} has no place in {self._kind.label}: {why or 'unknown, or there already'}"
            )
        head = content.read(HEAD_BYTES)
        if not file_type.fits(head):
            raise ValueError(f"{path!r} is no {file_type.name}")
        info = zipfile.ZipInfo(path)
        info.compress_type = zipfile.ZIP_STORED if file_type.packed else zipfile.ZIP_DEFLATED
        info.external_attr = 0o600 << 16
        info.file_size = about_bytes  # tells whether sizes of 64 bits are needed
        digest, size, block = hashlib.sha256(), 0, head
        try:
            with self._zip.open(info, "w") as target:
                while block:
                    digest.update(block)
                    size += len(block)
                    target.write(block)
                    block = content.read(BLOCK_BYTES)
        except OSError as error:
            raise self._cannot(error) from error
        self._names.add(key(path))
        self._entries.append(FileEntry(path=path, type=file_type.name, bytes=size, sha256=digest.hexdigest()))

    def close(self) -> None:
        """Writes the manifest and gives the file its name; may be called twice."""
        if self._opened.closed:
            return
        manifest = Manifest(
            format=FORMAT,
            format_version=FORMAT_VERSION,
            kind=self._kind.name,
            kind_version=self._kind.version,
            program_version=__version__,
            made_at=dt.datetime.now(dt.timezone.utc).isoformat(timespec="seconds"),
            about=self._about,
            files=self._entries,
        )
        try:
            self._zip.writestr(MANIFEST, manifest.model_dump_json(indent=1))
            self._zip.close()
            self._opened.flush()
            os.fsync(self._opened.fileno())
            self._opened.close()
            # A link in place of a rename: what has come to lie there meanwhile is not replaced.
            _name(self._partial, self.path)
        except OSError as error:
            self.discard()
            raise self._cannot(error) from error

    def discard(self) -> None:
        """Leaves nothing behind; may be called twice, and does nothing after `close`."""
        with suppress(OSError, ValueError):
            self._zip.close()
        self._opened.close()
        self._partial.unlink(missing_ok=True)

    def __enter__(self) -> ArchiveWriter:
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        if kind is None:
            self.close()
        else:
            self.discard()

    def _cannot(self, error: OSError) -> ArchiveError:
        if isinstance(error, FileExistsError):
            return ArchiveError(f"{self.path} is there already; choose another name.")
        return ArchiveError(
            f"{self.path} cannot be written ({error.strerror}); choose another place, or free some space there."
        )


def _name(partial: Path, path: Path) -> None:
    try:
        os.link(partial, path)
    except FileExistsError:
        raise
    except OSError:  # a stick's file system has no links
        if os.path.lexists(path):
            raise FileExistsError(path) from None
        partial.rename(path)
    else:
        partial.unlink()
