"""That more than one person is in the picture, said while it is so."""

from __future__ import annotations

from posturewatch.model.reading import Reading

__all__ = ["SEVERAL_IN_FILM", "SEVERAL_PEOPLE", "PeopleNotice"]

SEVERAL_PEOPLE = (
    "Two people are in the picture. Only the player is measured, and nothing while it is unclear who that is: turn the "
    "camera so that only you are in it."
)

SEVERAL_IN_FILM = (
    "Two people were in the picture for a while; only the player was measured, and nothing while it was unclear who "
    "that was."
)

#: It is said for at least so long, so that it can be read.
_STAYS_S = 6.0


class PeopleNotice:
    """A sink of readings."""

    def __init__(self) -> None:
        self._seen_s: float | None = None
        self._now_s = 0.0

    @property
    def notice(self) -> str | None:
        """The sentence, None where the player is alone."""
        seen_s = self._seen_s
        return SEVERAL_PEOPLE if seen_s is not None and self._now_s - seen_s <= _STAYS_S else None

    def put(self, reading: Reading) -> None:
        """Takes a reading."""
        time_s, body = reading.frame.time_s, reading.observation.body
        if time_s < self._now_s:  # another source, or the same one anew
            self._seen_s = None
        self._now_s = time_s
        if body is not None and body.people > 1:
            self._seen_s = time_s
