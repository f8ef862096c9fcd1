"""All settings together, and the one file that they are read from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import platformdirs
from pydantic import PrivateAttr
from pydantic.fields import FieldInfo

from posturewatch.comfort.limits import LimitProfile, narrowed, wider
from posturewatch.comfort.own_range import End
from posturewatch.comfort.personal import limits_from_range, range_by_direction
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
from posturewatch.model.observation import Side
from posturewatch.model.quantities import quantity

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
        """The published profile, narrowed by the player's own range.

        Raises
        ------
        InputError
            For an unknown profile.
        """
        profile, share = load_profile(self.limits.profile), self.limits.range_share
        from_range = limits_from_range(profile, ends, share)
        measured = range_by_direction(ends)
        sources = {
            key: f"{share:.0%} of the player's own range of {measured[key[:2]].value_deg:.0f} degrees, measured "
            f"{measured[key[:2]].date}"
            for key in from_range
        }
        return narrowed(profile, from_range, sources)

    def limit_profile(self, ends: Sequence[End] = ()) -> LimitProfile:
        """The profile in use, narrowed by the player's own range and the limits set by hand; raises as
        `range_profile`."""
        return narrowed(self.range_profile(ends), self.limits.own)

    def limits_left_aside(self, ends: Sequence[End] = ()) -> tuple[str, ...]:
        """Keys of [limits.personal] that are wider than the limits in use, and so change nothing."""
        left = wider(self.range_profile(ends), self.limits.own)
        keys = (personal_key(quantity(name), direction, level) for name, direction, level in left)
        return tuple(dict.fromkeys(keys))

    def to_json(self) -> dict[str, Any]:
        """All settings but the path, in JSON's types, by section and key as in the file."""
        found = self.model_dump(mode="json")
        found["limits"]["personal"] = self.limits.personal.model_dump(exclude_none=True)
        return found


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
