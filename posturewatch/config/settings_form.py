"""The settings as a form: every one with its value, default, unit, bounds, choices and help."""

from __future__ import annotations

from typing import Any, Literal, get_args, get_origin

from pydantic.fields import FieldInfo

from posturewatch.comfort.limits import LimitProfile
from posturewatch.config.instruments import instrument, instrument_names
from posturewatch.config.limit_profiles import load_profile, profile_names
from posturewatch.config.personal_limits import PERSONAL
from posturewatch.config.settings import SETTINGS, Settings
from posturewatch.config.settings_file import bare, bounds

__all__ = ["settings_form"]

#: What the last part of a key says of its unit.
_UNITS = {"deg": "°", "mm": "mm", "s": "s", "hz": "Hz", "px": "px", "gb": "GB", "min": "min"}


def settings_form(settings: Settings) -> list[dict[str, Any]]:
    """Sections with their settings, in the order of the file, in JSON's types.

    Parameters
    ----------
    settings
        As in use.

    Returns
    -------
    list of {"name", "settings": list of {"key", "kind", "value", "default", "unit", "low", "high", "choices", "labels",
    "help", "source"}}; kind is "number", "whole", "text", "switch", "choice", "choices" or "numbers"; value is None
    where nothing is set and there is no default; labels is what an instrument is called in each language; source says
    where the profile's limit comes from that a personal one narrows.
    """
    values = settings.to_json()
    profile = load_profile(settings.limits.profile)
    out = []
    for section, keys in SETTINGS.items():
        here: dict[str, Any] = values
        for step in section.split("."):
            here = here[step]
        entries = [_entry(key, field, here.get(key)) for key, field in keys.items()]
        if section == "limits.personal":
            entries = [{**one, **_source(one["key"], profile)} for one in entries]
        if section == "instrument":
            labels = {name: instrument(name).to_json()["label"] for name in instrument_names()}
            entries = [{**one, "labels": labels} if one["key"] == "name" else one for one in entries]
        out.append({"name": section, "settings": entries})
    return out


def _entry(key: str, field: FieldInfo, value: Any) -> dict[str, Any]:
    kind, choices = _kind(field)
    if key == "profile":
        kind, choices = "choice", list(profile_names())
    span = bounds(field)
    default = field.get_default()
    return {
        "key": key,
        "kind": kind,
        "value": value,
        "default": list(default) if isinstance(default, tuple) else default,
        "unit": _UNITS.get(key.rsplit("_", 1)[-1]) if kind in ("number", "numbers", "whole") else None,
        "low": None if span is None else span[0],
        "high": None if span is None else span[1],
        "choices": choices,
        "labels": None,
        "help": field.description,
        "source": None,
    }


def _kind(field: FieldInfo) -> tuple[str, list[str]]:
    kind = bare(field.annotation)
    if get_origin(kind) is Literal:
        return "choice", list(get_args(kind))
    if get_origin(kind) is tuple:
        item = bare(get_args(kind)[0])
        return ("choices", list(get_args(item))) if get_origin(item) is Literal else ("numbers", [])
    return {float: "number", int: "whole", bool: "switch", str: "text"}[kind], []


def _source(key: str, profile: LimitProfile) -> dict[str, Any]:
    """Where the limit comes from that this one narrows, and its size as the upper bound."""
    limits = [profile.limit(*limited) for limited in PERSONAL[key]]
    found = next((one for one in limits if one is not None), None)
    if found is None:
        return {}
    return {"source": f"{found.value:g}: {found.source} ({found.mark})", "high": found.value}
