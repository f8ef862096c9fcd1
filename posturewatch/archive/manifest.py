"""The manifest: what an archive says of itself, and exactly that.

```
{"format": "posturewatch archive", "format_version": 1,
 "kind": "backup", "kind_version": 1,
 "program_version": "0.1.0", "made_at": UTC in ISO 8601,
 "about": {...},                                      of the kind's own
 "files": [{"path": "clips/a1b2/clip-1.mp4", "type": "video/mp4", "bytes": 48211, "sha256": 64 hex digits}]}
```
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, JsonValue

__all__ = ["FORMAT", "FORMAT_VERSION", "MANIFEST", "MOST_MANIFEST_BYTES", "FileEntry", "Manifest"]

#: Where it lies in the archive.
MANIFEST = "manifest.json"

FORMAT: Literal["posturewatch archive"] = "posturewatch archive"
FORMAT_VERSION: Literal[1] = 1

#: Far above that of ten thousand files.
MOST_MANIFEST_BYTES = 8_000_000

_Text = Annotated[str, Field(max_length=200)]


class FileEntry(BaseModel):
    """A file: path in the archive, type as registered with IANA, size, SHA-256 in hexadecimal digits."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)

    path: _Text
    type: _Text
    bytes: Annotated[int, Field(ge=0, le=2**62)]
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class Manifest(BaseModel):
    """See the module's own text. What is not known is refused: a later program that says more counts up the version."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, allow_inf_nan=False)

    format: Literal["posturewatch archive"]
    format_version: Literal[1]
    kind: _Text
    kind_version: Annotated[int, Field(ge=1, le=10_000)]
    program_version: _Text
    made_at: _Text
    about: dict[str, JsonValue]
    files: list[FileEntry]
