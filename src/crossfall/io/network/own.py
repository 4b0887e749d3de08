"""Files that crossfall itself wrote: read back as they are, ids, nodes and measures kept.

The columns are the fields of :class:`~crossfall.model.Segment`, ``PointFeature``,
``Node`` and ``Backdrop``; ``segment_id``, ``feature_id``, ``node_id`` or ``backdrop_kind``
says what a row is.
Somebody may have edited cells in between; a row that no longer fits is refused
with its place, and reading with ``keep_lines=False`` builds the network anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import MISSING, Field, fields
from functools import cache
from itertools import repeat
from math import isnan
from types import NoneType
from typing import Any, Literal, get_args, get_origin, get_type_hints

import numpy as np

from crossfall.errors import Problem, refuse
from crossfall.io.network.options import NetworkOptions
from crossfall.io.network.place import to_lonlat
from crossfall.io.network.table import LineTable
from crossfall.model import Backdrop, Network, Node, PointFeature, Segment

_MARKS = {"segment_id", "from_node", "to_node", "from_m", "length_m"}
_KEY = {
    Segment: ("id", "segment_id"),
    PointFeature: ("id", "feature_id"),
    Node: ("id", "node_id"),
    Backdrop: ("kind", "backdrop_kind"),
}
"""Field that makes a row one of these, and its column."""
_GEOMETRY = {
    Segment: ("line",),
    PointFeature: ("lon", "lat"),
    Node: ("lon", "lat"),
    Backdrop: ("line",),
}
_FINE_DEG = 1e-5
"""Ends of one node may differ by about a metre after a program has rounded them."""


def column_names(noun: type) -> dict[str, str]:
    """Column of each field of a noun that is not its geometry."""
    return {
        each.name: _KEY[noun][1] if each.name == _KEY[noun][0] else each.name
        for each in fields(noun)
        if each.name not in _GEOMETRY[noun]
    }


def is_own(table: LineTable, options: NetworkOptions) -> bool:
    """Whether crossfall wrote this table, and nobody asked to build the network anew."""
    is_marked = _MARKS.issubset(table.columns)
    return is_marked and not options.columns and options.keep_lines is not False


def is_road(table: LineTable, row: int) -> bool:
    """Whether a row is not a line that is only drawn behind the roads."""
    kinds = table.columns.get("backdrop_kind")
    return kinds is None or kinds[row] in (None, "")


def read_own(
    segments: LineTable,
    others: Sequence[LineTable],
    options: NetworkOptions,
) -> Network:
    """The network of these tables.

    Parameters
    ----------
    segments : LineTable
        Lines with the columns of a segment; whatever else is among them is read too.
    others : sequence of LineTable
        Further tables of point features, nodes and lines behind the roads.

    Raises
    ------
    InputError
        If a cell does not fit its field, or two lines say different things of one node.
    """
    bad: list[Problem] = []
    _has_geometry(segments, bad)
    roads = _lines(segments, Segment, options, bad)
    nodes: list[Node] = []
    features: list[PointFeature] = []
    backdrop: list[Backdrop] = []
    for table in (segments, *others):
        backdrop += _lines(table, Backdrop, options, bad)
        nodes += _points(table, Node, options, bad)
        features += _points(table, PointFeature, options, bad)
    refuse(bad)
    nodes += _missing_nodes(roads, nodes, segments.file, bad)
    refuse(bad)
    return Network(tuple(nodes), tuple(roads), tuple(features), tuple(backdrop))


def _has_geometry(table: LineTable, bad: list[Problem]) -> None:
    """A segment has one line with a length; nothing is dropped silently."""
    n_parts = np.bincount(table.line_row, minlength=table.n_rows)
    bad += [
        Problem(f"{table.file} {table.label(row)}", "the line is in several parts; join it")
        for row in np.flatnonzero(n_parts > 1).tolist()
    ]
    bad += [
        Problem(
            f"{table.file} {table.label(row)}", "there is no geometry; draw it or delete the row"
        )
        for row in table.empty_rows
    ]


def _lines(table: LineTable, noun: Any, options: NetworkOptions, bad: list[Problem]) -> list[Any]:
    """Segments, or lines behind the roads."""
    if _KEY[noun][1] not in table.columns or not len(table.line_row):
        return []
    lonlat = to_lonlat(table.places, table.crs, options, file=table.file)
    places, offsets = [tuple(place) for place in lonlat.tolist()], table.offsets.tolist()
    rows = table.line_row.tolist()
    mine = _rows_of(table, noun, rows)
    lines = [tuple(places[offsets[k] : offsets[k + 1]]) for k in mine]
    return _nouns(table, noun, [rows[k] for k in mine], {"line": lines}, bad)


def _points(table: LineTable, noun: Any, options: NetworkOptions, bad: list[Problem]) -> list[Any]:
    """Nodes, or point features."""
    if _KEY[noun][1] not in table.columns or not len(table.point_row):
        return []
    lonlat = to_lonlat(table.point_places, table.crs, options, file=table.file).tolist()
    rows = table.point_row.tolist()
    mine = _rows_of(table, noun, rows)
    lon, lat = [lonlat[k][0] for k in mine], [lonlat[k][1] for k in mine]
    return _nouns(table, noun, [rows[k] for k in mine], {"lon": lon, "lat": lat}, bad)


def _rows_of(table: LineTable, noun: Any, rows: list[int]) -> Sequence[int]:
    """Places in ``rows`` that are a ``noun``; a line that does not say is a segment without id."""
    if noun is Segment:
        if "backdrop_kind" not in table.columns:
            return range(len(rows))
        return [k for k, row in enumerate(rows) if is_road(table, row)]
    told = table.columns[_KEY[noun][1]]
    return [k for k, row in enumerate(rows) if told[row] not in (None, "")]


def _nouns(
    table: LineTable,
    noun: Any,
    rows: list[int],
    columns: dict[str, list[Any]],
    bad: list[Problem],
) -> list[Any]:
    """A noun for each row; none at all where a row does not fit, which is listed in ``bad``.

    ``columns`` holds the geometry by field; it is filled with the other fields.
    """
    unfit: set[int] = set()
    is_all = len(rows) == table.n_rows  # the usual case: every row is one of these, in order
    for name, column in column_names(noun).items():
        field, kind = _field(noun, name), _kind(noun, name)
        is_needed = field.default is MISSING and field.default_factory is MISSING
        if column not in table.columns:
            if is_needed:
                bad.append(Problem(table.file, f"there is no column {column!r}"))
            continue
        given = table.columns[column]
        cells = given if is_all else [given[row] for row in rows]
        empty = field.default
        if is_needed:
            empty = "" if name != _KEY[noun][0] and kind is str else _UNFIT
        if _stand_as_they_are(cells, kind):
            columns[name] = list(cells)
            continue
        read = {cell: _read(cell, kind) for cell in set(cells) if cell is not None}
        memory = {cell: _UNFIT if value is None else value for cell, value in read.items()}
        memory[None] = memory[""] = empty
        values = list(map(memory.__getitem__, cells))
        columns[name] = values
        if any(value is _UNFIT for value in memory.values()):
            for k, value in enumerate(values):
                if value is _UNFIT and k not in unfit:
                    unfit.add(k)
                    why = f"{cells[k]!r} is not {_expected(kind)}"
                    if cells[k] in (None, ""):
                        why = "is empty; every row needs it"
                    bad.append(_problem(table, rows[k], column, why))
    if bad:
        return []  # everything is refused together
    # By place and not by name: a country has millions
    in_order = (columns.get(each.name) or repeat(each.default) for each in fields(noun))
    return list(map(noun, *in_order)) if rows else []


_UNFIT = object()
"""In place of a cell that does not fit its field."""


def _stand_as_they_are(cells: Sequence[Any], kind: Any) -> bool:
    """Whether a column holds nothing but figures, or text in every cell, where it should."""
    if kind not in (float, str) or set(map(type, cells)) != {kind}:
        return False
    return all(cells) if kind is str else not any(map(isnan, cells))


def _problem(table: LineTable, row: int, column: str, message: str) -> Problem:
    return Problem(f"{table.file} {table.label(row)}, {column}", message)


@cache
def _field(noun: type, name: str) -> Field[Any]:
    return next(each for each in fields(noun) if each.name == name)


@cache
def _kind(noun: type, name: str) -> Any:
    """Type of a field; of an optional one, the type it has when it is there."""
    hint = get_type_hints(noun)[name]
    options = [each for each in get_args(hint) if each is not NoneType]
    return options[0] if get_origin(hint) is not Literal and len(options) == 1 else hint


def _read(cell: Any, kind: Any) -> Any:
    """The value of a cell, or None where it does not fit."""
    if get_origin(kind) is Literal:
        return cell if cell in get_args(kind) else None
    if kind is bool:
        return {"true": True, "1": True, "false": False, "0": False}.get(str(cell).lower())
    if kind is float:
        try:
            value = float(cell)
        except (TypeError, ValueError):
            return None
        return value if value == value else None
    return str(cell)


def _expected(kind: Any) -> str:
    if get_origin(kind) is Literal:
        return f"one of {', '.join(get_args(kind))}"
    return {bool: "true or false", float: "a figure"}.get(kind, "text")


def _missing_nodes(
    segments: list[Segment], nodes: list[Node], file: str, bad: list[Problem]
) -> list[Node]:
    """Nodes that no table gives, at the ends of their lines."""
    known = {node.id: (node.lon, node.lat) for node in nodes}
    new: list[Node] = []
    for segment in segments:
        line = segment.line
        if known.get(segment.from_node) == line[0] and known.get(segment.to_node) == line[-1]:
            continue
        for node_id, place in ((segment.from_node, line[0]), (segment.to_node, line[-1])):
            at = known.get(node_id)
            if at is None:
                known[node_id] = place
                new.append(Node(node_id, *place))
            elif max(abs(at[0] - place[0]), abs(at[1] - place[1])) > _FINE_DEG:
                bad.append(
                    Problem(
                        f"{file} segment {segment.id}",
                        f"its end at node {node_id} was moved away from the node; move the"
                        " others too, or build the network anew (keep_lines no)",
                    )
                )
    return new
