"""How long the hand is that is measured: it gives lengths of single-camera landmarks their millimetres."""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["TYPICAL_HAND_MM", "HandSize"]

#: Mean and standard deviation of the hand's length, mm, men and women (ANSUR II, Gordon 2014, NATICK/TR-15/007,
#: computed from the public data): wrist crease to the tip of the middle finger.
_MEN_MM, _WOMEN_MM = (193.3, 9.9), (181.1, 10.1)

#: Of men and women together, as many of each.
TYPICAL_HAND_MM = (_MEN_MM[0] + _WOMEN_MM[0]) / 2
_TYPICAL_SD_MM = math.sqrt((_MEN_MM[1] ** 2 + _WOMEN_MM[1] ** 2) / 2 + ((_MEN_MM[0] - _WOMEN_MM[0]) / 2) ** 2)

#: A length read off a ruler, or against a bank card in a picture, by a player (common practice).
_OWN_SD_MM = 3.0


@dataclass(frozen=True)
class HandSize:
    """How long a hand is.

    Attributes
    ----------
    length_mm
        From the wrist's crease to the tip of the middle finger.
    sd_mm
        Its standard deviation.
    """

    length_mm: float
    sd_mm: float

    @classmethod
    def of(cls, own_mm: float | None) -> HandSize:
        """The player's own length in millimetres where it is stated, else that of people, with their spread."""
        return cls(TYPICAL_HAND_MM, _TYPICAL_SD_MM) if own_mm is None else cls(own_mm, _OWN_SD_MM)

    @property
    def over_typical(self) -> float:
        """This hand's length over the typical one."""
        return self.length_mm / TYPICAL_HAND_MM

    @property
    def relative_sd(self) -> float:
        """The standard deviation over the length."""
        return self.sd_mm / self.length_mm
