"""The settings of a running program: read from the file, changed in it, and handed to whoever follows them."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

from posturewatch.config.players import Player, PlayerFiles
from posturewatch.config.settings import Settings, load_settings, settings_file
from posturewatch.config.settings_edit import Changes, change_settings
from posturewatch.pipeline.build import Parts, load_parts, player_files

__all__ = ["LiveSettings"]


class LiveSettings:
    """What follows from the settings now.

    Parameters
    ----------
    path
        The file; the user's own where None.
    profile
        A limit profile instead of the settings', until another one is chosen.

    Raises
    ------
    SettingsError
        A broken file.
    InputError
        An unknown profile.
    """

    def __init__(self, path: Path | None, profile: str | None) -> None:
        self._path = path
        self._profile = profile
        self._parts = load_parts(path, profile)
        self._written = load_settings(path)
        self._followers: list[Callable[[Parts], None]] = []
        self._lock = threading.Lock()

    @property
    def parts(self) -> Parts:
        """What follows from them now."""
        return self._parts

    @property
    def written(self) -> Settings:
        """As the file has them, without what was measured of the player."""
        return self._written

    @property
    def file(self) -> Path:
        """Where they are kept."""
        return settings_file(self._path)

    @property
    def players(self) -> PlayerFiles:
        """All players beside this file."""
        return player_files(self._path)

    def follow(self, follower: Callable[[Parts], None]) -> None:
        """From now on it is called with the parts after every change, in the thread that made it."""
        self._followers.append(follower)

    def change(self, changes: Changes) -> Parts:
        """Changes settings in the file, and tells all followers.

        Raises
        ------
        SettingsError, InputError, StoreError
            As `change_settings`; nothing is changed then.
        """
        with self._lock:
            if ("player", "name") in changes:
                self.players.player(
                    str(changes["player", "name"])
                )  # a name that names no file is refused first
            self._written = change_settings(self._path, changes)
            if ("limits", "profile") in changes:
                self._profile = None
        return self.reload()

    def keep(self, player: Player) -> Parts:
        """Keeps what was measured of a player in its file, and tells all followers.

        Raises
        ------
        SettingsError, StoreError
            As `PlayerFiles.keep`.
        """
        with self._lock:
            self.players.keep(player)
        return self.reload()

    def reload(self) -> Parts:
        """Reads everything anew and tells all followers."""
        with self._lock:
            self._parts = load_parts(self._path, self._profile)
            self._written = load_settings(self._path)
        for follower in self._followers:
            follower(self._parts)
        return self._parts
