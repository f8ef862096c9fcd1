"""The sections of the settings file, each with its keys, their defaults, bounds and help."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from posturewatch.comfort.limits import PersonalLimits
from posturewatch.comfort.personal import DEFAULT_SHARE
from posturewatch.config.instruments import Handedness, InstrumentName
from posturewatch.config.limit_profiles import DEFAULT_PROFILE
from posturewatch.config.personal_limits import PERSONAL, PersonalSettings
from posturewatch.config.section import Section, setting

__all__ = [
    "CameraSettings",
    "ClipSettings",
    "DisplaySettings",
    "InstrumentSettings",
    "Language",
    "LimitSettings",
    "PageSettings",
    "PlayerSettings",
    "RestSettings",
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
        "Whether a camera's clips carry the microphone's sound; it listens only while a session runs; what the player "
        "chose before a practice goes before",
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
    """The section [page]: how it speaks, and what it shows first."""

    language: Language = setting("en", "The language of the page: English or German")
    before_start: bool = setting(
        True,
        "Whether the page first shows what the camera sees and waits for Start; otherwise a practice begins at once",
    )
