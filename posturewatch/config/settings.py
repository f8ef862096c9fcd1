"""All settings together, and the one file that they are read from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import platformdirs
from pydantic import PrivateAttr
from pydantic.fields import FieldInfo

from posturewatch.comfort.limits import LimitProfile, PersonalLimits, narrowed, of_hands, wider
from posturewatch.comfort.own_range import End
from posturewatch.comfort.personal import ends_of, limits_from_range, range_by_direction
from posturewatch.comfort.rules import WatchRules
from posturewatch.config.instruments import FRETTING_ROLES, hand_roles
from posturewatch.config.limit_profiles import load_profile
from posturewatch.config.personal_limits import personal_key
from posturewatch.config.section import Section
from posturewatch.config.settings_file import parse, render, sections
from posturewatch.config.settings_sections import (
    CameraSettings,
    ClipSettings,
    DisplaySettings,
    InstrumentSettings,
    LimitSettings,
    PageSettings,
    PlayerSettings,
    RestSettings,
)
from posturewatch.config.watch_settings import WatchSettings
from posturewatch.errors import SettingsError
from posturewatch.model.observation import SIDES, Side
from posturewatch.model.quantities import quantity
from posturewatch.model.verdict import Level

__all__ = [
    "SETTINGS",
    "Settings",
    "default_settings_path",
    "example_settings",
    "load_settings",
    "parse_settings",
    "settings_file",
]


class Settings(Section):
    """All settings."""

    camera: CameraSettings = CameraSettings()
    instrument: InstrumentSettings = InstrumentSettings()
    player: PlayerSettings = PlayerSettings()
    limits: LimitSettings = LimitSettings()
    watch: WatchSettings = WatchSettings()
    display: DisplaySettings = DisplaySettings()
    clips: ClipSettings = ClipSettings()
    rest: RestSettings = RestSettings()
    page: PageSettings = PageSettings()

    _path: Path | None = PrivateAttr(default=None)

    @property
    def path(self) -> Path | None:
        """The file they were read from, None for the defaults."""
        return self._path

    @property
    def roles(self) -> dict[Side, str]:
        """What either hand does on this instrument."""
        return hand_roles(self.instrument.name, self.instrument.handedness)

    @property
    def fretting(self) -> frozenset[Side]:
        """The hands that press strings to a fingerboard."""
        return frozenset(side for side, role in self.roles.items() if role in FRETTING_ROLES)

    def changed(self, section: str, **values: Any) -> Settings:
        """The same settings but for these of one section, which are not checked again."""
        return self.model_copy(update={section: getattr(self, section).model_copy(update=values)})

    def rules(self) -> WatchRules:
        """The rules for the watch, with the warned hands' sides."""
        given = self.watch.model_dump()
        warned = set(given.pop("warn_roles"))
        sides = tuple(side for side, role in sorted(self.roles.items()) if role in warned)
        return WatchRules(**given, warn_sides=sides)

    def range_profile(self, ends: Sequence[End] = ()) -> LimitProfile:
        """The published profile, narrowed for either hand by the player's own range.

        Raises
        ------
        InputError
            For an unknown profile.
        """
        return of_hands({side: self._from_range(ends, side) for side in SIDES})

    def limit_profile(
        self, ends: Sequence[End] = (), by_hand: Mapping[Side, PersonalLimits] | None = None
    ) -> LimitProfile:
        """The profile in use, narrowed by the player's own range, by the limits that the settings have for both hands
        and by those set for one hand; raises as `range_profile`."""
        given = by_hand or {}
        both = {side: narrowed(self._from_range(ends, side), self.limits.own) for side in SIDES}
        return of_hands({side: narrowed(one, given.get(side, {})) for side, one in both.items()})

    def _from_range(self, ends: Sequence[End], side: Side) -> LimitProfile:
        profile, share = load_profile(self.limits.profile), self.limits.range_share
        mine = ends_of(ends, side)
        from_range, measured = limits_from_range(profile, mine, share), range_by_direction(mine)
        sources = {
            key: f"{share:.0%} of the player's own range of {measured[key[:2]].value_deg:.0f} degrees, measured "
            f"{measured[key[:2]].date}"
            for key in from_range
        }
        return narrowed(profile, from_range, sources)

    def limits_left_aside(
        self, ends: Sequence[End] = (), by_hand: Mapping[Side, PersonalLimits] | None = None
    ) -> tuple[str, ...]:
        """What is set in [limits.personal], and for one hand, and wider than the limits in use, so that it changes
        nothing: the settings' keys, and "left extension extreme"."""
        profile, given = self.range_profile(ends), by_hand or {}
        in_settings = {
            personal_key(quantity(name), direction, level)
            for name, direction, level in _wider_for_both(profile, self.limits.own)
        }
        of_one = [
            f"{side} {direction} {level}"
            for side in SIDES
            for _, direction, level in wider(profile.of(side), given.get(side, {}))
        ]
        return (*sorted(in_settings), *of_one)

    def to_json(self) -> dict[str, Any]:
        """All settings but the path, in JSON's types, by section and key as in the file."""
        found = self.model_dump(mode="json")
        found["limits"]["personal"] = self.limits.personal.model_dump(exclude_none=True)
        return found


def _wider_for_both(profile: LimitProfile, personal: PersonalLimits) -> set[tuple[str, str, Level]]:
    """The limits that narrow neither hand."""
    left, right = (set(wider(profile.of(side), personal)) for side in SIDES)
    return left & right


#: Every setting by section and key, in the order of the file.
SETTINGS: Mapping[str, Mapping[str, FieldInfo]] = {
    name: {key: field for key, field in section.model_fields.items() if field.description is not None}
    for name, section in sections(Settings)
}


def default_settings_path() -> Path:
    """The settings file in the user's own configuration folder."""
    return Path(platformdirs.user_config_dir("posturewatch", appauthor=False)) / "settings.toml"


def settings_file(path: Path | None) -> Path:
    """That settings file, or the user's own one where path is None; neither need be there."""
    return default_settings_path() if path is None else path


def parse_settings(text: str, file: str = "The settings file", path: Path | None = None) -> Settings:
    """Settings from the file's text; what it does not name keeps its default.

    Raises
    ------
    SettingsError
        In one sentence that names `file`, the line and the key: for a syntax fault, an unknown key (with the likely
        one), a wrong type or a value out of bounds.
    """
    settings = parse(text, Settings, file)
    settings._path = path
    return settings


def load_settings(path: Path | None = None) -> Settings:
    """The settings of that file, or of the user's own one where path is None; defaults where that is missing.

    Raises
    ------
    SettingsError
        Where a named file is missing, or the file cannot be read or is broken.
    """
    chosen = settings_file(path)
    try:
        data = chosen.read_bytes()
    except FileNotFoundError as error:
        if path is None:
            return Settings()
        raise SettingsError(
            f"There is no settings file {chosen}; check the path, or leave it out to use the defaults."
        ) from error
    except OSError as error:
        raise SettingsError(
            f"The settings file {chosen} cannot be read: {error.strerror or error}."
        ) from error
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise SettingsError(
            f"The settings file {chosen}, line {line}: this is not UTF-8 text; save the file as UTF-8."
        ) from error
    return parse_settings(text, f"The settings file {chosen}", chosen)


def example_settings() -> str:
    """A settings file with every key at its default, commented out, each under its help."""
    return render(
        Settings,
        "Settings of posturewatch. Remove the # before a key to change it.\n"
        f"Keep this file as {default_settings_path().name} in the folder that `posturewatch check` names, or "
        "name it with --settings.",
    )
