"""Films measured part by part: one after the other in this process, or several at once in others."""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Future, wait
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from posturewatch.config.settings import Settings
from posturewatch.errors import PosturewatchError, SourceError
from posturewatch.pipeline.films.measured import MeasuredPart
from posturewatch.pipeline.films.part import FilmPart
from posturewatch.pipeline.films.store import PartStore

__all__ = ["MOST_WAITING", "FilmTask", "MeasuredFilm", "PartRunner", "Quiet", "WorkProgress", "measure_films"]

_LOG = logging.getLogger(__name__)

#: How often somebody who asked for the end is looked for.
_LOOK_UP_S = 0.2

#: So many films may be done and wait for one before them: results are given back in order, and one that takes very long
#: must not heap up all the others in memory.
MOST_WAITING = 64

#: A part whose worker died is given to another one so many times.
_TRIES = 3


@dataclass(frozen=True)
class FilmTask:
    """A film to be measured.

    Attributes
    ----------
    number
        Its place among those that are to be measured.
    name
        As the player knows it.
    parts
        In order.
    store
        Keeps parts that are done, None where nobody will go on with them.
    length_s
        Of what is measured of it, where that is known.
    """

    number: int
    path: Path
    name: str
    parts: tuple[FilmPart, ...]
    store: PartStore | None = None
    length_s: float | None = None


@dataclass
class MeasuredFilm:
    """What came of a film: its parts from the first on, as far as they go without a gap; `fault` where it could not be
    measured."""

    task: FilmTask
    measured: list[MeasuredPart] = field(default_factory=list)
    fault: PosturewatchError | None = None

    @property
    def whole(self) -> bool:
        """Whether all of it is measured."""
        return (
            self.fault is None
            and len(self.measured) == len(self.task.parts)
            and all(one.whole for one in self.measured)
        )


class PartRunner(Protocol):
    """Measures parts, now or later. `at_once` says how many it works on beside each other."""

    at_once: int

    def submit(self, task: FilmTask, part: FilmPart, settings: Settings) -> Future[MeasuredPart]: ...
    def renew(self) -> None:
        """After a worker died: takes new ones."""


class WorkProgress(Protocol):
    """Is told how far it has come, in seconds of film."""

    def film(self, task: FilmTask, known_s: float) -> None: ...
    def part(self, task: FilmTask, part: FilmPart, measured: MeasuredPart) -> None: ...


class Quiet:
    """Tells nobody."""

    def film(self, task: FilmTask, known_s: float) -> None: ...
    def part(self, task: FilmTask, part: FilmPart, measured: MeasuredPart) -> None: ...


@dataclass
class _Film:
    """A film in work."""

    task: FilmTask
    found: dict[int, MeasuredPart] = field(default_factory=dict)
    fault: PosturewatchError | None = None

    @property
    def over(self) -> bool:
        return self.fault is not None or len(self.found) == len(self.task.parts)

    def result(self) -> MeasuredFilm:
        done = MeasuredFilm(self.task, fault=self.fault)
        for part in self.task.parts:
            if part.number not in self.found:
                break
            done.measured.append(self.found[part.number])
        return done


class _Work:
    """The films in work, first come first served, and the parts that are out."""

    def __init__(
        self, runner: PartRunner, settings: Settings, stopped: Callable[[], bool], progress: WorkProgress
    ) -> None:
        self._runner = runner
        self._settings = settings
        self._stopped = stopped
        self._progress = progress
        self.films: deque[_Film] = deque()
        self._waiting: deque[tuple[_Film, FilmPart, int]] = deque()
        self._out: dict[Future[MeasuredPart], tuple[_Film, FilmPart, int]] = {}

    @property
    def hungry(self) -> bool:
        """Whether more parts could be worked on than are known, and there is room for their results."""
        idle = len(self._waiting) + len(self._out) < self._runner.at_once
        return idle and len(self.films) < self._runner.at_once + MOST_WAITING and not self._stopped()

    @property
    def busy(self) -> bool:
        return bool(self._out or self._waiting)

    def take(self, task: FilmTask) -> None:
        """Another film."""
        film = _Film(task)
        self.films.append(film)
        for part in task.parts:
            kept = None if task.store is None else task.store.load(part)
            if kept is None:
                self._waiting.append((film, part, 1))
            else:
                film.found[part.number] = kept
        self._progress.film(task, sum(_length_s(one) for one in film.found.values()))

    def step(self) -> None:
        """Gives work out, and waits a moment for what comes back."""
        while self._waiting and len(self._out) < self._runner.at_once and not self._stopped():
            film, part, count = self._waiting.popleft()
            if film.fault is None:
                self._out[self._runner.submit(film.task, part, self._settings)] = (film, part, count)
        done, _ = wait(self._out, _LOOK_UP_S, return_when=FIRST_COMPLETED)
        for future in done:
            self._take_back(future)

    def give_up(self) -> None:
        """Calls back what is out; what had been begun in this process is taken as far as it came."""
        self._waiting.clear()
        for future in list(self._out):
            if future.done():
                self._take_back(future)
            else:
                future.cancel()
        self._out.clear()

    def _take_back(self, future: Future[MeasuredPart]) -> None:
        film, part, count = self._out.pop(future)
        try:
            measured = future.result()
        except PosturewatchError as fault:
            film.fault = film.fault or fault
        except BrokenExecutor as error:
            self._runner.renew()
            self._again(film, part, count, error)
        # Whatever it is: one film does not stop the others.
        except Exception as error:  # noqa: BLE001
            _LOG.exception("part %s of %s", part.number, film.task.name)
            self._again(film, part, count, error)
        else:
            try:
                if measured.whole and film.task.store is not None:
                    film.task.store.save(part, measured)
            except PosturewatchError as fault:
                film.fault = film.fault or fault
            film.found[part.number] = measured
            self._progress.part(film.task, part, measured)

    def _again(self, film: _Film, part: FilmPart, count: int, error: Exception) -> None:
        if count < _TRIES:
            self._waiting.appendleft((film, part, count + 1))
            return
        film.fault = film.fault or SourceError(
            f"{film.task.name} could not be measured by a fault of the program ({error}); the others go on."
        )


def measure_films(
    tasks: Iterable[FilmTask],
    runner: PartRunner,
    settings: Settings,
    *,
    stopped: Callable[[], bool] = lambda: False,
    progress: WorkProgress | None = None,
) -> Iterator[MeasuredFilm]:
    """Measures films and gives each back as soon as it and all before it are done.

    Films are taken from `tasks` only as there is somebody to work on them, so that a thousand need no more memory than
    a few. After `stopped`, those that were begun are given back as far as they came.
    """
    work = _Work(runner, settings, stopped, Quiet() if progress is None else progress)
    coming = iter(tasks)
    more = True
    while more or work.films:
        while more and work.hungry:
            task = next(coming, None)
            more = task is not None
            if task is not None:
                work.take(task)
        if stopped():
            more = False
            work.give_up()
        elif work.busy:
            work.step()
        while work.films and (work.films[0].over or stopped()):
            yield work.films.popleft().result()
        more = more and not stopped()


def _length_s(one: MeasuredPart) -> float:
    return float(one.time_s[-1] - one.time_s[0]) if len(one.time_s) else 0.0
