"""Yearly budgets from a small CSV file: year, budget and, if they like, currency."""

from __future__ import annotations

import csv
import math
from pathlib import Path

from crossfall.errors import InputError
from crossfall.io.text import open_text

_COLUMNS = ("year", "budget", "currency")


def read_budgets(
    path: str | Path, *, first_year: int, n_years: int, currency: str
) -> tuple[float, ...]:
    """Money of each year in minor units, ``n_years`` of them from ``first_year`` on.

    Budgets stand in whole units of money; years beyond those asked for are left aside.

    Raises
    ------
    InputError
        If a column is unknown or missing, a year is missing or there twice, a budget is no number
        or not above 0, or a currency is not the one that all rates are in.
    """
    path = Path(path)
    with open_text(path) as lines:
        rows = list(csv.DictReader(lines))
        heads = [name.strip().lower() for name in (rows[0] if rows else {}) if name]
    if "year" not in heads or "budget" not in heads:
        raise InputError(f"{path.name} needs the columns year and budget; it has {heads or 'none'}")
    unknown = sorted(set(heads) - set(_COLUMNS))
    if unknown:
        raise InputError(f"{path.name} has unknown columns {unknown}; expected {list(_COLUMNS)}")
    found: dict[int, float] = {}
    for number, row in enumerate(rows, start=2):
        told = {name.strip().lower(): (text or "").strip() for name, text in row.items() if name}
        year, money = _year(told, path, number), _money(told, path, number)
        named = told.get("currency") or currency
        if named != currency:
            raise InputError(
                f"{path.name} line {number}: the budget of {year} is in {named} and the rates are"
                f" in {currency}; enter all money in one currency"
            )
        if year in found:
            raise InputError(f"{path.name} line {number}: {year} is there twice")
        found[year] = money
    wanted = range(first_year, first_year + n_years)
    missing = [str(year) for year in wanted if year not in found]
    if missing:
        raise InputError(
            f"{path.name} has no budget for {', '.join(missing)}; expected every year from"
            f" {first_year} to {first_year + n_years - 1}"
        )
    return tuple(100 * found[year] for year in wanted)


def _year(told: dict[str, str], path: Path, number: int) -> int:
    try:
        return int(told["year"])
    except ValueError:
        raise InputError(
            f"{path.name} line {number}: year is {told['year']!r}; expected a year such as 2027"
        ) from None


def _money(told: dict[str, str], path: Path, number: int) -> float:
    try:
        money = float(told["budget"])
    except ValueError:
        money = math.nan
    if not (math.isfinite(money) and money > 0):
        raise InputError(
            f"{path.name} line {number}: budget is {told['budget']!r}; expected a number above 0,"
            " without separators or signs"
        )
    return money
