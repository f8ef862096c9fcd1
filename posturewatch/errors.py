"""The one base of every error that a user is meant to read."""

from __future__ import annotations

__all__ = [
    "ConflictError",
    "InputError",
    "PosturewatchError",
    "SettingsError",
    "SourceError",
    "StoreError",
    "UnavailableError",
    "UnknownError",
]


class PosturewatchError(Exception):
    """A fault with one clear sentence for the user, saying what to do; the exit code travels with it."""

    exit_code = 1

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


class InputError(PosturewatchError):
    """What the user asked for cannot be done as asked (unknown profile, missing file)."""

    exit_code = 2


class UnknownError(InputError):
    """What the user named is not kept, or not any more."""


class ConflictError(InputError):
    """What the user asked for cannot be done while things are as they are (a session is being recorded)."""


class SettingsError(InputError):
    """The settings file is broken; the sentence names the key and the line."""


class SourceError(PosturewatchError):
    """No frames can be had from the source (no camera, camera in use, not a video)."""

    exit_code = 3


class StoreError(PosturewatchError):
    """The data folder cannot be used (not writable, in use, damaged)."""

    exit_code = 4


class UnavailableError(PosturewatchError):
    """Something the program needs from the machine is missing or taken (Python version, port, models)."""

    exit_code = 5
