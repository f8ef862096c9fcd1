"""The passage between a fetching thread and the reader."""

from __future__ import annotations

import threading

import pytest

from posturewatch.capture.handover import Handover


def test_keeps_order_and_everything_when_nothing_may_be_dropped() -> None:
    passage: Handover[int] = Handover(newest_only=False, capacity=2)

    def produce() -> None:
        for item in range(50):
            passage.put(item)
        passage.finish()

    thread = threading.Thread(target=produce)
    thread.start()
    taken = []
    while not passage.ended:
        item = passage.take(60.0)
        if item is not None:
            taken.append(item)
    thread.join(60)
    assert taken == list(range(50))
    assert passage.dropped == 0


def test_newest_replaces_what_was_not_read_and_counts_it() -> None:
    passage: Handover[int] = Handover(newest_only=True)
    for item in range(5):
        assert passage.put(item)
    assert passage.take(0.0) == 4
    assert passage.take(0.0) is None
    assert passage.dropped == 4


def test_what_is_held_can_be_taken_after_the_end() -> None:
    passage: Handover[str] = Handover(newest_only=True)
    passage.put("last")
    passage.finish()
    assert not passage.ended
    assert passage.take(0.0) == "last"
    assert passage.ended


@pytest.mark.parametrize("newest_only", [True, False])
def test_closing_releases_a_waiting_reader(newest_only: bool) -> None:
    passage: Handover[int] = Handover(newest_only=newest_only)
    answers: list[int | None] = []
    thread = threading.Thread(target=lambda: answers.append(passage.take(60.0)))
    thread.start()
    passage.close()
    thread.join(60)
    assert not thread.is_alive()
    assert answers == [None]
    assert passage.ended


def test_closing_releases_a_waiting_producer() -> None:
    passage: Handover[int] = Handover(newest_only=False, capacity=1)
    passage.put(1)
    answers: list[bool] = []
    thread = threading.Thread(target=lambda: answers.append(passage.put(2)))
    thread.start()
    passage.close()
    thread.join(60)
    assert answers == [False]


@pytest.mark.parametrize(("newest_only", "capacity"), [(True, 2), (False, 0)])
def test_refuses_a_capacity_that_makes_no_sense(newest_only: bool, capacity: int) -> None:
    with pytest.raises(ValueError, match="capacity"):
        Handover(newest_only=newest_only, capacity=capacity)
