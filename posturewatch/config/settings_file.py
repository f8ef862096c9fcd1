"""How a settings file is declared, read and refused: entries with bounds, and faults with key and line.

Pure: text in, checked values or a SettingsError out.
"""

from __future__ import annotations

import difflib
import re
import sys
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from posturewatch.errors import SettingsError

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

__all__ = ["Kind", "Setting", "line_of", "parse", "render", "syntax_fault"]

Kind = Literal["number", "whole", "flag", "text", "texts", "wholes"]
Table = Mapping[str, Mapping[str, "Setting"]]

_NAMES: dict[str, str] = {
    "number": "a number",
    "whole": "a whole number",
    "flag": "true or false",
    "text": "a text in quotes",
    "texts": "a list of texts in quotes",
    "wholes": "a list of whole numbers",
}


@dataclass(frozen=True)
class Setting:
    """One entry of the settings file.

    default: the value where the file is silent; None where there is none (then it is left unset).
    low, high: bounds, both allowed, for numbers and for each number of a list. choices: allowed words.
    length: required length of a list, or None.
    """

    kind: Kind
    default: Any
    help: str
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    length: int | None = None

    @property
    def wanted(self) -> str:
        """What is allowed, in words."""
        words = _NAMES[self.kind]
        if self.kind == "wholes" and self.length is not None:
            words = f"a list of {self.length} whole numbers"
        if self.choices:
            words = f"{'any' if self.kind == 'texts' else 'one'} of {', '.join(self.choices)}"
        if self.low is not None and self.high is not None:
            words += f" from {self.low:g} to {self.high:g}"
        return words

    def accepts(self, value: object) -> bool:
        if self.kind in ("texts", "wholes"):
            if not isinstance(value, list) or (self.length is not None and len(value) != self.length):
                return False
            return all(self._accepts_one(item) for item in value)
        return self._accepts_one(value)

    def _accepts_one(self, value: object) -> bool:
        if self.kind == "flag":
            return isinstance(value, bool)
        if self.kind in ("text", "texts"):
            return isinstance(value, str) and (not self.choices or value in self.choices)
        if isinstance(value, bool) or not isinstance(value, int if self.kind != "number" else (int, float)):
            return False
        return (self.low is None or value >= self.low) and (self.high is None or value <= self.high)

    def converted(self, value: Any) -> Any:
        """An accepted value in the type that the program uses."""
        if self.kind == "number":
            return float(value)
        return tuple(value) if isinstance(value, list) else value


def parse(text: str, table: Table, file: str) -> dict[str, dict[str, Any]]:
    """The values given in the text, by section and key, checked against the table (sections such as
    "limits" and "limits.personal", each with its keys). file: what the sentence calls the file.

    Raises SettingsError in one sentence with key and line for everything that is not in the table.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(syntax_fault(str(error), text, file)) from error
    found: dict[str, dict[str, Any]] = {section: {} for section in table}
    _walk(data, (), table, text, file, found)
    return found


def _walk(
    data: Mapping[str, Any],
    path: tuple[str, ...],
    table: Table,
    text: str,
    file: str,
    found: dict[str, dict[str, Any]],
) -> None:
    section = ".".join(path)
    for key, value in data.items():
        name = ".".join((*path, key))
        if name in table:
            if not isinstance(value, dict):
                raise _fault(text, (*path, key), file, f"{name} is a section; write [{name}] above its keys")
            _walk(value, (*path, key), table, text, file, found)
            continue
        setting = table.get(section, {}).get(key)
        if setting is None:
            raise _fault(text, (*path, key), file, f"unknown {_unknown(path, key, value, table)}")
        if not setting.accepts(value):
            raise _fault(text, (*path, key), file, f"{name} must be {setting.wanted}, not {_shown(value)}")
        found[section][key] = setting.converted(value)


def _unknown(path: tuple[str, ...], key: str, value: object, table: Table) -> str:
    """What is unknown and what may have been meant."""
    section, name = ".".join(path), ".".join((*path, key))
    here = list(table.get(section, {}))
    prefix = f"{section}." if section else ""
    here += [other[len(prefix) :] for other in table if other.startswith(prefix) and other != section]
    what = f"section [{name}]" if isinstance(value, dict) else f"key {name}"
    elsewhere = [other for other, keys in table.items() if key in keys]
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


def _fault(text: str, path: tuple[str, ...], file: str, what: str) -> SettingsError:
    end = "" if what.endswith("?") else "."
    return SettingsError(f"{file}, line {line_of(text, path)}: {what}{end}")


def syntax_fault(message: str, text: str, file: str) -> str:
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


def render(table: Table, heading: str) -> str:
    """The whole file with every key commented out at its default, each under its help."""
    lines = [f"# {line}".rstrip() for line in heading.splitlines()]
    for section, entries in table.items():
        if not entries:
            continue
        lines += ["", f"[{section}]"]
        for key, setting in entries.items():
            lines += textwrap.wrap(
                f"{setting.help}. Allowed: {setting.wanted}.",
                width=100,
                initial_indent="# ",
                subsequent_indent="# ",
            )
            lines.append(f"#{key} = {_toml(setting.default)}" if setting.default is not None else f"#{key} =")
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, (tuple, list)):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return repr(value)
