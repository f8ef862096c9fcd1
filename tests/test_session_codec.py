"""Samples come back from their bytes exactly."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from posturewatch.storage.samples.codec import ChunkError, Samples, decode, encode, join

whole = st.integers(-(2**31), 2**31 - 1)
rows = st.lists(
    st.tuples(st.integers(0, 2**40), whole, st.integers(1, 2**16), st.integers(0, 9)), max_size=40
)


def samples_of(table: list[tuple[int, int, int, int]]) -> Samples:
    """From rows of (time_ms, value, sd, refusal); refused rows keep no number."""
    return Samples(
        np.array([row[0] for row in table], np.int64),
        np.array([row[1] if row[3] == 0 else 0 for row in table], np.int64),
        np.array([row[2] if row[3] == 0 else 0 for row in table], np.int64),
        np.array([row[3] for row in table], np.uint8),
    )


def assert_same(one: Samples, other: Samples) -> None:
    for name in ("time_ms", "value", "sd", "refusal"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name), err_msg=name)


@given(rows)
@settings(deadline=None)
def test_any_samples_come_back_exactly(table: list[tuple[int, int, int, int]]) -> None:
    samples = samples_of(table)
    assert_same(decode(encode(samples)), samples)


def test_joined_parts_follow_one_another() -> None:
    first, second = samples_of([(0, 5, 1, 0), (33, 6, 1, 0)]), samples_of([(67, 0, 0, 3)])
    assert join([first, second]).time_ms.tolist() == [0, 33, 67]
    assert join([first, second]).refusal.tolist() == [0, 0, 3]
    assert len(join([])) == 0


@pytest.mark.parametrize("spoil", [lambda data: b"", lambda data: data[:-3], lambda data: b"\x07" + data[1:]])
def test_bytes_that_are_no_samples_are_refused(spoil: Callable[[bytes], bytes]) -> None:
    data = encode(samples_of([(0, 5, 1, 0), (33, 6, 1, 0)]))
    with pytest.raises(ChunkError):
        decode(spoil(data))


def test_arrays_of_different_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="one length"):
        Samples(np.zeros(2, np.int64), np.zeros(1, np.int64), np.zeros(2, np.int64), np.zeros(2, np.uint8))
