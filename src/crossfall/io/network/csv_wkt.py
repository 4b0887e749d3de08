"""CSV with one column of well-known text: ``LINESTRING (-107.1 40.5, -107.2 40.5)``."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from crossfall.errors import InputError, Problem, refuse
from crossfall.io.network.options import NetworkOptions
from crossfall.io.network.table import LineTable, table_of_shapes
from crossfall.io.network.words import WELL_KNOWN

_LONGEST_CELL = 100_000_000


def read_csv(path: Path, options: NetworkOptions, *, may_be_empty: bool = False) -> LineTable:
    """Read lines from a CSV file with a header row; comma, semicolon or tab.

    Raises
    ------
    InputError
        If the text is not in the encoding said, a row has too many or too few cells, there
        is no column of well-known text, or one cannot be read.
    """
    columns, line_numbers = read_columns(path, encoding=options.encoding, may_be_empty=may_be_empty)
    name = _wkt_column(columns, options, path.name)

    def label(row: int) -> str:
        return f"row {line_numbers[row]}"

    shapes = _shapes(columns.pop(name), label, f"{path.name}", name)
    return table_of_shapes(shapes, columns, file=path.name, crs=None, label=label)


def read_columns(
    path: Path, *, encoding: str = "utf-8", may_be_empty: bool = False
) -> tuple[dict[str, list[str | None]], list[int]]:
    """Columns of a CSV file, empty cells as None, and the line of the file each row ends on."""
    file = path.name
    try:
        text = path.read_bytes().decode(encoding).removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        line = path.read_bytes()[: error.start].count(b"\n") + 1
        raise InputError(
            f"{file} row {line} is not {encoding} text; save the file as UTF-8 or name its encoding"
        ) from None
    if not text.strip():
        raise InputError(f"{file} is empty; expected a header row and rows below it")
    header_line = text.splitlines()[0]
    separator = max(",;\t", key=header_line.count)
    longest = csv.field_size_limit(_LONGEST_CELL)
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
        header = [name.strip() for name in next(reader)]
        rows = [(reader.line_num, row) for row in reader if any(cell.strip() for cell in row)]
    except csv.Error as error:
        raise InputError(f"{file} cannot be read as CSV ({error}); save it again") from None
    finally:
        csv.field_size_limit(longest)
    _check_shape(header, rows, file, may_be_empty=may_be_empty)
    cells = zip(*(row for _, row in rows), strict=True) if rows else iter([()] * len(header))
    columns: dict[str, list[str | None]] = {
        name: [cell.strip() or None for cell in column]
        for name, column in zip(header, cells, strict=True)
    }
    return columns, [number for number, _ in rows]


def _check_shape(
    header: list[str], rows: list[tuple[int, list[str]]], file: str, *, may_be_empty: bool
) -> None:
    doubled = sorted({name for name in header if header.count(name) > 1})
    if doubled:
        raise InputError(f"{file} has the column {doubled[0]!r} twice; rename one of them")
    if not rows and not may_be_empty:
        raise InputError(f"{file} has a header but no row below it; expected at least one")
    refuse(
        [
            Problem(f"{file} row {number}", f"{len(row)} cells, but the header has {len(header)}")
            for number, row in rows
            if len(row) != len(header)
        ]
    )


def _wkt_column(columns: dict[str, Any], options: NetworkOptions, file: str) -> str:
    named = options.columns.get("wkt")
    if named is not None:
        if named not in columns:
            raise InputError(
                f"{file} has no column {named!r} (named for wkt); it has {', '.join(columns)}"
            )
        return named
    for name in columns:
        if name.lower() in WELL_KNOWN["wkt"]:
            return name
    raise InputError(
        f"{file} has no column of lines; expected one named wkt that holds text such as"
        " LINESTRING (-107.1 40.5, -107.2 40.5)"
    )


def _shapes(cells: list[str | None], label: Any, file: str, column: str) -> Any:
    texts = np.array(cells, dtype=object)
    if not len(texts):
        return texts
    try:
        return shapely.from_wkt(texts)
    except shapely.errors.GEOSException:
        bad = [
            Problem(
                f"{file} {label(row)}, {column}",
                f"{_short(cell)} is not well-known text; expected LINESTRING (lon lat, …)",
            )
            for row, cell in enumerate(cells)
            if cell is not None and shapely.from_wkt(cell, on_invalid="ignore") is None
        ]
        refuse(bad)
        raise


def _short(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:40] + "…")
