"""One table of many films: a row for each film, hand and quantity; its columns are described beside it."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from posturewatch.errors import InputError, UnavailableError
from posturewatch.model.quantities import quantity
from posturewatch.pipeline.films.run import FilmResult

__all__ = ["FILM_COLUMNS", "FilmsTable", "rows_of"]

_OF_FILM: tuple[tuple[str, str, str], ...] = (
    ("film", "text", "name of the file, without its folder"),
    ("path", "text", "the file as it was named"),
    ("status", "text", "measured, incomplete (less could be read than the file states), interrupted, not measured "
     "(no wrist in any frame), or failed"),
    ("note", "text", "why, in one sentence; empty where all went well"),
    ("session_id", "text", "its session in the practice log, where it was kept"),
    ("filmed_at", "text", "UTC in ISO 8601, of second 0; from the film, else from the time its file was written"),
    ("from_s", "number", "second of the film that is second 0 of the results"),
    ("duration_s", "number", "seconds that were measured"),
    ("frames", "number", "frames that were measured"),
    ("warnings", "number", "extreme angles that were held so long that they would have been warned of"),
)  # fmt: skip

_OF_SERIES: tuple[tuple[str, str, str], ...] = (
    ("side", "text", "left or right, anatomical"),
    (
        "quantity",
        "text",
        "see the README; wrist angles as the International Society of Biomechanics defines them",
    ),
    ("unit", "text", "deg or mm; of the percentiles"),
    ("positive", "text", "the direction of positive values"),
    ("negative", "text", "the direction of negative values; empty where there is none"),
    ("total_s", "number", "seconds of film"),
    ("measured_s", "number", "of these, seconds in which there was a number"),
    ("measured_share", "number", "measured_s / total_s"),
    ("p10", "number", "10th percentile of the signed value over the measured time"),
    ("p50", "number", "median"),
    ("p90", "number", "90th percentile"),
)

_OF_DIRECTION = (
    ("beyond_comfort_s", "measured seconds beyond the comfort limit; empty without such a limit"),
    ("beyond_extreme_s", "measured seconds beyond the extreme limit"),
    ("certain_extreme_s", "of these, seconds beyond it with 90 % certainty"),
    ("longest_extreme_s", "longest episode beyond it"),
)

#: (name, kind, description) of each column, in order.
FILM_COLUMNS: tuple[tuple[str, str, str], ...] = (
    *_OF_FILM,
    *_OF_SERIES,
    *(
        (f"{sign}_{name}", "number", f"in the {sign} direction: {words}")
        for sign in ("positive", "negative")
        for name, words in _OF_DIRECTION
    ),
)

_NAMES = tuple(name for name, _, _ in FILM_COLUMNS)


def rows_of(result: FilmResult) -> Iterator[dict[str, Any]]:
    """The rows of one film; one row without hand and quantity where it could not be measured. None for what is
    missing."""
    summary: Mapping[str, Any] = result.summary or {}
    own = {
        "film": result.name,
        "path": str(result.path),
        "status": result.status,
        "note": result.note,
        "session_id": None if result.kept is None else result.kept.session_id,
        "filmed_at": summary.get("filmed_at"),
        "from_s": summary.get("source", {}).get("from_s"),
        "duration_s": summary.get("duration_s"),
        "frames": summary.get("frames"),
        "warnings": summary.get("warnings"),
    }
    empty = dict.fromkeys(_NAMES)
    series = summary.get("quantities", ())
    if not series:
        yield {**empty, **own}
    for one in series:
        yield {**empty, **own, **_series(one)}


def _series(one: Mapping[str, Any]) -> dict[str, Any]:
    entry = quantity(one["quantity"])
    found = {
        name: one[name] for name in ("side", "quantity", "unit", "total_s", "measured_s", "measured_share")
    }
    found |= {"positive": entry.positive, "negative": entry.negative}
    found |= one[f"percentiles_{one['unit']}"] or {}
    for direction in one["directions"]:
        sign = "positive" if entry.sign(direction["direction"]) > 0 else "negative"
        levels = {level["level"]: level for level in direction["levels"]}
        comfort, extreme = levels.get("comfort", {}), levels.get("extreme", {})
        found[f"{sign}_beyond_comfort_s"] = comfort.get("seconds")
        found[f"{sign}_beyond_extreme_s"] = extreme.get("seconds")
        found[f"{sign}_certain_extreme_s"] = extreme.get("certain_s")
        found[f"{sign}_longest_extreme_s"] = extreme.get("longest_s")
    return {name: value for name, value in found.items() if name in _NAMES}


class FilmsTable:
    """Writes films.csv film by film, so that an interrupted run keeps what it has, and films-columns.csv beside it.

    Parameters
    ----------
    folder
        Made where it is not there.
    parquet
        Whether films.parquet is written too, at the end.

    Raises
    ------
    InputError
        Where they cannot be written.
    UnavailableError
        Where Parquet is asked for and its library is not installed.
    """

    def __init__(self, folder: Path, *, parquet: bool = False) -> None:
        self._folder = folder
        self._kept: list[dict[str, Any]] | None = [] if parquet else None
        if parquet:
            _arrow()
        try:
            folder.mkdir(parents=True, exist_ok=True)
            _write_rows(folder / "films-columns.csv", ("column", "kind", "description"), FILM_COLUMNS)
            self._file = (folder / "films.csv").open("w", newline="", encoding="utf-8")
        except OSError as error:
            raise _unwritable(folder, error) from error
        self._writer = csv.DictWriter(self._file, _NAMES)
        self._writer.writeheader()

    def add(self, result: FilmResult) -> None:
        """The rows of one more film."""
        rows = list(rows_of(result))
        try:
            self._writer.writerows(rows)
            self._file.flush()
        except OSError as error:
            raise _unwritable(self._folder, error) from error
        if self._kept is not None:
            self._kept += rows

    def close(self) -> None:
        """Ends the files."""
        self._file.close()
        if self._kept is not None:
            _write_parquet(self._folder / "films.parquet", self._kept)


def _write_rows(path: Path, header: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([header, *rows])


def _unwritable(folder: Path, error: OSError) -> InputError:
    return InputError(
        f"The table of films cannot be written to {folder} ({error.strerror}); choose another folder with --out."
    )


def _arrow() -> Any:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError as error:
        raise UnavailableError(
            'For Parquet posturewatch needs one more package: pip install "posturewatch[tables]".'
        ) from error
    return pyarrow


def _write_parquet(path: Path, rows: list[dict[str, Any]]) -> None:
    """Text and floating-point columns, with each column's description in the schema."""
    arrow = _arrow()
    kinds = {"text": arrow.string(), "number": arrow.float64()}
    schema = arrow.schema(
        [
            arrow.field(name, kinds[kind], metadata={"description": words})
            for name, kind, words in FILM_COLUMNS
        ]
    )
    try:
        arrow.parquet.write_table(arrow.Table.from_pylist(rows, schema=schema), path)
    except OSError as error:
        raise _unwritable(path.parent, error) from error
