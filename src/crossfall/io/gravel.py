"""Gradations, piles, specifications and cutting edges, as files that a laboratory or a shop gives.

Columns and keys carry their units. A sieve stands once, a column that is not known is refused, and
every pile says its price in one currency.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

from crossfall.design.calculator import Edge, Pile
from crossfall.errors import InputError
from crossfall.formulas.gradation import check_grading
from crossfall.io.text import open_text
from crossfall.io.toml import read_toml
from crossfall.model.policy.specifications import SieveBand, Specification

_SIEVE = "sieve_mm"
_PASSING = "passing_pct"


def read_gradings(path: str | Path) -> dict[str, dict[float, float]]:
    """Gradations of a CSV: a column ``sieve_mm`` and one ``passing_pct`` for each sample.

    A file of one sample calls its column ``passing_pct``; in a file of several each column is a
    name before ``_passing_pct``. An empty cell says that the sieve was not used for that sample.

    Returns
    -------
    dict
        Name to gradation; the name of a lone sample is the file's.

    Raises
    ------
    InputError
        If a column is unknown or missing, a cell is not a figure, a sieve stands twice, or a
        gradation is not possible.
    """
    path = Path(path)
    with open_text(path) as lines:
        rows = [row for row in csv.reader(lines) if any(cell.strip() for cell in row)]
    if len(rows) < 2:
        raise InputError(f"{path.name} is empty; expected a header and a row for each sieve")
    header = [cell.strip() for cell in rows[0]]
    names = _sample_names(path, header)
    found: dict[str, dict[float, float]] = {name: {} for name in names.values()}
    seen: set[float] = set()
    for number, row in enumerate(rows[1:], start=2):
        where = f"{path.name} row {number}"
        if len(row) > len(header):
            raise InputError(f"{where} has {len(row)} cells; the header has {len(header)}")
        cells = dict(zip(header, (cell.strip() for cell in row), strict=False))
        sieve = _figure(cells.get(_SIEVE, ""), f"{where}, {_SIEVE}")
        if sieve in seen:
            raise InputError(f"{where}: the {sieve:g} mm sieve stands twice")
        seen.add(sieve)
        for column, name in names.items():
            if cells.get(column, ""):
                found[name][sieve] = _figure(cells[column], f"{where}, {column}")
    return {name: dict(check_grading(each, name=name)) for name, each in found.items()}


def read_grading(path: str | Path) -> dict[float, float]:
    """The one gradation of a file.

    Raises
    ------
    InputError
        If there are several.
    """
    found = read_gradings(path)
    if len(found) > 1:
        raise InputError(f"{Path(path).name} has {len(found)} samples; expected one")
    return next(iter(found.values()))


def read_piles(path: str | Path, *, prices: Mapping[str, float] | None = None) -> tuple[Pile, ...]:
    """Piles to blend, from TOML (``[[pile]]`` tables) or from a CSV of gradations.

    In TOML each pile has ``name``, ``price_per_t``, a table ``passing_pct`` of sieve in mm to
    percent, and where known ``currency``, ``plasticity`` (a figure or ``"NP"``) and
    ``available_share``. A CSV has no prices; they come in ``prices`` by name.

    Raises
    ------
    InputError
        If a key is unknown, a price is missing, or a gradation is not possible.
    """
    path = Path(path)
    if path.suffix.lower() == ".toml":
        if prices:
            raise InputError(f"{path.name} has its own prices; a price beside it is one too many")
        return tuple(_pile(path.name, each) for each in _tables(path, "pile"))
    gradings = read_gradings(path)
    given = dict(prices or {})
    missing = [name for name in gradings if name not in given]
    unknown = [name for name in given if name not in gradings]
    if missing or unknown:
        told = f"no price for {missing[0]!r}" if missing else f"a price for unknown {unknown[0]!r}"
        raise InputError(f"{path.name}: {told}; the piles are {', '.join(gradings)}")
    return tuple(Pile(name, each, given[name]) for name, each in gradings.items())


def read_specifications(path: str | Path) -> tuple[Specification, ...]:
    """Specifications of an agency's own, from TOML (``[[specification]]`` tables).

    Each has ``name``, ``source`` and ``bands``, a list of ``[sieve_mm, low_pct, high_pct]``.

    Raises
    ------
    InputError
        If a key is unknown or missing, or a band is not possible.
    """
    path = Path(path)
    return tuple(_specification(path.name, each) for each in _tables(path, "specification"))


def read_edges(path: str | Path) -> tuple[Edge, ...]:
    """Cutting edges to compare, from TOML (``[[edge]]`` tables); the first is the one to beat.

    Each has ``name``, ``set_price`` and ``life_h``, and where known ``change_h``, ``currency`` and
    ``bladings_ratio``, which is 1 until it was measured.

    Raises
    ------
    InputError
        If a key is unknown or missing.
    """
    path = Path(path)
    edges = []
    for each in _tables(path, "edge"):
        _refuse_keys(path.name, each, {item.name for item in fields(Edge)})
        _require(path.name, each, ("name", "set_price", "life_h"))
        edges.append(Edge(**_typed(path.name, each, text=("name", "currency"))))
    return tuple(edges)


def _sample_names(path: Path, header: list[str]) -> dict[str, str]:
    names = {}
    for column in header:
        if column == _SIEVE:
            continue
        if column == _PASSING:
            names[column] = path.stem
        elif column.endswith(f"_{_PASSING}") and column != f"_{_PASSING}":
            names[column] = column.removesuffix(f"_{_PASSING}")
        else:
            hint = "; inches are times 25.4" if "in" in column.split("_") else ""
            raise InputError(
                f"{path.name} has a column {column!r}; expected {_SIEVE}, {_PASSING} or"
                f" NAME_{_PASSING}{hint}"
            )
    if _SIEVE not in header or not names:
        raise InputError(f"{path.name} lacks {_SIEVE} or a column that ends in {_PASSING}")
    if len(set(header)) < len(header):
        raise InputError(f"{path.name} has a column twice")
    return names


def _pile(file: str, table: Mapping[str, Any]) -> Pile:
    allowed = {"name", "price_per_t", "currency", "plasticity", "available_share", _PASSING}
    _refuse_keys(file, table, allowed)
    _require(file, table, ("name", "price_per_t", _PASSING))
    grading = _table_of_sieves(file, table)
    plasticity = table.get("plasticity")
    if isinstance(plasticity, str) and plasticity != "NP":
        raise InputError(f"{file}: plasticity is {plasticity!r}; expected a figure or 'NP'")
    plain = {key: value for key, value in table.items() if key not in (_PASSING, "plasticity")}
    typed = _typed(file, plain, text=("name", "currency"))
    typed["price"] = typed.pop("price_per_t")
    return Pile(
        grading=grading,
        plasticity="NP" if plasticity == "NP" else _maybe(file, "plasticity", plasticity),
        **typed,
    )


def _table_of_sieves(file: str, table: Mapping[str, Any]) -> dict[float, float]:
    given = table[_PASSING]
    if not isinstance(given, Mapping):
        raise InputError(f"{file}: {_PASSING} is {given!r}; expected a table of sieve to percent")
    where = f"{file}, {table['name']}"
    found = {
        _figure(key, f"{where}, sieve"): _number(where, _PASSING, value)
        for key, value in given.items()
    }
    return dict(check_grading(found, name=str(table["name"])))


def _specification(file: str, table: Mapping[str, Any]) -> Specification:
    names = {each.name for each in fields(Specification)}
    _refuse_keys(file, table, names)
    _require(file, table, ("name", "source", "bands"))
    bands = []
    for band in table["bands"]:
        if not isinstance(band, list) or len(band) != 3:
            raise InputError(f"{file}: a band is {band!r}; expected [sieve_mm, low_pct, high_pct]")
        sieve, low, high = (_number(file, "bands", each) for each in band)
        if not (sieve > 0 and 0 <= low <= high <= 100):
            raise InputError(
                f"{file}: band {band} is not possible; expected a sieve above 0 mm and"
                " 0 <= low <= high <= 100 %"
            )
        bands.append(SieveBand(sieve, low, high))
    rest = {key: value for key, value in table.items() if key not in ("bands", "is_verified")}
    return Specification(
        bands=tuple(bands),
        is_verified=table.get("is_verified") is True,
        **_typed(file, rest, text=("name", "source", "note")),
    )


def _tables(path: Path, name: str) -> list[Mapping[str, Any]]:
    content = read_toml(path)
    _refuse_keys(path.name, content, {name})
    tables = content.get(name)
    if not isinstance(tables, list) or not tables:
        raise InputError(f"{path.name} has no [[{name}]] table")
    return tables


def _refuse_keys(file: str, table: Mapping[str, Any], allowed: set[str]) -> None:
    unknown = sorted(set(table) - allowed)
    if unknown:
        raise InputError(f"{file} says {unknown[0]!r}; expected {', '.join(sorted(allowed))}")


def _require(file: str, table: Mapping[str, Any], names: tuple[str, ...]) -> None:
    missing = [name for name in names if name not in table]
    if missing:
        called = f" of {table['name']}" if "name" in table else ""
        raise InputError(f"{file} does not say {missing[0]}{called}")


def _typed(file: str, table: Mapping[str, Any], *, text: tuple[str, ...]) -> dict[str, Any]:
    typed: dict[str, Any] = {}
    for key, value in table.items():
        if key in text:
            if not isinstance(value, str) or not (value.strip() or key == "note"):
                raise InputError(f"{file}: {key} is {value!r}; expected words in quotes")
            typed[key] = value
        else:
            typed[key] = _number(file, key, value)
    return typed


def _maybe(file: str, name: str, value: Any) -> float | None:
    return None if value is None else _number(file, name, value)


def _number(file: str, name: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{file}: {name} is {value!r}; expected a figure")
    return float(value)


def _figure(text: str, where: str) -> float:
    try:
        return float(text)
    except ValueError:
        hint = "; write a decimal point" if "," in text else ""
        raise InputError(f"{where} is {text!r}; expected a figure{hint}") from None
