"""A table of lines with columns, as GeoJSON, GeoPackage and CSV files hold them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import shapely

from crossfall.network.roads import Flags, Floats, Ints

_POINT, _LINE, _MULTI_LINE = 0, 1, 5


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

    def only_lines(self, keep: Flags) -> LineTable:
        """The table with the lines where ``keep``, shape (line,), is true; rows stay."""
        if keep.all():
            return self
        sizes = np.diff(self.offsets)
        return replace(
            self,
            places=self.places[np.repeat(keep, sizes)],
            offsets=np.concatenate([[0], np.cumsum(sizes[keep])]).astype(np.int64),
            line_row=self.line_row[keep],
        )

    def record(self, row: int) -> dict[str, Any]:
        """The cells of a row that hold something."""
        cells = ((name, values[row]) for name, values in self.columns.items())
        return {name: value for name, value in cells if value is not None}


def table_of_shapes(
    shapes: Any,
    columns: Mapping[str, Sequence[Any]],
    *,
    file: str,
    crs: str | None,
    label: Callable[[int], str],
) -> LineTable:
    """A table from shapely geometries, shape (row,); parts of a multi-line keep their row."""
    kinds = shapely.get_type_id(shapes)
    is_empty = shapely.is_empty(shapes) | (kinds < 0)
    is_line = np.isin(kinds, (_LINE, _MULTI_LINE)) & ~is_empty
    is_point = (kinds == _POINT) & ~is_empty
    parts, part_row = shapely.get_parts(shapes[is_line], return_index=True)
    places, line = shapely.get_coordinates(parts, return_index=True)
    sizes = np.bincount(line, minlength=len(parts))
    others: dict[str, int] = {}
    for shape in shapes[~is_line & ~is_point & ~is_empty]:
        others[shape.geom_type] = others.get(shape.geom_type, 0) + 1
    return LineTable(
        file=file,
        columns=dict(columns),
        n_rows=len(shapes),
        places=places,
        offsets=np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64),
        line_row=np.flatnonzero(is_line)[part_row],
        point_places=shapely.get_coordinates(shapes[is_point]),
        point_row=np.flatnonzero(is_point),
        crs=crs,
        others=others,
        empty_rows=np.flatnonzero(is_empty).tolist(),
        label=label,
    )


def pack(parts: Iterable[tuple[int, Sequence[Sequence[float]]]]) -> tuple[Floats, Ints, Ints]:
    """Vertices, offsets and row of lines given as (row, list of positions)."""
    rows: list[int] = []
    sizes: list[int] = []
    flat: list[float] = []
    for row, line in parts:
        rows.append(row)
        sizes.append(len(line))
        for position in line:
            x, y, *_ = position
            flat.append(x)
            flat.append(y)
    places = np.array(flat, dtype=np.float64).reshape(-1, 2)
    offsets = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    return places, offsets, np.array(rows, dtype=np.int64)
