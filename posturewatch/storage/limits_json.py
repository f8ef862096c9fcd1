"""Limits as they are kept beside a session, so that it is always judged by those it was played under."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from posturewatch.comfort.limits import Band, Limit, LimitProfile
from posturewatch.model.observation import SIDES
from posturewatch.model.quantities import QUANTITIES

__all__ = ["limits_from_json", "limits_to_json"]


def limits_to_json(profile: LimitProfile) -> dict[str, Any]:
    """The profile in JSON's types: every direction's limits, null where there is none, with their sources; those of
    one hand alone under `sided`, where there are any."""
    kept: dict[str, Any] = {
        "name": profile.name,
        "label": profile.label,
        "description": profile.description,
        "bands": _bands_to_json(profile.bands),
    }
    if profile.sided:
        kept["sided"] = {side: _bands_to_json(bands) for side, bands in profile.sided.items()}
    return kept


def _bands_to_json(bands: Mapping[tuple[str, str], Band]) -> list[dict[str, Any]]:
    return [
        {
            "quantity": quantity,
            "direction": direction,
            "comfort": None if band.comfort is None else asdict(band.comfort),
            "extreme": None if band.extreme is None else asdict(band.extreme),
        }
        for (quantity, direction), band in bands.items()
    ]


def limits_from_json(data: Mapping[str, Any]) -> LimitProfile:
    """The profile again. Quantities that came later than the session have no limits in it.

    Raises
    ------
    KeyError, TypeError
        Where the data are no profile.
    """
    bands = {(entry.name, direction): Band() for entry in QUANTITIES for direction in entry.directions}
    bands |= _bands(data["bands"])
    sided = data.get("sided", {})
    return LimitProfile(
        data["name"],
        data["label"],
        data["description"],
        bands,
        {side: _bands(sided[side]) for side in SIDES if side in sided},
    )


def _bands(rows: list[Mapping[str, Any]]) -> dict[tuple[str, str], Band]:
    return {
        (one["quantity"], one["direction"]): Band(_limit(one["comfort"]), _limit(one["extreme"]))
        for one in rows
    }


def _limit(data: Mapping[str, Any] | None) -> Limit | None:
    return None if data is None else Limit(**data)
