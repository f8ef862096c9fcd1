"""Reading an archive of which nothing is believed before it has been checked."""

from __future__ import annotations

import hashlib
import json
import os
import stat
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO, TypeVar

from pydantic import BaseModel, ValidationError

from posturewatch.archive.faults import ArchiveError, refused
from posturewatch.archive.kinds import HEAD_BYTES, Kind
from posturewatch.archive.manifest import (
    FORMAT_VERSION,
    MANIFEST,
    MOST_MANIFEST_BYTES,
    FileEntry,
    Manifest,
)
from posturewatch.archive.names import key, why_not
from posturewatch.archive.writing import BLOCK_BYTES

__all__ = ["Archive"]

_About = TypeVar("_About", bound=BaseModel)

#: Of the ZIP file's own list of its files; the library reads all of it at once. Far above that of ten thousand files.
_MOST_LIST_BYTES = 16_000_000

#: The end of a ZIP file (PKWARE APPNOTE 6.3.10, sections 4.3.14 to 4.3.16): the list's size is in the one without
#: 64 bits, or in the one that precedes it.
_END, _END_BYTES, _LONGEST_COMMENT = b"PK\x05\x06", 22, 0xFFFF
_END_64, _END_64_BYTES = b"PK\x06\x06", 56

#: What text and databases of ours shrink to is far more than this part; zeros made to fill a disk shrink to less.
_SMALLEST_PART = 1 / 200
_LARGE_BYTES = 50_000_000

_NOT_OURS = "it is no archive of posturewatch, or the end of it is missing"
_DAMAGED = "it is damaged"

#: What the library raises for a ZIP file that is none, or none that it knows.
_ZIP_FAULTS = (
    zipfile.BadZipFile,
    zlib.error,
    NotImplementedError,
    RuntimeError,
    ValueError,
    EOFError,
    struct.error,
)


class Archive:
    """An archive, opened for reading; a context. Once it is open, its manifest, names, types and sizes are right; what
    is in its files is checked as they are read.

    Parameters
    ----------
    kinds
        What is expected; another kind, or a newer version of one, is refused.

    Raises
    ------
    ArchiveError
        For everything that is not as it should be, in one sentence.
    """

    def __init__(self, path: Path, kinds: Sequence[Kind]) -> None:
        self.path = path
        self._opened = _open_file(path)
        try:
            with self._faults():
                if _list_bytes(self._opened) > _MOST_LIST_BYTES:
                    raise refused(path, "it lists too many files")
                self._zip = zipfile.ZipFile(self._opened)
                self._infos = self._listed()
                self.manifest = self._read_manifest()
            self.kind = self._known_kind(kinds)
            self.files: dict[str, FileEntry] = self._checked_files()
        except BaseException:
            self._opened.close()
            raise

    @property
    def total_bytes(self) -> int:
        """Of all its files, unpacked."""
        return sum(one.bytes for one in self.files.values())

    def about_as(self, model: type[_About]) -> _About:
        """The kind's own part of the manifest, in the shape of a model.

        Raises
        ------
        ArchiveError
            Where it has another shape.
        """
        try:
            return model.model_validate_json(json.dumps(self.manifest.about))
        except ValidationError as error:
            raise refused(self.path, _shape(error)) from error

    def check(self, *, on_file: Callable[[str], None] = lambda path: None) -> None:
        """Reads every byte and compares it with its checksum.

        Parameters
        ----------
        on_file
            Called before each file.

        Raises
        ------
        ArchiveError
            For the first file that is not as it was written.
        """
        for path in self.files:
            on_file(path)
            for _ in self.blocks(path):
                pass

    def blocks(self, path: str) -> Iterator[bytes]:
        """A file's content, block by block; that all of it was right is known when the last one has come.

        Raises
        ------
        ArchiveError
            Where it is not as it was written.
        KeyError
            For a file that it does not have.
        """
        entry = self.files[path]
        file_type = self.kind.type_of(path)
        digest, size = hashlib.sha256(), 0
        with self._faults(), self._zip.open(self._infos[path]) as opened:
            head = opened.read(HEAD_BYTES)
            if file_type is None or not file_type.fits(head):
                raise refused(self.path, f"{path} in it is not of the type that it should be")
            block = head
            while block:
                size += len(block)
                if size > entry.bytes:
                    break
                digest.update(block)
                yield block
                block = opened.read(BLOCK_BYTES)
        if size != entry.bytes or digest.hexdigest() != entry.sha256:
            raise refused(self.path, f"{path} in it is damaged")

    def read(self, path: str, *, most_bytes: int = 64_000_000) -> bytes:
        """A small file's content.

        Raises
        ------
        ArchiveError
            Where it is not as it was written, or larger than that.
        KeyError
            For a file that it does not have.
        """
        if self.files[path].bytes > most_bytes:
            raise refused(self.path, f"{path} in it is too large")
        return b"".join(self.blocks(path))

    def extract(self, path: str, to: Path) -> None:
        """Writes a file to a new place, on the disk when this returns; a fault leaves nothing there.

        Raises
        ------
        ArchiveError
            Where it is not as it was written.
        OSError
            Where it cannot be written, or something is there already.
        KeyError
            For a file that it does not have.
        """
        with to.open("xb") as opened:
            try:
                for block in self.blocks(path):
                    opened.write(block)
                opened.flush()
                os.fsync(opened.fileno())
            except BaseException:
                to.unlink(missing_ok=True)
                raise

    def close(self) -> None:
        """May be called twice."""
        self._zip.close()
        self._opened.close()

    def __enter__(self) -> Archive:
        return self

    def __exit__(self, *exception: object) -> None:
        self.close()

    @contextmanager
    def _faults(self) -> Iterator[None]:
        try:
            yield
        except ArchiveError:
            raise
        except zipfile.BadZipFile as error:
            raise refused(self.path, _DAMAGED if hasattr(self, "files") else _NOT_OURS) from error
        except (*_ZIP_FAULTS, OSError) as error:
            raise refused(self.path, _DAMAGED) from error

    def _listed(self) -> dict[str, zipfile.ZipInfo]:
        """The ZIP file's own list, of plain files with plain names alone."""
        found: dict[str, zipfile.ZipInfo] = {}
        keys = set()
        for info in self._zip.infolist():
            why = why_not(info.orig_filename) or (None if info.filename == info.orig_filename else "odd name")
            mode = info.external_attr >> 16
            if why is None and key(info.filename) in keys:
                why = "it has two files of one name"
            if why is None and (info.is_dir() or (mode and stat.S_IFMT(mode) not in (0, stat.S_IFREG))):
                why = "there is something in it that is no file"
            if why is None and info.flag_bits & 0x1:
                why = "a file in it is encrypted"
            if why is None and info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                why = "a file in it is packed in a way that is not known here"
            if why is not None:
                raise refused(self.path, why)
            keys.add(key(info.filename))
            found[info.filename] = info
        return found

    def _read_manifest(self) -> Manifest:
        info = self._infos.get(MANIFEST)
        if info is None:
            raise refused(self.path, _NOT_OURS)
        if info.file_size > MOST_MANIFEST_BYTES:
            raise refused(self.path, f"{MANIFEST} in it is too large")
        with self._zip.open(info) as opened:
            text = opened.read(MOST_MANIFEST_BYTES + 1)
        try:
            return Manifest.model_validate_json(text)
        except ValidationError as error:
            newer = any(one["loc"] == ("format_version",) for one in error.errors(include_url=False))
            why = f"it was made by a newer posturewatch; update this one (it knows version {FORMAT_VERSION})"
            raise refused(self.path, why if newer else _shape(error)) from error

    def _known_kind(self, kinds: Sequence[Kind]) -> Kind:
        for kind in kinds:
            if kind.name == self.manifest.kind:
                if self.manifest.kind_version > kind.version:
                    raise refused(self.path, "it was made by a newer posturewatch; update this one")
                return kind
        expected = " or ".join(kind.label for kind in kinds)
        raise refused(self.path, f"it is not {expected}")

    def _checked_files(self) -> dict[str, FileEntry]:
        """What the manifest and the ZIP file say of each file has to agree."""
        files = {entry.path: entry for entry in self.manifest.files}
        if len(files) != len(self.manifest.files) or set(files) != set(self._infos) - {MANIFEST}:
            raise refused(self.path, f"{MANIFEST} in it does not name the very files that are in it")
        unpacked = sum(one.bytes for one in files.values())
        if unpacked > _LARGE_BYTES and self.path.stat().st_size < unpacked * _SMALLEST_PART:
            raise refused(self.path, "it would swell to many times its size")
        if len(files) > self.kind.most_files or unpacked > self.kind.most_bytes:
            raise refused(self.path, f"it is larger than {self.kind.label} can be")
        for path, entry in files.items():
            file_type = self.kind.type_of(path)
            if file_type is None or file_type.name != entry.type:
                raise refused(self.path, f"{path} has no place in {self.kind.label}")
            if entry.bytes != self._infos[path].file_size:
                raise refused(self.path, f"{path} in it has not the size that it should have")
        return files


def _open_file(path: Path) -> IO[bytes]:
    try:
        # Without waiting: a pipe would never open.
        flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        descriptor = os.open(path, flags)
    except OSError as error:
        raise ArchiveError(
            f"{path} cannot be read ({error.strerror}); name an archive of posturewatch."
        ) from error
    # Looked at first: of a folder no file object can be made that would close it again.
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        os.close(descriptor)
        raise ArchiveError(f"{path} is no file; name an archive of posturewatch.")
    return os.fdopen(descriptor, "rb")


def _list_bytes(opened: IO[bytes]) -> int:
    """How large the ZIP file says that its list is; 0 where there is no end to be found, which the library says."""
    size = opened.seek(0, os.SEEK_END)
    opened.seek(max(0, size - _END_BYTES - _LONGEST_COMMENT - _END_64_BYTES - 20))
    tail = opened.read()
    place = tail.rfind(_END)
    stated = 0
    if place >= 0 and len(tail) >= place + _END_BYTES:
        (stated,) = struct.unpack_from("<L", tail, place + 12)
        place_64 = tail.rfind(_END_64, 0, place)
        if place_64 >= 0 and len(tail) >= place_64 + _END_64_BYTES:
            (stated,) = struct.unpack_from("<Q", tail, place_64 + 40)
    return int(stated)


def _shape(error: ValidationError) -> str:
    first = error.errors(include_url=False, include_input=False)[0]
    where = ".".join(str(part)[:40] for part in first["loc"]) or "its text"
    return f"{MANIFEST} in it is not as it should be ({where}: {first['msg'][:120]})"
