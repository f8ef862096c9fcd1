"""Paths inside an archive that mean the same on every system, and lead nowhere else on any."""

from __future__ import annotations

import re
import unicodedata

__all__ = ["LONGEST_PATH", "key", "why_not"]

#: Characters; with the data folder before it, far from the 260 that some Windows programs can do.
LONGEST_PATH = 150

#: Names of devices on Windows, with any ending (Microsoft, "Naming Files, Paths, and Namespaces").
_DEVICES = re.compile(r"(?:con|prn|aux|nul|com\d|lpt\d)(?:\..*)?", re.IGNORECASE)

#: Separators, streams, wildcards and what shells read: none of it can be in the name of a file of ours.
_ODD = re.compile(r'[\\:*?"<>|]')


def why_not(path: str) -> str | None:
    """Why a file must not have this path, in a few words; None where it may. Parts are joined by /."""
    if not path or len(path) > LONGEST_PATH:
        return "it has a name without letters or of too many"
    if not path.isprintable() or _ODD.search(path) or unicodedata.normalize("NFC", path) != path:
        return "the name of a file in it has signs that do not belong there"
    for part in path.split("/"):
        if part in ("", ".", "..") or part != part.strip(" ") or part.endswith("."):
            return "the name of a file in it leads elsewhere"
        if _DEVICES.fullmatch(part):
            return "the name of a file in it is that of a device"
    return None


def key(path: str) -> str:
    """Alike for two paths that are one file where capitals do not count."""
    return unicodedata.normalize("NFC", path.casefold())
