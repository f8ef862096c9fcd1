"""The section [watch]: what is warned of, and when."""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, Field, model_validator

from posturewatch.comfort.rules import WatchRules
from posturewatch.config.instruments import FRETTING_ROLES, RoleName
from posturewatch.config.section import Section, setting
from posturewatch.model.quantities import Group

__all__ = ["WatchSettings"]


def _roles_of_today(roles: object) -> object:
    """The hand on a bowed instrument's fingerboard had another name in earlier files."""
    return (
        ["fingerboard" if role == "stopping" else role for role in roles]
        if isinstance(roles, list)
        else roles
    )


class WatchSettings(Section):
    """As `posturewatch.comfort.rules.WatchRules`, with roles for sides."""

    hold_s: float = setting(
        WatchRules.hold_s, "Seconds an extreme wrist angle must be held before a warning", 0.5, 60
    )
    finger_hold_s: float = setting(
        WatchRules.finger_hold_s,
        "Seconds an extreme of a finger must be held before a warning, where fingers are warned of",
        0.5,
        60,
    )
    rearm_s: float = setting(
        WatchRules.rearm_s, "Seconds that the same warning stays quiet after it cleared", 0, 600
    )
    warn_probability: float = setting(
        WatchRules.warn_probability,
        "Chance of being beyond the extreme limit that counts as evidence for a warning",
        0.55,
        0.99,
    )
    finger_warn_probability: float = setting(
        WatchRules.finger_warn_probability,
        "The same for an extreme of a finger, where fingers are warned of",
        0.51,
        0.99,
    )
    clear_probability: float = setting(
        WatchRules.clear_probability,
        "Chance below which a warning clears; at most warn_probability",
        0.05,
        0.99,
    )
    dip_s: float = setting(
        WatchRules.dip_s,
        "Seconds below these chances that neither break a hold nor clear a warning",
        0,
        2,
    )
    hysteresis_deg: float = setting(
        WatchRules.hysteresis_deg,
        "Degrees by which an angle must fall below a limit before the excursion beyond it ends",
        0,
        20,
    )
    hysteresis_mm: float = setting(
        WatchRules.hysteresis_mm,
        "Millimetres by which a finger must come back below a limit before the excursion beyond it ends",
        0,
        50,
    )
    min_excursion_s: float = setting(
        WatchRules.min_excursion_s, "Stays beyond a limit shorter than this are ignored", 0, 5
    )
    unseen_grace_s: float = setting(
        WatchRules.unseen_grace_s,
        "Seconds a hand may be out of sight before an excursion or a warning ends",
        0.1,
        10,
    )
    max_gap_s: float = setting(
        WatchRules.max_gap_s, "Seconds that one measurement stands for at most", 0.05, 2
    )
    warn_roles: Annotated[tuple[RoleName, ...], BeforeValidator(_roles_of_today)] = Field(
        default=(*FRETTING_ROLES, "keys"),
        description="Hands that are warned of; roles that the instrument does not have are ignored",
        strict=False,
    )
    warn_groups: tuple[Group, ...] = Field(
        default=WatchRules.warn_groups,
        description="What is warned of; fingers are measured and kept all the same, and no limit for them is "
        "validated",
        strict=False,
    )

    @model_validator(mode="after")
    def _clears_below(self) -> WatchSettings:
        if self.clear_probability > self.warn_probability:
            raise ValueError(
                f"clear_probability ({self.clear_probability:g}) must not lie above watch.warn_probability "
                f"({self.warn_probability:g})"
            )
        return self
