"""Pieces in the practice log, and the practice list."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from log_factories import record

from posturewatch.errors import InputError
from posturewatch.review.derived import open_store
from posturewatch.review.entries import (
    PieceChange,
    PracticeItems,
)
from posturewatch.review.practice_log import PracticeLog
from posturewatch.storage.store import Store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as one:
        yield one


@pytest.fixture
def log(store: Store) -> PracticeLog:
    return PracticeLog(store)


def labels(page: dict[str, Any]) -> list[tuple[Any, ...]]:
    return [(one["piece"], one["bars"], one["start_s"], one["end_s"]) for one in page["passages"]]


@pytest.fixture
def played(store: Store) -> str:
    return record(store, switches=((0.0, "One", "bars 1-4"), (20.0, "Two", ""), (40.0, "One", "bars 1-4")))


# ---- pieces ----


def test_within_a_session_the_piece_left_earlier_has_rested_longer(store: Store) -> None:
    record(
        store, 30.0, switches=((0.0, "Waltz", ""), (9.0, "Air", ""), (12.0, "Study", ""), (20.0, "Air", ""))
    )
    assert [one["name"] for one in PracticeLog(store).pieces()] == ["Waltz", "Study", "Air"]


@pytest.mark.calendar
def test_pieces_not_played_for_longest_come_first(store: Store, log: PracticeLog) -> None:
    for day, piece in ((1, "Old"), (3, "New"), (2, "Middle"), (4, "New")):
        record(store, 12.0, switches=((0.0, piece, ""),), started_at=f"2025-03-0{day}T18:00:00.000+00:00")
    log.set_practice_list(PracticeItems.read({"items": [{"piece": "Never"}]}))
    told = [(one["name"], one["last_played"], one["minutes"], one["sessions"]) for one in log.pieces()]
    assert told == [
        ("Never", None, 0.0, 0),
        ("Old", "2025-03-01T18:00:00.000+00:00", 0.2, 1),
        ("Middle", "2025-03-02T18:00:00.000+00:00", 0.2, 1),
        ("New", "2025-03-04T18:00:00.000+00:00", 0.4, 2),
    ]


def test_suggestions_begin_a_word_and_were_played_last_first(store: Store, log: PracticeLog) -> None:
    for day, piece, bars in (
        (1, "Nocturne sketch", "bars 1-8"),
        (2, "Second nocturne", ""),
        (3, "Scales", ""),
        (4, "Nocturne sketch", "bars 12-16"),
        (5, "Nocturne sketch", "bars 1-8"),
    ):
        record(store, 5.0, switches=((0.0, piece, bars),), started_at=f"2025-03-0{day}T18:00:00.000+00:00")
    assert [one["name"] for one in log.suggestions("NOC")] == ["Nocturne sketch", "Second nocturne"]
    assert log.suggestions("noc")[0]["bars"] == ["bars 1-8", "bars 12-16"]
    assert [one["name"] for one in log.suggestions("nocturne s")] == ["Nocturne sketch"]
    assert [one["name"] for one in log.suggestions("")] == ["Nocturne sketch", "Scales", "Second nocturne"]
    assert log.suggestions("cturne") == []
    assert log.suggestions("%") == []


def test_a_piece_is_renamed_everywhere(log: PracticeLog, played: str) -> None:
    one = next(piece for piece in log.pieces() if piece["name"] == "One")
    log.set_practice_list(PracticeItems.read({"items": [{"piece": "one"}]}))
    assert (
        log.rename_piece(one["id"], PieceChange.read({"name": " Nocturne  sketch "}))["name"]
        == "Nocturne sketch"
    )
    page = log.session(played)
    assert [passage["piece"] for passage in page["passages"]] == ["Nocturne sketch", "Two", "Nocturne sketch"]
    assert [part["piece"] for part in page["exposure"]["parts"]] == ["Nocturne sketch", "Two"]
    assert log.practice_list()["items"][0]["piece"] == "Nocturne sketch"
    assert (
        log.rename_piece(one["id"], PieceChange.read({"name": "NOCTURNE SKETCH"}))["name"]
        == "NOCTURNE SKETCH"
    )
    for name in ("", "  ", "x" * 121, 3):
        with pytest.raises(InputError):
            log.rename_piece(one["id"], PieceChange.read({"name": name}))


def test_pieces_of_one_name_become_one(log: PracticeLog, played: str) -> None:
    ids = {piece["name"]: piece["id"] for piece in log.pieces()}
    assert log.rename_piece(ids["Two"], PieceChange.read({"name": "one"}))["id"] == ids["One"]
    (piece,) = log.pieces()
    assert (piece["name"], piece["passages"], piece["minutes"]) == ("One", 3, 1.0)
    parts = log.session(played)["exposure"]["parts"]
    assert [(part["bars"], len(part["passage_ids"])) for part in parts] == [("bars 1-4", 2), ("", 1)]


def test_a_piece_is_forgotten_only_when_nothing_is_of_it(log: PracticeLog, played: str) -> None:
    ids = {piece["name"]: piece["id"] for piece in log.pieces()}
    with pytest.raises(InputError, match="Passages of Two"):
        log.delete_piece(ids["Two"])
    for passage in log.session(played)["passages"]:
        if passage["piece"] == "Two":
            log.delete_passage(passage["id"])
    log.set_practice_list(PracticeItems.read({"items": [{"piece": "Two"}]}))
    with pytest.raises(InputError, match="practice list"):
        log.delete_piece(ids["Two"])
    log.set_practice_list(PracticeItems.read({"items": []}))
    log.delete_piece(ids["Two"])
    assert [piece["name"] for piece in log.pieces()] == ["One"]


# ---- the practice list ----


def test_the_list_is_gone_through_and_stops_at_its_ends(log: PracticeLog) -> None:
    items: list[dict[str, Any]] = [
        {"piece": "Scales", "bars": "", "tempo_bpm": 80.0},
        {"piece": "Nocturne sketch", "bars": "bars 12-16", "tempo_bpm": None},
    ]
    assert log.set_practice_list(PracticeItems.read({"items": items})) == {"items": items, "position": None}
    stepped = [log.step(by=by) for by in (1, 1, 1, -1, -1)]
    assert [one["position"] for one in stepped] == [0, 1, 1, 0, 0]
    assert stepped[1]["item"] == items[1]
    assert log.step(to=1)["position"] == 1
    with pytest.raises(InputError, match="has 2 entries"):
        log.step(to=2)
    # The place stays with the item; it is lost with it.
    assert log.set_practice_list(PracticeItems.read({"items": items[::-1]}))["position"] == 0
    assert log.set_practice_list(PracticeItems.read({"items": items[:1]}))["position"] is None
    with pytest.raises(InputError, match="a piece"):
        log.set_practice_list(PracticeItems.read({"items": [{"piece": None}]}))
    assert log.practice_list()["items"] == items[:1]
    log.set_practice_list(PracticeItems.read({"items": []}))
    with pytest.raises(InputError, match="empty"):
        log.step(by=1)


def test_the_list_is_kept(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        PracticeLog(store).set_practice_list(
            PracticeItems.read({"items": [{"piece": "Scales"}, {"piece": "Study"}]})
        )
        PracticeLog(store).step(by=1)
    with open_store(tmp_path) as store:
        assert PracticeLog(store).practice_list()["position"] == 0
