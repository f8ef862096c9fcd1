"""Damage to what is noted of practices and may still be changed is said, put right by the player, and goes nowhere as
sound; damage to what is computed is made good."""

from __future__ import annotations

import json
import re
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from log_factories import TakenMoment, record, take
from test_damage import change, flip

from posturewatch.cli.main import main
from posturewatch.errors import StoreError
from posturewatch.review.derived import open_store
from posturewatch.review.entries import (
    CheckEntry,
    ClipChange,
    MarkChange,
    MarkEntry,
    PieceChange,
    PracticeItems,
)
from posturewatch.review.export import json_blocks
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.session_document import full_document
from posturewatch.storage.folder.database import FILE_NAME
from posturewatch.storage.reader import SessionReader
from posturewatch.storage.schema.row_checksums import ROWS
from posturewatch.storage.store import Store
from posturewatch.storage.tables.remarks import add_remark

#: In every text that is noted below, to be found in the file again.
TEXT = b"Nocturne"


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder in which something of every kind is noted; to be copied, not to be changed."""
    folder = tmp_path_factory.mktemp("source")
    with open_store(folder) as store:
        log = PracticeLog(store)
        items = [{"piece": "Nocturne in E", "bars": "Nocturne 1-8", "tempo_bpm": 60.0}]
        log.set_practice_list(PracticeItems.model_validate({"items": items}))
        log.step(to=0)
        log.add_check(check("before"))
        ids = [
            record(store, 30.0, switches=((0.0, "Nocturne in E", "Nocturne 9-16"),), bent=(10.0, 20.0))
            for _ in range(2)
        ]
        for identity in ids:
            log.add_mark(identity, MarkEntry.model_validate({"time_s": 5.5, "note": "Nocturne: thumb"}))
            moment = TakenMoment("extreme", 10.0, 12.0, 20.0, "left", "wrist_flexion", "flexion")
            take(store, identity, "clip-1", 9.0, moments=(moment,))
            (clip,) = log.clips(session_id=identity)
            log.change_clip(clip["id"], ClipChange.model_validate({"note": "Nocturne, for the lesson"}))
            log.add_check(check("after", identity))
            with store.writing() as connection:
                (number,) = connection.execute(
                    "SELECT number FROM session WHERE id = ?", (identity,)
                ).fetchone()
                add_remark(
                    connection, number, uid=f"{number:032x}", time_s=12.0, author="Okafor",
                    text="In the Nocturne let the elbow hang.", written_at="2025-03-04T10:00:00+00:00",
                )  # fmt: skip
        everything(store)
    with closing(sqlite3.connect(folder / FILE_NAME)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    return folder


def check(moment: str, session_id: str | None = None) -> CheckEntry:
    return CheckEntry.model_validate(
        {
            "moment": moment,
            "session_id": session_id,
            "rating": 3,
            "places": [],
            "signs": [],
            "note": "Nocturne",
        }
    )


def copied(source: Path, folder: Path) -> Path:
    """Its database alone: damage to a film is another matter."""
    folder.mkdir(parents=True)
    (folder / FILE_NAME).write_bytes((source / FILE_NAME).read_bytes())
    return folder


def everything(store: Store) -> tuple[dict[str, Any], list[str]]:
    """All that is shown, and what is said of damage."""
    log = PracticeLog(store)
    said = [] if store.notice is None else [store.notice]
    shown: dict[str, Any] = {
        "sessions": log.sessions(), "list": log.practice_list(), "pieces": log.pieces(), "clips": log.clips(),
        "checks": log.checks(), "trends": log.trends(weeks=520),
    }  # fmt: skip
    for one in shown["pieces"]:
        shown[f"piece {one['id']}"] = log.piece(one["id"])
    for one in shown["sessions"]:
        identity = one["id"]
        document = log.session(identity)
        exported = json.loads("".join(json_blocks(store, identity, full_document(store, identity))))
        said += [*document.pop("damage"), *exported.pop("damage")]
        shown[identity] = (document, exported)
    return shown, said


def looked_at(folder: Path) -> tuple[dict[str, Any], list[str]]:
    with open_store(folder) as store:
        return everything(store)


def test_what_is_noted_is_sound_as_long_as_nothing_happens_to_it(source: Path, tmp_path: Path) -> None:
    shown, said = looked_at(copied(source, tmp_path / "data"))
    assert said == []
    assert len(shown["sessions"]) == 2
    with closing(sqlite3.connect(source / FILE_NAME)) as connection:
        for table in ROWS:
            (rows,) = connection.execute(f"SELECT count(checksum) FROM {table}").fetchone()
            assert rows > 0, table


@pytest.mark.parametrize(
    ("table", "column", "value", "said"),
    [
        ("mark", "note", "Nocturne: thumc", "mark at 5.5 s"),
        ("mark", "time_s", 6.5, "mark at 6.5 s"),
        ("passage", "start_s", 1.0, "passage at 1.0 s"),
        ("passage", "bars", "Nocturne 9-17", "passage at 0.0 s"),
        ("clip", "note", "", "clip at 9.0 s"),
        ("clip", "moments_json", "[{", "clip at 9.0 s"),
        ("clip", "moments_json", '[{"kind": "extreme"}]', "clip at 9.0 s"),
        ("clip", "end_s", b"\x00", "clip at 9.0 s"),
        ("discomfort", "rating", 2, "discomfort check"),
        ("discomfort", "rating", 130, "discomfort check"),
        ("discomfort", "checked_at", "2025-", "discomfort check"),
        ("discomfort", "signs_json", "{", "discomfort check"),
        ("remark", "text", "In the Nocturne let the elbow hand.", "note of others at 12.0 s"),
        ("remark", "time_s", None, "note of others"),
        ("piece", "name", "Nocturne in F", "name of a piece"),
        ("practice_item", "tempo_bpm", 61.0, "practice list"),
        ("practice_place", "position", 7, "practice list"),
    ],
)
def test_what_has_changed_on_the_disk_is_said_and_everything_can_be_looked_at(
    source: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    table: str,
    column: str,
    value: object,
    said: str,
) -> None:
    folder = copied(source, tmp_path / "data")
    change(folder, f"UPDATE {table} SET {column} = ?", value)
    shown, sentences = looked_at(folder)
    assert any(
        f"Changed on the disk since it was kept: {said}" in one or f"the {said}" in one for one in sentences
    )
    assert len(shown["sessions"]) == 2
    assert main(["repair", "--data-dir", str(folder)]) == 1
    assert said in capsys.readouterr().err


def test_a_player_puts_it_right(source: Path, tmp_path: Path) -> None:
    folder = copied(source, tmp_path / "data")
    change(folder, "UPDATE mark SET note = CAST(x'ff41' AS TEXT)")
    change(folder, "UPDATE piece SET name = 'Nocturnf'")
    with open_store(folder) as store:
        log = PracticeLog(store)
        first, second = (one["id"] for one in log.sessions())
        (mark,) = log.session(first)["marks"]
        assert len(log.session(first)["damage"]) == 2
        log.change_mark(mark["id"], MarkChange.model_validate({"note": "thumb"}))
        (mark,) = log.session(second)["marks"]
        log.delete_mark(mark["id"])
        (piece,) = log.pieces()
        log.rename_piece(piece["id"], PieceChange.model_validate({"name": "Nocturne in E"}))
    assert looked_at(folder)[1] == []


def test_no_flipped_bit_in_what_is_noted_passes_for_health(source: Path, tmp_path: Path) -> None:
    whole = (source / FILE_NAME).read_bytes()
    before, _ = looked_at(copied(source, tmp_path / "whole"))
    around = {
        place
        for found in re.finditer(TEXT, whole)
        for place in range(max(found.start() - 40, 100), min(found.end() + 40, len(whole)))
    }
    rng = np.random.default_rng(12)
    unseen = []
    for place in rng.choice(sorted(around), 40, replace=False).tolist():
        folder = copied(source, tmp_path / f"at{place}")
        (folder / FILE_NAME).write_bytes(flip(whole, place))
        try:
            after, said = looked_at(folder)
        except StoreError:
            continue
        if after != before and not said:
            unseen.append(place)
    assert unseen == []


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE exposure_level SET seconds = seconds + 1",
        "UPDATE exposure SET measured_s = measured_s - 1, p50 = 3.0",
        "UPDATE review SET data = x'00'",
        "UPDATE session SET summary_json = replace(summary_json, 'watched_s', 'watcher_s')",
    ],
)
def test_what_is_computed_is_computed_anew(source: Path, tmp_path: Path, statement: str) -> None:
    before, _ = looked_at(copied(source, tmp_path / "whole"))
    folder = copied(source, tmp_path / "data")
    change(folder, statement)
    assert looked_at(folder) == (before, [])


def test_damage_stays_recognisable_wherever_it_goes(source: Path, tmp_path: Path) -> None:
    """Through a backup and into a folder in which the rows get other numbers; from a damaged database, too."""
    folder = copied(source, tmp_path / "data")
    change(folder, "UPDATE mark SET time_s = 7.25 WHERE id = 2")
    backup = tmp_path / "all.zip"
    main(["backup", str(backup), "--data-dir", str(folder)])
    with open_store(tmp_path / "other") as store:
        record(store, 5.0, switches=((0.0, "Another", ""),))
    main(["restore", str(backup), "--data-dir", str(tmp_path / "other")])
    said = [one for one in looked_at(tmp_path / "other")[1] if "mark at 7.2 s" in one]
    assert len(set(said)) == 1
    # The first page of the table of marks' index is none any more: everything is copied into a fresh database.
    with closing(sqlite3.connect(folder / FILE_NAME)) as connection:
        (page,) = connection.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'mark_of_session'"
        ).fetchone()
    raw = bytearray((folder / FILE_NAME).read_bytes())
    raw[4096 * (page - 1)] ^= 0xFF
    (folder / FILE_NAME).write_bytes(raw)
    shown, sentences = looked_at(folder)
    assert "set aside" in sentences[0]
    assert any("mark at 7.2 s" in one for one in sentences)
    assert all(len(shown[one["id"]][0]["remarks"]) == 1 for one in shown["sessions"])
    assert len(SessionReader(folder).sessions()) == 2
