"""Films that are handed in on the page: on the disk as they come, measured one after the other, kept as sessions."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import httpx
import pytest
from film_stand_ins import Forgetful, Threads, lit_film, settings_and_parts, swelling
from page_stand_ins import ScriptedPractice, page_words
from session_factories import LIMITS, Ended

from posturewatch.config.resources import web_dir
from posturewatch.errors import InputError
from posturewatch.pipeline.films.desk import FilmDesk
from posturewatch.pipeline.films.handed_in import usable_name
from posturewatch.review.derived import open_store
from posturewatch.review.practice_log import PracticeLog
from posturewatch.server.admission import Admission
from posturewatch.server.app import create_app
from posturewatch.server.serving import PageServer, listen
from posturewatch.storage.own_data import FILMS_FOLDER, forget_everything
from posturewatch.storage.records import SessionStart
from posturewatch.storage.store import Store

if TYPE_CHECKING:
    from playwright.sync_api import Browser

Make = Callable[..., FilmDesk]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "data") as one:
        yield one


@pytest.fixture
def desk(store: Store) -> Iterator[Make]:
    made: list[FilmDesk] = []

    def make(hands: Forgetful | None = None, **more: Any) -> FilmDesk:
        looking = Forgetful() if hands is None else hands
        parts = settings_and_parts(looking.build)
        one = FilmDesk(store, lambda: parts, lambda: Threads(1, looking.build), **more)
        made.append(one)
        return one

    yield make
    for one in made:
        one.close()


def hand_in(desk: FilmDesk, path: Path, **more: Any) -> str:
    incoming = desk.hand_in(path.name, **more)
    incoming.write(path.read_bytes())
    return str(incoming.finish()["id"])


def until(desk: FilmDesk, identity: str, *phases: str) -> dict[str, Any]:
    end = time.monotonic() + 60
    while time.monotonic() < end:
        (found,) = [one for one in desk.films()["films"] if one["id"] == identity]
        if found["phase"] in phases:
            return dict(found)
        time.sleep(0.01)
    raise AssertionError(f"never {phases}: {desk.films()}")


def test_films_become_sessions_and_are_not_kept_themselves(desk: Make, store: Store, tmp_path: Path) -> None:
    one = desk()
    good = hand_in(
        one, lit_film(tmp_path / "étude 🎻.mp4", swelling(2.0)), piece="Étude", bars="1-4", modified_s=1e9
    )
    (tmp_path / "notes.mp4").write_text("dear diary " * 99)
    bad = hand_in(one, tmp_path / "notes.mp4")
    kept, failed = until(one, good, "kept"), until(one, bad, "failed")
    assert (kept["name"], kept["share"], kept["sentence"]) == ("étude 🎻.mp4", 1.0, None)
    assert failed["sentence"].startswith("notes.mp4 is not a video that can be read")
    (session,) = store.sessions()
    assert (session.id, session.source_name) == (kept["session_id"], "étude 🎻.mp4")
    # Second 0 was so much before the file was last written (9 September 2001, 01:46:40 UTC).
    assert session.started_at.startswith("2001-09-09T01:46:38")
    (passage,) = PracticeLog(store).session(session.id)["passages"]
    assert (passage["piece"], passage["bars"]) == ("Étude", "1-4")
    folder = store.data_dir / FILMS_FOLDER
    assert [path for path in folder.rglob("*") if path.is_file()] == []
    one.remove(good)
    assert [film["id"] for film in one.films()["films"]] == [bad]


def test_while_a_practice_is_recorded_films_wait(desk: Make, store: Store, tmp_path: Path) -> None:
    recorder = store.begin(SessionStart("camera 0", "camera", "0.1.0", LIMITS))
    one = desk()
    identity = hand_in(one, lit_film(tmp_path / "a.mp4", swelling(1.0)))
    assert until(one, identity, "waiting", "measuring", "kept")["phase"] == "waiting"
    recorder.finish(Ended(1.0))
    assert until(one, identity, "kept")["session_id"] != recorder.session_id


def test_a_practice_that_begins_meanwhile_goes_first(desk: Make, store: Store, tmp_path: Path) -> None:
    begun: list[Any] = []

    def look(time_s: float) -> None:
        if not begun and time_s > 0.5:
            begun.append(store.begin(SessionStart("camera 0", "camera", "0.1.0", LIMITS)))

    one = desk(Forgetful(look))
    identity = hand_in(one, lit_film(tmp_path / "a.mp4", swelling(260.0, rate_hz=1.0), rate_hz=1.0))
    end = time.monotonic() + 60
    while not begun and time.monotonic() < end:
        time.sleep(0.01)
    assert until(one, identity, "waiting")
    begun[0].finish(Ended(1.0))
    assert until(one, identity, "kept")


def test_what_was_not_done_goes_on_at_the_next_start(desk: Make, store: Store, tmp_path: Path) -> None:
    recorder = store.begin(SessionStart("camera 0", "camera", "0.1.0", LIMITS))
    first = desk()
    identity = hand_in(first, lit_film(tmp_path / "a.mp4", swelling(1.0)), piece="Scales")
    cut = first.hand_in("half.mp4")
    cut.write(b"half of a film")
    first.close()
    recorder.finish(Ended(1.0))
    second = desk()
    assert [film["id"] for film in second.films()["films"]] == [identity]
    assert until(second, identity, "kept")["piece"] == "Scales"
    cut.abort()


def test_what_is_too_large_is_refused_before_and_while_it_comes(
    desk: Make, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = desk(limit_bytes=1000)
    incoming = one.hand_in("a.mp4")
    with pytest.raises(InputError, match="more than the 1e-06 GB"):
        incoming.expect(1001)
    incoming.write(bytes(900))
    with pytest.raises(InputError, match="cut it"):
        incoming.write(bytes(101))
    incoming.abort()
    monkeypatch.setattr("posturewatch.pipeline.films.handed_in._SPARE_BYTES", 10**18)
    tight = one.hand_in("a.mp4")
    with pytest.raises(InputError, match="no room"):
        tight.expect(1)
    tight.abort()
    empty = one.hand_in("b.mp4")
    with pytest.raises(InputError, match="is empty"):
        empty.finish()
    empty.abort()
    assert list((store.data_dir / FILMS_FOLDER).iterdir()) == []


@pytest.mark.parametrize(
    ("given", "name"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\films\\a.mp4", "a.mp4"),
        ("..", "film.mp4"),
        ("", "film.mp4"),
        ("film.json", "film.mp4"),
        ("a\x00b:c?.mov", "a_b_c_.mov"),
        ("étude 🎻.mp4", "étude 🎻.mp4"),
        ("x" * 400 + ".mp4", "x" * 150 + ".mp4"),
        (".hidden", "hidden"),
    ],
)
def test_names_of_files_lead_nowhere_else(given: str, name: str) -> None:
    assert usable_name(given) == name


def test_deleting_everything_deletes_films_that_wait(desk: Make, store: Store, tmp_path: Path) -> None:
    one = desk()
    one.close()
    hand_in(one, lit_film(tmp_path / "a.mp4", swelling(1.0)))
    forget_everything(store)
    assert not (store.data_dir / FILMS_FOLDER).exists()


class Served:
    """The page over a store and a desk."""

    def __init__(self, store: Store, desk: FilmDesk) -> None:
        self.practice = ScriptedPractice(lambda time_s: ((12.0, 4.0), (-8.0, 3.0)))
        listener = listen(0)
        port = int(listener.getsockname()[1])
        self.admission = Admission(port)
        app = create_app(
            practice=self.practice, feed=self.practice.feed, log=PracticeLog(store), vocabulary=page_words(),
            web_dir=web_dir(), port=port, admission=self.admission, films=desk,
        )  # fmt: skip
        self.server = PageServer(app, listener)
        self.server.start()
        self.url = self.server.url

    def close(self) -> None:
        self.practice.close()
        self.server.close()


@pytest.fixture
def served(store: Store, desk: Make) -> Iterator[Served]:
    one = Served(store, desk(limit_bytes=50_000_000))
    yield one
    one.close()


def test_a_film_comes_in_through_the_route(served: Served, store: Store, tmp_path: Path) -> None:
    film = lit_film(tmp_path / "a.mp4", swelling(1.0))
    with httpx.Client(
        base_url=served.url, trust_env=False, timeout=30, cookies=dict([served.admission.cookie])
    ) as client:

        def blocks() -> Iterator[bytes]:
            yield film.read_bytes()

        taken = client.put("/api/films", params={"name": "a.mp4", "piece": "Scales"}, content=blocks())
        assert (taken.status_code, taken.json()["phase"]) == (200, "waiting")
        for params, content, status, part in (
            ({"name": "b.mp4"}, b"", 422, "is empty"),
            ({"name": "b.mp4", "piece": "x" * 400}, b"x", 422, "A piece's name"),
            ({}, b"x", 422, "name"),
        ):
            refused = client.put("/api/films", params=params, content=content)
            assert (refused.status_code, part in refused.json()["error"]) == (status, True)
        large = client.put("/api/films?name=c.mp4", content=bytes(50_000_001))
        assert large.status_code == 422
        assert "more than the 0.05 GB" in large.json()["error"]
        end = time.monotonic() + 60
        while not store.sessions() or store.sessions()[0].open:
            assert time.monotonic() < end
            time.sleep(0.02)
        assert client.delete(f"/api/films/{taken.json()['id']}").json() == {"deleted": True}
        assert client.delete("/api/films/none").status_code == 404
        assert client.get("/api/films").json() == {"films": [], "limit_bytes": 50_000_000}


@pytest.mark.browser
def test_a_film_is_chosen_on_the_page(
    served: Served,
    browser: Browser,
    tmp_path: Path,
) -> None:
    from page_stage import WAIT_MS, admit

    film = lit_film(tmp_path / "run through.mp4", swelling(1.0))
    context = browser.new_context()
    admit(context, served.url, served.admission)
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    page.goto(f"{served.url}log.html#/sessions")
    page.get_by_label("What is played (may stay empty)").fill("Étude")
    page.set_input_files("#films", film)
    page.get_by_role("link", name="Open the session").click()
    # The session's own page: the one before it names the film with its ending.
    page.get_by_text("film “run through” · Étude").wait_for()
    context.close()
