"""What the page shows and changes before a practice begins."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from posturewatch.capture import CameraFound, find_cameras
from posturewatch.config.instruments import instrument, instrument_names
from posturewatch.config.settings import default_settings_path
from posturewatch.config.settings_edit import Changes
from posturewatch.config.settings_form import settings_form
from posturewatch.errors import ConflictError
from posturewatch.model.address import is_address, public_address
from posturewatch.pipeline.live_practice import LivePractice
from posturewatch.pipeline.live_settings import LiveSettings
from posturewatch.pipeline.placement_watch import placement_json

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
}

#: After a change of these the preview is opened anew.
_LOOKED_THROUGH = frozenset(_CHOICES) - {"microphone", "before_start"}

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
        return {
            "preview": self._live.preview.state(),
            "choices": self._choices(),
            "placement": placement_json(self._live.placement.result()),
        }

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
        settings = self._settings.parts.settings
        return {
            "file": str(settings.path or default_settings_path()),
            "exists": settings.path is not None,
            "sections": settings_form(settings),
            "running": self._live.practice.running,
        }

    def change_settings(self, changes: Changes) -> dict[str, Any]:
        """Changes settings in the file, takes them up and gives back the form; raises as `choose`, but for a
        running session: that goes on with what it began with."""
        self._settings.change(changes)
        if any(section == "camera" for section, _ in changes):
            self._live.use_settings_source()
        return self.settings()

    def _choices(self) -> dict[str, Any]:
        settings = self._settings.parts.settings
        spec = self._live.spec
        return {
            "source": public_address(spec) if is_address(spec) else spec,
            "size_px": list(settings.camera.size_px),
            "rate_hz": settings.camera.rate_hz,
            "mirrored": settings.camera.mirrored,
            "hfov_deg": settings.camera.hfov_deg,
            "microphone": settings.clips.microphone,
            "instrument": settings.instrument.name,
            "handedness": settings.instrument.handedness,
            "before_start": settings.page.before_start,
            "remembered": "name" in settings.instrument.model_fields_set,
        }

    def _idle(self) -> None:
        if self._live.practice.running:
            raise ConflictError(RUNNING)
