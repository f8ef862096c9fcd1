"""How a player's file is refused: in one sentence with line and key, and with the unit that a number is in."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from typing import Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from posturewatch.config.settings_file import allowed, bare, tables
from posturewatch.errors import SettingsError

__all__ = ["parsed"]

_Model = TypeVar("_Model", bound=BaseModel)

#: What the last part of a key says of its unit.
_UNITS = {"mm": "millimetres", "deg": "degrees"}


def parsed(text: str, model: type[_Model], file: str) -> _Model:
    """What the text says.

    Parameters
    ----------
    text
        TOML.
    model
        Of the file as a whole, with sections and with lists of them.
    file
        What a sentence calls the file.

    Raises
    ------
    SettingsError
        For the first thing that is wrong.
    """
    data = tables(text, file)
    try:
        return model.model_validate(data)
    except ValidationError as error:
        # A misspelt key is also a missing one; of the two, what is there says more.
        first = min(error.errors(include_url=False), key=lambda one: one["type"] == "missing")
        path = tuple(first["loc"])
        where, what = _fault(model, path, first, data)
        raise SettingsError(
            f"{file}, line {_line(text, path)}: {where} {what}; mend it, or move the file away."
        ) from error


def _fault(
    model: type[BaseModel], path: Sequence[int | str], error: Mapping[str, Any], data: Any
) -> tuple[str, str]:
    """What the place is called, and what is wrong with it."""
    inside: type[BaseModel] | None = model
    field: FieldInfo | None = None
    names: list[str] = []
    known: list[str] = []
    for step in path:
        if isinstance(step, int):
            names[-1] = f"number {step + 1} of [[{names[-1]}]]"
            data = data[step]
            continue
        names.append(step)
        if inside is None:
            break
        known = list(inside.model_fields)
        field = inside.model_fields.get(step)
        data = data.get(step) if isinstance(data, dict) else data
        inside = None if field is None else _section(field)
    where = ", ".join(names)
    if error["type"] == "extra_forbidden":
        key = names[-1]
        near = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
        meant = f"did you mean {near[0]}{_in_unit(near[0])}" if near else f"known here are {', '.join(known)}"
        return where, f"is unknown; {meant}"
    if error["type"] == "missing":
        return where, f"is missing{_in_unit(names[-1])}"
    if field is not None and get_origin(bare(field.annotation)) is tuple:
        return where, f"is a list; write [[{names[-1]}]] above the keys of each"
    if field is None or inside is not None:
        return where, f"is a section; write [{names[-1]}] above its keys"
    pattern = next((one.pattern for one in field.metadata if getattr(one, "pattern", None)), None)
    if pattern is not None:
        return where, f'must be a day such as "2026-01-31", not {_shown(data)}'
    return where, f"must be {allowed(field)}{_in_unit(names[-1])}, not {_shown(data)}"


def _in_unit(key: str) -> str:
    unit = _UNITS.get(key.rsplit("_", 1)[-1])
    return "" if unit is None else f" (in {unit})"


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return f'"{value[:40]}"' if isinstance(value, str) else str(value)


def _section(field: FieldInfo) -> type[BaseModel] | None:
    """What a section, or each of a list of sections, is made of."""
    kind = bare(field.annotation)
    if get_origin(kind) is tuple:
        kind = bare(get_args(kind)[0])
    return kind if isinstance(kind, type) and issubclass(kind, BaseModel) else None


def _line(text: str, path: Sequence[int | str]) -> int:
    """The line (from 1) of what is wrong, or of the section that it is in."""
    section = str(path[0]) if path else ""
    place = next((step for step in path if isinstance(step, int)), 0)
    key = str(path[-1]) if len(path) > 1 else section
    found, seen, inside = 1, -1, len(path) < 2
    for number, line in enumerate(text.splitlines(), start=1):
        header = re.match(r"\s*\[\[?\s*([\w-]+)\s*\]", line)
        if header:
            seen += header[1] == section
            inside = header[1] == section and seen == place
            found = number if inside else found
        elif inside and re.match(rf"\s*{re.escape(key)}\s*=", line):
            return number
    return found
