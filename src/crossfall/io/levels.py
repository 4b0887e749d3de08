"""Levels along a ditch bottom, as a survey gives them."""

from __future__ import annotations

import csv
from pathlib import Path

from crossfall.errors import InputError
from crossfall.io.text import open_text

COLUMNS = ("at_m", "level_m")


def read_levels(path: str | Path) -> tuple[tuple[float, float], ...]:
    """Chainage and level of each point, in order of the chainage [m, m].

    Raises
    ------
    InputError
        If a column is missing or unknown, a cell is not a figure, or a chainage stands twice.
    """
    path = Path(path)
    with open_text(path) as lines:
        rows = [row for row in csv.reader(lines) if any(cell.strip() for cell in row)]
    header = [cell.strip() for cell in rows[0]] if rows else []
    if sorted(header) != sorted(COLUMNS):
        raise InputError(f"{path.name} has columns {header}; expected {', '.join(COLUMNS)}")
    found: dict[float, float] = {}
    for number, row in enumerate(rows[1:], start=2):
        cells = dict(zip(header, row, strict=False))
        try:
            at_m, level_m = (float(cells[name]) for name in COLUMNS)
        except (KeyError, ValueError):
            raise InputError(f"{path.name} row {number}: {row} is not two figures") from None
        if at_m in found:
            raise InputError(f"{path.name} row {number}: {at_m:g} m stands twice")
        found[at_m] = level_m
    if len(found) < 2:
        raise InputError(f"{path.name} has {len(found)} point(s); expected at least two")
    return tuple(sorted(found.items()))
