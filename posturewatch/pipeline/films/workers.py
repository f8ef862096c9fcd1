"""Who measures parts of films: this process, other processes of this machine, or a cluster that is there already."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from pathlib import Path
from typing import Any

from posturewatch.config.settings import Settings
from posturewatch.errors import InputError, PosturewatchError, UnavailableError
from posturewatch.pipeline import build as assembly
from posturewatch.pipeline.build import Built, Mode
from posturewatch.pipeline.films.measured import MeasuredPart
from posturewatch.pipeline.films.part import FilmPart, measure_part
from posturewatch.pipeline.films.work import FilmTask

__all__ = ["Cluster", "Here", "Processes", "usual_jobs"]

#: Cores that one process makes good use of: both hands, and both networks of each, are looked at beside each other.
CORES_A_PROCESS = 2


def usual_jobs() -> int:
    """How many processes this machine has cores for."""
    return max(1, (os.cpu_count() or 1) // CORES_A_PROCESS)


class Here:
    """Measures in this process, as it is asked.

    Parameters
    ----------
    build
        Makes tracker and measurer.
    stopped
        Asked before each frame.
    tick
        Told each frame's time of the film.
    """

    at_once = 1

    def __init__(
        self,
        build: Callable[[Mode, Settings], Built],
        stopped: Callable[[], bool],
        tick: Callable[[FilmTask, float], None] = lambda task, time_s: None,
    ) -> None:
        self._build = build
        self._stopped = stopped
        self._tick = tick

    def submit(self, task: FilmTask, part: FilmPart, settings: Settings) -> Future[MeasuredPart]:
        """Measures now."""
        future: Future[MeasuredPart] = Future()
        try:
            measured = measure_part(
                task.path,
                part,
                settings,
                self._build,
                stopped=self._stopped,
                progress=lambda time_s: self._tick(task, time_s),
            )
            future.set_result(measured)
        # It is raised where the result is asked for, as from other processes.
        except Exception as error:  # noqa: BLE001
            future.set_exception(error)
        return future

    def renew(self) -> None:
        """Nobody else works here."""

    def close(self) -> None:
        """Nothing is held."""


class _Executed:
    """Measures through an executor of the standard library's kind."""

    def __init__(self, at_once: int) -> None:
        self.at_once = at_once
        self._executor = self._make()

    def submit(self, task: FilmTask, part: FilmPart, settings: Settings) -> Future[MeasuredPart]:
        """Hands the part over."""
        return self._executor.submit(_measure, str(task.path), part, settings)

    def renew(self) -> None:
        """After a worker died."""
        self._executor.shutdown(wait=False)
        self._executor = self._make()

    def _make(self) -> Executor:
        raise NotImplementedError


class Processes(_Executed):
    """Processes of this machine; each loads the models for every part.

    Parameters
    ----------
    jobs
        How many.
    """

    def __init__(self, jobs: int) -> None:
        # Fresh ones: what runs in this process already (threads, the inference engine) does not survive a fork.
        self._context = multiprocessing.get_context("spawn")
        self._stop = self._context.Event()
        self._seconds = self._context.Value("d", 0.0)
        super().__init__(jobs)

    def _make(self) -> Executor:
        return ProcessPoolExecutor(
            self.at_once, mp_context=self._context, initializer=_begin, initargs=(self._stop, self._seconds)
        )

    @property
    def measured_s(self) -> float:
        """Seconds of film that have been measured so far, in parts that are not done, too."""
        return float(self._seconds.value)

    @property
    def process_ids(self) -> tuple[int, ...]:
        """Of the processes that run now."""
        return tuple(getattr(self._executor, "_processes", None) or ())

    def close(self) -> None:
        """Ends the processes; what they have in work is lost."""
        self._stop.set()
        self._executor.shutdown(wait=True, cancel_futures=True)


class Cluster(_Executed):
    """A cluster of dask.distributed that is there already. Films have to lie where its workers find them under the
    same path, and posturewatch has to be installed there.

    Parameters
    ----------
    address
        Of its scheduler.
    wait_s
        How long it is waited for.

    Raises
    ------
    UnavailableError
        Where the library is not installed.
    InputError
        Where nobody answers.
    """

    def __init__(self, address: str, wait_s: float = 10.0) -> None:
        try:
            from distributed import Client
        except ImportError as error:
            raise UnavailableError(
                'For a cluster posturewatch needs one more package: pip install "posturewatch[cluster]".'
            ) from error
        try:
            self._client: Any = Client(address, timeout=wait_s)
        except (OSError, ValueError, TimeoutError) as error:
            raise InputError(
                f"No scheduler answers at {address} ({error}); start one there, or leave --scheduler out."
            ) from error
        super().__init__(max(1, sum(self._client.nthreads().values())))

    def _make(self) -> Executor:
        # Not "pure": a film may have changed under the same name since it was last measured.
        made: Executor = self._client.get_executor(pure=False, retries=2)
        return made

    def close(self) -> None:
        """Leaves the cluster; what it has in work is called back."""
        self._executor.shutdown(wait=False)  # this kind calls back what is out
        self._client.close()


_STOP: Any = None
_SECONDS: Any = None

#: So much less pressing is measuring a film than all else that this machine does (niceness of POSIX).
_NICER = 10


def _begin(stop: Any, seconds: Any) -> None:
    """In a new process: Ctrl-C is the first one's to answer, which then says so."""
    global _STOP, _SECONDS
    _STOP, _SECONDS = stop, seconds
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(os, "nice"):
        os.nice(_NICER)


def _counting(part: FilmPart) -> Callable[[float], None]:
    """Adds what is measured of a part to what is measured in all."""
    reached_s = part.start_s

    def count(time_s: float) -> None:
        nonlocal reached_s
        if _SECONDS is not None and time_s > reached_s:
            with _SECONDS.get_lock():
                _SECONDS.value += time_s - reached_s
            reached_s = time_s

    return count


def _measure(path: str, part: FilmPart, settings: Settings) -> MeasuredPart:
    """In another process."""
    stop = _STOP
    try:
        return measure_part(
            Path(path),
            part,
            settings,
            assembly.build,
            stopped=(lambda: False) if stop is None else stop.is_set,
            progress=_counting(part),
        )
    except PosturewatchError as fault:
        # Its one argument is its sentence; a cause may not survive the way.
        raise type(fault)(fault.sentence) from None
