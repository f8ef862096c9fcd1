"""Practices for a teacher and notes that come back: from one data folder to another, and nothing that should not come
along."""

from __future__ import annotations

import json
import sqlite3
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx
import pytest
from page_stand_ins import page_words
from review_stage import ReviewStage

from posturewatch.archive.faults import ArchiveError
from posturewatch.archive.writing import ArchiveWriter
from posturewatch.cli.main import main
from posturewatch.config.resources import web_dir
from posturewatch.errors import InputError, UnknownError
from posturewatch.review.exchange.notes import Notes, RemarkEntry
from posturewatch.review.exchange.opened import OpenedBundle
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.report.writing import Reports, Wanted
from posturewatch.server.admission import Admission
from posturewatch.server.app import create_app
from posturewatch.server.looking import NoFrames, NoPractice
from posturewatch.server.serving import PageServer, listen
from posturewatch.storage.backup.kind import BACKUP, BUNDLE
from posturewatch.storage.folder.database import FILE_NAME


@pytest.fixture(scope="module")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ReviewStage]:
    """The player's own log; for reading, and for notes that come."""
    one = ReviewStage(tmp_path_factory.mktemp("own"))
    yield one
    one.close()


@pytest.fixture(scope="module")
def shared(stage: ReviewStage, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A bundle of the last two sessions."""
    path = tmp_path_factory.mktemp("bundle") / "lesson.zip"
    for identity in stage.sessions[-2:]:
        stage.log.session(identity)
    made = Reports(stage.store).bundle(stage.sessions[-2:], Wanted(who="Mira"), path)
    assert (made.sessions, made.clips, made.damaged) == (2, 4, ())
    return path


@pytest.fixture
def bundle(shared: Path, tmp_path: Path) -> Path:
    """A copy of it, so that each test has notes of its own."""
    path = tmp_path / "lesson.zip"
    path.write_bytes(shared.read_bytes())
    return path


def test_a_bundle_shows_what_its_player_sees_and_no_more(stage: ReviewStage, bundle: Path) -> None:
    with OpenedBundle(bundle, "Okafor") as opened:
        assert [one.id for one in opened.store.sessions()] == stage.sessions[:-3:-1]
        listed = {one["id"]: one for one in stage.log.sessions()}
        for one in PracticeLog(opened.store).sessions():
            assert one["measured_share"] is not None
            shares = ("measured_share", "extreme_share")
            assert [one[name] for name in shares] == [listed[one["id"]][name] for name in shares]
        last = stage.sessions[-1]
        theirs, own = PracticeLog(opened.store).session(last), stage.log.session(last)
        for part in ("exposure", "finding", "marks", "session"):
            assert without_numbers(theirs[part]) == without_numbers(own[part])
        assert [clip["state"] for clip in theirs["clips"]] == ["there", "there"]
        folder = opened.store.data_dir
        assert folder.exists()
    assert not folder.exists()
    with zipfile.ZipFile(bundle) as archive:
        page = archive.read("report.html").decode()
        assert page.startswith("<!doctype html>")
        assert "Mira" in page
        names = archive.namelist()
    assert not [name for name in names if stage.sessions[0] in name]


def without_numbers(value: Any) -> Any:
    """Rows have numbers of their own in every database."""
    if isinstance(value, dict):
        return {
            name: without_numbers(one)
            for name, one in value.items()
            if not name.endswith(("id", "_ids")) and name != "moments"
        }
    return [without_numbers(one) for one in value] if isinstance(value, list) else value


def test_notes_come_back(stage: ReviewStage, bundle: Path) -> None:
    last = stage.sessions[-1]
    with OpenedBundle(bundle, "Ms Okafor") as opened:
        opened.notes.add(last, RemarkEntry.read({"text": " Let the elbow hang. ", "time_s": 101.5}))
        wrong = opened.notes.add(last, RemarkEntry.read({"text": "Never mind"}))
        opened.notes.delete(wrong["id"])
    # Opened once more, they are there, and more can be left.
    with OpenedBundle(bundle, "Ms Okafor") as opened:
        (kept,) = PracticeLog(opened.store).session(last)["remarks"]
        assert (kept["text"], kept["time_s"], kept["author"]) == ("Let the elbow hang.", 101.5, "Ms Okafor")
        opened.notes.add(last, RemarkEntry.read({"text": "Better than last week."}))
    path = bundle.with_name("lesson-notes.json")
    document = json.loads(path.read_text(encoding="utf-8"))
    own = Notes(stage.store)
    assert own.take(document).to_json() == {"added": 2, "known": 0, "strange": 0}
    assert own.take(document).to_json() == {"added": 0, "known": 2, "strange": 0}
    remarks = stage.log.session(last)["remarks"]
    assert [(one["time_s"], one["text"]) for one in remarks] == [
        (None, "Better than last week."),
        (101.5, "Let the elbow hang."),
    ]
    document["sessions"][0]["id"] = "nobody0"
    assert own.take(document).strange == 2
    with pytest.raises(InputError, match="your own are its marks"):
        own.add(last, RemarkEntry.read({"text": "Mine"}))


Change = Callable[[dict[str, Any]], object]


@pytest.mark.parametrize(
    "change",
    [
        lambda one: one.update(format="something else"),
        lambda one: one.update(version=2),
        lambda one: one.update(more="x"),
        lambda one: one["sessions"][0]["remarks"][0].update(text="x" * 2001),
        lambda one: one["sessions"][0]["remarks"][0].update(text=" "),
        lambda one: one["sessions"][0]["remarks"][0].update(uid="../../x"),
        lambda one: one["sessions"][0]["remarks"][0].update(time_s=-1.0),
        lambda one: one["sessions"][0]["remarks"][0].update(time_s=1e9),
        lambda one: one["sessions"][0].update(id="x'; DROP TABLE session"),
        lambda one: one.update(sessions="x"),
    ],
)
def test_what_are_no_notes_is_refused_as_a_whole(stage: ReviewStage, change: Change) -> None:
    good = {
        "uid": "a" * 32,
        "time_s": 1.0,
        "author": "O",
        "text": "t",
        "written_at": "2025-03-04T18:00:00+00:00",
    }
    document: dict[str, Any] = {
        "format": "posturewatch notes",
        "version": 1,
        "sessions": [{"id": stage.sessions[1], "started_at": "x", "remarks": [dict(good)]}],
    }
    change(document)
    with pytest.raises(InputError, match="no file of notes"):
        Notes(stage.store).take(document)
    assert stage.log.session(stage.sessions[1])["remarks"] == []


def test_a_note_beyond_the_end_belongs_to_another_session(stage: ReviewStage, bundle: Path) -> None:
    with OpenedBundle(bundle) as opened:
        with pytest.raises(InputError, match=r"ends after 360\.0 s"):
            opened.notes.add(stage.sessions[-1], RemarkEntry.read({"text": "Late", "time_s": 400.0}))
        with pytest.raises(UnknownError):
            opened.notes.add(stage.sessions[0], RemarkEntry.read({"text": "Not in it"}))


def _truncated(path: Path, good: bytes) -> None:
    path.write_bytes(good[: len(good) // 2])


def _a_path_out(path: Path, good: bytes) -> None:
    path.write_bytes(good)
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("../../evil.mp4", b"\0\0\0\x10ftypisom")


def _a_bomb(path: Path, good: bytes) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("practice.sqlite3", bytes(60_000_000))


def _a_backup(path: Path, good: bytes) -> None:
    with ArchiveWriter(path, BACKUP, about={"whole": True, "clips": False, "sessions": []}):
        pass


def _no_database(path: Path, good: bytes) -> None:
    with ArchiveWriter(path, BUNDLE, about={"whole": False, "clips": False, "sessions": []}):
        pass


def _another_schema(path: Path, good: bytes) -> None:
    database = path.with_name("foreign.sqlite3")
    with closing(sqlite3.connect(database)) as connection:
        connection.execute("CREATE TABLE migration (number INTEGER PRIMARY KEY, name TEXT)")
        connection.execute("INSERT INTO migration (name) VALUES ('of another program')")
        connection.commit()
    with ArchiveWriter(path, BUNDLE, about={"whole": False, "clips": False, "sessions": []}) as archive:
        archive.add_file(FILE_NAME, database)


def _no_archive(path: Path, good: bytes) -> None:
    path.write_text("dear teacher")


@pytest.mark.parametrize(
    "make", [_truncated, _a_path_out, _a_bomb, _a_backup, _no_database, _another_schema, _no_archive]
)
def test_a_hostile_or_broken_bundle_is_one_sentence(
    make: Callable[[Path, bytes], None],
    shared: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    path = tmp_path / "in" / "lesson.zip"
    path.parent.mkdir()
    make(path, shared.read_bytes())
    with pytest.raises(ArchiveError) as caught:
        OpenedBundle(path)
    assert caught.value.sentence.endswith(".")
    assert main(["open", str(path), "--no-browser", "--port", "0"]) != 0
    assert capsys.readouterr().err.count("\n") == 1
    assert not list(tmp_path.glob("posturewatch-bundle-*"))
    assert not (tmp_path / "evil.mp4").exists()


class Looked:
    """The page of an opened bundle."""

    def __init__(self, bundle: OpenedBundle) -> None:
        listener = listen(0)
        port = int(listener.getsockname()[1])
        self.admission = Admission(port)
        app = create_app(
            practice=NoPractice(), feed=NoFrames(), log=PracticeLog(bundle.store),
            vocabulary={**page_words(), "shared": {"file": "lesson.zip", "notes": "lesson-notes.json"}},
            web_dir=web_dir(), port=port, admission=self.admission, notes=bundle.notes, looking_only=True,
        )  # fmt: skip
        self.server = PageServer(app, listener)
        self.server.start()
        self.url = self.server.url


@pytest.fixture
def looked(bundle: Path) -> Iterator[Looked]:
    with OpenedBundle(bundle, "Okafor") as opened:
        one = Looked(opened)
        yield one
        one.server.close()


def test_nothing_can_be_changed_but_notes(looked: Looked, stage: ReviewStage) -> None:
    last = stage.sessions[-1]
    with httpx.Client(
        base_url=looked.url, trust_env=False, timeout=30, cookies=dict([looked.admission.cookie])
    ) as client:
        for method, path, body in (
            ("POST", "/api/start", None),
            ("DELETE", f"/api/sessions/{last}", None),
            ("POST", f"/api/sessions/{last}/marks", {"time_s": 1.0}),
            ("POST", "/api/data/forget", {"everything": True}),
            ("PUT", "/api/films?name=a.mp4", None),
            ("POST", "/api/remarks", {}),
        ):
            refused = client.request(method, path, json=body)
            assert (refused.status_code, "somebody else's" in refused.json()["error"]) == (403, True)
        note = client.post(f"/api/sessions/{last}/remarks", json={"text": "Good"})
        assert (note.status_code, note.json()["author"]) == (200, "Okafor")
        assert client.delete(f"/api/remarks/{note.json()['id']}").status_code == 200
        # Who lacks the key gets neither in nor a word of it.
        assert httpx.post(f"{looked.url}api/start", trust_env=False).status_code == 403


@pytest.mark.browser
def test_a_teacher_leaves_a_note_on_the_page(
    looked: Looked, stage: ReviewStage, browser: Any, bundle: Path
) -> None:
    from page_stage import WAIT_MS, admit

    context = browser.new_context()
    admit(context, looked.url, looked.admission)
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(f"{looked.url}log.html#/session/{stage.sessions[-1]}")
    page.get_by_text("These are somebody else's practices").wait_for()
    page.get_by_label("Note", exact=True).fill("Let the elbow hang.")
    page.get_by_label("At (m:ss").fill("1:41")
    page.click("#add-remark")
    page.locator("#remarks").get_by_text("Let the elbow hang.").wait_for()
    assert not page.locator("#report, #delete-session, .home").first.is_visible()
    context.close()
    assert faults == []
    (kept,) = json.loads(bundle.with_name("lesson-notes.json").read_text(encoding="utf-8"))["sessions"]
    assert [(one["time_s"], one["text"]) for one in kept["remarks"]] == [(101.0, "Let the elbow hang.")]


def test_notes_come_through_the_route_of_the_players_own_page(stage: ReviewStage) -> None:
    with httpx.Client(
        base_url=stage.url, trust_env=False, timeout=30, cookies=dict([stage.admission.cookie])
    ) as client:
        taken = client.post(
            "/api/remarks", json={"format": "posturewatch notes", "version": 1, "sessions": []}
        )
        assert (taken.status_code, taken.json()) == (200, {"added": 0, "known": 0, "strange": 0})
        refused = client.post("/api/remarks", json={"format": "x"})
        assert (refused.status_code, "no file of notes" in refused.json()["error"]) == (422, True)


def test_the_commands(
    stage: ReviewStage, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        "posturewatch.pipeline.moment_lines.MomentLines.__call__", lambda self, picture, side: None
    )
    data = ["--data-dir", str(stage.store.data_dir)]
    path = tmp_path / "lesson.zip"
    assert main(["share", "last", "--out", str(path), "--name", "Mira", *data]) == 0
    assert "1 sessions, 2 clips" in capsys.readouterr().out
    assert main(["share", "last", "--out", str(path), *data]) != 0
    assert "is there already" in capsys.readouterr().err
    notes = tmp_path / "lesson-notes.json"
    notes.write_text(json.dumps({"format": "posturewatch notes", "version": 1, "sessions": []}))
    other = ["--data-dir", str(tmp_path / "other")]
    assert main(["notes", str(notes), *other]) == 0
    assert capsys.readouterr().out == "0 new notes.\n"
    for name, part in (("none.json", "cannot be read"), ("lesson.zip", "is no file of notes")):
        assert main(["notes", str(tmp_path / name), *other]) == 2
        assert part in capsys.readouterr().err
