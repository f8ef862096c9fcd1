"""The one settings file: every setting declared once, with default, bounds and help."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

import platformdirs
from pydantic import Field, PrivateAttr
from pydantic.fields import FieldInfo

from posturewatch.comfort.limits import LimitProfile, PersonalLimits, narrowed, wider
from posturewatch.comfort.own_range import End
from posturewatch.comfort.personal import DEFAULT_SHARE, limits_from_range, range_by_direction
from posturewatch.comfort.rules import WatchRules
from posturewatch.config.instruments import FRETTING_ROLES, Handedness, InstrumentName, hand_roles
from posturewatch.config.limit_profiles import DEFAULT_PROFILE, load_profile
from posturewatch.config.personal_limits import PERSONAL, PersonalSettings, personal_key
from posturewatch.config.section import Section, setting
from posturewatch.config.settings_file import parse, render, sections
from posturewatch.config.watch_settings import WatchSettings
from posturewatch.errors import SettingsError
from posturewatch.model.observation import Side
from posturewatch.model.quantities import quantity

__all__ = [
    "SETTINGS",
    "CameraSettings",
    "ClipSettings",
    "DisplaySettings",
    "InstrumentSettings",
    "LimitSettings",
    "PageSettings",
    "PlayerSettings",
    "RestSettings",
    "Settings",
    "WatchSettings",
    "default_settings_path",
    "example_settings",
    "load_settings",
    "parse_settings",
    "settings_file",
]


#: Catalogues of words in the folder web/words.
Language = Literal["en", "de"]


_Pixels = Annotated[int, Field(strict=True, ge=160, le=7680)]


class CameraSettings(Section):
    """The section [camera]: where frames come from."""

    source: str = setting(
        "0",
        "Where frames come from when the command names no source: a camera's number or an address",
    )
    size_px: tuple[_Pixels, _Pixels] = Field(
        default=(1280, 720), description="Width and height asked of the camera, in pixels", strict=False
    )
    rate_hz: float = setting(30.0, "Frames a second asked of the camera", 5, 240)
    hfov_deg: float | None = setting(
        None,
        "The camera's horizontal field of view in degrees, where its maker states it; a usual lens is assumed "
        "where this is left out",
        20,
        170,
    )
    mirrored: bool = setting(
        False, "Whether the camera itself delivers a mirrored image (writing then reads backwards)"
    )


class InstrumentSettings(Section):
    """The section [instrument]: what is played, and with which hands."""

    name: InstrumentName = setting("guitar", "The instrument")
    handedness: Handedness = setting(
        "right", "The player's handedness; a right-handed player's left hand is on the fingerboard"
    )


class PlayerSettings(Section):
    """The section [player]: who plays, and what is known of the hands."""

    name: str = setting(
        "Player",
        "Who plays; what is measured of each player's hands lies in a file of that name, beside this one",
    )
    hand_length_mm: float | None = setting(
        None,
        "Length of the hand in millimetres from the wrist's crease to the tip of the middle finger; gives "
        "lengths in the image their scale; what was measured of the player goes before",
        100,
        260,
    )


class LimitSettings(Section):
    """personal: the player's own limits, from the section [limits.personal]."""

    profile: str = setting(DEFAULT_PROFILE, "The limit profile, a file in calibration/limits")
    range_share: float = setting(
        DEFAULT_SHARE,
        "Share of your own measured range beyond which an angle is extreme, where that is narrower than the profile",
        0.3,
        1,
    )
    personal: PersonalSettings = PersonalSettings()

    @property
    def own(self) -> PersonalLimits:
        """The personal limits by quantity, direction and level."""
        given = self.personal.model_dump(exclude_none=True)
        return {limited: value for key, value in given.items() for limited in PERSONAL[key]}


class DisplaySettings(Section):
    """The section [display]: how numbers are smoothed for the eye."""

    min_cutoff_hz: float = setting(
        1.0, "Smoothing of the numbers shown, at rest; lower is calmer (One Euro filter)", 0.05, 30
    )
    beta: float = setting(
        0.05,
        "How much the smoothing yields to movement; higher is quicker (One Euro filter)",
        0,
        10,
    )


class ClipSettings(Section):
    """The section [clips]: short videos of moments."""

    enabled: bool = setting(True, "Whether short videos of flagged and marked moments are kept")
    limit_gb: float = setting(
        2.0,
        "Room for all clips together, in gigabytes; the oldest that are not kept make room for new ones",
        0.05,
        10_000,
    )
    film_sound: bool = setting(True, "Whether clips of a video file carry its sound")
    microphone: bool = setting(
        False,
        "Whether a camera's clips carry the microphone's sound; it listens only while a session runs",
    )


class RestSettings(Section):
    """The section [rest]: suggestions to rest."""

    nudge_min: float = setting(
        20.0, "Minutes of playing after which a short rest is suggested; 0 for never", 0, 600
    )
    load_notice: bool = setting(
        True, "Whether a week that rises suddenly over the four before it is pointed out"
    )


class PageSettings(Section):
    language: Language = setting("en", "The language of the page: English or German")
    before_start: bool = setting(
        True,
        "Whether the page first shows what the camera sees and waits for Start; otherwise a practice begins at once",
    )


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
