"""Films from beginning to end: found, looked over, measured part by part, and made into results one after the other."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from posturewatch.capture import FilmScan, open_film, scan_film
from posturewatch.errors import InputError, PosturewatchError, UnavailableError
from posturewatch.pipeline.build import Parts
from posturewatch.pipeline.films.keeping import NOTHING, FilmKeeping, Kept, Played
from posturewatch.pipeline.films.part import LEAD_S, PART_S, film_parts
from posturewatch.pipeline.films.results import (
    Analysed,
    FilmFacts,
    check_folder,
    finish_film,
    finished_summary,
)
from posturewatch.pipeline.films.store import PartStore, fingerprint
from posturewatch.pipeline.films.work import FilmTask, MeasuredFilm, PartRunner, WorkProgress, measure_films

__all__ = ["FILM_ENDINGS", "FilmResult", "FilmWish", "analyse_films", "find_films"]

#: By which films are told from other files of a folder; a film that is named itself may be called anything.
FILM_ENDINGS = frozenset(
    {
        *(".3gp", ".asf", ".avi", ".flv", ".m2ts", ".m4v", ".mkv", ".mov"),
        *(".mp4", ".mpeg", ".mpg", ".mts", ".ogv", ".ts", ".webm", ".wmv"),
    }
)

_UNFINISHED = "unfinished"


@dataclass(frozen=True)
class FilmWish:
    """What is wanted of the films.

    Attributes
    ----------
    from_s, to_s
        The stretch of each, in its own seconds; to_s None for its end.
    folder
        Where the tables go: of one film right there, of several each in a folder of its own; None for no tables.
    several
        Whether each has a folder of its own.
    played
        What is played in them, for the practice log.
    resume
        Whether to go on with parts that an interrupted run has left.
    unfinished
        Where parts wait, None where they wait beside the tables, or nowhere.
    part_s, lead_s
        See `posturewatch.pipeline.films.part`.
    """

    from_s: float = 0.0
    to_s: float | None = None
    folder: Path | None = None
    several: bool = False
    played: Played = NOTHING
    resume: bool = False
    unfinished: Path | None = None
    part_s: float = PART_S
    lead_s: float = LEAD_S


@dataclass(frozen=True)
class FilmResult:
    """What came of one film.

    Attributes
    ----------
    folder
        Where its tables are.
    analysed
        None where it could not be measured, or had been before.
    done_before
        The summary of an earlier run, where that had finished it.
    kept
        Its session in the practice log.
    fault
        Why it could not be measured.
    resumable
        It was interrupted, and what was measured waits to be gone on with.
    """

    path: Path
    name: str
    folder: Path | None = None
    analysed: Analysed | None = None
    done_before: dict[str, Any] | None = None
    kept: Kept | None = None
    fault: PosturewatchError | None = None
    resumable: bool = False

    @property
    def summary(self) -> dict[str, Any] | None:
        """As written to its folder; None without one."""
        return self.done_before if self.analysed is None else self.analysed.summary

    @property
    def status(self) -> str:
        """In one or two words."""
        if self.fault is not None:
            return "failed"
        if self.analysed is None:
            return "measured"
        if self.analysed.interrupted:
            return "interrupted"
        if self.analysed.nothing_measured is not None:
            return "not measured"
        return "incomplete" if self.analysed.incomplete else "measured"

    @property
    def note(self) -> str:
        """Why it is not measured as a whole, in one sentence; empty where it is."""
        if self.fault is not None:
            return self.fault.sentence
        if self.analysed is None:
            return ""
        if self.analysed.interrupted:
            return f"Stopped after {self.analysed.outcome.end_s:.1f} s."
        return self.analysed.nothing_measured or self.analysed.notice or ""


def find_films(named: Sequence[Path]) -> tuple[list[Path], bool]:
    """The films that are named, and those in folders that are named, in the order of their names; and whether a folder
    was among them.

    Raises
    ------
    InputError
        For a folder without a film.
    """
    found: list[Path] = []
    folders = False
    for path in named:
        if not path.is_dir():
            found.append(path)
            continue
        folders = True
        inside = sorted(
            one
            for one in path.rglob("*")
            if one.suffix.lower() in FILM_ENDINGS and one.is_file() and not _hidden(one, path)
        )
        if not inside:
            raise InputError(f"{path} is a folder without a film; name one with films, or a film.")
        found += inside
    return list(dict.fromkeys(found)), folders


def _hidden(path: Path, root: Path) -> bool:
    return any(part.startswith(".") for part in path.relative_to(root).parts)


def analyse_films(
    paths: Sequence[Path],
    wish: FilmWish,
    parts: Parts,
    runner: PartRunner,
    *,
    keeping: FilmKeeping | None = None,
    stopped: Callable[[], bool] = lambda: False,
    progress: WorkProgress | None = None,
) -> Iterator[FilmResult]:
    """The results of each film in order, as soon as they are there; a film that cannot be measured has its fault.

    Parameters
    ----------
    keeping
        Keeps them in a practice log; None for those that are not kept.
    stopped
        Whether somebody asked for the end.

    Raises
    ------
    UnavailableError
        Where the program lacks something that every film needs.
    """
    planned: dict[int, _Planned] = {}

    def tasks() -> Iterator[FilmTask]:
        for number, (path, folder) in enumerate(zip(paths, _folders(paths, wish), strict=True)):
            planned[number] = one = _plan(number, path, folder, wish, parts, keeping)
            yield one.task

    for film in measure_films(tasks(), runner, parts.settings, stopped=stopped, progress=progress):
        yield _finished(planned.pop(film.task.number), film, wish, parts, keeping)


@dataclass(frozen=True)
class _Planned:
    """A film that is looked over: what is known of it, or why it cannot be measured."""

    task: FilmTask
    folder: Path | None
    facts: FilmFacts | None = None
    fault: PosturewatchError | None = None
    done_before: dict[str, Any] | None = None
    known: str | None = None


def _folders(paths: Sequence[Path], wish: FilmWish) -> list[Path | None]:
    """Where each film's tables go; films of one name in several folders are told apart by a number."""
    if wish.folder is None or not wish.several:
        return [wish.folder] * len(paths)
    taken: set[str] = set()
    found: list[Path | None] = []
    for path in paths:
        name, count = path.stem, 1
        while name.casefold() in taken:
            count += 1
            name = f"{path.stem}-{count}"
        taken.add(name.casefold())
        found.append(wish.folder / name)
    return found


def _plan(
    number: int,
    path: Path,
    folder: Path | None,
    wish: FilmWish,
    parts: Parts,
    keeping: FilmKeeping | None,
) -> _Planned:
    try:
        described = _described(path)
        scan = scan_film(path)
        facts = _facts(path, described, scan, wish)
        cut = film_parts(scan, wish.from_s, wish.to_s, part_s=wish.part_s, lead_s=wish.lead_s)
        about = fingerprint(path, parts.settings, cut)
        facts = replace(facts, about=about)
        known = None if keeping is None else keeping.known(facts)
        if wish.resume and (keeping is None or known is not None):
            before = None if folder is None else finished_summary(folder, about)
            if before is not None or (folder is None and known is not None):
                task = FilmTask(number, path, facts.name, ())
                return _Planned(task, folder, done_before=before or {}, known=known)
        if keeping is not None:
            keeping.refuse_known(facts)
        if folder is not None:
            check_folder(folder)
        place = _place(path, folder, wish)
        store = None if place is None else PartStore(place, about, resume=wish.resume)
    except PosturewatchError as fault:
        return _Planned(FilmTask(number, path, path.name, ()), folder, fault=fault)
    return _Planned(FilmTask(number, path, facts.name, cut, store, _length_s(scan, wish)), folder, facts)


def _length_s(scan: FilmScan | None, wish: FilmWish) -> float | None:
    """Of what is measured of a film."""
    end_s = wish.to_s if scan is None else scan.end_s if wish.to_s is None else min(wish.to_s, scan.end_s)
    return None if end_s is None else max(0.0, end_s - wish.from_s)


def _place(path: Path, folder: Path | None, wish: FilmWish) -> Path | None:
    """Where the film's parts wait until it is done; None for nowhere."""
    if wish.unfinished is not None:
        return wish.unfinished / PartStore.place(path)
    return None if folder is None else folder / _UNFINISHED


def _described(path: Path) -> dict[str, Any]:
    source = open_film(path)
    try:
        return source.describe()
    finally:
        source.close()


def _facts(path: Path, described: dict[str, Any], scan: FilmScan | None, wish: FilmWish) -> FilmFacts:
    """Raises InputError where the film is shorter than where one is to begin."""
    end_s = described["duration_s"] if scan is None else scan.end_s
    if end_s is not None and wish.from_s > end_s:
        raise InputError(
            f"{described['name']} ends after {end_s:.1f} s, before the {wish.from_s:g} s of --from; choose less."
        )
    if scan is not None and scan.recorded_at is not None:
        began = dt.datetime.fromisoformat(scan.recorded_at)
    else:
        # Cameras write the file until the film ends.
        written = dt.datetime.fromtimestamp(path.stat().st_mtime, dt.timezone.utc)
        began = written - dt.timedelta(seconds=end_s or 0.0)
    began += dt.timedelta(seconds=wish.from_s)
    return FilmFacts(described, wish.from_s, wish.to_s, began.isoformat(timespec="milliseconds"))


def _finished(
    planned: _Planned, film: MeasuredFilm, wish: FilmWish, parts: Parts, keeping: FilmKeeping | None
) -> FilmResult:
    task, facts = planned.task, planned.facts
    result = FilmResult(task.path, task.name, planned.folder, fault=planned.fault)
    if facts is None:
        kept = None if planned.known is None else Kept(planned.known, ())
        return replace(result, done_before=planned.done_before, kept=kept)
    try:
        analysed = finish_film(film, facts, parts, planned.folder)
        kept = keeping.keep(film, facts, wish.played) if keeping is not None and film.whole else None
    except UnavailableError:
        raise
    except PosturewatchError as fault:
        return replace(result, fault=fault)
    if film.whole and task.store is not None:
        task.store.clear()
    return replace(result, analysed=analysed, kept=kept, resumable=not film.whole and task.store is not None)
