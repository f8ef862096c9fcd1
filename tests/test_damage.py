"""Damage on the disk is said, what is sound is shown, and what can be read is saved."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from session_factories import Ended
from storage_stage import START, put_seconds, wait_until

from posturewatch.cli.main import main
from posturewatch.errors import StoreError
from posturewatch.review.derived import open_store
from posturewatch.review.export import json_blocks
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.session_document import full_document
from posturewatch.storage.folder.database import FILE_NAME
from posturewatch.storage.reader import SessionReader
from posturewatch.storage.store import Store


def recorded(folder: Path, sessions: int = 3, seconds: float = 20.0) -> list[str]:
    with open_store(folder) as store:
        ids = []
        for _ in range(sessions):
            recorder = store.begin(START)
            put_seconds(recorder, seconds)
            ids.append(recorder.finish(Ended(seconds)))
    return ids


def shown(folder: Path, identity: str) -> dict[str, Any]:
    """All that is shown of a session, read anew."""
    reader = SessionReader(folder)
    record = reader.session(identity)
    document = json.loads("".join(json_blocks(reader, identity, full_document(reader, identity))))
    return {name: one for name, one in document.items() if name != "damage"} | {"damage": list(record.damage)}


def change(folder: Path, statement: str, *values: object) -> None:
    with closing(sqlite3.connect(folder / FILE_NAME)) as connection, connection:
        connection.execute(statement, values)


def flip(data: bytes, place: int) -> bytes:
    return data[:place] + bytes([data[place] ^ 0x10]) + data[place + 1 :]


@pytest.mark.parametrize("place", [3, 20, 200, -3])
def test_a_flipped_bit_in_samples_is_said_and_the_rest_is_shown(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], place: int
) -> None:
    first, second, _ = recorded(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        number, data = connection.execute(
            "SELECT chunk.id, data FROM chunk JOIN series ON series.id = chunk.series WHERE side = 'left' AND "
            "quantity = 'wrist_flexion' AND session = 1"
        ).fetchone()
    change(tmp_path, "UPDATE chunk SET data = ? WHERE id = ?", flip(data, place % len(data)), number)
    record = SessionReader(tmp_path).session(first)
    (sentence,) = record.damage
    assert sentence == "Damaged on the disk and left out: wrist flexion, left hand from 0.0 s to 20.0 s."
    assert SessionReader(tmp_path).session(second).damage == ()
    # The other hand's samples are all there; of the damaged ones none is made up.
    assert {len(one.time_s) for one in record.series if one.quantity == "wrist_flexion"} == {0, 600}
    out = tmp_path / "out"
    assert main(["export", first, "--out", str(out), "--data-dir", str(tmp_path)]) == 1
    assert sentence in capsys.readouterr().err
    assert (out / f"{first}.csv").stat().st_size > 0
    assert main(["repair", "--data-dir", str(tmp_path)]) == 1
    assert sentence in capsys.readouterr().err
    # The page of that session says it, too, and the others' do not.
    with open_store(tmp_path) as store:
        assert PracticeLog(store).session(first)["damage"] == [sentence]
        assert PracticeLog(store).session(second)["damage"] == []


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE excursion SET peak = peak + 1", False),
        ("UPDATE session SET end_s = end_s + 1", True),
        ("UPDATE session SET started_at = replace(started_at, '2025', '2015')", True),
        ("UPDATE series SET value_step = value_step * 2", True),
        ("UPDATE session SET rules_json = replace(rules_json, '3.0', '8.0')", True),
    ],
)
def test_what_is_noted_beside_the_samples_is_sealed(tmp_path: Path, statement: str, said: bool) -> None:
    first, *_ = recorded(tmp_path, sessions=1)
    assert SessionReader(tmp_path).session(first).damage == ()
    change(tmp_path, statement)
    damage = SessionReader(tmp_path).session(first).damage
    # Without an excursion there is none to be changed.
    assert bool(damage) == said
    assert all("do not rely on it" in one for one in damage)


@pytest.mark.parametrize("damaged", ["{", "", "[]", "\x00", '{"version": 1}'])
def test_a_damaged_summary_is_worked_out_anew(tmp_path: Path, damaged: str) -> None:
    first, *_ = recorded(tmp_path)
    before = shown(tmp_path, first)
    change(tmp_path, "UPDATE session SET summary_json = ? WHERE number = 1", damaged)
    assert main(["summary", first, "--data-dir", str(tmp_path)]) == 0
    assert shown(tmp_path, first) == before
    change(tmp_path, "UPDATE review SET data = ? WHERE session = 1", b"x")
    with open_store(tmp_path) as store:
        assert PracticeLog(store).session(first)["session"]["id"] == first
        assert PracticeLog(store).trends(weeks=520)["lines"] is not None


def test_damaged_limits_are_said_of_that_session_alone(tmp_path: Path) -> None:
    first, second, _ = recorded(tmp_path)
    change(tmp_path, "UPDATE session SET limits_json = '{' WHERE number = 1")
    assert len(SessionReader(tmp_path).sessions()) == 3
    with pytest.raises(StoreError, match="limits or settings of session"):
        SessionReader(tmp_path).session(first)
    assert SessionReader(tmp_path).session(second).damage == ()
    change(tmp_path, "DELETE FROM review")
    with open_store(tmp_path) as store:
        assert PracticeLog(store).trends(weeks=520)["lines"] is not None


def test_a_database_emptied_beside_its_log_is_made_anew_from_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # The log holds all of it as long as nothing has been folded into the file.
    folder, copy = tmp_path / "data", tmp_path / "copy"
    copy.mkdir()
    with Store(folder) as store, closing(sqlite3.connect(folder / FILE_NAME)) as held:
        held.execute("BEGIN")
        held.execute("SELECT count(*) FROM session").fetchone()
        held.execute("COMMIT")
        recorder = store.begin(START)
        put_seconds(recorder, 5.0)
        wait_until(lambda: store.sessions()[0].end_s > 4.9)
        for path in folder.glob(f"{FILE_NAME}*"):
            (copy / path.name).write_bytes(path.read_bytes())
        before = len(SessionReader(copy).session(recorder.session_id).series)
        identity = recorder.finish(Ended(5.0))
    log = copy / f"{FILE_NAME}-wal"
    assert log.stat().st_size > 0
    (copy / FILE_NAME).write_bytes(b"")
    with pytest.raises(StoreError, match="posturewatch repair"):
        SessionReader(copy).sessions()
    kept = log.read_bytes()
    assert main(["repair", "--data-dir", str(copy)]) == 1
    assert "damaged" in capsys.readouterr().err
    (aside,) = copy.glob("practice-damaged-*-wal")
    assert aside.read_bytes() == kept
    sessions = SessionReader(copy).sessions()
    if sessions:
        assert [one.id for one in sessions] == [identity]
        assert len(SessionReader(copy).session(identity).series) == before


def test_one_bad_page_hides_no_other_session(tmp_path: Path) -> None:
    """Every page of the file in turn is overwritten: what is shown afterwards is as it was, or damage is said."""
    source = tmp_path / "source"
    ids = recorded(source, sessions=4, seconds=10.0)
    whole = (source / FILE_NAME).read_bytes()
    before = {identity: shown(source, identity) for identity in ids}
    rng = np.random.default_rng(20)
    pages = len(whole) // 4096
    saved = []
    for page in sorted(rng.choice(np.arange(1, pages), size=min(12, pages - 1), replace=False).tolist()):
        folder = tmp_path / f"page{page}"
        folder.mkdir()
        torn = whole[: 4096 * page] + rng.bytes(4096) + whole[4096 * (page + 1) :]
        (folder / FILE_NAME).write_bytes(torn)
        with open_store(folder, thorough=True) as store:
            assert store.notice is not None
            (aside,) = folder.glob("practice-damaged-*.sqlite3")
            assert aside.read_bytes() == torn
            kept = [one.id for one in store.sessions()]
        for identity in kept:
            after = shown(folder, identity)
            alike = all(
                after[name] == before[identity][name]
                for name in ("session", "samples", "excursions", "marks")
            )
            assert alike or after["damage"], page
            saved += [identity] if alike else []
    # Nearly all pages hold blocks of samples of one session, or what is computed from them.
    assert len(saved) >= 0.5 * 4 * min(12, pages - 1)


def test_no_flipped_bit_passes_for_health(tmp_path: Path) -> None:
    source = tmp_path / "source"
    ids = recorded(source, sessions=2, seconds=10.0)
    whole = (source / FILE_NAME).read_bytes()
    before = {identity: shown(source, identity) for identity in ids}
    rng = np.random.default_rng(4)
    unseen = []
    for place in rng.integers(100, len(whole), 40).tolist():
        folder = tmp_path / f"at{place}"
        folder.mkdir()
        (folder / FILE_NAME).write_bytes(flip(whole, place))
        try:
            said = bool(Store(folder, thorough=True).notice)
            sessions = SessionReader(folder).sessions()
            after = {one.id: shown(folder, one.id) for one in sessions}
        except StoreError:
            continue
        said = said or any(one["damage"] for one in after.values())
        if not said and after != before:
            unseen.append(place)
    assert unseen == []


def test_a_reason_that_no_sample_has_is_passed_over_and_one_that_a_sample_has_is_no_number(
    tmp_path: Path,
) -> None:
    """Every version noted all reasons that it knew; "left or right hand not clear" was given by none."""
    (identity,) = recorded(tmp_path, sessions=1)
    before = shown(tmp_path, identity)
    change(tmp_path, "INSERT INTO refusal (code, word) VALUES (200, 'left or right hand not clear')")
    assert shown(tmp_path, identity) == before
    change(tmp_path, "UPDATE refusal SET word = 'of another program' WHERE word = 'hand not seen'")
    with pytest.raises(StoreError, match="unknown reasons"):
        SessionReader(tmp_path).session(identity)
