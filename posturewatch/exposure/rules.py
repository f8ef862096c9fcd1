"""The rules of exposure: bands, durations and cutoffs, with the reasons for their defaults."""

from __future__ import annotations

from dataclasses import dataclass, field

from posturewatch.comfort.rules import WatchRules
from posturewatch.exposure.lowpass import CUTOFF_HZ

__all__ = ["DURATION_EDGES_S", "ENOUGH_SHARE", "ExposureRules"]

#: Mathiassen & Winkel 1991, Ergonomics 34:1455-1468: durations of episodes are classed at these
#: seconds (from memory).
DURATION_EDGES_S = (1.0, 3.0, 7.0, 15.0, 31.0)

#: With less of the time measured or judged than this, that nothing was seen says too little, and nothing is said of a
#: difference.
ENOUGH_SHARE = 0.5


@dataclass(frozen=True)
class ExposureRules:
    """watch: the rules the session was watched under; gaps, grace, hysteresis and the shortest excursion are
        theirs, so that exposure and warnings mean the same by them.
    cutoff_hz: of the low-pass before everything else; None leaves the signal as it is.
    neutral_deg: an angle no farther from 0 is near neutral (common practice). A comfort or extreme limit
        that is narrower narrows the band on its side.
    rest_s: so long, in measured time, a hand stays near neutral for it to be a rest (common practice).
    """

    watch: WatchRules = field(default_factory=WatchRules)
    cutoff_hz: float | None = CUTOFF_HZ
    neutral_deg: float = 10.0
    rest_s: float = 2.0

    def __post_init__(self) -> None:
        for name in ("neutral_deg", "rest_s"):
            if not getattr(self, name) > 0:
                raise ValueError(f"{name} is above 0, got {getattr(self, name)}")
        if self.cutoff_hz is not None and not self.cutoff_hz > 0:
            raise ValueError(f"cutoff_hz is above 0 or None, got {self.cutoff_hz}")

    def neutral(self, unit: str) -> float | None:
        """The half width of the neutral band for quantities in this unit; None where neutral means nothing."""
        return self.neutral_deg if unit == "deg" else None
