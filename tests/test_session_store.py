"""What is recorded comes back, whatever happens to the disk."""

from __future__ import annotations

import time
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from session_factories import LIMITS, Ended, Values, make_reading
from storage_stage import START, put_seconds, wait_until

from posturewatch.errors import InputError, StoreError
from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import Side
from posturewatch.model.quantities import quantity
from posturewatch.model.verdict import Excursion, HoldWarning
from posturewatch.storage import recorder as recorder_module
from posturewatch.storage.folder.database import connect, transaction
from posturewatch.storage.reader import SessionReader
from posturewatch.storage.samples import codec
from posturewatch.storage.store import Store, open_reader
from posturewatch.storage.writer import save_samples

FLEXION = quantity("wrist_flexion")

OPENED = Excursion("left", "wrist_flexion", "flexion", "extreme", 45.0, 1.0, 46.0, 1.0)
WARNING = HoldWarning("left", "wrist_flexion", "flexion", 45.0, 1.0, 4.0)


def test_samples_come_back_as_documented(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    times = np.cumsum(rng.uniform(0.02, 0.05, 200))
    values, sds = rng.normal(0, 40, 200), rng.uniform(0.01, 15, 200)
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        for index, (time_s, value, sd) in enumerate(zip(times, values, sds, strict=True)):
            seen: Values = {("left", "wrist_flexion"): (value, sd)} if index % 5 else {}
            recorder.put(make_reading(index, time_s, seen, refusal=Refusal.HAND_CUT_OFF, dropped=index // 10))
        identity = recorder.finish(Ended(times[-1]))
    record = SessionReader(tmp_path).session(identity)
    series = {(one.side, one.quantity): one for one in record.series}
    assert set(series) == {
        (side, name) for side in ("left", "right") for name in ("wrist_flexion", "wrist_ulnar_deviation")
    }
    kept = series["left", "wrist_flexion"]
    measured = np.arange(200) % 5 != 0
    np.testing.assert_array_equal(kept.measured, measured)
    np.testing.assert_array_equal(kept.time_s, np.round(times, 3))
    np.testing.assert_array_equal(kept.value[measured], np.round(values[measured], 2))
    np.testing.assert_allclose(kept.sd[measured], sds[measured], atol=0.05)
    assert np.isnan(kept.value[~measured]).all()
    assert np.isnan(kept.sd[~measured]).all()
    assert {kept.refusals[code - 1] for code in kept.refusal[~measured]} == {Refusal.HAND_CUT_OFF}
    assert not series["right", "wrist_flexion"].measured.any()
    assert record.info.dropped_frames == 19
    assert (record.settings, record.limits, record.rules) == (START.settings, LIMITS, START.rules)


def test_a_tiny_deviation_is_not_kept_as_none(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        recorder.put(make_reading(0, 0.0, {("left", "wrist_flexion"): (3.0, 0.001)}))
        identity = recorder.finish(Ended(0.0))
        (kept,) = [one for one in store.session(identity).series if one.measured.any()]
    assert kept.sd.tolist() == [0.05]


def test_events_come_back(tmp_path: Path, quick_commits: None) -> None:
    closed = replace(OPENED, peak=52.0, peak_s=3.0, end_s=6.0, end="returned", warned_s=4.0)
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        recorder.put(make_reading(0, 1.0, {}, opened=[OPENED]))
        recorder.put(make_reading(1, 4.0, {}, fired=[WARNING]))
        recorder.mark(5.0, "bar 12")
        recorder.mark(5.5)
        recorder.put(make_reading(2, 6.0, {}, closed=[closed], cleared=[WARNING]))
        identity = recorder.finish(Ended(7.0, "film ended"))
        record = store.session(identity)
    assert record.excursions == (closed,)
    assert [(one.warning, one.cleared_s) for one in record.warnings] == [(WARNING, 6.0)]
    assert [(mark.time_s, mark.note) for mark in record.marks] == [(5.0, "bar 12"), (5.5, "")]
    assert (record.info.end_reason, record.info.end_s) == ("film ended", 7.0)
    assert record.info.ended_at == "2025-03-01T18:00:07.000+00:00"


def test_what_lasts_at_the_end_is_closed_by_it(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        recorder.put(make_reading(0, 1.0, {}, opened=[OPENED]))
        recorder.put(make_reading(1, 4.0, {("left", "wrist_flexion"): (50.0, 3.0)}, fired=[WARNING]))
        identity = recorder.finish(Ended(8.0))
        (excursion,) = store.session(identity).excursions
        (warning,) = store.session(identity).warnings
    assert (excursion.end, excursion.end_s) == ("stopped", 8.0)
    assert (excursion.peak, excursion.peak_s, excursion.warned_s) == (50.0, 4.0, 4.0)
    assert warning.cleared_s == 8.0


def test_the_monitors_own_closing_is_what_is_kept(tmp_path: Path) -> None:
    closed = replace(OPENED, peak=61.0, peak_s=2.0, end_s=8.0, end="stopped")
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        recorder.put(make_reading(0, 1.0, {}, opened=[OPENED]))
        identity = recorder.finish(Ended(8.0, closed=(closed,)))
        assert store.session(identity).excursions == (closed,)


def test_a_reader_follows_a_running_session(tmp_path: Path, quick_commits: None) -> None:
    reader = SessionReader(tmp_path)
    assert reader.sessions() == []
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        recorder.put(make_reading(0, 1.0, {}, opened=[OPENED]))
        put_seconds(recorder, 2.0, start_s=1.0)
        wait_until(lambda: reader.sessions()[0].end_s >= 2.9)
        running = reader.session(recorder.session_id)
        assert running.info.open
        assert running.excursions == (OPENED,)
        recorder.finish(Ended(3.0))
    assert not reader.find("last").open


def test_finish_and_close_may_be_called_twice(tmp_path: Path) -> None:
    store = Store(tmp_path)
    recorder = store.begin(START)
    assert recorder.finish(Ended(1.0)) == recorder.finish(Ended(9.0))
    recorder.put(make_reading(0, 2.0, {}))
    store.close()
    store.close()
    assert [one.end_s for one in SessionReader(tmp_path).sessions()] == [1.0]


def test_closing_the_store_ends_the_session(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        put_seconds(store.begin(START), 1.0, rate_hz=10.0)
    (info,) = SessionReader(tmp_path).sessions()
    assert (info.end_reason, info.end_s) == ("stopped", 0.9)


def test_one_session_at_a_time(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        first = store.begin(START)
        with pytest.raises(StoreError, match="already"):
            store.begin(START)
        first.finish(Ended(1.0))
        second = store.begin(START)
        second.finish(Ended(1.0))
        assert [one.id for one in store.sessions()] == [second.session_id, first.session_id]


def test_an_older_film_that_is_kept_later_stands_where_it_was_filmed(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        days = [f"2025-03-{day:02d}T18:00:00.000+00:00" for day in (3, 10, 5)]
        first, second, filmed = (
            store.begin(replace(START, started_at=began)).finish(Ended(1.0)) for began in days
        )
        assert [one.id for one in store.sessions()] == [second, filmed, first]
        assert store.find("last").id == second


@pytest.mark.parametrize(
    ("name", "sentence"),
    [("zzzz", "There is no session 'zzzz'"), ("", "There is no session ''")],
)
def test_an_unknown_session_is_named(tmp_path: Path, name: str, sentence: str) -> None:
    with Store(tmp_path) as store:
        identity = store.begin(START).finish(Ended(1.0))
        assert store.find(identity[:4]).id == identity
        with pytest.raises(InputError, match=sentence):
            store.find(name)
        with pytest.raises(InputError, match="There is no session"):
            store.session("zzzz")


def test_an_id_that_fits_two_sessions_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    identities = iter(["aa11bb22", "aa33bb44"])
    monkeypatch.setattr("posturewatch.storage.store.secrets.token_hex", lambda count: next(identities))
    with Store(tmp_path) as store:
        for _ in range(2):
            store.begin(START).finish(Ended(1.0))
        with pytest.raises(InputError, match="2 sessions begin with 'aa'"):
            store.find("aa")


def test_an_empty_folder_has_no_session(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no session in .* yet"):
        open_reader(tmp_path).find("last")
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_stops_nothing_and_what_waited_is_written_later(
    tmp_path: Path, quick_commits: None
) -> None:
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        put_seconds(recorder, 2.0)
        wait_until(lambda: store.sessions()[0].end_s > 1.9)
        connection = recorder._place.connection
        (pages,) = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count = {pages}")
        for minute in range(1, 200):
            put_seconds(recorder, 60.0, rate_hz=2.0, start_s=60.0 * minute)
            if recorder.fault is not None:
                break
            time.sleep(0.05)
        wait_until(lambda: recorder.fault is not None)
        assert str(recorder.fault).startswith("The disk is full")
        recorder.mark(1.0, "while it was full")
        connection.execute("PRAGMA max_page_count = 1000000")
        wait_until(lambda: recorder.fault is None)
        end_s = 60.0 * minute + 59.5
        identity = recorder.finish(Ended(end_s))
        record = store.session(identity)
    assert recorder.lost_samples == 0
    assert all(len(one.time_s) == 60 + 120 * minute for one in record.series)
    assert [mark.note for mark in record.marks] == ["while it was full"]


def test_what_exceeds_the_memory_is_counted_as_lost(
    tmp_path: Path, quick_commits: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recorder_module, "WAITING_SAMPLES", 400)
    monkeypatch.setattr(recorder_module, "FINISH_S", 0.5)
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        wait_until(lambda: store.sessions() != [])
        recorder._place.connection.execute("PRAGMA max_page_count = 1")
        recorder._place.connection.execute("PRAGMA query_only = ON")
        put_seconds(recorder, 10.0)
        recorder.mark(3.0, "kept all the same")
        assert recorder.lost_samples == 4 * 300 - 400
        wait_until(lambda: recorder.fault is not None)
        identity = recorder.finish(Ended(10.0))
        assert recorder.fault is not None
        assert recorder.fault.startswith(
            "The last 10.0 s of this session and 1 mark could not be written and are lost"
        )
    with Store(tmp_path) as store:
        assert store.find(identity).end_reason == "crashed"


def test_an_hour_of_two_hands_takes_two_megabytes_at_most(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    count = 3600 * 30
    time_ms = np.round(1000 * (np.arange(count) / 30 + rng.normal(0, 0.002, count))).astype(np.int64)
    keys = [(side, name) for side in get_args(Side) for name in ("wrist_flexion", "wrist_ulnar_deviation")]
    # As noisy from frame to frame as the measurement's own deviation allows, which packs worst.
    values = [15 * np.sin(time_ms / (1100 + 90 * place)) + rng.normal(0, 5.0, count) for place in range(4)]
    refusal = np.where(np.sin(time_ms / 6500) > 0.9, 1, 0).astype(np.uint8)
    sd = np.round((6.0 + rng.normal(0, 0.5, count)) / FLEXION.sd_step).astype(np.int64)
    expected = {
        key: codec.Samples(
            time_ms,
            np.where(refusal, 0, np.round(value / FLEXION.value_step)).astype(np.int64),
            np.where(refusal, 0, sd),
            refusal,
        )
        for key, value in zip(keys, values, strict=True)
    }
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        with closing(connect(store.path)) as connection:
            (number,) = connection.execute("SELECT number FROM session").fetchone()
            connection.execute("PRAGMA synchronous = OFF")  # as many commits as in an hour, but in seconds
            for first in range(0, count, 30):
                second = {key: _cut(samples, first, first + 30) for key, samples in expected.items()}
                with transaction(connection):
                    save_samples(connection, number, second)
        identity = recorder.finish(Ended(3600.0))
    size = sum(path.stat().st_size for path in tmp_path.iterdir())
    assert size <= 2_000_000, size
    for one in SessionReader(tmp_path).session(identity).series:
        wanted = expected[one.side, one.quantity]
        np.testing.assert_array_equal(one.time_s, wanted.time_ms / 1000)
        np.testing.assert_array_equal(one.measured, wanted.refusal == 0)
        np.testing.assert_array_equal(one.value[one.measured], wanted.value[one.measured] / 100)
        np.testing.assert_array_equal(one.sd[one.measured], wanted.sd[one.measured] / 20)


def _cut(samples: codec.Samples, first: int, last: int) -> codec.Samples:
    return codec.Samples(
        *(getattr(samples, name)[first:last] for name in ("time_ms", "value", "sd", "refusal"))
    )
