"""What the page shows and changes before a practice begins."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from posturewatch.capture import CameraFound, find_cameras, names_film
from posturewatch.capture.lens import board_pdf, board_png
from posturewatch.clips import MicrophoneFound, find_microphones
from posturewatch.config.instruments import instrument, instrument_names
from posturewatch.config.personal_limits import PERSONAL
from posturewatch.config.players import HAND_LENGTH_MM, HandLength, PlayerSound, today
from posturewatch.config.settings_edit import Changes
from posturewatch.config.settings_form import settings_form
from posturewatch.errors import ConflictError, InputError, UnavailableError
from posturewatch.kinematics.hand_size import TYPICAL_HAND_MM
from posturewatch.model.address import is_address, public_address
from posturewatch.model.observation import SIDES
from posturewatch.model.quantities import quantity
from posturewatch.pipeline.before_start.own_limits import limits_document, refuse_wider, with_own_limit
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
    "instrument": ("instrument", "name"),
    "handedness": ("instrument", "handedness"),
    "before_start": ("page", "before_start"),
    "player": ("player", "name"),
    "range_share": ("limits", "range_share"),
}

#: After a change of these the preview is opened anew.
_LOOKED_THROUGH = frozenset(_CHOICES) - {"before_start", "player", "range_share"}

RUNNING = "A session is running; stop it first, then set up."


class SetUp:
    """Choices, preview and settings; every method may be called from any thread.

    Parameters
    ----------
    live
        The practice that is set up.
    settings
        What is changed.
    find, find_sound
        Look for cameras, and for microphones.
    """

    def __init__(
        self,
        live: LivePractice,
        settings: LiveSettings,
        find: Callable[[], tuple[CameraFound, ...]] = find_cameras,
        find_sound: Callable[[], tuple[MicrophoneFound, ...]] = find_microphones,
    ) -> None:
        self._live = live
        self._settings = settings
        self._find = find
        self._find_sound = find_sound

    def document(self) -> dict[str, Any]:
        """All that the page shows, in JSON's types; asking also says that somebody looks."""
        self._live.preview.seen()
        preview = self._live.preview.state()
        return {
            "preview": preview,
            "choices": self._choices(),
            "placement": placement_json(self._live.placement.result()),
            "measuring": self._measuring(preview),
            "straight": [{"side": side, "quantity": name} for side, name in self._live.biases.known],
            "player": self._player(),
            "limits": limits_document(self._settings.written, self._settings.parts),
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
        self,
        side: str | None,
        key: tuple[str, str, str],
        value: float | None,
        *,
        sure: bool = False,
    ) -> dict[str, Any]:
        """Sets a limit of one hand by hand, None for none; raises as `with_own_limit`, and as `PlayerFiles.keep`."""
        settings = self._settings
        settings.keep(with_own_limit(settings.written, settings.parts, side, key, value, sure=sure))
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

    def microphones(self) -> dict[str, Any]:
        """The microphones of this machine, name and whether it is the system's own, and why there are none, if known.
        While a session runs they are not looked for, since that would silence the one that listens."""
        self._idle()
        try:
            found, fault = self._find_sound(), None
        except UnavailableError as missing:
            found, fault = (), missing.sentence
        return {"microphones": [{"name": one.name, "usual": one.usual} for one in found], "fault": fault}

    def instruments(self) -> list[dict[str, Any]]:
        """The instruments' profiles, in the order in which they are shown."""
        return [instrument(name).to_json() for name in instrument_names()]

    def choose(self, changes: Mapping[str, Any]) -> dict[str, Any]:
        """Keeps choices in the settings file, by the names of `choices` in the document; the microphone's name ("" for
        none) in the player's.

        Raises
        ------
        InputError, SettingsError, StoreError
            As `change_settings`.
        ConflictError
            While a session runs.
        """
        self._idle()
        kept = {_CHOICES[name]: value for name, value in changes.items() if name in _CHOICES}
        if kept:
            self._settings.change(kept)
        if "microphone" in changes:
            sound = PlayerSound(microphone=changes["microphone"])
            self._settings.keep(self._settings.parts.player.model_copy(update={"sound": sound}))
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
            bounds = [profile.of(side).limit(*limited) for side in SIDES]
            widest = max((one for one in bounds if one is not None), key=lambda one: one.value, default=None)
            refuse_wider(widest, value, quantity(limited[0]).unit)

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
            "microphone": self._microphone(),
            "instrument": settings.instrument.name,
            "handedness": settings.instrument.handedness,
            "before_start": settings.page.before_start,
            "player": settings.player.name,
            "range_share": settings.limits.range_share,
            "remembered": "name" in settings.instrument.model_fields_set,
        }

    def _measuring(self, preview: Mapping[str, Any]) -> dict[str, Any] | None:
        """The step under way; without pictures it waits, and says so."""
        step = self._live.measuring.step
        if step is None:
            return None
        told = step.to_json()
        if not told["done"] and told["fault"] is None and (preview["phase"] != "on" or preview["notice"]):
            told["hint"] = "no picture"
        return told

    def _microphone(self) -> str | None:
        """What the chosen microphone is called, "" for none, None for the system's own."""
        parts = self._settings.parts
        if parts.player.sound is not None:
            return parts.player.sound.microphone
        return None if parts.settings.clips.microphone else ""

    def _player(self) -> dict[str, Any]:
        """Who plays, and what is known of the hands."""
        parts = self._settings.parts
        return {
            **parts.player.model_dump(mode="json"),
            "names": list(dict.fromkeys([parts.player.name, *self._settings.players.names()])),
            "typical_hand_mm": round(TYPICAL_HAND_MM, 1),
            "hand_mm": parts.settings.player.hand_length_mm,
        }

    def _idle(self) -> None:
        if self._live.practice.running:
            raise ConflictError(RUNNING)
