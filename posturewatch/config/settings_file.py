"""How a settings file is read, refused and written: faults with key and line, and an example of every setting.

Pure: text in, checked values or a SettingsError out.
"""

from __future__ import annotations

import difflib
import re
import sys
import textwrap
from collections.abc import Iterator, Mapping
from types import UnionType
from typing import Any, Literal, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from posturewatch.errors import SettingsError

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

__all__ = ["allowed", "bare", "bounds", "line_of", "parse", "render", "sections", "tables"]

_Model = TypeVar("_Model", bound=BaseModel)

_NAMES: dict[type, str] = {
    float: "a number",
    int: "a whole number",
    bool: "true or false",
    str: "a text in quotes",
}


def sections(model: type[BaseModel], path: str = "") -> Iterator[tuple[str, type[BaseModel]]]:
    """Every section of the file with its name, such as "limits" and "limits.personal", in the order of the file."""
    if path:
        yield path, model
    for name, field in model.model_fields.items():
        inner = _section_of(field)
        if inner is not None:
            yield from sections(inner, f"{path}.{name}" if path else name)


def bounds(field: FieldInfo) -> tuple[float, float] | None:
    """Lowest and highest number that a setting, or each number of its list, may have; None without."""
    items = get_args(bare(field.annotation))
    marks = [*field.metadata, *(mark for item in items for mark in getattr(item, "__metadata__", ()))]
    marks += [mark for other in marks if isinstance(other, FieldInfo) for mark in other.metadata]
    low = next((mark.ge for mark in marks if hasattr(mark, "ge")), None)
    high = next((mark.le for mark in marks if hasattr(mark, "le")), None)
    return None if low is None or high is None else (float(low), float(high))


def allowed(field: FieldInfo) -> str:
    """What a setting may be, in words."""
    kind = bare(field.annotation)
    limits = bounds(field)
    span = "" if limits is None else f" from {limits[0]:g} to {limits[1]:g}"
    if get_origin(kind) is Literal:
        return f"one of {', '.join(get_args(kind))}"
    if get_origin(kind) is tuple:
        first, *rest = get_args(kind)
        first = bare(first)
        if get_origin(first) is Literal:
            return f"any of {', '.join(get_args(first))}"
        return f"a list of {1 + len(rest)} {_NAMES[first].removeprefix('a ')}s{span}"
    return f"{_NAMES[kind]}{span}"


def tables(text: str, file: str) -> dict[str, Any]:
    """What is written there, unchecked; file: what a sentence calls the file. SettingsError where it is no TOML."""
    try:
        found: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(_syntax_fault(str(error), text, file)) from error
    return found


def parse(text: str, model: type[_Model], file: str) -> _Model:
    """The settings given in the text; what it does not name keeps its default.

    Parameters
    ----------
    text
        TOML.
    model
        The sections and their settings.
    file
        What a sentence calls the file.

    Raises
    ------
    SettingsError
        In one sentence with key and line, for everything that the model does not take.
    """
    data = tables(text, file)
    try:
        return model.model_validate(data)
    except ValidationError as error:
        faults = [_fault(model, one, data) for one in error.errors(include_url=False)]
        line, what = min((line_of(text, path), what) for path, what in faults)
        end = "" if what.endswith("?") else "."
        raise SettingsError(f"{file}, line {line}: {what}{end}") from error


def _fault(model: type[BaseModel], error: Any, data: Mapping[str, Any]) -> tuple[tuple[str, ...], str]:
    """Where in the file a fault is, and what it is."""
    path: tuple[str, ...] = ()
    inside: type[BaseModel] | None = model
    field: FieldInfo | None = None
    value: Any = data
    for step in error["loc"]:
        if inside is None:
            break
        path, value = (*path, str(step)), value[step]
        field = inside.model_fields.get(str(step))
        inside = None if field is None else _section_of(field)
    name = ".".join(path)
    if error["type"] == "extra_forbidden":
        return path, f"unknown {_unknown(model, path, value)}"
    if inside is not None and error["type"] == "value_error":
        # Of several settings of a section together, named in the sentence.
        key = next(word for word in re.findall(r"\w+", error["msg"]) if word in value)
        return (*path, key), f"{name}.{error['msg'].removeprefix('Value error, ')}"
    if inside is not None:
        return path, f"{name} is a section; write [{name}] above its keys"
    assert field is not None
    return path, f"{name} must be {allowed(field)}, not {_shown(value)}"


def _unknown(model: type[BaseModel], path: tuple[str, ...], value: object) -> str:
    """What is unknown and what may have been meant."""
    known = {name: list(section.model_fields) for name, section in sections(model)}
    section, name, key = ".".join(path[:-1]), ".".join(path), path[-1]
    here = known.get(section, list(model.model_fields))
    what = f"section [{name}]" if isinstance(value, dict) else f"key {name}"
    elsewhere = [other for other, keys in known.items() if key in keys]
    if elsewhere and not isinstance(value, dict):
        return f"{what}; {key} belongs under [{elsewhere[0]}]"
    near = difflib.get_close_matches(key, here, n=1, cutoff=0.5)
    if near:
        return f"{what}; did you mean {near[0]}?"
    return f"{what}; known here are {', '.join(here)}"


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"' if len(value) <= 40 else f'"{value[:40]}..."'
    return "a section" if isinstance(value, dict) else str(value)


def _section_of(field: FieldInfo) -> type[BaseModel] | None:
    kind = field.annotation
    return kind if isinstance(kind, type) and issubclass(kind, BaseModel) else None


def bare(kind: Any) -> Any:
    """A type without None and without what is annotated to it."""
    if get_origin(kind) in (Union, UnionType):
        kind = next(one for one in get_args(kind) if one is not type(None))
    return get_args(kind)[0] if hasattr(kind, "__metadata__") else kind


def _syntax_fault(message: str, text: str, file: str) -> str:
    """One sentence from the TOML reader's message, with the line."""
    match = re.match(
        r"(?P<what>.*) \(at (?:line (?P<line>\d+), column \d+|end of document)\)$", message, re.S
    )
    if match is None:
        return f"{file} is not valid TOML: {message}."
    line = match["line"] or str(text.rstrip().count("\n") + 1)
    return f"{file}, line {line}: this is not valid TOML ({match['what']})."


_PART = r"""[A-Za-z0-9_-]+|"[^"\n]*"|'[^'\n]*'"""
_DOTTED = rf"(?:{_PART})(?:\s*\.\s*(?:{_PART}))*"
_HEADER = re.compile(rf"\s*\[\[?\s*({_DOTTED})\s*\]")
_KEY = re.compile(rf"\s*({_DOTTED})\s*=")


def line_of(text: str, path: tuple[str, ...]) -> int:
    """The line (from 1) on which the key or section at `path` is written, in TOML that is known to parse.

    The key itself where it stands on a line of its own; otherwise the line with the table that holds it.
    """
    section: tuple[str, ...] = ()
    best, best_length = 1, 0
    for number, line in enumerate(text.splitlines(), start=1):
        header, key = _HEADER.match(line), _KEY.match(line)
        if header:
            section = here = _parts(header[1])
        elif key:
            here = section + _parts(key[1])
        else:
            continue
        shared = min(len(here), len(path))
        if here[:shared] == path[:shared] and shared > best_length:
            best, best_length = number, shared
    return best


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip("\"'") for part in re.findall(_PART, dotted))


def render(model: type[BaseModel], heading: str) -> str:
    """The whole file with every key commented out at its default, each under its help."""
    lines = [f"# {line}".rstrip() for line in heading.splitlines()]
    for section, entries in sections(model):
        lines += ["", f"[{section}]"]
        for key, field in entries.model_fields.items():
            if _section_of(field) is not None:
                continue
            lines += textwrap.wrap(
                f"{field.description}. Allowed: {allowed(field)}.",
                width=100,
                initial_indent="# ",
                subsequent_indent="# ",
            )
            lines.append(f"#{key} =" if field.default is None else f"#{key} = {_toml(field.default)}")
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, (tuple, list)):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return repr(value)
