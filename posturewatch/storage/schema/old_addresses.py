"""Streams' addresses that earlier versions kept whole, with what lets one in."""

from __future__ import annotations

import json
import sqlite3

from posturewatch.model.address import is_address, public_address
from posturewatch.storage.samples.checksums import seal

__all__ = ["shorten"]


def shorten(connection: sqlite3.Connection) -> None:
    """Leaves scheme, host and port of the addresses of sessions that are kept."""
    for number, name, settings in connection.execute(
        "SELECT number, source_name, settings_json FROM session"
    ).fetchall():
        short_name = public_address(name) if is_address(name) else name
        short_settings = _settings(settings)
        if (short_name, short_settings) == (name, settings):
            continue
        # The summary names the source as well, and is worked out anew.
        connection.execute(
            "UPDATE session SET source_name = ?, settings_json = ?, summary_json = NULL WHERE number = ?",
            (short_name, short_settings, number),
        )
        (ended,) = connection.execute(
            "SELECT ended_at IS NOT NULL FROM session WHERE number = ?", (number,)
        ).fetchone()
        if ended:
            seal(connection, number)


def _settings(kept: str) -> str:
    try:
        settings = json.loads(kept)
        source = settings["camera"]["source"]
    except (ValueError, TypeError, KeyError):
        return kept
    if not isinstance(source, str) or not is_address(source):
        return kept
    settings["camera"]["source"] = public_address(source)
    return json.dumps(settings)
