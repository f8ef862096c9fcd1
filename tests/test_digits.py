"""Columns of numbers as text, against Python's own formatting."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from posturewatch.review.digits import decimal_column, placed, rows_text, word_column


@given(st.lists(st.integers(-(10**12), 10**12), min_size=1), st.sampled_from([1, 2, 3]))
def test_numbers_are_written_as_python_writes_them(numbers: list[int], decimals: int) -> None:
    text = rows_text([decimal_column(np.array(numbers, np.int64), decimals), "\n"], len(numbers))
    scale = 10**decimals
    exact = [f"{'-' * (one < 0)}{abs(one) // scale}.{abs(one) % scale:0{decimals}}" for one in numbers]
    assert text.splitlines() == exact
    assert [float(line) for line in exact] == pytest.approx([one / scale for one in numbers])


def test_columns_lie_beside_each_other() -> None:
    numbers = placed(decimal_column(np.array([1205, -7]), 2), np.array([0, 2]), 3)
    words = word_column(np.array([1, 0, 1]), ("", "Étude"))
    assert rows_text([numbers, ",", words, "\n"], 3) == "12.05,Étude\n,\n-0.07,Étude\n"
    assert rows_text([decimal_column(np.zeros(0, np.int64), 2), "\n"], 0) == ""
