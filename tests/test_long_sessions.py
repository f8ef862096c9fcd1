"""Of a long session one series is in memory at a time, whatever is worked out of it, and in an export less."""

from __future__ import annotations

import json
import tracemalloc
import weakref
from pathlib import Path

import numpy as np
import pytest
from log_factories import START, record

from posturewatch.model.outcome import Outcome
from posturewatch.model.quantities import quantity
from posturewatch.review.derived import keep_derived, open_store
from posturewatch.review.export import json_blocks
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.summaries import summarise_record
from posturewatch.storage import writer
from posturewatch.storage.samples import codec
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


def made(count: int) -> codec.Samples:
    """As restless as measured ones, 30 a second."""
    random = np.random.default_rng(count)
    refusal = (random.random(count) < 0.1).astype(np.uint8)
    value, sd = random.integers(-9000, 9000, count), random.integers(1, 2000, count)
    value[refusal > 0] = sd[refusal > 0] = 0
    return codec.Samples(np.arange(count) * 1000 // 30, value, sd, refusal)


def of_one_series(folder: Path, samples: codec.Samples) -> str:
    """A session in blocks of five minutes, as it is recorded; its id."""
    with open_store(folder) as store:
        recorder = store.begin(START)
        with store.writing() as connection:
            for start in range(0, len(samples), 9000):
                block = codec.Samples(
                    *(
                        getattr(samples, name)[start : start + 9000]
                        for name in ("time_ms", "value", "sd", "refusal")
                    )
                )
                writer.save_samples(connection, 1, {("left", "wrist_flexion"): block})
                writer.merge_chunks(connection, 1)
        return recorder.finish(Outcome("stopped", len(samples) / 30, 0, ()))


def test_a_session_of_any_length_is_exported_in_the_same_memory(tmp_path: Path) -> None:
    peaks = []
    for hours in (1.0, 3.0):
        samples = made(round(hours * 108_000))
        folder = tmp_path / f"{hours}"
        identity = of_one_series(folder, samples)
        with open_store(folder) as store:
            tracemalloc.start()
            length = sum(len(text) for text in json_blocks(store, identity, {"id": identity}))
            peaks.append(tracemalloc.get_traced_memory()[1])
            tracemalloc.stop()
            assert length > 20 * len(samples)
    assert peaks[1] == pytest.approx(peaks[0], rel=0.1)


def test_what_is_exported_is_what_was_measured(tmp_path: Path) -> None:
    samples = made(3 * 54_000 + 7)
    identity = of_one_series(tmp_path, samples)
    with open_store(tmp_path) as store:
        (found,) = json.loads("".join(json_blocks(store, identity, {})))["samples"]
    measured = samples.refusal == 0
    assert found["time_s"] == [one / 1000 for one in samples.time_ms.tolist()]
    flexion = quantity("wrist_flexion")
    for name, step in (("value", flexion.value_step), ("sd", flexion.sd_step)):
        numbers = [one * round(100 * step) / 100 for one in getattr(samples, name).tolist()]
        assert found[name] == [
            one if is_known else None for one, is_known in zip(numbers, measured, strict=True)
        ]
    assert [one is None for one in found["refusal"]] == measured.tolist()
