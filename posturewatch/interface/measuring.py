"""Pictures and films measured by the very code of `posturewatch measure` and `posturewatch analyse`."""

from __future__ import annotations

import warnings
from collections.abc import Collection, Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from posturewatch.capture import Stretch, demo_video, open_film, scan_film
from posturewatch.config.settings import Settings, load_settings
from posturewatch.errors import InputError
from posturewatch.interface.tables import Table, check_key, series_table
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement, Measurement
from posturewatch.model.observation import SIDES, Observation, Side
from posturewatch.pipeline.build import build
from posturewatch.pipeline.films.part import LEAD_S
from posturewatch.pipeline.single_images import read_image

__all__ = ["Measured", "demo_film", "measure_picture", "measure_video", "series"]

_WAIT_S = 0.25


@dataclass(frozen=True)
class Measured:
    """What was measured in one picture or frame.

    Attributes
    ----------
    index
        Counts the frames that were looked at, from 0.
    time_s
        The frame's own time stamp, seconds of the film from its first frame on; 0 of a picture.
    observation
        What was seen: of each hand 21 landmarks in pixels (origin top left, x right, y down), the forearm, the body.
    measurement
        All quantities of both hands; refused ones, too.
    image_bgr
        (height, width, 3) uint8, upright, blue first; None unless asked for.
    """

    index: int
    time_s: float
    observation: Observation
    measurement: FrameMeasurement
    image_bgr: NDArray[np.uint8] | None = None

    def of(self, side: Side, quantity: str) -> Measurement:
        """One quantity of one hand: `value` and `sd` in its unit, or both None and `refusal` the reason.

        Raises
        ------
        PosturewatchError
            For what is no side or no quantity.
        """
        check_key(side, quantity)
        return self.measurement.hand(side).values[quantity]


def demo_film() -> Path:
    """Where the bundled demo video lies: a rendered player, 30 frames a second.

    Examples
    --------
    >>> import posturewatch
    >>> posturewatch.demo_film().name
    'demo.mp4'
    """
    return demo_video()


def measure_picture(
    picture: str | Path | NDArray[np.uint8],
    *,
    settings: str | Path | None = None,
    fretting: Collection[Side] | None = None,
    hfov_deg: float | None = None,
    hand_length_mm: float | None = None,
) -> Measured:
    """Measures the hands in one picture. The models are loaded each time, which takes a second or two; frames that
    belong together are measured better as a film.

    Parameters
    ----------
    picture
        An image file, or (height, width, 3) uint8, blue first, upright and not mirrored.
    settings
        A settings file; None for the program's defaults, not the user's own, so that results are the same everywhere.
    fretting
        The hands that press strings; None for those of the settings' instrument.
    hfov_deg
        The camera's horizontal field of view in degrees, where it is known.
    hand_length_mm
        From the wrist's crease to the tip of the middle finger, where it is known; it gives lifts their scale.

    Raises
    ------
    PosturewatchError
        In one sentence what is wrong.
    ValueError
        For an array of another shape or type.

    Examples
    --------
    >>> import numpy as np, posturewatch
    >>> empty = posturewatch.measure_picture(np.full((360, 640, 3), 128, np.uint8))
    >>> flexion = empty.of("left", "wrist_flexion")
    >>> flexion.value is None, flexion.refusal.value
    (True, 'hand not seen')
    """
    image = read_image(Path(picture)) if isinstance(picture, (str, Path)) else picture
    frame = Frame(0, 0.0, image)
    built = build(
        "still",
        _settings(settings, hfov_deg, hand_length_mm),
        fretting=None if fretting is None else _sides(fretting),
    )
    try:
        observation = built.tracker.observe(frame)
        return Measured(0, 0.0, observation, built.measurer.measure(observation), image)
    finally:
        built.release()


def measure_video(
    film: str | Path,
    *,
    from_s: float = 0.0,
    to_s: float | None = None,
    pictures: bool = False,
    settings: str | Path | None = None,
    fretting: Collection[Side] | None = None,
    hfov_deg: float | None = None,
    hand_length_mm: float | None = None,
) -> Iterator[Measured]:
    """Measures every frame of a film, one after the other as they are asked for.

    Of less than three minutes what is said of a frame is what `posturewatch analyse` says of it; what is longer, that
    measures in parts of about two minutes, each by itself, so after a seam it may say something else. Of a film that
    ends before its stated end a UserWarning tells how much could be read.

    Parameters
    ----------
    film
        A video file.
    from_s, to_s
        The stretch to be measured, seconds of the film, to_s not included and None for the end. Up to ten seconds
        before it are looked at as well: hands are followed.
    pictures
        Whether the frames' images come along; kept in a list, they fill the memory soon.
    settings, fretting, hfov_deg, hand_length_mm
        See `measure_picture`.

    Yields
    ------
    Measured

    Raises
    ------
    PosturewatchError
        In one sentence what is wrong, with the first frame that is asked for.

    Examples
    --------
    >>> import posturewatch
    >>> frames = posturewatch.measure_video(posturewatch.demo_film(), to_s=0.2)
    >>> for frame in frames:
    ...     print(frame.index, f"{frame.time_s:.3f}", sorted(one.side for one in frame.observation.hands))
    0 0.000 ['left', 'right']
    1 0.033 ['left', 'right']
    2 0.067 ['left', 'right']
    3 0.100 ['left', 'right']
    4 0.133 ['left', 'right']
    5 0.167 ['left', 'right']
    """
    path = Path(film)
    if from_s < 0:
        raise InputError(f"A film begins at 0 s, not at {from_s:g} s; choose other seconds.")
    if to_s is not None and to_s <= from_s:
        raise InputError(f"A stretch from {from_s:g} s to {to_s:g} s holds no frame; choose other seconds.")
    wanted = _settings(settings, hfov_deg, hand_length_mm)
    scan = scan_film(path)
    stretch = Stretch(max(0.0, from_s - LEAD_S), to_s, scan is not None and scan.orderly)
    with closing(open_film(path, stretch)) as source:
        built = build("video", wanted, fretting=None if fretting is None else _sides(fretting))
        try:
            while True:
                taken = source.read(_WAIT_S)
                if taken is None:
                    if source.ended:
                        break
                    continue
                frame = taken.frame
                observation = built.tracker.observe(frame)
                measurement = built.measurer.measure(observation)
                if frame.time_s >= from_s:
                    yield Measured(
                        frame.index,
                        frame.time_s,
                        observation,
                        measurement,
                        frame.image_bgr if pictures else None,
                    )
        finally:
            built.release()
        if source.notice is not None:
            warnings.warn(source.notice, stacklevel=2)


def series(frames: Iterable[Measured], side: Side, quantity: str) -> Table:
    """One quantity of one hand over frames, in the shape of `samples`.

    Parameters
    ----------
    frames
        In order of time, such as `measure_video` gives them; for several quantities make a list of them first.
    side
        "left" or "right", anatomical.
    quantity
        See `quantities`.

    Returns
    -------
    dict
        Columns (n,): time_s; value and sd in the quantity's unit, NaN where refused; refusal, the reason or "".

    Raises
    ------
    PosturewatchError
        For what is no side or no quantity.

    Examples
    --------
    >>> import posturewatch
    >>> frames = list(posturewatch.measure_video(posturewatch.demo_film(), to_s=0.2))
    >>> flexion = posturewatch.series(frames, "left", "wrist_flexion")
    >>> flexion["time_s"].shape, flexion["value"].dtype.name
    ((6,), 'float64')
    """
    check_key(side, quantity)
    seen = [(one.time_s, one.of(side, quantity)) for one in frames]
    return series_table(
        [time_s for time_s, _ in seen],
        [np.nan if one.value is None else one.value for _, one in seen],
        [np.nan if one.sd is None else one.sd for _, one in seen],
        ["" if one.refusal is None else one.refusal.value for _, one in seen],
    )


def _settings(path: str | Path | None, hfov_deg: float | None, hand_length_mm: float | None) -> Settings:
    found = Settings() if path is None else load_settings(Path(path))
    if hfov_deg is not None:
        found = found.changed("camera", hfov_deg=hfov_deg)
    if hand_length_mm is not None:
        found = found.changed("player", hand_length_mm=hand_length_mm)
    return found


def _sides(given: Collection[Side]) -> frozenset[Side]:
    found = frozenset(given)
    if not found <= set(SIDES):
        raise InputError(f"The fretting hands are some of {', '.join(SIDES)}; {sorted(found)} are not.")
    return found
