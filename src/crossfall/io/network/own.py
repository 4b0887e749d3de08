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
    mine = [k for k, row in enumerate(rows) if _is_one(table, noun, row)]
    given = _rows(table, noun, [rows[k] for k in mine], bad)
    return [
        noun(line=tuple(places[offsets[k] : offsets[k + 1]]), **said)
        for k, said in zip(mine, given, strict=True)
        if said is not None
    ]


def _points(table: LineTable, noun: Any, options: NetworkOptions, bad: list[Problem]) -> list[Any]:
    """Nodes, or point features."""
    if _KEY[noun][1] not in table.columns or not len(table.point_row):
        return []
    lonlat = to_lonlat(table.point_places, table.crs, options, file=table.file).tolist()
    rows = table.point_row.tolist()
    mine = [k for k, row in enumerate(rows) if _is_one(table, noun, row)]
    given = _rows(table, noun, [rows[k] for k in mine], bad)
    return [
        noun(lon=lonlat[k][0], lat=lonlat[k][1], **said)
        for k, said in zip(mine, given, strict=True)
        if said is not None
    ]


def _is_one(table: LineTable, noun: Any, row: int) -> bool:
    """Whether a row is a ``noun``; a line that does not say is a segment without its id."""
    if noun is Segment:
        return is_road(table, row)
    return table.columns[_KEY[noun][1]][row] not in (None, "")


def _rows(
    table: LineTable, noun: type, rows: list[int], bad: list[Problem]
) -> list[dict[str, Any] | None]:
    """Field values of each row; a row that does not fit is None and listed in ``bad``."""
    result: list[dict[str, Any] | None] = [{} for _ in rows]
    for name, column in column_names(noun).items():
        field, kind = _field(noun, name), _kind(noun, name)
        is_needed = field.default is MISSING and field.default_factory is MISSING
        if column not in table.columns:
            if is_needed:
                bad.append(Problem(table.file, f"there is no column {column!r}"))
            continue
        cells = table.columns[column]
        memory: dict[Any, Any] = {}
        for k, row in enumerate(rows):
            said, cell = result[k], cells[row]
            if said is None:
                continue
            if cell is None or cell == "":
                if is_needed and name != _KEY[noun][0] and kind is str:
                    said[name] = ""
                elif is_needed:
                    bad.append(_problem(table, row, column, "is empty; every row needs it"))
                    result[k] = None
                continue
            if cell not in memory:
                memory[cell] = _read(cell, kind)
            value = memory[cell]
            if value is None:
                bad.append(_problem(table, row, column, f"{cell!r} is not {_expected(kind)}"))
                result[k] = None
            else:
                said[name] = value
    return result


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
        for node_id, place in (
            (segment.from_node, segment.line[0]),
            (segment.to_node, segment.line[-1]),
        ):
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
