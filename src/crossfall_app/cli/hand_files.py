"""Rows that people type into CSV and TOML files, read against the noun they become.

A column or key that the noun does not know is an error; every problem names the file, the row and
the field, and all of them are found before anything is refused.
"""

from __future__ import annotations

import csv
import enum
import math
import types
from collections.abc import Iterable, Mapping
from dataclasses import MISSING, fields
from datetime import date
from pathlib import Path
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from crossfall.errors import InputError, Problem, refuse

Noun = TypeVar("Noun")
_YES, _NO = {"yes", "y", "true", "1"}, {"no", "n", "false", "0"}


def read_csv(path: Path, *, known: Iterable[str], needed: Iterable[str]) -> list[dict[str, str]]:
    """Rows of a CSV with a header; cells are stripped, and empty ones left out.

    Raises
    ------
    InputError
        If the file is not there, is not text, is empty, or has unknown or missing columns.
    """
    known, needed = list(known), list(needed)
    try:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            rows = list(csv.reader(stream))
    except FileNotFoundError:
        raise InputError(f"{path.name} does not exist") from None
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputError(f"{path.name} is not CSV in UTF-8 ({error})") from None
    if not rows:
        raise InputError(f"{path.name} is empty; expected the columns {', '.join(needed)}")
    header = [name.strip() for name in rows[0]]
    unknown = [name for name in header if name not in known]
    if unknown:
        raise InputError(
            f"{path.name}: column {unknown[0]!r} is unknown; expected {', '.join(known)}"
        )
    absent = [name for name in needed if name not in header]
    if absent:
        raise InputError(f"{path.name}: column {absent[0]!r} is missing")
    doubled = [name for name in header if header.count(name) > 1]
    if doubled:
        raise InputError(f"{path.name}: column {doubled[0]!r} is there twice")
    found, problems = [], []
    for number, cells in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(header):
            message = f"has {len(cells)} cells; expected {len(header)} as the header"
            problems.append(Problem(f"{path.name} row {number}", message))
            continue
        row = {name: cell.strip() for name, cell in zip(header, cells, strict=True)}
        found.append({"": str(number)} | {name: cell for name, cell in row.items() if cell})
    refuse(problems)
    if not found:
        raise InputError(f"{path.name} has a header and no row")
    return found


def noun_of(
    noun: type[Noun], given: Mapping[str, Any], where: str, problems: list[Problem]
) -> Noun | None:
    """One noun from what a row or a table says; what is wrong is added to ``problems``."""
    hints, n_before = get_type_hints(noun), len(problems)
    names = [each.name for each in fields(noun)]  # type: ignore[arg-type]
    values: dict[str, Any] = {}
    for name, value in given.items():
        if name not in names:
            problems.append(Problem(f"{where}, {name}", f"is unknown; expected {', '.join(names)}"))
            continue
        try:
            values[name] = value_of(hints[name], value)
        except InputError as error:
            problems.append(Problem(f"{where}, {name}", str(error)))
    for each in fields(noun):  # type: ignore[arg-type]
        has_default = each.default is not MISSING or each.default_factory is not MISSING
        if not has_default and each.name not in given:
            problems.append(Problem(f"{where}, {each.name}", "is missing"))
    return noun(**values) if len(problems) == n_before else None


def value_of(hint: Any, value: Any) -> Any:
    """A typed or written value as the annotation wants it.

    Examples
    --------
    >>> value_of(float, "3.5"), value_of(bool, "yes"), value_of(date | None, "2026-05-12")
    (3.5, True, datetime.date(2026, 5, 12))
    >>> value_of(float, "wide")
    Traceback (most recent call last):
    ...
    crossfall.errors.InputError: is 'wide'; expected a number
    """
    origin, parts = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        (inner,) = (part for part in parts if part is not type(None))
        return value_of(inner, value)
    if origin is Literal:
        return _one_of(value, parts)
    if origin is tuple:
        if not isinstance(value, list | tuple):
            raise InputError(f"is {value!r}; expected a list in brackets")
        return tuple(value_of(parts[0], each) for each in value)
    if isinstance(hint, type) and issubclass(hint, enum.Enum):
        return hint(_one_of(value, tuple(each.value for each in hint)))
    if hint is float:
        return _figure(value)
    if hint is int:
        figure = _figure(value)
        if figure != int(figure):
            raise InputError(f"is {value!r}; expected a whole number")
        return int(figure)
    if hint is bool:
        return _yes_or_no(value)
    if hint is date:
        return _date(value)
    if hint is str and isinstance(value, str):
        return value
    raise InputError(f"is {value!r}; expected text in quotes")


def _figure(value: Any) -> float:
    try:
        figure = float(value) if not isinstance(value, bool) else math.nan
    except (TypeError, ValueError):
        figure = math.nan
    if not math.isfinite(figure):
        raise InputError(f"is {value!r}; expected a number")
    return figure


def _one_of(value: Any, expected: tuple[Any, ...]) -> Any:
    if value not in expected:
        raise InputError(f"is {value!r}; expected {', '.join(str(each) for each in expected)}")
    return value


def _yes_or_no(value: Any) -> bool:
    told = str(value).strip().lower()
    if told in _YES | _NO:
        return told in _YES
    raise InputError(f"is {value!r}; expected yes or no")


def _date(value: Any) -> date:
    if isinstance(value, date):
        return value
    try:
        return date.fromisoformat(str(value))
    except ValueError:
        raise InputError(f"is {value!r}; expected a day such as 2026-05-12") from None
