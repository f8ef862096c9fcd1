"""How far measuring films has come and how long it will take: a bar on stderr, off where that is no terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from posturewatch.pipeline.films.measured import MeasuredPart
    from posturewatch.pipeline.films.part import FilmPart
    from posturewatch.pipeline.films.run import FilmWish
    from posturewatch.pipeline.films.work import FilmTask

__all__ = ["FilmBar", "film_progress"]

_LAYOUT = "{desc}: {percentage:3.0f}%|{bar}| {n:.0f} of {total:.0f} s, {remaining} left"


class FilmBar:
    """Counts seconds of film.

    Parameters
    ----------
    bar
        What draws it.
    films
        How many there are.
    one_part
        Whether the only film there is has one part.
    """

    def __init__(self, bar: Any, films: int, *, one_part: bool) -> None:
        self._bar = bar
        self._films = films
        self.one_part = one_part
        self._at: dict[int, float] = {}

    def film(self, task: FilmTask, known_s: float) -> None:
        """A film is begun, of which so much was known already."""
        name = f"{task.number + 1} of {self._films}, {task.name}" if self._films > 1 else task.name
        self._bar.set_description(name[:40])
        self._bar.update(known_s)

    def tick(self, task: FilmTask, time_s: float) -> None:
        """A frame of it has been measured, in this process."""
        before_s = self._at.get(task.number, task.parts[0].start_s)
        if time_s > before_s:
            self._bar.update(time_s - before_s)
            self._at[task.number] = time_s

    def part(self, task: FilmTask, part: FilmPart, measured: MeasuredPart) -> None:
        """A part of it has been measured; counted here where no frame was."""
        if task.number not in self._at and len(measured.time_s):
            self._bar.update(float(measured.time_s[-1] - part.start_s))

    def clear(self) -> None:
        """Makes room for a line."""
        self._bar.clear()


@contextmanager
def film_progress(paths: Sequence[Path], wish: FilmWish) -> Iterator[FilmBar]:
    """The bar for these films; how long they are is read from their files."""
    from tqdm import tqdm

    from posturewatch.capture import stated_duration_s

    lengths = [_length_s(stated_duration_s(path), wish) for path in paths]
    known = [one for one in lengths if one is not None]
    # A film that does not say how long it is is taken for one like the others.
    total_s = sum(known) + (len(lengths) - len(known)) * (sum(known) / len(known) if known else 0.0)
    one_part = len(paths) == 1 and bool(known) and known[0] < 1.5 * wish.part_s
    with tqdm(total=total_s or None, unit="s", bar_format=_LAYOUT, disable=None) as bar:
        yield FilmBar(bar, len(paths), one_part=one_part)


def _length_s(duration_s: float | None, wish: FilmWish) -> float | None:
    if duration_s is None:
        return None if wish.to_s is None else wish.to_s - wish.from_s
    end_s = duration_s if wish.to_s is None else min(duration_s, wish.to_s)
    return max(0.0, end_s - wish.from_s)
