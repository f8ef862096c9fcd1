"""What the page shows and changes before a practice begins."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from posturewatch.capture import CameraFound, find_cameras, names_film
from posturewatch.capture.lens import board_pdf, board_png
from posturewatch.comfort.limits import Limit
from posturewatch.comfort.personal import compared, limits_from_range
from posturewatch.config.instruments import instrument, instrument_names
from posturewatch.config.limit_profiles import load_profile
from posturewatch.config.personal_limits import PERSONAL, personal_key
from posturewatch.config.players import HAND_LENGTH_MM, HandLength, today
from posturewatch.config.settings_edit import Changes
from posturewatch.config.settings_form import settings_form
from posturewatch.errors import ConflictError, InputError
from posturewatch.kinematics.hand_size import TYPICAL_HAND_MM
from posturewatch.model.address import is_address, public_address
from posturewatch.model.quantities import in_group, quantity
from posturewatch.pipeline.live_practice import LivePractice
from posturewatch.pipeline.live_settings import LiveSettings
from posturewatch.pipeline.view.placement_watch import placement_json

__all__ = ["SetUp"]

#: Where each choice stands in the settings file.
_CHOICES: Mapping[str, tuple[str, str]] = {
    "source": ("camera", "source"),
    "size_px": ("camera", "size_px"),
    "rate_hz": ("camera", "rate_hz"),
    "mirrored": ("camera", "mirrored"),
    "hfov_deg": ("camera", "hfov_deg"),
    "microphone": ("clips", "microphone"),
    "instrument": ("instrument", "name"),
    "handedness": ("instrument", "handedness"),
    "before_start": ("page", "before_start"),
    "player": ("player", "name"),
    "range_share": ("limits", "range_share"),
}

#: After a change of these the preview is opened anew.
_LOOKED_THROUGH = frozenset(_CHOICES) - {"microphone", "before_start", "player", "range_share"}

RUNNING = "A session is running; stop it first, then set up."


class SetUp:
    """Choices, preview and settings; every method may be called from any thread.

    Parameters
    ----------
    live
        The practice that is set up.
    settings
        What is changed.
    find
        Looks for cameras.
    """

    def __init__(
        self,
        live: LivePractice,
        settings: LiveSettings,
        find: Callable[[], tuple[CameraFound, ...]] = find_cameras,
    ) -> None:
        self._live = live
        self._settings = settings
        self._find = find

    def document(self) -> dict[str, Any]:
        """All that the page shows, in JSON's types; asking also says that somebody looks."""
        self._live.preview.seen()
        step = self._live.measuring.step
        return {
            "preview": self._live.preview.state(),
            "choices": self._choices(),
            "placement": placement_json(self._live.placement.result()),
            "measuring": None if step is None else step.to_json(),
            "straight": [{"side": side, "quantity": name} for side, name in self._live.biases.known],
            "player": self._player(),
            "limits": self._limits(),
        }

    def measure(
        self, what: str, side: str | None, quantity: str | None, direction: str | None
    ) -> dict[str, Any]:
        """Begins to measure "neutral", "end" or "lens"; see `Measuring`. Raises as that, and ConflictError without a
        preview."""
        self._idle()
        if self._live.preview.state()["phase"] != "on":
            raise ConflictError("The camera shows nothing yet; wait for its picture, then begin.")
        self._live.measuring.begin(what, side, quantity, direction)  # type: ignore[arg-type]
        return self.document()

    def stop_measuring(self) -> dict[str, Any]:
        """Gives the step up."""
        self._live.measuring.stop()
        return self.document()

    def keep_measured(self) -> dict[str, Any]:
        """Keeps a result in spite of what speaks against it; raises as `Measuring.keep`."""
        self._live.measuring.keep()
        return self.document()

    def set_hand(self, length_mm: float | None, method: str) -> dict[str, Any]:
        """Keeps the length of the player's hand, None for that of people.

        Raises
        ------
        InputError
            For no hand's length.
        SettingsError, StoreError
            The player's file is broken or cannot be written.
        """
        low, high = HAND_LENGTH_MM
        if length_mm is not None and not low <= length_mm <= high:
            raise InputError(
                f"A hand is {low:g} to {high:g} mm long, from the wrist's crease to the tip of the middle finger, not "
                f"{length_mm:g}; measure again, in millimetres."
            )
        hand = None
        if length_mm is not None:
            card = method == "card"
            hand = HandLength(length_mm=round(length_mm, 1), method="card" if card else "ruler", date=today())
        self._settings.keep(self._settings.parts.player.model_copy(update={"hand": hand}))
        return self.document()

    def forget_range(self) -> dict[str, Any]:
        """Deletes the player's ends; the limits are the published ones again."""
        self._settings.keep(self._settings.parts.player.model_copy(update={"ends": ()}))
        return self.document()

    def set_limit(
        self, quantity_name: str, direction: str, level: str, value: float | None
    ) -> dict[str, Any]:
        """Sets a limit by hand, None for none.

        Raises
        ------
        InputError
            For a limit that is not there, or that is wider than what is published and what the own range allows.
        """
        settings, ends = self._settings.written, self._settings.parts.player.own_ends()
        try:
            one = quantity(quantity_name)
            key = personal_key(one, direction, level)  # type: ignore[arg-type]
            bound = settings.range_profile(ends).limit(quantity_name, direction, level)  # type: ignore[arg-type]
        except (KeyError, ValueError) as unknown:
            raise InputError("There is no such limit.") from unknown
        if value is not None:
            _refuse_wider(bound, value, one.unit)
        self._settings.change({("limits.personal", key): value})
        return self.document()

    def board(self, kind: str) -> bytes:
        """The board for measuring a lens, as a "pdf" to print or as a "png"."""
        return board_pdf() if kind == "pdf" else board_png()

    def open(self) -> dict[str, Any]:
        """Begins to look through the camera; ConflictError while a session runs."""
        self._idle()
        self._live.preview.open()
        return self.document()

    def close(self) -> dict[str, Any]:
        """Gives the camera back."""
        self._live.preview.close()
        return self.document()

    def cameras(self) -> list[dict[str, Any]]:
        """The cameras of this machine: source, name, size_px and rate_hz, None where that is not known (in use)."""
        return [
            {
                "source": str(one.index),
                "name": one.name,
                "size_px": None if one.size_px is None else list(one.size_px),
                "rate_hz": one.rate_hz,
            }
            for one in self._find()
        ]

    def instruments(self) -> list[dict[str, Any]]:
        """The instruments' profiles, in the order in which they are shown."""
        return [instrument(name).to_json() for name in instrument_names()]

    def choose(self, changes: Mapping[str, Any]) -> dict[str, Any]:
        """Keeps choices in the settings file, by the names of `choices` in the document.

        Raises
        ------
        InputError, SettingsError, StoreError
            As `change_settings`.
        ConflictError
            While a session runs.
        """
        self._idle()
        self._settings.change({_CHOICES[name]: value for name, value in changes.items()})
        if "source" in changes:
            self._live.use_settings_source()
        if _LOOKED_THROUGH & set(changes):
            self._live.preview.close()
            self._live.preview.open()
        return self.document()

    def settings(self) -> dict[str, Any]:
        """The settings as a form, and the file they are in; see `posturewatch.config.settings_form`."""
        settings = self._settings.written
        if is_address(settings.camera.source):  # without what lets one in
            settings = settings.changed("camera", source=public_address(settings.camera.source))
        return {
            "file": str(self._settings.file),
            "exists": self._settings.file.exists(),
            "sections": settings_form(settings),
            "running": self._live.practice.running,
        }

    def change_settings(self, changes: Changes) -> dict[str, Any]:
        """Changes settings in the file, takes them up and gives back the form; raises as `choose`, but for a
        running session: that goes on with what it began with. A limit that would be left aside is refused."""
        for (section, key), value in changes.items():
            if section == "limits.personal" and isinstance(value, (int, float)):
                self._refuse_left_aside(key, value)
        self._settings.change(changes)
        if any(section == "camera" for section, _ in changes):
            self._live.use_settings_source()
        return self.settings()

    def _refuse_left_aside(self, key: str, value: float) -> None:
        profile = self._settings.written.range_profile(self._settings.parts.player.own_ends())
        for limited in PERSONAL.get(key, ()):
            _refuse_wider(profile.limit(*limited), value, quantity(limited[0]).unit)

    def _choices(self) -> dict[str, Any]:
        settings = self._settings.parts.settings
        spec = self._live.spec
        return {
            "source": public_address(spec) if is_address(spec) else spec,
            "film": names_film(spec),
            "size_px": list(settings.camera.size_px),
            "rate_hz": settings.camera.rate_hz,
            "mirrored": settings.camera.mirrored,
            "hfov_deg": settings.camera.hfov_deg,
            "microphone": settings.clips.microphone,
            "instrument": settings.instrument.name,
            "handedness": settings.instrument.handedness,
            "before_start": settings.page.before_start,
            "player": settings.player.name,
            "range_share": settings.limits.range_share,
            "remembered": "name" in settings.instrument.model_fields_set,
        }

    def _player(self) -> dict[str, Any]:
        """Who plays, and what is known of the hands."""
        parts = self._settings.parts
        return {
            **parts.player.model_dump(mode="json"),
            "names": list(dict.fromkeys([parts.player.name, *self._settings.players.names()])),
            "typical_hand_mm": round(TYPICAL_HAND_MM, 1),
            "hand_mm": parts.settings.player.hand_length_mm,
        }

    def _limits(self) -> list[dict[str, Any]]:
        """The limits of the wrist side by side."""
        parts = self._settings.parts
        settings, ends = parts.settings, parts.player.own_ends()
        profile = load_profile(settings.limits.profile)
        own = limits_from_range(profile, ends, settings.limits.range_share)
        names = [entry.name for entry in in_group("wrist")]
        return [
            {
                "quantity": one.quantity,
                "direction": one.direction,
                "level": one.level,
                "published": None if one.published is None else one.published.value,
                "source": None if one.published is None else f"{one.published.source} ({one.published.mark})",
                "range_deg": one.range_deg,
                "own": None if one.own is None else round(one.own, 1),
                "by_hand": one.by_hand,
                "used": None if one.used is None else round(one.used.value, 1),
            }
            for one in compared(profile, parts.limits, ends, own, settings.limits.own, names)
        ]

    def _idle(self) -> None:
        if self._live.practice.running:
            raise ConflictError(RUNNING)


def _refuse_wider(bound: Limit | None, value: float, unit: str) -> None:
    if bound is None or value <= bound.value:
        return
    most = f"{bound.value:.1f}°" if unit == "deg" else f"{bound.value:.1f} {unit}"
    raise InputError(
        f"A limit of your own can only narrow: at most {most} here ({bound.source}). To go beyond, choose another "
        "profile or measure your range again."
    )
