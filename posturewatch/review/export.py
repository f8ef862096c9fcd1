"""A session as files for other programs: CSV with one row per sample, and JSON with all that is known of it.

Both are read and written in stretches, so that a long practice needs no more memory than a short one.
"""

from __future__ import annotations

import csv
import json
import shutil
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from io import StringIO
from pathlib import Path
from tempfile import SpooledTemporaryFile
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.errors import InputError, StoreError
from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import Side
from posturewatch.model.quantities import GROUPS, in_group, quantity
from posturewatch.review.digits import Column, decimal_column, placed, rows_text, word_column
from posturewatch.review.samples_csv import csv_header
from posturewatch.storage.reader import SessionOutline, SessionReader
from posturewatch.storage.samples.codec import Samples
from posturewatch.storage.samples.series import (
    SeriesHead,
    heads,
    refusal_places,
    samples_between,
)
from posturewatch.storage.tables.clips import clips, whole_clip_path

__all__ = ["csv_blocks", "json_blocks", "write_clips", "write_session"]

#: As long as the blocks in which samples are kept.
_STRETCH_MS = 300_000

#: Of a single series, where much less is read at once.
_SERIES_STRETCH_MS = 6 * _STRETCH_MS

#: Of a column's text that waits to be written: more than this goes to a file on the disk, and is read from there so
#: many bytes at a time.
_WAITING_BYTES, _PIECE_BYTES = 1_000_000, 250_000

#: Of every number but the times, which have three.
_DECIMALS = 2

_WORDS = tuple(refusal.value for refusal in Refusal)


def csv_blocks(reader: SessionReader, session_id: str) -> Iterator[str]:
    """The text in blocks of many lines: the header, then one row per time and hand, units in the header.

    Columns are as in the table that `posturewatch analyse` writes, `status` and `reason` those of the wrist. An
    empty cell was not measured, or not kept: of fingers some samples a second are.

    Raises
    ------
    UnknownError
        For an unknown session, at once.
    """
    outline = reader.outline(session_id)
    series = _heads(reader, session_id)
    return _csv(reader, outline, series)


def _csv(reader: SessionReader, outline: SessionOutline, series: Sequence[SeriesHead]) -> Iterator[str]:
    kept = {one.quantity for one in series}
    wrist, fingers = (tuple(one for one in in_group(group) if one.name in kept) for group in GROUPS)
    text = StringIO()
    csv.writer(text).writerow(csv_header(wrist, fingers))
    yield text.getvalue()
    names = tuple(one.name for one in (*wrist, *fingers))
    last_ms = _last_ms(reader, series)
    for start_ms in range(0, last_ms + 1, _STRETCH_MS):
        found = _stretch(reader, series, start_ms, start_ms + _STRETCH_MS)
        if any(len(samples) for samples in found.values()):
            yield _csv_rows(outline, found, names, len(wrist))


def _csv_rows(
    outline: SessionOutline, found: Mapping[tuple[Side, str], Samples], names: Sequence[str], wrists: int
) -> str:
    """Rows of both hands in the order of time, those of one time in the order of the sides."""
    sides = tuple(dict.fromkeys(side for side, _ in found))
    times = [
        np.unique(np.concatenate([one.time_ms for (of, _), one in found.items() if of == side]))
        for side in sides
    ]
    starts = np.cumsum([0, *(one.size for one in times)])
    time_ms, count = np.concatenate(times), int(starts[-1])
    side_codes = np.repeat(np.arange(len(sides)), [one.size for one in times])
    cells, reasons = [], []
    lifted = np.zeros(count, np.bool_)
    for name in names:
        own = [
            (starts[place] + np.searchsorted(times[place], found[side, name].time_ms), found[side, name])
            for place, side in enumerate(sides)
            if (side, name) in found
        ]
        places = np.concatenate([place for place, _ in own])
        value, sd, refusal = (
            np.concatenate([getattr(samples, part) for _, samples in own])
            for part in ("value", "sd", "refusal")
        )
        measured = refusal == 0
        cells.append(
            [placed(decimal_column(one[measured], _DECIMALS), places[measured], count) for one in (value, sd)]
        )
        reason = np.zeros(count, np.uint8)
        reason[places] = refusal
        reasons.append(reason)
        if quantity(name).family == "finger_lift":
            lifted[places[measured]] = True
    wrist_reason, finger_reason = (_first(part, count) for part in (reasons[:wrists], reasons[wrists:]))
    planes = np.concatenate(
        [outline.plane_at(side, one / 1000) for side, one in zip(sides, times, strict=True)]
    )
    columns: list[Column] = [
        decimal_column(time_ms, 3),
        word_column(side_codes, sides),
        *(column for pair in cells[:wrists] for column in pair),
        word_column(np.where(wrist_reason, 1, 0), ("measured", "not measurable")),
        word_column(wrist_reason, ("", *_quoted(_WORDS))),
        *(column for pair in cells[wrists:] for column in pair),
        word_column(np.where(lifted, planes + 1, 0), ("", *(one.plane for one in outline.planes))),
        word_column(finger_reason, ("", *_quoted(_WORDS))),
    ]
    # Stable: both hands of a frame stay together, in the order of the sides.
    order = np.argsort(time_ms, kind="stable")
    parts: list[Column | str] = []
    for place, column in enumerate(columns):
        parts += ["," if place else "", column[order]]
    return rows_text([*parts, "\r\n"], count)


def _first(reasons: Sequence[NDArray[np.uint8]], count: int) -> NDArray[np.uint8]:
    """The first reason of each row, 0 where every quantity has a number or no sample."""
    found = np.zeros(count, np.uint8)
    for one in reversed(reasons):
        found = np.where(one, one, found)
    return found


def _quoted(words: Iterable[str]) -> list[str]:
    """As a CSV file has them."""
    text = StringIO()
    csv.writer(text, lineterminator="\n").writerows([word] for word in words)
    return text.getvalue().splitlines()


def json_blocks(reader: SessionReader, session_id: str, document: Mapping[str, Any]) -> Iterator[str]:
    """The session's document and summary with the settings and all samples, as the text of one JSON object in parts;
    null where not measured.

    Raises
    ------
    UnknownError
        For an unknown session, at once.
    """
    outline = reader.outline(session_id)
    series = _heads(reader, session_id)
    head = {
        **document,
        "settings": outline.settings,
        "max_gap_s": outline.max_gap_s,
        "damage": list(outline.damage),
    }
    return _json(reader, json.dumps(head, ensure_ascii=False, allow_nan=False), series)


def _json(reader: SessionReader, head: str, series: Sequence[SeriesHead]) -> Iterator[str]:
    yield head[:-1] + ', "samples": ['
    for place, one in enumerate(series):
        named = {"side": one.side, "quantity": one.quantity, "unit": quantity(one.quantity).unit}
        yield (", " if place else "") + json.dumps(named, ensure_ascii=False)[:-1]
        yield from _json_columns(reader, one)
        yield "}"
    yield "]}"


def _json_columns(reader: SessionReader, head: SeriesHead) -> Iterator[str]:
    """The numbers or words of a series, one column after the other. Each block of samples is unpacked once: the text of
    the columns whose turn has not come waits in nameless files, so that it is not in memory."""
    with ExitStack() as closing:
        waiting = {
            column: closing.enter_context(SpooledTemporaryFile(_WAITING_BYTES))
            for column in ("value", "sd", "refusal")
        }
        yield ', "time_s": ['
        some = False
        for start_ms, end_ms in _whole_blocks(reader, head):
            (samples,) = _stretch(reader, [head], start_ms, end_ms).values()
            for column, file in waiting.items():
                file.write(_json_text(samples, column)[not some :].encode())
            yield _json_text(samples, "time_s")[not some :]
            some = some or len(samples) > 0
        yield "]"
        for column, file in waiting.items():
            yield f', "{column}": ['
            file.seek(0)
            while piece := file.read(_PIECE_BYTES):
                yield piece.decode("ascii")  # no letter is cut in two
            yield "]"


def _whole_blocks(reader: SessionReader, head: SeriesHead) -> list[tuple[int, int]]:
    """Stretches [start_ms, end_ms) of whole blocks, so that none is unpacked for two of them; together the whole
    series as it is now."""
    with _reading(reader) as connection:
        blocks = connection.execute(
            "SELECT first_ms, last_ms FROM chunk WHERE series = ? ORDER BY first_ms", (head.number,)
        ).fetchall()
    starts = list[int]()
    for first_ms, _ in blocks:
        if not starts or first_ms >= starts[-1] + _SERIES_STRETCH_MS:
            starts.append(first_ms)
    return list(
        zip(starts, [*starts[1:], max((last_ms for _, last_ms in blocks), default=-1) + 1], strict=False)
    )


def _json_text(samples: Samples, column: str) -> str:
    """The entries of a column with a comma before each."""
    return rows_text([",", _json_cells(samples, column)], len(samples))


def _json_cells(samples: Samples, column: str) -> Column:
    if column == "time_s":
        return decimal_column(samples.time_ms, 3)
    if column == "refusal":
        return word_column(samples.refusal, ("null", *(json.dumps(word) for word in _WORDS)))
    measured = samples.refusal == 0
    numbers = decimal_column((samples.value if column == "value" else samples.sd)[measured], _DECIMALS)
    width = max(numbers.shape[1], len("null"))
    found = np.zeros((len(samples), width), np.uint8)
    found[:, : len("null")] = np.frombuffer(b"null", np.uint8)
    found[measured] = 0
    found[measured, width - numbers.shape[1] :] = numbers
    return found


def _heads(reader: SessionReader, session_id: str) -> tuple[SeriesHead, ...]:
    with _reading(reader) as connection:
        (number,) = connection.execute("SELECT number FROM session WHERE id = ?", (session_id,)).fetchone()
        return heads(connection, number)


def _stretch(
    reader: SessionReader, series: Sequence[SeriesHead], start_ms: int, end_ms: int
) -> dict[tuple[Side, str], Samples]:
    """Values and deviations in hundredths, refusals as 1 + the place among the words. Opened anew for each stretch:
    whoever saves a file slowly is in nobody's way."""
    with _reading(reader) as connection:
        places = refusal_places(connection)
        return {
            (head.side, head.quantity): _in_hundredths(
                head, samples_between(connection, head, places, start_ms, end_ms)
            )
            for head in series
        }


def _in_hundredths(head: SeriesHead, samples: Samples) -> Samples:
    value_step, sd_step = (round(100 * step) for step in (head.value_step, head.sd_step))
    return replace(samples, value=samples.value * value_step, sd=samples.sd * sd_step)


def _last_ms(reader: SessionReader, series: Sequence[SeriesHead]) -> int:
    with _reading(reader) as connection:
        found = [
            connection.execute("SELECT max(last_ms) FROM chunk WHERE series = ?", (head.number,)).fetchone()[
                0
            ]
            for head in series
        ]
    return max((int(one) for one in found if one is not None), default=-1)


@contextmanager
def _reading(reader: SessionReader) -> Iterator[sqlite3.Connection]:
    with reader.reading() as connection:
        if connection is None:
            raise StoreError(
                f"The practice data in {reader.data_dir} have gone; put them back, then try again."
            )
        yield connection


def write_session(
    reader: SessionReader, session_id: str, document: Mapping[str, Any], folder: Path
) -> list[Path]:
    """Writes ID.csv and ID.json into the folder, made where it is not there.

    Raises
    ------
    InputError
        Where they cannot be written, or where one of the files is there already.
    """
    made = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for ending, blocks in (
            ("csv", csv_blocks(reader, session_id)),
            ("json", json_blocks(reader, session_id, document)),
        ):
            path = folder / f"{session_id}.{ending}"
            with path.open("x", newline="", encoding="utf-8") as file:
                made.append(path)
                file.writelines(blocks)
    except OSError as error:
        raise _cannot(error, folder) from error
    return made


def write_clips(reader: SessionReader, session_id: str, folder: Path) -> tuple[list[Path], int]:
    """Copies the session's clips into the folder as ID-NAME.mp4; those that were written, and how many are missing.

    Raises
    ------
    InputError
        Where they cannot be written, or where one of the files is there already.
    """
    with _reading(reader) as connection:
        listed = [
            one
            for one in clips(connection, reader.data_dir, session_id=session_id)
            if one["state"] != "removed"
        ]
        sources = [(one, whole_clip_path(connection, reader.data_dir, one["id"])) for one in listed]
    made = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for one, source in sources:
            if source is not None:
                path = folder / f"{session_id}-{one['name']}{source.suffix}"
                with path.open("xb") as to, source.open("rb") as content:
                    made.append(path)
                    shutil.copyfileobj(content, to)
    except OSError as error:
        raise _cannot(error, folder) from error
    return made, len(sources) - len(made)


def _cannot(error: OSError, folder: Path) -> InputError:
    if isinstance(error, FileExistsError):
        return InputError(f"{error.filename} is there already; choose another folder with --out.")
    return InputError(
        f"The session cannot be written to {folder} ({error.strerror}); choose another with --out."
    )
