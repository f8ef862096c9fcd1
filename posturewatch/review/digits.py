"""Numbers and words as text, a whole column at a time: exports have millions of them.

A column is an array of bytes (n, w), a row of it the text of one entry in ASCII or UTF-8 with zeros where there is no
letter; `rows_text` puts columns beside each other and drops the zeros.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Column", "decimal_column", "placed", "rows_text", "word_column"]

#: (n, w)
Column = NDArray[np.uint8]

#: (n,) of any width
Codes = NDArray[np.integer[Any]]

_ZERO, _MINUS, _POINT = ord("0"), ord("-"), ord(".")


def decimal_column(numbers: NDArray[np.int64], decimals: int) -> Column:
    """Integers divided by 10 to the power of `decimals` (at least 1), with all of these decimals: 1205 as 12.05."""
    magnitude = np.abs(numbers)
    digits = max(len(str(int(magnitude.max(initial=0)))), decimals + 1)
    if digits < 10:
        magnitude = magnitude.astype(np.uint32)  # divided three times as fast
    found = np.zeros((numbers.size, digits + 2), np.uint8)
    found[:, 0] = np.where(numbers < 0, _MINUS, 0)
    found[:, -1 - decimals] = _POINT
    ten = magnitude.dtype.type(10)
    for place in range(digits):
        rest = magnitude // ten
        text = (magnitude - rest * ten).astype(np.uint8) + np.uint8(_ZERO)
        # Leading zeros are left out, but for the one before the point.
        shown = text if place <= decimals else np.where(magnitude == 0, np.uint8(0), text)
        found[:, -1 - place - (place >= decimals)] = shown
        magnitude = rest
    return found


def word_column(codes: Codes, words: Sequence[str]) -> Column:
    """The word of each code, which is its place among the words."""
    encoded = [word.encode() for word in words]
    table = np.zeros((len(words), max(map(len, encoded))), np.uint8)
    for row, word in zip(table, encoded, strict=True):
        row[: len(word)] = np.frombuffer(word, np.uint8)
    column: Column = table[codes]
    return column


def placed(column: Column, places: Codes, count: int) -> Column:
    """The entries at these places of a column of so many, the others empty."""
    found = np.zeros((count, column.shape[1]), np.uint8)
    found[places] = column
    return found


def rows_text(parts: Sequence[Column | str], count: int) -> str:
    """The text of so many rows: the columns beside each other, with what is the same in each row as a string."""
    columns = [
        np.broadcast_to(np.frombuffer(part.encode(), np.uint8), (count, len(part.encode())))
        if isinstance(part, str)
        else part
        for part in parts
    ]
    flat = np.concatenate(columns, axis=1).ravel()
    text: str = flat[flat != 0].tobytes().decode()
    return text
