"""One part of a film, measured by itself: the frames from a little before its beginning to its end.

Long films are measured in parts, and always in the same ones: so it comes to the same whether one process measures one
after the other, many do at once, or a run that was interrupted goes on. Before a part's first frame, the tracker sees
some seconds that are measured and thrown away, in which it finds hands, sides and the plane of resting fingertips.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from posturewatch.capture import FilmScan, Stretch, open_film
from posturewatch.config.settings import Settings
from posturewatch.model.measurement import FrameMeasurement
from posturewatch.pipeline.build import Built, Mode
from posturewatch.pipeline.films.measured import MeasuredPart
from posturewatch.pipeline.view.people_notice import SEVERAL_IN_FILM

__all__ = ["LEAD_S", "PART_S", "FilmPart", "film_parts", "measure_part"]

#: Length of a part: long against what is measured twice for it, short against the patience of whoever resumes.
PART_S = 120.0

#: Longer than all that measuring remembers (see `posturewatch.kinematics.resting.RestRules.window_s`), but who was
#: alone in the picture before: in a part with several people from its beginning, only being nearer tells the player
#: (see `posturewatch.pipeline.view.only_player`).
LEAD_S = 10.0

_WAIT_S = 0.25


@dataclass(frozen=True)
class FilmPart:
    """From start_s up to but not including end_s of the film, None for its end. Frames from lead_s on are looked at.
    seeks: see `Stretch`."""

    number: int
    lead_s: float
    start_s: float
    end_s: float | None
    seeks: bool

    @property
    def stretch(self) -> Stretch:
        """What is decoded."""
        return Stretch(self.lead_s, self.end_s, self.seeks)


def film_parts(
    scan: FilmScan | None,
    from_s: float = 0.0,
    to_s: float | None = None,
    *,
    part_s: float = PART_S,
    lead_s: float = LEAD_S,
) -> tuple[FilmPart, ...]:
    """The parts of a film in order; they follow from the film and the stretch that is asked for alone.

    Parameters
    ----------
    scan
        What is known of it; a film of which nothing is known is one part.
    from_s, to_s
        The stretch of it that is measured, None for its end.
    """
    end_s = to_s if scan is None else scan.end_s if to_s is None else min(to_s, scan.end_s)
    count = 1 if end_s is None else max(1, round((end_s - from_s) / part_s))
    seeks = scan is not None and scan.orderly
    return tuple(
        FilmPart(
            number,
            max(0.0, from_s + number * part_s - lead_s),
            from_s + number * part_s,
            to_s if number == count - 1 else from_s + (number + 1) * part_s,
            seeks,
        )
        for number in range(count)
    )


def measure_part(
    path: Path,
    part: FilmPart,
    settings: Settings,
    build: Callable[[Mode, Settings], Built],
    *,
    stopped: Callable[[], bool] = lambda: False,
    progress: Callable[[float], None] = lambda time_s: None,
) -> MeasuredPart:
    """Measures a part.

    Parameters
    ----------
    build
        Makes tracker and measurer; everything they remember is this part's.
    stopped
        Asked before each frame; what was measured until then is given back.
    progress
        Told each frame's time of the film.

    Raises
    ------
    InputError, SourceError, UnavailableError
        Where the film or the models cannot be used.
    """
    source = open_film(path, part.stretch)
    try:
        built = build("video", settings)
        try:
            found: list[FrameMeasurement] = []
            whole, several = False, False
            while not whole and not stopped():
                taken = source.read(_WAIT_S)
                if taken is None:
                    whole = source.ended
                    continue
                seen = built.tracker.observe(taken.frame)
                measured = built.measurer.measure(seen)
                if measured.time_s >= part.start_s:
                    found.append(measured)
                    several = several or (seen.body is not None and seen.body.people > 1)
                progress(measured.time_s)
        finally:
            built.release()
        notice = source.notice or (SEVERAL_IN_FILM if several else None)
        return MeasuredPart.of(found, notice, incomplete=source.incomplete, whole=whole)
    finally:
        source.close()
