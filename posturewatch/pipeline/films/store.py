"""The parts of a film that are measured already, so that an interrupted run can go on."""

from __future__ import annotations

import hashlib
import json
import logging
import shutil
from pathlib import Path
from typing import Any

from posturewatch import __version__
from posturewatch.config.settings import Settings
from posturewatch.errors import InputError
from posturewatch.pipeline.films.measured import MeasuredPart
from posturewatch.pipeline.films.part import FilmPart

__all__ = ["PartStore", "fingerprint"]

_LOG = logging.getLogger(__name__)

_ABOUT = "film.json"


def fingerprint(path: Path, settings: Settings, parts: tuple[FilmPart, ...]) -> dict[str, Any]:
    """What the parts follow from, in JSON's types: the same file, view, program and stretch give the same parts."""
    status = path.stat()
    kept = settings.to_json()
    return {
        "program_version": __version__,
        "bytes": status.st_size,
        "changed_ns": status.st_mtime_ns,
        "settings": {name: kept[name] for name in ("camera", "instrument", "player")},
        "parts": [[one.lead_s, one.start_s, one.end_s] for one in parts],
    }


class PartStore:
    """A folder with one file a part.

    Parameters
    ----------
    folder
        Made when the first part is kept.
    about
        See `fingerprint`.
    resume
        Whether what lies there of the very same film is taken; otherwise it is deleted.
    """

    def __init__(self, folder: Path, about: dict[str, Any], *, resume: bool) -> None:
        self._folder = folder
        self._about = json.dumps(about, sort_keys=True)
        self.resumes = resume and self._same()
        if not self.resumes:
            self.clear()

    @classmethod
    def place(cls, path: Path) -> str:
        """A folder's name for the parts of this film among those of others."""
        return hashlib.sha256(str(path.resolve()).encode("utf-8", "surrogateescape")).hexdigest()[:16]

    def load(self, part: FilmPart) -> MeasuredPart | None:
        """The part, where it is kept whole."""
        if not self.resumes:
            return None
        try:
            return MeasuredPart.from_bytes(self._path(part).read_bytes())
        except FileNotFoundError:
            return None
        except (OSError, ValueError) as error:
            _LOG.warning("part %s of the film is measured again: %s", part.number, error)
            return None

    def save(self, part: FilmPart, measured: MeasuredPart) -> None:
        """Keeps a whole part.

        Raises
        ------
        InputError
            Where it cannot be written.
        """
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            (self._folder / _ABOUT).write_text(self._about, encoding="utf-8")
            measured.save(self._path(part))
        except OSError as error:
            raise InputError(
                f"What was measured cannot be kept in {self._folder} ({error.strerror}); free some space there."
            ) from error

    def clear(self) -> None:
        """Deletes all parts; without effect where none are kept."""
        shutil.rmtree(self._folder, ignore_errors=True)

    def _same(self) -> bool:
        try:
            return (self._folder / _ABOUT).read_text(encoding="utf-8") == self._about
        except (OSError, ValueError):
            return False

    def _path(self, part: FilmPart) -> Path:
        return self._folder / f"{part.number:05d}.npz"
