"""`posturewatch analyse` with several films, folders, a stretch of a film, and films kept in the practice log."""

from __future__ import annotations

import csv
import itertools
import json
import signal
from pathlib import Path
from typing import Any

import pytest
from cli_stand_ins import ScriptedHands
from film_stand_ins import Forgetful, lit_film, rows, swelling, use

from posturewatch.cli.film_options import moment
from posturewatch.cli.main import main
from posturewatch.pipeline.films.table import FILM_COLUMNS
from posturewatch.storage.store import open_reader


@pytest.fixture(autouse=True)
def one_process_and_no_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "posturewatch.config.settings.default_settings_path", lambda: tmp_path / "no" / "settings.toml"
    )
    monkeypatch.setattr("os.cpu_count", lambda: 2)


def analyse(*arguments: object) -> int:
    return main(["analyse", *map(str, arguments)])


def table(folder: Path) -> list[dict[str, str]]:
    with (folder / "films.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_a_folder_of_films_of_which_one_is_broken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    use(monkeypatch, Forgetful())
    films = tmp_path / "school"
    (films / "anna").mkdir(parents=True)
    lit_film(films / "anna" / "étude 🎻 no 1.mkv", swelling(2.0))
    lit_film(films / "b.mp4", swelling(1.0))
    lit_film(films / "anna" / "b.mkv", swelling(1.0))
    (films / "broken.mov").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(99))
    (films / "notes.txt").write_text("no film")
    (films / ".hidden.mp4").write_bytes(b"")
    out = tmp_path / "out"
    assert analyse(films, "--out", out) == 3
    said = capsys.readouterr()
    assert "broken.mov is a picture, not a video" in said.err
    assert said.out.count("frames measured") == 3
    assert sorted(one.name for one in out.iterdir() if one.is_dir()) == ["b", "b-2", "étude 🎻 no 1"]
    assert len(rows(out / "étude 🎻 no 1")) == 2 * 20
    found = table(out)
    by_film = {row["film"]: row for row in found if row["side"] in ("left", "")}
    assert by_film["broken.mov"]["status"] == "failed"
    assert by_film["broken.mov"]["note"].endswith("or choose a video.")
    flexion = next(
        row for row in found
        if (row["film"], row["side"], row["quantity"]) == ("étude 🎻 no 1.mkv", "left", "wrist_flexion")
    )  # fmt: skip
    assert (flexion["status"], flexion["frames"], flexion["positive"]) == ("measured", "20", "flexion")
    assert float(flexion["measured_share"]) == 1.0
    with (out / "films-columns.csv").open(newline="", encoding="utf-8") as file:
        assert [row["column"] for row in csv.DictReader(file)] == list(found[0])
    # Once more, with --resume: what is done is not measured again.
    use(monkeypatch, Forgetful(lambda time_s: pytest.fail("measured again")))
    assert analyse(films, "--out", out, "--resume") == 3
    assert capsys.readouterr().out.count("measured before") == 3
    assert table(out) == found


def test_every_column_has_words() -> None:
    names = [name for name, _, _ in FILM_COLUMNS]
    assert len(set(names)) == len(names)
    assert all(kind in ("text", "number") and len(words) > 3 for _, kind, words in FILM_COLUMNS)


def test_a_stretch_of_a_film_begins_at_second_0(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    use(monkeypatch, Forgetful())
    film, out = lit_film(tmp_path / "a.mkv", swelling(6.0)), tmp_path / "out"
    assert analyse(film, "--out", out, "--from", "0:02", "--to", "4.5") == 0
    times = [float(row["time_s"]) for row in rows(out) if row["side"] == "left"]
    assert times == pytest.approx([index / 10 for index in range(25)])
    source = json.loads((out / "summary.json").read_text())["source"]
    assert (source["from_s"], source["to_s"]) == (2.0, 4.5)


@pytest.mark.parametrize(("text", "seconds"), [("90", 90.0), ("1:30", 90.0), ("1:02:03.5", 3723.5)])
def test_times_are_written_as_players_write_them(text: str, seconds: float) -> None:
    assert moment(text) == seconds


def kept(data: Path) -> list[Any]:
    return open_reader(data).sessions()


def test_a_kept_film_is_a_practice_like_any_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # Bent far for five seconds: a warning after three, and so a clip of it.
    ScriptedHands(lambda time_s: 75.0 if 2 <= time_s < 7 else 10.0).use(monkeypatch)
    film, data = lit_film(tmp_path / "a.mkv", [0.5] * 120), tmp_path / "data"
    keep = (film, "--keep", "--data-dir", data, "--piece", "Nocturne", "--passage", "bars 1-4")
    assert analyse(*keep, "--from", "1") == 0
    (session,) = kept(data)
    assert "120 frames" not in capsys.readouterr().out
    assert (session.source_name, session.source_kind, session.end_reason) == ("a.mkv", "film", "film ended")
    assert session.end_s == pytest.approx(10.9)
    assert main(["summary", session.id, "--json", "--data-dir", str(data)]) == 0
    summary = json.loads(capsys.readouterr().out)
    (extreme,) = [one for one in summary["excursions"] if one["level"] == "extreme"]
    # Second 0 of the session is second 1 of the film.
    assert extreme["start_s"] == pytest.approx(1.0)
    assert len(summary["warned"]) == 1
    from posturewatch.review.derived import open_store
    from posturewatch.review.practice_log import PracticeLog

    with open_store(data) as store:
        document = PracticeLog(store).session(session.id)
    ((piece, bars, start_s),) = [(one["piece"], one["bars"], one["start_s"]) for one in document["passages"]]
    assert (piece, bars, start_s) == ("Nocturne", "bars 1-4", 0.0)
    (clip,) = document["clips"]
    assert clip["state"] == "there"
    assert clip["start_s"] <= 1.0
    assert clip["end_s"] >= 6.0
    # Once is enough: the same stretch of the same film is not kept twice, another one is.
    assert analyse(*keep, "--from", "1") == 2
    assert f"in the practice log already, as session {session.id}" in capsys.readouterr().err
    assert analyse(*keep, "--from", "1", "--resume") == 0
    assert analyse(*keep, "--to", "1") == 0
    assert len(kept(data)) == 2


def test_clips_of_a_film_have_every_picture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Live, the encoder leaves pictures out where it is behind; a film has time."""
    import av

    ScriptedHands(lambda time_s: 75.0 if 1 <= time_s < 6 else 10.0).use(monkeypatch)
    film, data = lit_film(tmp_path / "a.mkv", [0.5] * 300, rate_hz=30.0), tmp_path / "data"
    assert analyse(film, "--keep", "--data-dir", data) == 0
    (clip,) = (data / "clips").rglob("*.mp4")
    with av.open(str(clip)) as video:
        times = [float(frame.time) for frame in video.decode(video=0)]
    gaps = [later - earlier for earlier, later in itertools.pairwise(times)]
    assert max(gaps) < 0.04
    assert times[-1] > 8.5


def test_an_interrupted_film_is_kept_once_it_is_resumed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    use(monkeypatch, Forgetful(lambda time_s: signal.raise_signal(signal.SIGINT) if time_s == 1.0 else None))
    film, data = lit_film(tmp_path / "a.mkv", swelling(3.0)), tmp_path / "data"
    assert analyse(film, "--keep", "--data-dir", data) == 130
    assert "Stopped at 1.0 s of a.mkv. --resume goes on with it." in capsys.readouterr().err
    assert kept(data) == []
    use(monkeypatch, Forgetful())
    assert analyse(film, "--keep", "--data-dir", data, "--resume") == 0
    assert [one.end_s for one in kept(data)] == [pytest.approx(2.9)]


def test_odd_films_are_measured_or_refused_and_stop_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    import av
    import numpy as np
    from capture_videos import write_film

    use(monkeypatch, Forgetful())
    films = tmp_path / "films"
    films.mkdir()
    lit_film(films / "a one frame.mp4", [0.5])
    lit_film(films / "b tiny.mkv", [0.5] * 300, rate_hz=400.0)
    # Two films in one file, the second of another size, as some phones write when they are turned.
    sizes = [np.full((64, 96, 3), 90, np.uint8), np.full((96, 64, 3), 90, np.uint8)]
    parts = [
        write_film(
            tmp_path / f"{place}.ts", [place + index / 10 for index in range(10)], pictures=[one] * 10,
            codec="libx264", container_format="mpegts",
        )
        for place, one in enumerate(sizes)
    ]  # fmt: skip
    (films / "c turned.ts").write_bytes(b"".join(part.read_bytes() for part in parts))
    with av.open(str(films / "d sound.mp4"), "w") as container:
        stream = container.add_stream("aac", rate=48_000)
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
        frame.sample_rate = 48_000
        container.mux([*stream.encode(frame), *stream.encode(None)])
    good = lit_film(films / "e good.mp4", swelling(2.0)).read_bytes()
    (films / "f cut.mp4").write_bytes(good[: len(good) // 2])
    assert analyse(films, "--out", tmp_path / "out") == 3
    found = {row["film"]: row for row in table(tmp_path / "out")}
    assert {name: row["status"] for name, row in found.items()} == {
        "a one frame.mp4": "measured",
        "b tiny.mkv": "measured",
        "c turned.ts": "measured",
        "d sound.mp4": "failed",
        "e good.mp4": "measured",
        "f cut.mp4": "failed",
    }
    assert (found["b tiny.mkv"]["frames"], found["c turned.ts"]["frames"]) == ("300", "20")
    for row in found.values():
        assert row["note"] == "" or row["note"].endswith(".")
    assert len(capsys.readouterr().err.splitlines()) == 2


def test_what_is_said_as_json(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    use(monkeypatch, Forgetful())
    film = lit_film(tmp_path / "a.mkv", swelling(1.0))
    assert analyse(film, tmp_path / "none.mp4", "--json") == 2
    said = json.loads(capsys.readouterr().out)
    assert [(one["status"], one["session_id"]) for one in said] == [("measured", None), ("failed", None)]
    assert said[0]["summary"]["frames"] == 10
    assert "There is no video at" in said[1]["note"]


@pytest.mark.parametrize(
    ("more", "part"),
    [
        (("--from", "9"), "ends after 0.9 s, before the 9 s of --from"),
        (("--from", "2", "--to", "1"), "ends before it begins"),
        (("--from", "1:90"), "is no time such as 90, 1:30"),
        (("--piece", "Nocturne"), "add --keep"),
        (("--keep", "--passage", "bars 1"), "name it with --piece"),
        (("--keep", "--piece", "x" * 300), "A piece's name is text"),
        (("--resume",), "add that one"),
        (("--parquet",), "--parquet writes the table of several films"),
        (("--jobs", "0"), "is not a whole number above 0"),
    ],
)
def test_what_does_not_go_together_is_one_sentence(
    more: tuple[str, ...],
    part: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    use(monkeypatch, Forgetful())
    film = lit_film(tmp_path / "a.mkv", swelling(1.0))
    assert analyse(film, "--data-dir", tmp_path / "data", *more) == 2
    assert part in capsys.readouterr().err


@pytest.mark.parametrize("spec", ["0", "/dev/video0", "http://192.168.1.20/video"])
def test_a_camera_is_no_film(spec: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert analyse(spec) == 2
    assert f"use: posturewatch live --source {spec}" in capsys.readouterr().err


def test_pictures_of_high_range_look_as_on_a_usual_screen() -> None:
    """Against the levels of ITU-R BT.2408, table 1: a white sheet, 203 nits, is 75 % of HLG and 58 % of PQ, a grey
    card, 26 nits, 38 % of either (from memory). On a usual screen light is the power 2.4 of the signal (BT.1886)."""
    import numpy as np

    from posturewatch.capture.high_range import HLG, PQ, to_usual_range

    for transfer, white, grey in ((HLG, 0.75, 0.38), (PQ, 0.58, 0.38)):
        codes = np.array([[[round(255 * white)] * 3, [round(255 * grey)] * 3]], np.uint8)
        shown = to_usual_range(codes, transfer)[0, :, 0] / 255
        assert shown[1] == pytest.approx((26 / 203) ** (1 / 2.4), abs=0.01)
        assert 0.85 < shown[0] < 1.0
        ramp = to_usual_range(np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, 2), transfer)
        assert np.all(np.diff(ramp[0, :, 0].astype(int)) >= 0)
    plain = np.arange(12, dtype=np.uint8).reshape(2, 2, 3)
    assert to_usual_range(plain, 1) is plain
