"""Reading an agency's cells, field by field.

A cell that cannot be read is collected with its row, so that one message can
name the first few; a word nobody explained is listed, and stays unknown.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields as dataclass_fields
from typing import Any

import numpy as np

from crossfall.errors import InputError, Problem, UnitsError
from crossfall.io.network import tags as osm_tags
from crossfall.io.network.options import NetworkOptions, is_maintained
from crossfall.io.network.table import LineTable
from crossfall.io.network.words import CLASS_WORDS, SURFACE_WORDS
from crossfall.io.text import is_formula
from crossfall.model.network import Surface, serves_words
from crossfall.network.roads import Flags, Floats, Ints, RoadFacts
from crossfall.units import factor

_YES = {"yes", "y", "true", "t", "1", "ft", "tf", "-1", "reverse", "forward"}
_NO = {"no", "n", "false", "f", "0", "", "b", "both", "none"}
_AGAINST = {"-1", "reverse", "tf"}


class Cells:
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
        for row in np.unique(self.table.line_row).tolist():
            each = ids[row]
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
        said, of_row = self.said()
        return [with_said(RoadFacts(), each, self.options) for each in said], of_row

    def said(self) -> tuple[list[dict[str, Any]], Ints]:
        """Different sets of what cells say, by our field, and the one of each row."""
        methods = ("measured", "computed", "estimated", "default")
        readers: dict[str, Callable[[Any, int], Any]] = {
            "route": self._free_text("route"),
            "jurisdiction": self._free_text("jurisdiction"),
            "district": self._free_text("district"),
            "material": self._free_text("material"),
            "road_class": self._word(CLASS_WORDS, "road_class", "local"),
            "surface": self._word(
                {**SURFACE_WORDS, **_lower(self.options.surface_words)}, "surface", "unknown"
            ),
            "width_m": self._width(),
            "adt": self._number("adt", 0, 200_000),
            "surface_source": self._choice(
                "surface_source", ("agency", "tag", "inferred", "unknown")
            ),
            "width_method": self._choice("width_method", methods),
            "gravel_method": self._choice("gravel_method", methods),
            "adt_method": self._choice("adt_method", methods),
            "heavy_share": self._number("heavy_share", 0, 1),
            "travel_km_h": self._number("travel_km_h", 1, 130),
            "gravel_mm": self._number("gravel_mm", 0, 1000),
            "grade_pct": self._number("grade_pct", 0, 40),
            "drainage": self._choice("drainage", ("good", "fair", "poor")),
            "shade": self._choice("shade", ("open", "partial", "forest")),
            "serves": self._serves(),
            "is_maintained": self._flag("is_maintained"),
            "is_oneway": self._flag("is_oneway"),
        }
        names = [name for name in readers if name in self.columns]
        read = [self._read_column(name, readers[name]) for name in names]
        number: dict[tuple[Any, ...], int] = {}
        rows = zip(*read, strict=True) if read else iter([()] * self.table.n_rows)
        fact = [number.setdefault(said, len(number)) for said in rows]
        told = [dict(zip(names, said, strict=True)) for said in number]
        return told, np.array(fact, dtype=np.int64)

    def _read_column(self, field: str, read: Callable[[Any, int], Any]) -> list[Any]:
        """Values of a column, each different cell read once; None where a cell is empty."""
        memory: dict[Any, Any] = {None: None, "": None}
        values: list[Any] = []
        for row, cell in enumerate(self._values(field) or ()):
            if cell not in memory:
                memory[cell] = read(cell, row)
            values.append(memory[cell])
        return values

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
                f"{self.table.file}, {name}: a length needs its unit; say --length-unit m, ft,"
                " km or mi"
            )
        return self.numbers("length_m") * factor(unit, "m")

    def flags(self, field: str) -> Flags:
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

    def against(self) -> Flags:
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

    def _free_text(self, field: str) -> Callable[[Any, int], Any]:
        """Names and the like; a cell that a spreadsheet would run as a formula is refused."""

        def read(value: Any, row: int) -> Any:
            text = _text(value)
            if is_formula(text):
                self._refuse(
                    field, row, f"{text[:40]!r} looks like a formula; write what it stands for"
                )
                return None
            return " ".join(text.split()) if field == "route" else text

        return read

    def _word(self, words: dict[str, Any], field: str, otherwise: str) -> Callable[[Any, int], Any]:
        strange: set[str] = set()
        is_surface = field == "surface"

        def read(value: Any, row: int) -> Any:
            word = _text(value).lower()
            if word in words:
                return words[word]
            if word == "unpaved" and is_surface:
                return "unpaved"
            if word not in strange:
                strange.add(word)
                hint = f"; say what it is, like --surface {word}=gravel" if is_surface else ""
                where = f"{self.table.file} {self.table.label(row)}, {self._name(field)}"
                self.problems.append(
                    Problem(
                        where, f"{word!r} means nothing to crossfall; taken as {otherwise}{hint}"
                    )
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
        policy = self.options.policy

        def read(value: Any, row: int) -> Any:
            said = osm_tags.metres(str(value))
            if said is None:
                self._refuse("width_m", row, f"{value!r} is not a width")
                return None
            has_own_unit = not str(value).strip().replace(".", "").replace(",", "").isdigit()
            width = said if has_own_unit else said * scale
            if width == 0:
                return None
            if unit is None and not has_own_unit and width > policy.width_feet_above_m:
                raise UnitsError(
                    f"{self.table.file} {self.table.label(row)}, {name}: {value} m is wide for a"
                    " road and looks like feet; say --width-unit ft or m"
                )
            if not policy.width_narrowest_m <= width <= policy.width_widest_m:
                self._refuse(
                    "width_m",
                    row,
                    f"{width:g} m is not a road's width; expected {policy.width_narrowest_m:g} to"
                    f" {policy.width_widest_m:g}",
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

    def _serves(self) -> Callable[[Any, int], Any]:
        def read(value: Any, row: int) -> Any:
            try:
                return serves_words(_text(value))
            except InputError as error:
                self._refuse("serves", row, str(error))
                return None

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


_FACTS = tuple(each.name for each in dataclass_fields(RoadFacts))


def with_said(facts: RoadFacts, said: dict[str, Any], options: NetworkOptions) -> RoadFacts:
    """Facts of a row with what its cells say in place of what was known; None says nothing."""
    fields = {name: value for name, value in said.items() if value is not None}
    if "route" in fields:
        fields["name"] = fields.pop("route")
    surface = fields.get("surface", "unknown")
    if surface == "unpaved":
        # The agency says that it is loose, not of what
        fields |= {"surface": "gravel", "surface_source": "inferred"}
    elif surface == "unknown":
        fields.pop("surface", None)
        fields.pop("surface_source", None)
    else:
        fields.setdefault("surface_source", "agency")
    fields["is_maintained"] = is_maintained(
        options,
        surface=fields.get("surface", facts.surface),
        road_class=fields.get("road_class", facts.road_class),
        jurisdiction=fields.get("jurisdiction", facts.jurisdiction),
        said=fields.get("is_maintained"),
    )
    # A file has as many sets of facts as roads; this is replace() without a look at every field
    return RoadFacts(**{**{name: getattr(facts, name) for name in _FACTS}, **fields})


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
