"""The one settings file: every setting declared once, with default, bounds and help."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import Any, Literal, cast

import platformdirs

from posturewatch.comfort.limits import LimitProfile, PersonalLimits, narrowed, wider
from posturewatch.comfort.rules import WatchRules
from posturewatch.config.instruments import FRETTING_ROLES, INSTRUMENTS, ROLES, hand_roles
from posturewatch.config.limit_profiles import DEFAULT_PROFILE, load_profile
from posturewatch.config.settings_file import Setting, line_of, parse, render
from posturewatch.errors import SettingsError
from posturewatch.model.observation import Side
from posturewatch.model.quantities import GROUPS, QUANTITIES, Group, Quantity, quantity
from posturewatch.model.verdict import Level

__all__ = [
    "SETTINGS",
    "CameraSettings",
    "ClipSettings",
    "DisplaySettings",
    "InstrumentSettings",
    "LimitSettings",
    "PlayerSettings",
    "RestSettings",
    "Settings",
    "WatchSettings",
    "default_settings_path",
    "example_settings",
    "load_settings",
    "parse_settings",
]


def _setting(
    kind: Literal["number", "whole", "flag", "text", "texts", "wholes"],
    default: Any,
    help: str,
    low: float | None = None,
    high: float | None = None,
    choices: tuple[str, ...] = (),
    length: int | None = None,
) -> Any:
    """A dataclass field that carries its entry of the settings file."""
    entry = Setting(kind, default, help, low, high, choices, length)
    return field(default=default, metadata={"setting": entry})


@dataclass(frozen=True)
class CameraSettings:
    source: str = _setting(
        "text",
        "0",
        "Where pictures come from when the command names no source: a camera's number or an address",
    )
    size_px: tuple[int, int] = _setting(
        "wholes", (1280, 720), "Width and height asked of the camera, in pixels", 160, 7680, length=2
    )
    rate_hz: float = _setting("number", 30.0, "Pictures a second asked of the camera", 5, 240)
    hfov_deg: float | None = _setting(
        "number",
        None,
        "The camera's horizontal field of view in degrees, where its maker states it; a usual lens is assumed "
        "where this is left out",
        20,
        170,
    )
    mirrored: bool = _setting(
        "flag", False, "Whether the camera itself delivers a mirrored picture (writing then reads backwards)"
    )


@dataclass(frozen=True)
class InstrumentSettings:
    name: str = _setting("text", "guitar", "The instrument", choices=tuple(INSTRUMENTS))
    handedness: Literal["right", "left"] = _setting(
        "text",
        "right",
        "The player's handedness; a right-handed player's left hand is on the fingerboard",
        choices=("right", "left"),
    )


@dataclass(frozen=True)
class PlayerSettings:
    hand_length_mm: float | None = _setting(
        "number",
        None,
        "Length of the hand in millimetres from the wrist's crease to the tip of the middle finger; gives "
        "lengths in the picture their scale",
        100,
        260,
    )


@dataclass(frozen=True)
class LimitSettings:
    """personal: the player's own limits, from the section [limits.personal]."""

    profile: str = _setting("text", DEFAULT_PROFILE, "The limit profile, a file in calibration/limits")
    personal: PersonalLimits = field(default_factory=dict)


@dataclass(frozen=True)
class WatchSettings:
    """As `posturewatch.comfort.rules.WatchRules`, with roles for sides."""

    hold_s: float = _setting(
        "number", WatchRules.hold_s, "Seconds an extreme wrist angle must be held before a warning", 0.5, 60
    )
    finger_hold_s: float = _setting(
        "number",
        WatchRules.finger_hold_s,
        "Seconds an extreme of a finger must be held before a warning, where fingers are warned of",
        0.5,
        60,
    )
    rearm_s: float = _setting(
        "number", WatchRules.rearm_s, "Seconds that the same warning stays quiet after it cleared", 0, 600
    )
    warn_probability: float = _setting(
        "number",
        WatchRules.warn_probability,
        "Chance of being beyond the extreme limit that counts as evidence for a warning",
        0.55,
        0.99,
    )
    finger_warn_probability: float = _setting(
        "number",
        WatchRules.finger_warn_probability,
        "The same for an extreme of a finger, where fingers are warned of",
        0.51,
        0.99,
    )
    clear_probability: float = _setting(
        "number",
        WatchRules.clear_probability,
        "Chance below which a warning clears; at most warn_probability",
        0.05,
        0.99,
    )
    dip_s: float = _setting(
        "number",
        WatchRules.dip_s,
        "Seconds below these chances that neither break a hold nor clear a warning",
        0,
        2,
    )
    hysteresis_deg: float = _setting(
        "number",
        WatchRules.hysteresis_deg,
        "Degrees by which an angle must fall below a limit before the excursion beyond it ends",
        0,
        20,
    )
    hysteresis_mm: float = _setting(
        "number",
        WatchRules.hysteresis_mm,
        "Millimetres by which a finger must come back below a limit before the excursion beyond it ends",
        0,
        50,
    )
    min_excursion_s: float = _setting(
        "number", WatchRules.min_excursion_s, "Stays beyond a limit shorter than this are ignored", 0, 5
    )
    unseen_grace_s: float = _setting(
        "number",
        WatchRules.unseen_grace_s,
        "Seconds a hand may be out of sight before an excursion or a warning ends",
        0.1,
        10,
    )
    max_gap_s: float = _setting(
        "number", WatchRules.max_gap_s, "Seconds that one measurement stands for at most", 0.05, 2
    )
    warn_roles: tuple[str, ...] = _setting(
        "texts",
        FRETTING_ROLES,
        "Hands that are warned of; roles that the instrument does not have are ignored",
        choices=ROLES,
    )
    warn_groups: tuple[Group, ...] = _setting(
        "texts",
        WatchRules.warn_groups,
        "What is warned of; fingers are measured and kept all the same, and no limit for them is validated",
        choices=GROUPS,
    )


@dataclass(frozen=True)
class DisplaySettings:
    min_cutoff_hz: float = _setting(
        "number", 1.0, "Smoothing of the numbers shown, at rest; lower is calmer (One Euro filter)", 0.05, 30
    )
    beta: float = _setting(
        "number",
        0.05,
        "How much the smoothing yields to movement; higher is quicker (One Euro filter)",
        0,
        10,
    )


@dataclass(frozen=True)
class ClipSettings:
    enabled: bool = _setting("flag", True, "Whether short films of flagged and marked moments are kept")
    limit_gb: float = _setting(
        "number",
        2.0,
        "Room for all clips together, in gigabytes; the oldest that are not kept make room for new ones",
        0.05,
        10_000,
    )
    film_sound: bool = _setting("flag", True, "Whether clips of a film carry its sound")
    microphone: bool = _setting(
        "flag",
        False,
        "Whether a camera's clips carry the microphone's sound; it listens only while a session runs",
    )


@dataclass(frozen=True)
class RestSettings:
    nudge_min: float = _setting(
        "number", 20.0, "Minutes of playing after which a short rest is suggested; 0 for never", 0, 600
    )
    load_notice: bool = _setting(
        "flag", True, "Whether a week that rises suddenly over the four before it is told of"
    )


@dataclass(frozen=True)
class Settings:
    """All settings. `path` is the file they were read from, None for the defaults."""

    camera: CameraSettings = field(default_factory=CameraSettings)
    instrument: InstrumentSettings = field(default_factory=InstrumentSettings)
    player: PlayerSettings = field(default_factory=PlayerSettings)
    limits: LimitSettings = field(default_factory=LimitSettings)
    watch: WatchSettings = field(default_factory=WatchSettings)
    display: DisplaySettings = field(default_factory=DisplaySettings)
    clips: ClipSettings = field(default_factory=ClipSettings)
    rest: RestSettings = field(default_factory=RestSettings)
    path: Path | None = None

    @property
    def roles(self) -> dict[Side, str]:
        """What either hand does on this instrument."""
        return hand_roles(self.instrument.name, self.instrument.handedness)

    @property
    def fretting(self) -> frozenset[Side]:
        """The hands that press strings to a fingerboard."""
        return frozenset(side for side, role in self.roles.items() if role in FRETTING_ROLES)

    def rules(self) -> WatchRules:
        """The rules for the watch, with the warned hands' sides."""
        given = asdict(self.watch)
        warned = set(given.pop("warn_roles"))
        sides = tuple(side for side, role in sorted(self.roles.items()) if role in warned)
        return WatchRules(**given, warn_sides=sides)

    def limit_profile(self) -> LimitProfile:
        """The profile in use, narrowed by the personal limits. Raises InputError for an unknown profile."""
        return narrowed(load_profile(self.limits.profile), self.limits.personal)

    def limits_left_aside(self) -> tuple[str, ...]:
        """Keys of [limits.personal] that are wider than the profile in use, and so change nothing."""
        left = wider(load_profile(self.limits.profile), self.limits.personal)
        keys = (_personal_key(quantity(name), direction, level) for name, direction, level in left)
        return tuple(dict.fromkeys(keys))

    def to_json(self) -> dict[str, Any]:
        """All settings but the path, in JSON's types, by section and key as in the file."""
        found: dict[str, Any] = {
            name: {
                key: list(value) if isinstance(value, tuple) else value
                for key, value in vars(getattr(self, name)).items()
            }
            for name in _SECTIONS
        }
        found["limits"]["personal"] = {
            _personal_key(quantity(name), direction, level): value
            for (name, direction, level), value in self.limits.personal.items()
        }
        return found


_SECTIONS: dict[str, type[Any]] = {
    "camera": CameraSettings,
    "instrument": InstrumentSettings,
    "player": PlayerSettings,
    "limits": LimitSettings,
    "watch": WatchSettings,
    "display": DisplaySettings,
    "clips": ClipSettings,
    "rest": RestSettings,
}


def _personal_key(entry: Quantity, direction: str, level: Level) -> str:
    """The wrist's directions stand for themselves; fingers share directions, and a family shares its limits."""
    words = [direction]
    if entry.group != "wrist":
        words = [entry.family] if entry.family.endswith(direction) else [entry.family, direction]
    return "_".join([*words, level, entry.unit])


def _personal() -> dict[str, tuple[tuple[str, str, Level], ...]]:
    found: dict[str, tuple[tuple[str, str, Level], ...]] = {}
    for entry in QUANTITIES:
        for direction in entry.directions:
            for level in cast("tuple[Level, ...]", ("comfort", "extreme")):
                key = _personal_key(entry, direction, level)
                found[key] = (*found.get(key, ()), (entry.name, direction, level))
    return found


#: Keys of [limits.personal], such as extension_extreme_deg or finger_lift_comfort_mm, and what each limits.
_PERSONAL = _personal()


def _of_family(name: str) -> str:
    entry = quantity(name)
    return "" if entry.group == "wrist" else f" of {entry.family.replace('_', ' ')}"


def _table() -> dict[str, dict[str, Setting]]:
    table: dict[str, dict[str, Setting]] = {}
    for name, section in _SECTIONS.items():
        table[name] = {
            entry.name: entry.metadata["setting"] for entry in fields(section) if "setting" in entry.metadata
        }
        if name == "limits":
            table["limits.personal"] = {
                key: Setting(
                    "number",
                    None,
                    f"Your own {limited[0][2]} limit{_of_family(limited[0][0])} in the direction of "
                    f"{limited[0][1]}; it can only narrow the profile's",
                    1,
                    180,
                )
                for key, limited in _PERSONAL.items()
            }
    return table


#: Every setting by section and key, in the order of the file.
SETTINGS: Mapping[str, Mapping[str, Setting]] = _table()


def default_settings_path() -> Path:
    """The settings file in the user's own configuration folder."""
    return Path(platformdirs.user_config_dir("posturewatch", appauthor=False)) / "settings.toml"


def parse_settings(text: str, file: str = "The settings file", path: Path | None = None) -> Settings:
    """Settings from the file's text; what it does not name keeps its default.

    Raises SettingsError in one sentence that names `file`, the line and the key: for a syntax fault, an
    unknown key (with the likely one), a wrong type or a value out of bounds.
    """
    found = parse(text, SETTINGS, file)
    personal = {
        limited: value for key, value in found.pop("limits.personal").items() for limited in _PERSONAL[key]
    }
    found["limits"]["personal"] = personal
    watch = WatchSettings(**found["watch"])
    if watch.clear_probability > watch.warn_probability:
        key = "clear_probability" if "clear_probability" in found["watch"] else "warn_probability"
        raise SettingsError(
            f"{file}, line {line_of(text, ('watch', key))}: watch.clear_probability "
            f"({watch.clear_probability:g}) must not lie above watch.warn_probability "
            f"({watch.warn_probability:g})."
        )
    return Settings(**{name: section(**found[name]) for name, section in _SECTIONS.items()}, path=path)


def load_settings(path: Path | None = None) -> Settings:
    """The settings of that file, or of the user's own one where path is None; defaults where that is missing.

    Raises SettingsError where a named file is missing, or the file cannot be read or is broken.
    """
    chosen = default_settings_path() if path is None else path
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
        SETTINGS,
        "Settings of posturewatch. Remove the # before a key to change it.\n"
        f"Keep this file as {default_settings_path().name} in the folder that `posturewatch check` names, or "
        "name it with --settings.",
    )
