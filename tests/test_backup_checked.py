"""All of a backup is checked before anything is replaced: what is not asked for, too."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from test_backup import DAYS, filled, snapshot

from posturewatch.archive.faults import ArchiveError
from posturewatch.review.derived import open_store
from posturewatch.storage.backup.making import make_backup
from posturewatch.storage.reader import SessionReader
from posturewatch.storage.restoring import restore


def damage(file: Path, name: str) -> None:
    """Turns a bit in the middle of a file that is in the archive; its own header stands before it."""
    with zipfile.ZipFile(file) as opened:
        info = opened.getinfo(name)
    raw = bytearray(file.read_bytes())
    raw[info.header_offset + 30 + len(info.filename) + info.compress_size // 2] ^= 0x01
    file.write_bytes(raw)


@pytest.mark.parametrize("place", [0, 2])
def test_damage_in_what_is_not_asked_for_refuses_it_as_well(tmp_path: Path, place: int) -> None:
    here, there, file = tmp_path / "here", tmp_path / "there", tmp_path / "b.zip"
    ids = filled(here)
    make_backup(SessionReader(here), file)
    filled(there, days=DAYS[:1])
    damage(file, f"clips/{ids[place]}/clip-1.mp4")
    before = snapshot(there)
    with open_store(there) as store:
        with pytest.raises(ArchiveError, match="cannot be used"):
            restore(store, file, session_id=ids[1])
        assert [one for one in there.iterdir() if one.name.startswith((".", "replaced"))] == []
    assert snapshot(there) == before
