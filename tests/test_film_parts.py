"""Long films are measured in parts: whoever measures them, in whatever order and however often interrupted, the results
are the same."""

from __future__ import annotations

import threading
from concurrent.futures import BrokenExecutor, Future
from pathlib import Path

import pytest
from film_stand_ins import Forgetful, Threads, lit_film, rows, run, summary, swelling

from posturewatch.capture import Stretch, VideoFileSource, scan_film
from posturewatch.config.settings import Settings
from posturewatch.pipeline.films.measured import MeasuredPart
from posturewatch.pipeline.films.part import FilmPart, film_parts
from posturewatch.pipeline.films.run import FilmWish
from posturewatch.pipeline.films.work import MOST_WAITING, FilmTask, measure_films
from posturewatch.pipeline.films.workers import Here

SECONDS = 30.0


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Half a minute, with frames that refer to later ones, as phones make them."""
    return lit_film(
        tmp_path_factory.mktemp("film") / "long.mp4",
        swelling(SECONDS),
        codec="libx264",
        options={"g": "20", "bf": "2"},
    )


def wish(folder: Path, *, resume: bool = False) -> FilmWish:
    return FilmWish(folder=folder, part_s=5.0, lead_s=2.0, resume=resume)


def here(hands: Forgetful, stop: threading.Event | None = None) -> Here:
    return Here(hands.build, (lambda: False) if stop is None else stop.is_set)


def test_parts_follow_from_the_film_alone(film: Path) -> None:
    scan = scan_film(film)
    assert scan is not None
    assert (scan.frames, scan.orderly) == (300, True)
    assert scan.end_s == pytest.approx(29.9)
    parts = film_parts(scan, part_s=5.0, lead_s=2.0)
    assert [(one.lead_s, one.start_s, one.end_s) for one in parts] == [
        (0.0, 0.0, 5.0),
        *((5.0 * k - 2.0, 5.0 * k, 5.0 * k + 5.0) for k in range(1, 5)),
        (23.0, 25.0, None),
    ]
    assert film_parts(scan, 4.0, 9.0, part_s=120.0) == (FilmPart(0, 0.0, 4.0, 9.0, True),)
    assert film_parts(None) == (FilmPart(0, 0.0, 0.0, None, False),)


@pytest.mark.parametrize("seeks", [True, False])
def test_a_stretch_gives_the_same_frames_as_the_whole(film: Path, seeks: bool) -> None:
    def frames(stretch: Stretch) -> list[tuple[float, float]]:
        source = VideoFileSource(film, stretch=stretch)
        found = []
        while (taken := source.read(5.0)) is not None:
            found.append((round(taken.frame.time_s, 6), float(taken.frame.image_bgr.mean())))
        source.close()
        return found

    whole = frames(Stretch())
    assert len(whole) == 300
    assert frames(Stretch(11.3, 17.0, seeks)) == [one for one in whole if 11.3 <= one[0] < 17.0]


def test_one_after_the_other_or_beside_each_other_is_the_same(film: Path, tmp_path: Path) -> None:
    hands = Forgetful()
    (alone,) = run([film], here(hands), hands.build, wish(tmp_path / "alone"))
    threads = Threads(3, hands.build)
    run([film], threads, hands.build, wish(tmp_path / "beside"))
    threads.close()
    assert (tmp_path / "alone" / "samples.csv").read_bytes() == (
        tmp_path / "beside" / "samples.csv"
    ).read_bytes()
    assert summary(tmp_path / "alone") == summary(tmp_path / "beside")
    assert alone.status == "measured"
    # Nothing is missing or double at the seams, and no excursion ends at one.
    times = [float(row["time_s"]) for row in rows(tmp_path / "alone") if row["side"] == "left"]
    assert times == pytest.approx([index / 10 for index in range(300)])
    starts = [one["start_s"] for one in summary(tmp_path / "alone")["excursions"]]
    assert starts
    assert not set(starts) & {5.0, 10.0, 15.0, 20.0, 25.0}
    # What is measured of a frame is what a run without parts says: the lead-in is longer than the memory.
    run([film], here(hands), hands.build, FilmWish(folder=tmp_path / "whole"))
    assert rows(tmp_path / "whole") == rows(tmp_path / "alone")


def test_a_worker_that_dies_loses_nothing(film: Path, tmp_path: Path) -> None:
    hands, deaths = Forgetful(), iter([BrokenExecutor("killed"), None, ValueError("odd")])
    threads = Threads(2, hands.build, dies=lambda part: next(deaths, None))
    (result,) = run([film], threads, hands.build, wish(tmp_path / "died"))
    threads.close()
    assert threads.renewed == 1
    assert result.status == "measured"
    assert len(rows(tmp_path / "died")) == 2 * 300


def test_a_part_that_always_fails_is_one_sentence(film: Path, tmp_path: Path) -> None:
    hands = Forgetful()
    threads = Threads(2, hands.build, dies=lambda part: ValueError("odd") if part.number == 1 else None)
    other = lit_film(tmp_path / "other.mkv", swelling(1.0))
    results = run([film, other], threads, hands.build, FilmWish(part_s=5.0, lead_s=2.0))
    threads.close()
    assert [one.status for one in results] == ["failed", "measured"]
    assert "long.mp4 could not be measured by a fault of the program (odd)" in results[0].note


def test_interrupted_and_resumed_is_the_same(film: Path, tmp_path: Path) -> None:
    stop = threading.Event()
    seen: list[float] = []

    def look(time_s: float) -> None:
        seen.append(time_s)
        if len(seen) == 160:
            stop.set()

    hands = Forgetful(look)
    out = tmp_path / "resumed"
    (first,) = run([film], here(hands, stop), hands.build, wish(out), stopped=stop.is_set)
    assert (first.status, first.resumable) == ("interrupted", True)
    kept_s = max(float(row["time_s"]) for row in rows(out))
    assert 10.0 < kept_s < 15.0
    stop.clear()
    before = len(seen)
    (second,) = run([film], here(hands, stop), hands.build, wish(out, resume=True))
    assert second.status == "measured"
    # Two parts were whole and are not looked at again.
    assert min(seen[before:]) == pytest.approx(8.0)
    run([film], here(Forgetful()), Forgetful().build, wish(tmp_path / "at once"))
    assert (out / "samples.csv").read_bytes() == (tmp_path / "at once" / "samples.csv").read_bytes()
    assert summary(out) == summary(tmp_path / "at once")
    assert not (out / "unfinished").exists()
    before = len(seen)
    (third,) = run([film], here(hands), hands.build, wish(out, resume=True))
    assert (third.status, len(seen)) == ("measured", before)


def test_what_was_left_of_another_film_is_not_gone_on_with(tmp_path: Path) -> None:
    stop = threading.Event()
    stop_at = {12.0}
    hands = Forgetful(lambda time_s: stop.set() if time_s in stop_at else None)
    path, out = tmp_path / "a.mkv", tmp_path / "out"
    lit_film(path, [0.2] * 200)
    run([path], here(hands, stop), hands.build, wish(out), stopped=stop.is_set)
    assert (out / "unfinished").is_dir()
    stop_at.clear()
    stop.clear()
    lit_film(path, [0.6] * 200)
    run([path], here(hands, stop), hands.build, wish(out, resume=True))
    assert {row["wrist_flexion_deg"] for row in rows(out) if row["side"] == "left"} == {
        max(row["wrist_flexion_deg"] for row in rows(out))
    }


@pytest.mark.parametrize("damage", [b"", b"PK\x03\x04 not a part", None])
def test_a_damaged_part_is_no_part(damage: bytes | None, film: Path) -> None:
    whole = MeasuredPart.of([]).to_bytes()
    with pytest.raises(ValueError, match="no part of a film"):
        MeasuredPart.from_bytes(whole[:-40] if damage is None else damage)


class Counting:
    """Counts films that were begun, and those of which the one part was measured."""

    def __init__(self) -> None:
        self.begun = self.measured = self.most_in_work = 0

    def film(self, task: FilmTask, known_s: float) -> None:
        self.begun += 1
        self.most_in_work = max(self.most_in_work, self.begun - self.measured)

    def part(self, task: FilmTask, part: FilmPart, measured: MeasuredPart) -> None:
        self.measured += 1


def test_many_films_are_begun_one_by_one(tmp_path: Path) -> None:
    path = lit_film(tmp_path / "a.mkv", swelling(0.1))
    hands, threads, count = Forgetful(), Threads(2, Forgetful().build), Counting()
    results = run([path] * 30, threads, hands.build, FilmWish(), progress=count)
    threads.close()
    assert len(results) == count.measured == 30
    # No more are begun than there is somebody to work on them, however slow one of them is.
    assert count.most_in_work == 2


def test_behind_a_slow_film_no_more_than_some_are_done(tmp_path: Path) -> None:
    path = lit_film(tmp_path / "a.mkv", swelling(0.1))
    films, count, slow = MOST_WAITING + 20, Counting(), Future[MeasuredPart]()
    asked_at: list[int] = []

    class Two:
        """The first film is not done before no other is begun any more; all others are at once."""

        at_once = 2

        def submit(self, task: FilmTask, part: FilmPart, settings: Settings) -> Future[MeasuredPart]:
            if task.number == 0:
                return slow
            done = Future[MeasuredPart]()
            done.set_result(MeasuredPart.of([]))
            return done

        def renew(self) -> None: ...

    def stopped() -> bool:
        asked_at.append(count.begun)
        if len(asked_at) > 40 and asked_at[-40] == count.begun and not slow.done():
            slow.set_result(MeasuredPart.of([]))
        return False

    tasks = (FilmTask(number, path, "a", (FilmPart(0, 0.0, 0.0, None, False),)) for number in range(films))
    found = measure_films(tasks, Two(), Settings(), stopped=stopped, progress=count)
    first = next(found)
    assert (first.task.number, count.begun) == (0, Two.at_once + MOST_WAITING)
    assert [one.task.number for one in found] == list(range(1, films))
