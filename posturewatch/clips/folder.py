"""The clips' place on the disk: room for new ones by removing the oldest, leftovers of a crash swept away."""

from __future__ import annotations

import contextlib
import logging
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

__all__ = ["CLIP_SUFFIX", "PART_SUFFIX", "ClipFolder", "remove_leftovers"]

_LOG = logging.getLogger(__name__)

CLIP_SUFFIX = ".mp4"

#: Ends the name of a clip while it is being written.
PART_SUFFIX = ".part"


def remove_leftovers(root: Path, is_listed: Callable[[Path, int], bool] = lambda path, size: False) -> int:
    """Deletes what an interrupted writing left anywhere below this folder; the count of files deleted. Only
    while nothing is being written there.

    Parameters
    ----------
    is_listed
        Whether a clip of this path and of so many bytes is listed: then it is whole, and only lacks its name.
    """
    count = 0
    for part in root.rglob(f"clip-*{CLIP_SUFFIX}{PART_SUFFIX}"):
        path = part.with_suffix("")
        with contextlib.suppress(OSError):
            if not path.exists() and is_listed(path, part.stat().st_size):
                part.replace(path)
                continue
            part.unlink()
            count += 1
    return count


@dataclass(frozen=True)
class _Stored:
    path: Path
    size_bytes: int
    written_ns: int


@dataclass(frozen=True)
class ClipFolder:
    """All clips below one folder, of all sessions.

    Attributes
    ----------
    limit_bytes
        The clips together take no more than this, the kept ones included.
    reserve_bytes
        This much of the disk stays free, so that clips never take the room that the session's record needs.
    is_kept
        Whether the player keeps this clip; must not raise, and answers True where it does not know.
    on_removed
        Called with each clip removed for room; must not raise.
    """

    root: Path
    limit_bytes: int = 2_000_000_000
    reserve_bytes: int = 200_000_000
    is_kept: Callable[[Path], bool] = lambda path: False
    on_removed: Callable[[Path], None] = lambda path: None

    def make_room(self, new_bytes: int) -> str | None:
        """Removes the oldest clips that are not kept until new_bytes more fit.

        None where they do, else why not, in one sentence.

        Raises
        ------
        OSError
            Where the folder cannot be read.
        """
        stored = self._stored()
        used = sum(one.size_bytes for one in stored)
        free = shutil.disk_usage(self.root).free - self.reserve_bytes
        over = max(used + new_bytes - self.limit_bytes, new_bytes - free)
        if over <= 0:
            return None
        loose = [one for one in stored if not self.is_kept(one.path)]
        if sum(one.size_bytes for one in loose) < over:
            return self._sentence(used + new_bytes > self.limit_bytes)
        for one in loose:
            if over <= 0:
                break
            if self._remove(one.path):
                over -= one.size_bytes
        return None if over <= 0 else self._sentence(False)

    def _remove(self, path: Path) -> bool:
        try:
            path.unlink(missing_ok=True)
        except OSError as error:
            # In use elsewhere (a player on Windows): the next oldest goes instead.
            _LOG.warning("the clip %s cannot be removed: %s", path, error)
            return False
        self.on_removed(path)
        return True

    def _stored(self) -> list[_Stored]:
        """Clips on the disk, oldest first."""
        found = []
        for path in self.root.rglob(f"clip-*{CLIP_SUFFIX}"):
            with contextlib.suppress(FileNotFoundError):
                status = path.stat()
                found.append(_Stored(path, status.st_size, status.st_mtime_ns))
        return sorted(found, key=lambda one: (one.written_ns, str(one.path)))

    def _sentence(self, by_limit: bool) -> str:
        if by_limit:
            return (
                "Clips have stopped, since the clips you keep fill the room set aside for clips "
                f"({self.limit_bytes / 1e9:.1f} GB); delete some of them or raise the limit."
            )
        return (
            "Clips have stopped, since the disk is nearly full; the session goes on without them. "
            "Free some space on the disk."
        )
