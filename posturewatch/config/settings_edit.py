"""Changes to the settings file that leave everything else in it as the player wrote it, comments too."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Mapping, MutableMapping
from pathlib import Path
from typing import Any

import tomlkit

from posturewatch.config.settings import (
    SETTINGS,
    Settings,
    load_settings,
    parse_settings,
    settings_file,
)
from posturewatch.errors import InputError, SettingsError, StoreError

__all__ = ["Changes", "change_settings", "changed_text", "write_whole"]

#: New values by section ("limits.personal") and key; None takes a setting out, so that its default holds.
Changes = Mapping[tuple[str, str], Any]

_HEADING = "# Settings of posturewatch; `posturewatch settings` prints all there are.\n"


def changed_text(text: str, changes: Changes) -> str:
    """The file's text with these settings changed.

    Parameters
    ----------
    text
        TOML that is known to parse.
    changes
        Of settings that there are; their values are not checked here.

    Raises
    ------
    InputError
        For a setting that there is not.
    """
    document = tomlkit.parse(text)
    for (section, key), value in changes.items():
        if key not in SETTINGS.get(section, {}):
            raise InputError(f"There is no setting {section}.{key}.")
        _set(document, section.split("."), key, value)
    return tomlkit.dumps(document)


def _set(table: MutableMapping[str, Any], path: list[str], key: str, value: Any) -> None:
    for step in path:
        if step not in table:
            if value is None:
                return
            table[step] = tomlkit.table()
        table = table[step]
    if value is None:
        table.pop(key, None)
    else:
        table[key] = list(value) if isinstance(value, tuple) else value


def change_settings(path: Path | None, changes: Changes) -> Settings:
    """Changes the file at `path` (the user's own one where None) and gives back the settings that it then holds.

    The file is read anew, checked as a whole with the changes, and replaced at once; a broken one is left as it is.

    Raises
    ------
    SettingsError
        The file is broken as it stands.
    InputError
        For an unknown setting, or a value that it does not take; nothing is changed then.
    StoreError
        The file cannot be written.
    """
    file = settings_file(path)
    if path is not None or file.exists():
        load_settings(file)
        text = file.read_text(encoding="utf-8-sig")
    else:
        text = _HEADING
    new = changed_text(text, changes)
    try:
        settings = parse_settings(new, "The new value", file)
    except SettingsError as error:
        raise InputError(f"That is not taken: {error.sentence.split(': ', 1)[1]}") from error
    settings.limit_profile()
    write_whole(file, new)
    return settings


def write_whole(file: Path, text: str) -> None:
    """Replaces a file's text at once, or leaves it as it was.

    Raises
    ------
    StoreError
        It cannot be written.
    """
    file = file.resolve()  # what a link leads to is changed, not the link
    written: str | None = None
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(
            "w", dir=file.parent, prefix=f".{file.name}-", delete=False, encoding="utf-8", newline=""
        ) as new:
            written = new.name
            new.write(text)
            new.flush()
            os.fsync(new.fileno())
        if file.exists():
            Path(written).chmod(file.stat().st_mode & 0o777)
        Path(written).replace(file)
    except OSError as error:
        if written is not None:
            with contextlib.suppress(OSError):
                Path(written).unlink()
        raise StoreError(
            f"{file} cannot be written ({error.strerror or error}); check the folder's rights and room, "
            "then try again. Nothing was changed."
        ) from error
