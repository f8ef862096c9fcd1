"""What an archive may be and what may be in it: kinds, and types of files with what each begins with."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

__all__ = ["CSV", "GIGABYTE", "HEAD_BYTES", "HTML", "JPEG", "JSON", "MP4", "SQLITE", "FileType", "Kind"]

GIGABYTE = 10**9

#: What is looked at of a file before its type is believed.
HEAD_BYTES = 512


@dataclass(frozen=True)
class FileType:
    """name: as registered with IANA. packed: whether it is compressed already. fits: whether a file of that type can
    begin with these bytes (its first 512, or all of it)."""

    name: str
    packed: bool
    fits: Callable[[bytes], bool]


def _text(head: bytes) -> bool:
    # A letter cut in two at the end is no fault of the text.
    return b"\0" not in head and "\ufffd" not in head.decode("utf-8", "replace").rstrip("\ufffd")


#: ISO/IEC 14496-12, section 4.3.
MP4 = FileType("video/mp4", True, lambda head: head[4:8] == b"ftyp")
#: SQLite database file format, section 1.3.1.
SQLITE = FileType("application/vnd.sqlite3", False, lambda head: head.startswith(b"SQLite format 3\0"))
#: RFC 8259, section 2: what whitespace may precede an object or array.
JSON = FileType(
    "application/json", False, lambda head: head.lstrip(b" \t\r\n")[:1] in (b"{", b"[") and _text(head)
)
#: ITU-T T.81, table B.1: start of image, and the first byte of the next marker.
JPEG = FileType("image/jpeg", True, lambda head: head.startswith(b"\xff\xd8\xff"))
CSV = FileType("text/csv", False, _text)
HTML = FileType(
    "text/html", False, lambda head: head.lstrip().lower().startswith(b"<!doctype html") and _text(head)
)


@dataclass(frozen=True)
class Kind:
    """What an archive is.

    Attributes
    ----------
    name, version
        As in its manifest. The version goes up with every change that an earlier program would misread.
    files
        What may be in it: a path, or a folder's path with / at its end, and the type of what lies there.
    label
        For sentences, with its article: "a backup".
    most_files, most_bytes
        What is refused beyond, unpacked.
    """

    name: str
    version: int
    files: Mapping[str, FileType]
    label: str
    most_files: int = 10_000
    most_bytes: int = 100 * GIGABYTE

    def type_of(self, path: str) -> FileType | None:
        """The type of what lies at that path; None where nothing may. A folder's files lie right in it or below."""
        if path in self.files:
            return self.files[path]
        folders = [name for name in self.files if name.endswith("/") and path.startswith(name)]
        return self.files[max(folders, key=len)] if folders else None
