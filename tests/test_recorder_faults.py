"""What goes wrong while a session is recorded is said at once, and takes nothing else with it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from session_factories import Ended
from storage_stage import START, put_seconds, wait_until

from posturewatch.errors import StoreError
from posturewatch.storage import recorder as recorder_module
from posturewatch.storage.reader import SessionReader
from posturewatch.storage.store import Store

pytestmark = pytest.mark.usefixtures("quick_commits")

#: No character (Unicode 15, section 3.8): UTF-8 has no bytes for it.
LONE_SURROGATE = "\ud800"


def samples_of(folder: Path, identity: str) -> int:
    (one, *_) = [
        one for one in SessionReader(folder).session(identity).series if one.quantity == "wrist_flexion"
    ]
    return len(one.time_s)


def test_what_cannot_be_written_is_left_out_and_the_rest_is_kept(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        put_seconds(recorder, 2.0)
        recorder.mark(0.5, "before")
        recorder.mark(1.0, f"what{LONE_SURROGATE}")
        recorder.mark(1.5, "after")
        wait_until(lambda: recorder.fault is not None)
        assert "1 marks or events of this session could not be kept" in str(recorder.fault)
        put_seconds(recorder, 3.0, start_s=2.0)
        identity = recorder.finish(Ended(5.0))
        assert recorder.fault is not None
    assert samples_of(tmp_path, identity) == 150
    record = SessionReader(tmp_path).session(identity)
    assert [mark.note for mark in record.marks] == ["before", "after"]
    assert record.info.end_reason == "stopped"


def test_a_writer_that_fails_is_told_of_at_once_and_the_session_ends_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        put_seconds(recorder, 1.0)
        wait_until(lambda: store.sessions()[0].end_s > 0.9)

        def broken(*_: object) -> None:
            raise RuntimeError("a fault of the program")

        monkeypatch.setattr(recorder_module, "join_series", broken)
        put_seconds(recorder, 1.0, start_s=1.0)
        wait_until(lambda: recorder.fault is not None)
        assert "not recorded any more" in str(recorder.fault)
        lost = recorder.lost_samples
        put_seconds(recorder, 1.0, start_s=2.0)
        assert recorder.lost_samples > lost
        identity = recorder.finish(Ended(3.0))
    monkeypatch.undo()
    with Store(tmp_path):
        assert samples_of(tmp_path, identity) == 30


@pytest.mark.parametrize("moved", [True, False])
def test_a_folder_that_goes_and_comes_back_has_all_of_it(tmp_path: Path, moved: bool) -> None:
    folder, elsewhere = tmp_path / "data", tmp_path / "elsewhere"
    with Store(folder) as store:
        recorder = store.begin(START)
        put_seconds(recorder, 2.0)
        wait_until(lambda: store.sessions()[0].end_s > 1.9)
        if moved:
            folder.rename(elsewhere)
        else:
            shutil.rmtree(folder)
        put_seconds(recorder, 2.0, start_s=2.0)
        wait_until(lambda: recorder.fault is not None)
        assert "has gone" in str(recorder.fault)
        with pytest.raises(StoreError, match="have gone"):
            store.sessions()
        if moved:
            elsewhere.rename(folder)
        else:
            folder.mkdir()
        wait_until(lambda: recorder.fault is None)
        put_seconds(recorder, 1.0, start_s=4.0)
        identity = recorder.finish(Ended(5.0))
        assert recorder.fault is None
    assert samples_of(folder, identity) == 150


def test_a_folder_that_stays_away_or_is_another_one_is_told_of_at_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recorder_module, "FINISH_S", 0.5)
    for name in ("gone", "replaced"):
        folder = tmp_path / name
        with Store(folder) as store:
            recorder = store.begin(START)
            put_seconds(recorder, 2.0)
            wait_until(lambda store=store: store.sessions()[0].end_s > 1.9)  # type: ignore[misc]
            folder.rename(tmp_path / f"{name}-elsewhere")
            if name == "replaced":
                with Store(folder) as other:
                    assert other.sessions() == []
            put_seconds(recorder, 2.0, start_s=2.0)
            recorder.finish(Ended(4.0))
            assert "This session is lost, unless that folder is found again" in str(recorder.fault)
        if name == "replaced":
            assert SessionReader(folder).sessions() == []
        else:
            assert not folder.exists()
