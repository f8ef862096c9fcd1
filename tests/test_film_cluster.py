"""Films measured by other processes: a cluster that is there already, one of whose workers dies, and this machine's own
processes with the real models."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from film_stand_ins import Forgetful, lit_film, run, summary, swelling

from posturewatch.capture import demo_video
from posturewatch.errors import InputError
from posturewatch.pipeline.build import build
from posturewatch.pipeline.films.run import FilmWish
from posturewatch.pipeline.films.workers import Cluster, Here, Processes


def _stand_in(tests: str, slow_s: float) -> Any:
    """A plugin of the cluster: every worker, those too that come in another one's place, measures by the stand-in
    from before its first film on, so slowly."""
    from distributed import WorkerPlugin

    class StandIn(WorkerPlugin):  # type: ignore[misc]
        name = "stand-in"

        def setup(self, worker: Any) -> None:
            sys.path.insert(0, tests)
            from film_stand_ins import Forgetful as Hands

            from posturewatch.pipeline import build as assembly

            hands = Hands(lambda time_s: time.sleep(slow_s))
            assembly.build = lambda mode, settings, **_: hands.build(mode, settings)

    return StandIn()


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as one:
        yield one


@pytest.mark.filterwarnings("ignore")  # the library's own, of threads and sockets that it closes later
def test_a_cluster_one_of_whose_workers_is_killed_loses_nothing(cluster: Any, tmp_path: Path) -> None:
    film = lit_film(tmp_path / "long.mp4", swelling(30.0), codec="libx264", options={"g": "20"})
    hands = Forgetful()
    wish: dict[str, Any] = {"part_s": 3.0, "lead_s": 1.0}
    run([film], Here(hands.build, lambda: False), hands.build, FilmWish(folder=tmp_path / "here", **wish))
    runner = Cluster(cluster.scheduler_address)
    try:
        runner._client.register_plugin(_stand_in(str(Path(__file__).parent), 0.01))
        pids = runner._client.run(os.getpid)
        assert runner.at_once == 2
        killed: list[int] = []

        def kill() -> None:
            time.sleep(0.4)
            killed.append(next(iter(pids.values())))
            os.kill(killed[0], signal.SIGKILL)

        thread = threading.Thread(target=kill)
        thread.start()
        (result,) = run([film], runner, hands.build, FilmWish(folder=tmp_path / "cluster", **wish))
        thread.join()
    finally:
        runner.close()
    assert killed
    assert result.status == "measured"
    assert (tmp_path / "here" / "samples.csv").read_bytes() == (
        tmp_path / "cluster" / "samples.csv"
    ).read_bytes()
    assert summary(tmp_path / "here") == summary(tmp_path / "cluster")


@pytest.mark.filterwarnings("ignore")
def test_where_nobody_answers_is_one_sentence() -> None:
    pytest.importorskip("distributed")
    with pytest.raises(InputError, match="No scheduler answers at tcp:"):
        Cluster("tcp://127.0.0.1:9", wait_s=0.5)


@pytest.mark.models
def test_two_processes_measure_what_one_does(tmp_path: Path) -> None:
    wish: dict[str, Any] = {"to_s": 2.0, "part_s": 1.0, "lead_s": 0.3}
    run([demo_video()], Here(build, lambda: False), build, FilmWish(folder=tmp_path / "one", **wish))
    runner = Processes(2)
    try:
        run([demo_video()], runner, build, FilmWish(folder=tmp_path / "two", **wish))
        assert runner.measured_s == pytest.approx(2.0, abs=0.2)
    finally:
        runner.close()
    assert (tmp_path / "one" / "samples.csv").read_bytes() == (tmp_path / "two" / "samples.csv").read_bytes()
    assert summary(tmp_path / "one")["quantities"] == summary(tmp_path / "two")["quantities"]
    assert any(one["measured_s"] > 1.5 for one in summary(tmp_path / "one")["quantities"])


def test_the_table_of_films_as_parquet_says_the_same(tmp_path: Path) -> None:
    pyarrow = pytest.importorskip("pyarrow")
    parquet = pytest.importorskip("pyarrow.parquet")
    import csv

    from posturewatch.pipeline.films.table import FILM_COLUMNS, FilmsTable

    hands = Forgetful()
    films = [lit_film(tmp_path / "a.mkv", swelling(1.0)), tmp_path / "none.mkv"]
    table = FilmsTable(tmp_path / "out", parquet=True)
    for result in run(films, Here(hands.build, lambda: False), hands.build, FilmWish()):
        table.add(result)
    table.close()
    with (tmp_path / "out" / "films.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    found = parquet.read_table(tmp_path / "out" / "films.parquet")
    assert found.num_rows == len(rows) > 10
    for name, kind, words in FILM_COLUMNS:
        field = found.schema.field(name)
        assert field.type == (pyarrow.string() if kind == "text" else pyarrow.float64())
        assert field.metadata[b"description"].decode() == words
        for given, text in zip(found.column(name).to_pylist(), [row[name] for row in rows], strict=True):
            if kind == "text":
                assert (given or "") == text
            else:
                assert given == (float(text) if text else None)
