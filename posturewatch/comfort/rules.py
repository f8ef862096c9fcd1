"""The rules of watching: times and thresholds, with the reasons for their defaults."""

from __future__ import annotations

from dataclasses import dataclass

from posturewatch.model.observation import SIDES, Side
from posturewatch.model.quantities import GROUPS, Group

__all__ = ["WatchRules"]


@dataclass(frozen=True)
class WatchRules:
    """Defaults without a source are common practice or plain reason, as noted.

    hysteresis_deg: an excursion begins beyond the limit and ends below the limit less this: 5 degrees, what
        experienced raters of goniometers accept as the same angle (Engstrand 2021).
    hysteresis_mm: the same for lengths: a fingertip's landmark strays about as far (common practice).
    unseen_grace_s: a hand that is not measurable for longer ends excursions and holds at the last seen time.
    min_excursion_s: what is shorter is no excursion; at 20 samples a second or more, one noisy frame is none.
    max_gap_s: a sample speaks for the time until the next one, but for no longer than this.
    hold_s: how long an extreme wrist angle must be held, in seen time, before a warning.
    finger_hold_s: the same for an extreme of a finger, which comes and goes more quickly (common practice).
    warn_probability: the probability of being beyond the extreme limit that counts as evidence; above 0.5, so that
        a warning always belongs to a value beyond the limit. Held for hold_s, 0.6 is enough
        (`calibration/MODEL_CARD.md` has what other values find and miss).
    finger_warn_probability: the same for an extreme of a finger. Of a lifted finger either much or little is known, so
        that more likely than not is enough (model card).
    clear_probability: below this probability the warning clears; lower than warn_probability, so it does not
        flicker. A finger's clears below its own, where that is less.
    dip_s: a dip below either probability that is shorter than this neither resets the hold nor clears the
        warning. While it lasts it counts against the hold, second for second.
    rearm_s: after a warning has cleared, the same warning keeps quiet for this long.
    warn_sides: the hands that are warned of; the others are measured all the same.
    warn_groups: the groups of quantities that are warned of: the wrist alone. No finger limit has a source, so
        fingers are recorded, and warned of only where a player wants it.
    """

    hysteresis_deg: float = 5.0
    hysteresis_mm: float = 3.0
    unseen_grace_s: float = 1.0
    min_excursion_s: float = 0.3
    max_gap_s: float = 0.25
    hold_s: float = 3.0
    finger_hold_s: float = 2.0
    warn_probability: float = 0.6
    finger_warn_probability: float = 0.51
    clear_probability: float = 0.5
    dip_s: float = 0.4
    rearm_s: float = 5.0
    warn_sides: tuple[Side, ...] = SIDES
    warn_groups: tuple[Group, ...] = ("wrist",)

    def __post_init__(self) -> None:
        for name in ("warn_probability", "finger_warn_probability"):
            if not 0.5 < getattr(self, name) < 1.0:
                raise ValueError(f"{name} lies above 0.5 and below 1, got {getattr(self, name)}")
        if not 0.0 < self.clear_probability <= self.warn_probability:
            raise ValueError(
                f"clear_probability lies above 0 and at most at warn_probability, got {self.clear_probability}"
            )
        for name in ("unseen_grace_s", "max_gap_s", "hold_s", "finger_hold_s"):
            if not getattr(self, name) > 0:
                raise ValueError(f"{name} is above 0, got {getattr(self, name)}")
        for name in ("hysteresis_deg", "hysteresis_mm", "min_excursion_s", "dip_s", "rearm_s"):
            if not getattr(self, name) >= 0:
                raise ValueError(f"{name} is not negative, got {getattr(self, name)}")
        if not set(self.warn_sides) <= {"left", "right"}:
            raise ValueError(f"a side is 'left' or 'right', got {self.warn_sides}")
        if not set(self.warn_groups) <= set(GROUPS):
            raise ValueError(f"a group is one of {GROUPS}, got {self.warn_groups}")

    def hysteresis(self, unit: str) -> float:
        """The hysteresis for quantities in this unit.

        Raises
        ------
        ValueError
            For an unknown unit.
        """
        if unit == "deg":
            return self.hysteresis_deg
        if unit == "mm":
            return self.hysteresis_mm
        raise ValueError(f"no hysteresis is set for quantities in {unit!r}")

    def leave(self, limit: float, unit: str) -> float:
        """The magnitude below which an excursion beyond the limit has ended: the limit less the hysteresis, but
        never less than half the limit."""
        return max(limit - self.hysteresis(unit), limit / 2.0)

    def evidence(self, group: Group) -> float:
        """The probability of being beyond the extreme limit that counts as evidence, for quantities of this group."""
        if group == "wrist":
            return self.warn_probability
        if group == "finger":
            return self.finger_warn_probability
        raise ValueError(f"a group is one of {GROUPS}, got {group!r}")

    def clear(self, group: Group) -> float:
        """The probability below which a warning of a quantity of this group clears."""
        return min(self.clear_probability, self.evidence(group))

    def hold(self, group: Group) -> float:
        """How long an extreme of a quantity of this group is held before a warning, in seconds."""
        if group == "wrist":
            return self.hold_s
        if group == "finger":
            return self.finger_hold_s
        raise ValueError(f"a group is one of {GROUPS}, got {group!r}")
