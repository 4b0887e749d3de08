"""A table of lines with columns, as GeoJSON, GeoPackage and CSV files hold them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from crossfall.network.roads import Floats, Ints


@dataclass(eq=False)
class LineTable:
    """Lines and points with the row each belongs to; coordinates as the file has them."""

    file: str
    columns: dict[str, Sequence[Any]]
    """Their columns, each of shape (row,); None is an empty cell."""
    n_rows: int
    places: Floats
    """Vertices of all lines, x first, shape (vertex, 2)."""
    offsets: Ints
    """First vertex of each line, shape (line + 1,)."""
    line_row: Ints
    """Row of each line; a row with several parts has several lines."""
    point_places: Floats
    point_row: Ints
    crs: str | None = None
    others: dict[str, int] = field(default_factory=dict)
    """Rows of another geometry, by what it is."""
    empty_rows: list[int] = field(default_factory=list)
    """Rows without a geometry."""
    label: Callable[[int], str] = lambda row: f"row {row + 1}"
    """How a person finds a row in the file."""
    row_ids: Sequence[Any] | None = None
    """The file's own key of each row, outside its columns."""

    def record(self, row: int) -> dict[str, Any]:
        """The cells of a row that hold something."""
        cells = ((name, values[row]) for name, values in self.columns.items())
        return {name: value for name, value in cells if value is not None}


def pack(parts: Iterable[tuple[int, Sequence[Sequence[float]]]]) -> tuple[Floats, Ints, Ints]:
    """Vertices, offsets and row of lines given as (row, list of positions)."""
    rows: list[int] = []
    sizes: list[int] = []
    flat: list[float] = []
    for row, line in parts:
        rows.append(row)
        sizes.append(len(line))
        for position in line:
            flat += position[:2]
    places = np.array(flat, dtype=np.float64).reshape(-1, 2)
    offsets = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    return places, offsets, np.array(rows, dtype=np.int64)
