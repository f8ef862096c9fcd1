"""Reports of kept sessions as files."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from posturewatch.errors import InputError
from posturewatch.model.observation import Side
from posturewatch.review.report.content import Report
from posturewatch.review.report.gather import MOST_SESSIONS, gather
from posturewatch.review.report.html import report_html
from posturewatch.review.report.language import LANGUAGES, speaking
from posturewatch.review.report.pdf import PAPERS, Paper, report_pdf
from posturewatch.storage.backup.making import Made, make_bundle
from posturewatch.storage.reader import SessionReader

__all__ = ["KINDS", "Reports", "Wanted"]

#: By the ending of a file's name.
KINDS: tuple[str, ...] = ("html", "pdf")

#: Characters of a player's name.
_LONGEST_NAME = 80


@dataclass(frozen=True)
class Wanted:
    """How a report is wanted.

    Attributes
    ----------
    kind
        One of `KINDS`.
    paper
        Of a PDF.
    who
        As the player wishes to be named; may be empty.
    clips
        Whether the films of the moments go into a web page.
    language
        One of `LANGUAGES`; None for that of `Reports`.

    Raises
    ------
    InputError
        For an unknown kind or paper, and a name that is too long.
    """

    kind: str = "html"
    paper: str = "a4"
    who: str = ""
    clips: bool = False
    language: str | None = None

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise InputError("A report is a web page or a PDF; let the file's name end in .html or .pdf.")
        if self.paper not in PAPERS:
            raise InputError(f"There is no paper {self.paper!r} for reports; choose a4 or letter.")
        if self.language is not None and self.language not in LANGUAGES:
            raise InputError(f"There is no report in {self.language!r}; choose {' or '.join(LANGUAGES)}.")
        if len(self.who) > _LONGEST_NAME or re.search(r"[\x00-\x1f]", self.who):
            raise InputError(f"A name is one line of at most {_LONGEST_NAME} characters; shorten it.")


class Reports:
    """Makes reports of what is kept.

    Parameters
    ----------
    reader
        Of the practice log.
    draw
        Draws the lines of that hand into a picture, a JPEG; None where it is not seen there. Without it, pictures stay
        as they were filmed.
    language
        In which reports are where nobody asks for another.
    """

    def __init__(
        self,
        reader: SessionReader,
        draw: Callable[[bytes, Side], bytes | None] | None = None,
        language: Callable[[], str] = lambda: "en",
    ) -> None:
        self._reader = reader
        self._draw = draw
        self._language = language

    def make(self, session_ids: Sequence[str], wanted: Wanted) -> bytes:
        """The file.

        Raises
        ------
        UnknownError
            For an unknown session.
        ConflictError
            For one that is still running, or too many.
        """
        with speaking(wanted.language or self._language()):
            report = gather(
                self._reader,
                session_ids,
                who=wanted.who.strip(),
                clips=wanted.clips and wanted.kind == "html",
                draw=self._draw,
            )
            return _file(report, wanted)

    def with_weeks_before(self, session_id: str, weeks: int) -> list[str]:
        """That session and those that began in so many weeks before it, as far as a report takes them: the newest. The
        demo is nobody's practice.

        Raises
        ------
        UnknownError
            For an unknown session.
        """
        own = self._reader.find_exactly(session_id)
        began = dt.datetime.fromisoformat(own.started_at)
        others = [
            one
            for one in self._reader.sessions()
            if one.id != own.id and not one.open and not one.demo
            if dt.timedelta(0)
            <= began - dt.datetime.fromisoformat(one.started_at)
            < dt.timedelta(weeks=weeks)
        ]
        others.sort(key=lambda one: one.started_at, reverse=True)
        return [own.id, *(one.id for one in others[: MOST_SESSIONS - 1])]

    def bundle(self, session_ids: Sequence[str], wanted: Wanted, path: Path) -> Made:
        """Writes these sessions with their clips and a report to one file that another posturewatch opens.

        Raises
        ------
        UnknownError
            For an unknown session.
        ConflictError
            For one that is still running, or too many.
        ArchiveError
            Where the file is there already or cannot be written.
        """
        ids = list(dict.fromkeys(session_ids))
        report = self.make(ids, replace(wanted, kind="html", clips=False))
        return make_bundle(self._reader, path, ids, report)

    def write(self, session_ids: Sequence[str], wanted: Wanted, path: Path) -> None:
        """Writes the file; one that is there is replaced only once the new one is whole.

        Raises
        ------
        InputError
            Where it cannot be written, and as `make`.
        """
        data = self.make(session_ids, wanted)
        beside = path.with_name(f".{path.name}.part")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            beside.write_bytes(data)
            beside.replace(path)
        except OSError as error:
            with suppress(OSError):
                beside.unlink()
            raise InputError(
                f"The report cannot be written to {path} ({error.strerror}); choose another place with --out."
            ) from error


def _file(report: Report, wanted: Wanted) -> bytes:
    if wanted.kind == "html":
        return report_html(report).encode()
    paper: Paper = "letter" if wanted.paper == "letter" else "a4"
    return report_pdf(report, paper)
