"""Of a long session one series is in memory at a time, whatever is worked out of it."""

from __future__ import annotations

import json
import weakref
from pathlib import Path

import pytest
from log_factories import record

from posturewatch.review.derived import keep_derived, open_store
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.summaries import summarise_record
from posturewatch.storage.samples import series as series_module
from posturewatch.storage.samples.series import StoredSeries


@pytest.fixture
def together(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """With each series that is read: how many of those read before are still in memory."""
    found: list[int] = []
    alive: weakref.WeakSet[StoredSeries] = weakref.WeakSet()
    made = series_module.stored_series

    def counted(*arguments: object) -> StoredSeries:
        found.append(len(list(alive)))
        one = made(*arguments)  # type: ignore[arg-type]
        alive.add(one)
        return one

    # By what it is, not by its arrays.
    monkeypatch.setattr(StoredSeries, "__hash__", object.__hash__)
    monkeypatch.setattr(StoredSeries, "__eq__", object.__eq__)
    monkeypatch.setattr(series_module, "stored_series", counted)
    return found


def test_a_session_is_summed_up_one_series_after_another(tmp_path: Path, together: list[int]) -> None:
    with open_store(tmp_path) as store:
        identity = record(
            store, 90.0, switches=((0.0, "Etude", "1-8"), (40.0, "Etude", "9-16")), bent=(50.0, 80.0)
        )
        whole = store.session(identity)
        series = len(whole.series)
        assert series == 4
        kept = store.cached_summary(identity)
        assert json.loads(json.dumps(summarise_record(whole))) == kept
        del whole
        together.clear()
        with store.connecting() as connection:
            connection.execute("UPDATE session SET summary_json = NULL")
            keep_derived(connection, 1)
        assert store.cached_summary(identity) == kept
        assert len(together) >= series
        assert max(together) <= 1
        together.clear()
        assert PracticeLog(store).trace(identity, 20)["series"]
        assert max(together) <= 1
