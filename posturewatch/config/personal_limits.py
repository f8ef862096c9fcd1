"""The section [limits.personal]: a setting for each limit that a player may narrow."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pydantic import create_model

from posturewatch.comfort.limits import LEVELS
from posturewatch.config.section import Section, setting
from posturewatch.model.quantities import QUANTITIES, Quantity, quantity
from posturewatch.model.verdict import Level

__all__ = ["PERSONAL", "PersonalSettings", "personal_key"]


def personal_key(entry: Quantity, direction: str, level: Level) -> str:
    """The wrist's directions stand for themselves; fingers share directions, and a family shares its limits."""
    words = [direction]
    if entry.group != "wrist":
        words = [entry.family] if entry.family.endswith(direction) else [entry.family, direction]
    return "_".join([*words, level, entry.unit])


def _personal() -> dict[str, tuple[tuple[str, str, Level], ...]]:
    found: dict[str, tuple[tuple[str, str, Level], ...]] = {}
    for entry in QUANTITIES:
        for direction in entry.directions:
            for level in LEVELS:
                key = personal_key(entry, direction, level)
                found[key] = (*found.get(key, ()), (entry.name, direction, level))
    return found


#: Keys of [limits.personal], such as extension_extreme_deg or finger_lift_comfort_mm, and what each limits.
PERSONAL = _personal()


def _of_family(name: str) -> str:
    entry = quantity(name)
    return "" if entry.group == "wrist" else f" of {entry.family.replace('_', ' ')}"


_FIELDS: dict[str, Any] = {
    key: (
        float | None,
        setting(
            None,
            f"Your own {limited[0][2]} limit{_of_family(limited[0][0])} for both hands in the direction of "
            f"{limited[0][1]}; it can only narrow the profile's, where that has one",
            1,
            180,
        ),
    )
    for key, limited in PERSONAL.items()
}

if TYPE_CHECKING:
    PersonalSettings = Section
else:
    PersonalSettings = create_model("PersonalSettings", __base__=Section, **_FIELDS)
