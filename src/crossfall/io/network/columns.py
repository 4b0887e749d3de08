"""An agency's columns: which is the name, which the surface, and in what unit.

Columns with exact well-known names are found by themselves; a mapping names the
others. A mapping that names a column which is not there is an error, a cell
that cannot be read names its row, and a surface word nobody explained stays
unknown and is listed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from difflib import get_close_matches
from typing import Any

import numpy as np

from crossfall.errors import InputError, Problem, UnitsError, refuse
from crossfall.io.network import tags as osm_tags
from crossfall.io.network.options import NetworkOptions
from crossfall.io.network.place import to_lonlat
from crossfall.io.network.source import Found
from crossfall.io.network.table import LineTable
from crossfall.model.network import RoadClass, Surface
from crossfall.network.roads import Floats, Ints, RoadFacts, RoadLines
from crossfall.units import factor

WELL_KNOWN: dict[str, tuple[str, ...]] = {
    "id": ("segment_id", "id", "road_id", "roadid", "seg_id", "segmentid", "external_id"),
    "route": (
        "route", "name", "road_name", "roadname", "street", "street_name", "streetname",
        "fullname", "full_name", "rd_name", "st_name",
    ),
    "road_class": (
        "road_class", "roadclass", "class", "func_class", "functional_class", "funcclass",
        "highway",
    ),
    "surface": ("surface", "surface_type", "surfacetype", "surf_type", "surftype", "surf"),
    "width_m": (
        "width_m", "width_ft", "width", "road_width", "road_width_m", "road_width_ft",
        "surf_width", "surf_width_m", "surf_width_ft",
    ),
    "adt": ("adt", "aadt"),
    "adt_method": ("adt_method",),
    "heavy_share": ("heavy_share",),
    "jurisdiction": ("jurisdiction", "owner", "ownership", "maint_by", "maintained_by"),
    "district": ("district",),
    "is_maintained": ("is_maintained", "maintained"),
    "is_oneway": ("is_oneway", "oneway", "one_way"),
    "length_m": ("length_m", "length_ft", "length_km", "length_mi", "miles"),
    "travel_km_h": ("travel_km_h",),
    "material": ("material",),
    "drainage": ("drainage",),
    "shade": ("shade",),
    "gravel_mm": ("gravel_mm",),
    "grade_pct": ("grade_pct",),
    "max_mass_t": ("max_mass_t",),
    "is_bridge": ("is_bridge", "bridge"),
    "level": ("level", "layer"),
    "wkt": ("wkt", "geometry", "geom", "the_geom"),
}  # fmt: skip
"""Column names found without a mapping, in lower case, first match first."""

SURFACE_WORDS: dict[str, Surface] = {
    **osm_tags.SURFACE,
    **dict.fromkeys(("gravel", "aggregate", "crushed rock", "crushed stone", "stone"), "gravel"),
    **dict.fromkeys(("earth", "dirt", "native", "native material", "unimproved"), "earth"),
    **dict.fromkeys(("paved", "asphalt", "concrete", "bituminous", "chip seal"), "paved"),
    **dict.fromkeys(("unknown", ""), "unknown"),
}

CLASS_WORDS: dict[str, RoadClass] = {
    **osm_tags.ROAD_CLASS,
    **dict.fromkeys(("arterial", "principal arterial", "minor arterial", "major"), "arterial"),
    **dict.fromkeys(("collector", "major collector", "minor collector"), "collector"),
    **dict.fromkeys(("local", "local road", "residential"), "local"),
    **dict.fromkeys(("minimum", "minimum maintenance", "primitive"), "minimum"),
}

_YES = {"yes", "y", "true", "t", "1", "ft", "tf", "-1", "reverse", "forward"}
_NO = {"no", "n", "false", "f", "0", "", "b", "both", "none"}
_AGAINST = {"-1", "reverse", "tf"}
_WIDEST_M, _NARROWEST_M = 40.0, 1.5
_WIDE_GRAVEL_M = 15.0


def find_columns(table: LineTable, options: NetworkOptions) -> dict[str, str]:
    """Our field to their column: the mapping first, then exact well-known names.

    Raises
    ------
    InputError
        If the mapping names a column that is not there; lists those that are.
    """
    found: dict[str, str] = {}
    by_lower = {name.lower(): name for name in reversed(list(table.columns))}
    for ours, theirs in options.columns.items():
        if theirs not in table.columns:
            close = get_close_matches(theirs, list(table.columns), n=1)
            hint = f"did you mean {close[0]!r}?" if close else _shown(list(table.columns))
            raise InputError(f"{table.file} has no column {theirs!r} (named for {ours}); {hint}")
        found[ours] = theirs
    taken = set(found.values())
    for ours, names in WELL_KNOWN.items():
        if ours in found:
            continue
        for name in names:
            if name in by_lower and by_lower[name] not in taken:
                found[ours] = by_lower[name]
                taken.add(by_lower[name])
                break
    return found


def lines_of_table(table: LineTable, options: NetworkOptions) -> Found:
    """Lines of an agency, with what the columns say of each road.

    Raises
    ------
    InputError
        If there is no line, an id is doubled, a line has no length, a column named in the
        mapping is absent, or a cell cannot be read.
    """
    if not len(table.line_row):
        what = ", ".join(f"{n} {kind}" for kind, n in table.others.items()) or "nothing"
        raise InputError(f"{table.file} has no line in it (but {what}); expected road lines")
    columns = find_columns(table, options)
    table.places = to_lonlat(table.places, table.crs, options, file=table.file)
    problems: list[Problem] = []
    keep, n_zero = _usable(table, options, problems)
    cells = _Cells(table, columns, options, problems)
    ids = cells.ids()
    facts, fact_of_row = cells.facts()
    limits, official = cells.numbers("max_mass_t"), cells.official_m()
    level, is_bridge = cells.level(), cells.flags("is_bridge")
    against = cells.against()
    refuse(cells.bad)

    row = table.line_row
    lines = RoadLines(
        ids=[ids[each] for each in row.tolist()],
        places=_turned(table.places, table.offsets, against[row]),
        offsets=table.offsets,
        facts=facts,
        fact=fact_of_row[row],
        level=level[row],
        is_bridge=is_bridge[row],
        max_mass_t=limits[row],
        official_m=_shared_by_parts(official, row),
        rows=[table.label(each) for each in row.tolist()],
    )
    left_out: dict[str, int] = {f"{kind} geometries": n for kind, n in table.others.items()}
    if table.empty_rows:
        left_out["rows without a line"] = len(table.empty_rows)
    return Found(
        lines=lines.only(keep) if not keep.all() else lines,
        left_out=left_out,
        problems=problems,
        assumed=cells.assumed,
        unused_columns=tuple(c for c in table.columns if c not in set(columns.values())),
        n_zero_length=n_zero,
    )


def _usable(
    table: LineTable, options: NetworkOptions, problems: list[Problem]
) -> tuple[np.ndarray, int]:
    """Lines with a length; the others are refused, or left out when asked."""
    sizes = np.diff(table.offsets)
    first = np.repeat(table.places[table.offsets[:-1]], sizes, axis=0)
    differs = np.any(table.places != first, axis=1).astype(np.int64)
    has_length = np.add.reduceat(differs, table.offsets[:-1]) > 0
    bad = [
        Problem(f"{table.file} {table.label(int(row))}", "the line has no length")
        for row in table.line_row[~has_length]
    ]
    bad += [
        Problem(f"{table.file} {table.label(row)}", "there is no geometry")
        for row in table.empty_rows
    ]
    if bad and not options.skip_bad:
        refuse(
            [
                Problem(each.where, each.message + "; mend it, or leave such rows out (skip_bad)")
                for each in bad
            ]
        )
    problems += bad
    return has_length, int(np.count_nonzero(~has_length))


class _Cells:
    """Reads the mapped columns; what cannot be read is collected in ``bad``."""

    def __init__(
        self,
        table: LineTable,
        columns: dict[str, str],
        options: NetworkOptions,
        problems: list[Problem],
    ) -> None:
        self.table, self.columns, self.options = table, columns, options
        self.problems = problems
        self.bad: list[Problem] = []
        self.assumed: list[str] = []

    def ids(self) -> list[str]:
        values = self._values("id")
        if values is None:
            values = self.table.row_ids or [None] * self.table.n_rows
        ids = ["" if value is None else _text(value) for value in values]
        first: dict[str, int] = {}
        for row, each in enumerate(ids):
            if each and first.setdefault(each, row) != row:
                self.bad.append(
                    Problem(
                        f"{self.table.file} {self.table.label(row)}, {self._name('id')}",
                        f"{each!r} is also the id of {self.table.label(first[each])};"
                        " ids must be unique",
                    )
                )
        return ids

    def facts(self) -> tuple[list[RoadFacts], Ints]:
        """Different sets of facts, and the one of each row."""
        readers: dict[str, Callable[[Any, int], Any]] = {
            "route": lambda value, _: " ".join(_text(value).split()),
            "jurisdiction": lambda value, _: _text(value),
            "district": lambda value, _: _text(value),
            "material": lambda value, _: _text(value),
            "road_class": self._word(CLASS_WORDS, "road_class", "local"),
            "surface": self._word(
                {**SURFACE_WORDS, **_lower(self.options.surface_words)}, "surface", "unknown"
            ),
            "width_m": self._width(),
            "adt": self._number("adt", 0, 200_000),
            "adt_method": self._choice(
                "adt_method", ("measured", "computed", "estimated", "default")
            ),
            "heavy_share": self._number("heavy_share", 0, 1),
            "travel_km_h": self._number("travel_km_h", 1, 130),
            "gravel_mm": self._number("gravel_mm", 0, 1000),
            "grade_pct": self._number("grade_pct", 0, 40),
            "drainage": self._choice("drainage", ("good", "fair", "poor")),
            "shade": self._choice("shade", ("open", "partial", "forest")),
            "is_maintained": self._flag("is_maintained"),
            "is_oneway": self._flag("is_oneway"),
        }
        names = [name for name in readers if name in self.columns]
        values = [self._values(name) or [] for name in names]
        known: dict[tuple[Any, ...], int] = {}
        facts: dict[RoadFacts, int] = {}
        fact_of_row = np.zeros(self.table.n_rows, dtype=np.int64)
        rows = zip(*values, strict=True) if values else iter([()] * self.table.n_rows)
        for row, cells in enumerate(rows):
            code = known.get(cells)
            if code is None:
                said = {
                    name: readers[name](cell, row)
                    for name, cell in zip(names, cells, strict=True)
                    if cell is not None and cell != ""
                }
                code = facts.setdefault(_facts(said), len(facts))
                known[cells] = code
            fact_of_row[row] = code
        return list(facts), fact_of_row

    def numbers(self, field: str) -> Floats:
        values = self._values(field)
        if values is None:
            return np.full(self.table.n_rows, np.nan)
        read = self._number(field, 0, 1e9)
        cells = (np.nan if v is None or v == "" else read(v, row) for row, v in enumerate(values))
        return np.array([np.nan if v is None else v for v in cells], dtype=np.float64)

    def official_m(self) -> Floats:
        name = self.columns.get("length_m")
        if name is None:
            return np.full(self.table.n_rows, np.nan)
        unit = self.options.length_unit or _unit_in(name, ("m", "ft", "km", "mi"))
        if name.lower() == "miles":
            unit = "mi"
        if unit is None:
            raise UnitsError(
                f"{self.table.file}, {name}: a length needs its unit; name it (length_unit m, ft,"
                " km or mi)"
            )
        return self.numbers("length_m") * factor(unit, "m")

    def flags(self, field: str) -> np.ndarray:
        values = self._values(field)
        if values is None:
            return np.zeros(self.table.n_rows, dtype=np.bool_)
        read = self._flag(field)
        return np.array(
            [v is not None and bool(read(v, row)) for row, v in enumerate(values)], dtype=np.bool_
        )

    def level(self) -> Ints:
        level = np.nan_to_num(self.numbers("level"), nan=0.0).astype(np.int64)
        if "level" not in self.columns:
            level[self.flags("is_bridge")] = 1
        return level

    def against(self) -> np.ndarray:
        """Rows drawn against the only direction of travel."""
        values = self._values("is_oneway")
        if values is None:
            return np.zeros(self.table.n_rows, dtype=np.bool_)
        return np.array([_text(v).lower() in _AGAINST for v in values], dtype=np.bool_)

    def _values(self, field: str) -> Sequence[Any] | None:
        name = self.columns.get(field)
        return None if name is None else self.table.columns[name]

    def _name(self, field: str) -> str:
        return self.columns.get(field, field)

    def _refuse(self, field: str, row: int, message: str) -> None:
        where = f"{self.table.file} {self.table.label(row)}, {self._name(field)}"
        self.bad.append(Problem(where, message))

    def _word(self, words: dict[str, Any], field: str, otherwise: str) -> Callable[[Any, int], Any]:
        strange: set[str] = set()

        def read(value: Any, row: int) -> Any:
            word = _text(value).lower()
            if word in words:
                return words[word]
            if word == "unpaved" and field == "surface":
                return "unpaved"
            if word not in strange:
                strange.add(word)
                where = f"{self.table.file} {self.table.label(row)}, {self._name(field)}"
                self.problems.append(
                    Problem(where, f"{word!r} means nothing to crossfall; taken as {otherwise}")
                )
            return otherwise

        return read

    def _number(self, field: str, low: float, high: float) -> Callable[[Any, int], Any]:
        def read(value: Any, row: int) -> Any:
            try:
                number = float(value)
            except (TypeError, ValueError):
                number = float("nan")
            if not low <= number <= high:
                self._refuse(field, row, f"{value!r} is not a figure from {low:g} to {high:g}")
                return None
            return number

        return read

    def _width(self) -> Callable[[Any, int], Any]:
        name = self._name("width_m")
        unit = self.options.width_unit or _unit_in(name, ("m", "ft"))
        scale = 1.0 if unit is None else factor(unit, "m")

        def read(value: Any, row: int) -> Any:
            said = osm_tags.metres(str(value))
            if said is None:
                self._refuse("width_m", row, f"{value!r} is not a width")
                return None
            has_own_unit = not str(value).strip().replace(".", "").replace(",", "").isdigit()
            width = said if has_own_unit else said * scale
            if width == 0:
                return None
            if unit is None and not has_own_unit and width > _WIDE_GRAVEL_M:
                raise UnitsError(
                    f"{self.table.file} {self.table.label(row)}, {name}: {value} m is wide for a"
                    " road and looks like feet; say which (width_unit m or ft)"
                )
            if not _NARROWEST_M <= width <= _WIDEST_M:
                self._refuse(
                    "width_m",
                    row,
                    f"{width:g} m is not a road's width; expected {_NARROWEST_M:g} to"
                    f" {_WIDEST_M:g}",
                )
                return None
            return width

        return read

    def _choice(self, field: str, words: tuple[str, ...]) -> Callable[[Any, int], Any]:
        def read(value: Any, row: int) -> Any:
            word = _text(value).lower()
            if word not in words:
                self._refuse(field, row, f"{value!r} is unknown; expected {', '.join(words)}")
                return None
            return word

        return read

    def _flag(self, field: str) -> Callable[[Any, int], Any]:
        def read(value: Any, row: int) -> Any:
            word = _text(value).lower()
            if word in _YES:
                return True
            if word not in _NO:
                self._refuse(field, row, f"{value!r} is neither yes nor no")
            return False

        return read


def _facts(said: dict[str, Any]) -> RoadFacts:
    """Facts of a row from the cells that hold something."""
    names = {"route": "name", "is_maintained": "says_maintained"}
    fields = {names.get(name, name): value for name, value in said.items() if value is not None}
    surface = fields.get("surface", "unknown")
    if surface == "unpaved":
        # The agency says that it is loose, not of what
        fields |= {"surface": "gravel", "surface_source": "inferred"}
    elif surface != "unknown":
        fields["surface_source"] = "agency"
    return RoadFacts(**fields)


def _turned(places: Floats, offsets: Ints, against: np.ndarray) -> Floats:
    if not against.any():
        return places
    places = places.copy()
    for line in np.flatnonzero(against).tolist():
        part = slice(offsets[line], offsets[line + 1])
        places[part] = places[part][::-1].copy()
    return places


def _shared_by_parts(official: Floats, row: Ints) -> Floats:
    """A length of a row in several parts belongs to none of them."""
    return np.where(np.bincount(row)[row] == 1, official[row], np.nan)


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return "" if value is None else str(value).strip()


def _lower(words: Any) -> dict[str, Surface]:
    return {word.lower(): surface for word, surface in words.items()}


def _unit_in(name: str, units: tuple[str, ...]) -> Any:
    last = name.lower().rsplit("_", 1)[-1]
    return last if "_" in name and last in units else None


def _shown(names: list[str]) -> str:
    return f"it has {', '.join(names[:12])}" + (" and more" if len(names) > 12 else "")
