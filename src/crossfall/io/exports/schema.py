"""Nouns as rows: columns from their fields, with type, unit, key, and what a cell holds.

Every field becomes one column; what is nested is JSON in its cell. Text that a spreadsheet would
run as a formula is written with an apostrophe before it, and read without.
"""

from __future__ import annotations

import enum
import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import MISSING, dataclass, fields
from datetime import date, datetime
from functools import cache
from types import NoneType
from typing import Any, Literal, get_args, get_origin, get_type_hints

import cattrs
import shapely

from crossfall import model as nouns
from crossfall.errors import InputError
from crossfall.io.text import guarded, unguarded

UNITS = {
    "_m": "m",
    "_mm": "mm",
    "_km": "km",
    "_km_h": "km/h",
    "_m3": "m3",
    "_m3_h": "m3/h",
    "_m_s": "m/s",
    "_l": "L",
    "_l_m2": "L/m2",
    "_t": "t",
    "_t_m3": "t/m3",
    "_h": "h",
    "_min": "min",
    "_pct": "%",
    "_c": "degC",
    "_kpa": "kPa",
    "_mj_m2": "MJ/m2",
    "_deg": "deg",
    "_m_km": "m/km",
    "_per_km": "1/km",
}
"""Unit by the end of a column's name, longest end first."""


@dataclass(frozen=True)
class Table:
    """A kind of noun as a table."""

    name: str
    noun: type
    of: Callable[[nouns.District], Sequence[Any]]
    key: tuple[str, ...] = ("id",)
    refers: tuple[tuple[str, str], ...] = ()
    """(column, table whose key it names)."""
    is_line: bool = False
    is_point: bool = False

    @property
    def id_column(self) -> dict[str, str]:
        """Columns that have another name than their field."""
        return _RENAMED.get(self.noun, {})


_RENAMED: dict[type, dict[str, str]] = {
    nouns.Segment: {"id": "segment_id"},
    nouns.PointFeature: {"id": "feature_id"},
    nouns.Node: {"id": "node_id"},
    nouns.Backdrop: {"kind": "backdrop_kind"},
}

_ON_SEGMENT = (("segment_id", "segments"),)

TABLES: tuple[Table, ...] = (
    Table("nodes", nouns.Node, lambda d: d.network.nodes, ("node_id",), is_point=True),
    Table(
        "segments", nouns.Segment, lambda d: d.network.segments, ("segment_id",),
        (("from_node", "nodes"), ("to_node", "nodes")), is_line=True,
    ),
    Table(
        "features", nouns.PointFeature, lambda d: d.network.features, ("feature_id",),
        _ON_SEGMENT, is_point=True,
    ),
    Table("backdrop", nouns.Backdrop, lambda d: d.network.backdrop, (), is_line=True),
    Table("places", nouns.Place, lambda d: d.fleet.places),
    Table("machines", nouns.Machine, lambda d: d.fleet.machines, refers=(("home_id", "places"),)),
    Table(
        "operators", nouns.Operator, lambda d: d.fleet.operators,
        refers=(("machine_id", "machines"),),
    ),
    Table("pits", nouns.GravelPit, lambda d: d.fleet.pits, ()),
    Table("conditions", nouns.Condition, lambda d: d.conditions, (), _ON_SEGMENT),
    Table("observations", nouns.Observation, lambda d: d.observations, refers=_ON_SEGMENT),
    Table("hazards", nouns.Hazard, lambda d: d.hazards, refers=_ON_SEGMENT),
    Table("requests", nouns.Request, lambda d: d.requests, refers=_ON_SEGMENT),
    Table("records", nouns.WorkRecord, lambda d: d.records, refers=_ON_SEGMENT),
    Table("postings", nouns.LoadPosting, lambda d: d.postings),
    Table("clearances", nouns.Clearance, lambda d: d.clearances, refers=_ON_SEGMENT),
    Table("material_tests", nouns.MaterialTest, lambda d: d.material_tests),
    Table("pile_entries", nouns.PileEntry, lambda d: d.pile_entries),
    Table("edges", nouns.FittedEdge, lambda d: d.edges, refers=(("machine_id", "machines"),)),
    Table(
        "machine_days", nouns.MachineDay, lambda d: d.machine_days,
        refers=(("machine_id", "machines"),),
    ),
    Table("dust", nouns.DustApplication, lambda d: d.dust, refers=_ON_SEGMENT),
    Table("contracts", nouns.Contract, lambda d: d.contracts, refers=_ON_SEGMENT),
    Table("haul_agreements", nouns.HaulAgreement, lambda d: d.haul_agreements),
    Table("load_exemptions", nouns.LoadExemption, lambda d: d.load_exemptions),
    Table("signatures", nouns.DesignSignature, lambda d: d.signatures),
)  # fmt: skip
"""Every table of a district, those that others refer to first."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table."""

    name: str
    field: str
    hint: Any
    type: str
    """Of Table Schema: string, number, integer, boolean, date, datetime, array or object."""
    is_optional: bool
    words: tuple[str, ...] = ()
    unit: str = ""


@cache
def columns_of(table: Table) -> tuple[Column, ...]:
    """Columns of a table in the order of the noun's fields; lines and places become ``wkt``."""
    hints = get_type_hints(table.noun)
    found = []
    for each in fields(table.noun):
        if table.is_line and each.name == "line":
            continue
        if table.is_point and each.name in ("lon", "lat"):
            continue
        name = table.id_column.get(each.name, each.name)
        kind, is_optional, words = _kind(hints[each.name])
        found.append(
            Column(name, each.name, hints[each.name], kind, is_optional, words, unit_of(name))
        )
    if table.is_line or table.is_point:
        found.append(Column("wkt", "", str, "string", False))
    return tuple(found)


def unit_of(name: str) -> str:
    """Unit that a column's name says it is in; empty where it says none.

    Examples
    --------
    >>> unit_of("travel_km_h"), unit_of("length_m"), unit_of("route")
    ('km/h', 'm', '')
    """
    ends = [end for end in UNITS if name.endswith(end)]
    return UNITS[max(ends, key=len)] if ends else ""


def row_of(table: Table, noun: Any) -> list[str]:
    """The cells of one noun, as text."""
    cells = [
        _cell(getattr(noun, column.field), column) for column in columns_of(table) if column.field
    ]
    if table.is_line:
        cells.append(_wkt("LINESTRING", noun.line))
    elif table.is_point:
        cells.append(_wkt("POINT", [(noun.lon, noun.lat)]))
    return cells


def noun_of(table: Table, cells: Sequence[str], *, where: str) -> Any:
    """The noun of a row.

    Raises
    ------
    InputError
        If a cell does not fit its column; the message names ``where`` and the column.
    """
    given: dict[str, Any] = {}
    for column, cell in zip(columns_of(table), cells, strict=True):
        if not column.field:
            given |= _place(table, cell, where)
            continue
        try:
            given[column.field] = _value(cell, column)
        except (ValueError, TypeError, KeyError, cattrs.BaseValidationError):
            raise InputError(
                f"{where}, {column.name}: {cell[:60]!r} is not what the column holds"
                f" ({column.type}{', ' + column.unit if column.unit else ''})"
            ) from None
    return table.noun(**given)


def plain(value: Any, hint: Any) -> Any:
    """A value as JSON holds it."""
    return _CONVERTER.unstructure(value, hint)


def as_noun(given: Any, hint: Any) -> Any:
    """The value that :func:`plain` made such JSON of."""
    return _CONVERTER.structure(given, hint)


def _make_converter() -> cattrs.Converter:
    made = cattrs.Converter(forbid_extra_keys=True)
    made.register_unstructure_hook(date, lambda value: value.isoformat())
    made.register_structure_hook(date, lambda text, _: date.fromisoformat(text))
    made.register_unstructure_hook(datetime, lambda value: value.isoformat())
    made.register_structure_hook(datetime, lambda text, _: datetime.fromisoformat(text))
    return made


_CONVERTER = _make_converter()


def _kind(hint: Any) -> tuple[str, bool, tuple[str, ...]]:
    parts = get_args(hint)
    is_optional = NoneType in parts and get_origin(hint) is not tuple
    if is_optional:
        inner = tuple(part for part in parts if part is not NoneType)
        hint = inner[0] if len(inner) == 1 else hint
    if get_origin(hint) is Literal:
        return "string", is_optional, tuple(str(word) for word in get_args(hint))
    if isinstance(hint, type):
        if issubclass(hint, enum.Enum):
            return "string", is_optional, tuple(str(each.value) for each in hint)
        simple = {
            str: "string", float: "number", int: "integer", bool: "boolean", date: "date",
            datetime: "datetime",
        }  # fmt: skip
        if hint in simple:
            return simple[hint], is_optional, ()
        return "object", is_optional, ()
    return ("array" if get_origin(hint) is tuple else "object"), is_optional, ()


def _cell(value: Any, column: Column) -> str:
    if value is None:
        return ""
    if column.type == "boolean":
        return "true" if value else "false"
    if column.type == "number":
        return repr(float(value)).replace("inf", "INF").replace("nan", "NaN")
    if column.type == "integer":
        return str(value)
    if column.type in ("date", "datetime"):
        return value.isoformat()
    if column.type == "string":
        text = str(value.value) if isinstance(value, enum.Enum) else str(value)
        return guarded(text)
    return json.dumps(
        plain(value, column.hint), ensure_ascii=False, sort_keys=True, separators=(",", ":")
    )


def _value(cell: str, column: Column) -> Any:
    if cell == "" and column.is_optional:
        return None
    if column.type == "boolean":
        return {"true": True, "false": False}[cell]
    if column.type == "number":
        return float(cell)
    if column.type == "integer":
        return int(cell)
    if column.type == "date":
        return date.fromisoformat(cell)
    if column.type == "datetime":
        return datetime.fromisoformat(cell)
    if column.type == "string":
        text = unguarded(cell)
        if column.words and text not in column.words:
            raise ValueError(text)
        return _CONVERTER.structure(text, column.hint) if column.words else text
    return _CONVERTER.structure(json.loads(cell), column.hint)


def _wkt(kind: str, places: Iterable[tuple[float, float]]) -> str:
    return f"{kind} ({', '.join(f'{lon!r} {lat!r}' for lon, lat in places)})"


def _place(table: Table, cell: str, where: str) -> dict[str, Any]:
    wanted = "LineString" if table.is_line else "Point"
    try:
        shape = shapely.from_wkt(cell)
    except shapely.errors.GEOSException:
        shape = None
    if shape is None or shape.geom_type != wanted or shape.is_empty:
        raise InputError(f"{where}, wkt: {cell[:40]!r} is no place that fits")
    places = tuple((float(x), float(y)) for x, y in shapely.get_coordinates(shape).tolist())
    if table.is_line:
        return {"line": places}
    return {"lon": places[0][0], "lat": places[0][1]}


def has_default(noun: type, name: str) -> bool:
    """Whether a field may be left out of a file."""
    each = next(each for each in fields(noun) if each.name == name)
    return each.default is not MISSING or each.default_factory is not MISSING
