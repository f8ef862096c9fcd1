"""posturewatch: measures a string player's wrists and fingers through an ordinary webcam.

For an analysis of your own. Nothing is loaded before it is asked for; `help` of each says shapes, units and signs.

Measure
    measure_picture     the hands in one picture
    measure_video       a film, frame by frame, with its own time stamps
    series              one quantity of one hand over frames, as a table
    demo_film           where the bundled film lies

Read the practice log
    practices           all practices, as a table
    samples             one quantity of one hand of a practice, as a table
    events              excursions, passages or marks of a practice, as a table

Know
    quantities          what is measured, in which unit, with which signs
    data_frame          a table as a pandas.DataFrame, where pandas is installed
    PosturewatchError   every fault, as one sentence

Tables are dictionaries of numpy columns of one length. Flexion and ulnar deviation are positive, extension and radial
deviation negative, in degrees; what was not measured is NaN, with the reason beside it.
"""

from __future__ import annotations

from typing import Any

__version__ = "0.1.0"

__all__ = [
    "Measured",
    "PosturewatchError",
    "__version__",
    "data_frame",
    "demo_film",
    "events",
    "measure_picture",
    "measure_video",
    "practices",
    "quantities",
    "samples",
    "series",
]

_WHERE = {
    "PosturewatchError": "errors",
    **dict.fromkeys(
        ("Measured", "demo_film", "measure_picture", "measure_video", "series"), "interface.measuring"
    ),
    **dict.fromkeys(("data_frame", "events", "practices", "quantities", "samples"), "interface.tables"),
}


def __getattr__(name: str) -> Any:
    """Loads what is asked for; the commands need nothing of it, and look at the Python that they run on first. For
    type checkers the same stands in `__init__.pyi`."""
    if name not in _WHERE:
        raise AttributeError(f"module 'posturewatch' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"posturewatch.{_WHERE[name]}"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
