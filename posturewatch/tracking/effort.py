"""How much is done in a frame of a video, and in one of a camera."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["LIVE", "VIDEO", "Effort"]


@dataclass(frozen=True)
class Effort:
    """How much is done per frame.

    Attributes
    ----------
    waits
        Whether the body is waited for.
    library_every_s
        How often the library looks at a hand that our finger network points at.
    body_every_s
        How often it is looked for.
    searches
        Parts of the image searched per frame soon after a loss, two at a time.
    eager_s
        How long that is.
    idle_every_s
        How often, later, two parts are searched.
    takes
        Finds looked at per frame, later half as many.
    looks
        Landmark looks at each.
    budget_s
        Time within a frame after which only the likeliest find is still looked at, and nothing is searched in the next
        frame; None where every run must give the same.
    """

    waits: bool
    library_every_s: float
    body_every_s: float
    searches: int
    eager_s: float
    idle_every_s: float
    takes: int
    looks: int
    budget_s: float | None


VIDEO = Effort(
    True,
    library_every_s=0.3,
    body_every_s=0.25,
    searches=4,
    eager_s=3.0,
    idle_every_s=0.066,
    takes=8,
    looks=3,
    budget_s=None,
)
LIVE = Effort(
    False,
    library_every_s=0.3,
    body_every_s=0.3,
    searches=2,
    eager_s=3.0,
    idle_every_s=0.1,
    takes=2,
    looks=2,
    budget_s=0.025,
)
