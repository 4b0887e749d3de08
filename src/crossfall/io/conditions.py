"""Inspections in and out as CSV, and the short list of bad roads for a first week.

The columns are the fields of a condition, units in the name. An unknown column
is an error; an empty cell says nothing; every bad cell is named before the file
is refused.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import date, datetime
from pathlib import Path
from statistics import median

from crossfall.errors import InputError, Problem, UnitsError, refuse
from crossfall.io.text import open_text
from crossfall.io.toml import write_text
from crossfall.io.written import likely, noun_of
from crossfall.model import Condition, Method, Network
from crossfall.model.policy import EntryPolicy

COLUMNS = tuple(each.name for each in fields(Condition))
SCORES = ("crown", "drainage", "gravel", "deformation", "defects")
NEEDED = ("segment_id", "observed_on", *SCORES)


@dataclass(frozen=True, slots=True)
class RoadsAsTold:
    """Which roads are bad, and when roads were last bladed; by segment id or by road name."""

    bad: tuple[str, ...]
    last_bladed: Mapping[str, date]


def read_conditions(
    path: str | Path, *, network: Network | None = None, policy: EntryPolicy | None = None
) -> tuple[Condition, ...]:
    """Read inspections; with ``network`` every segment must be one of its maintained ones.

    A row that does not say its ``method`` is ``measured`` when it has a measured figure, else
    ``estimated``: somebody looked.

    Raises
    ------
    InputError
        If a column or a cell is not what a condition has, or a segment was looked at twice on one
        day.
    UnitsError
        If crossfall or thickness can only be of another unit.
    """
    path, policy = Path(path), policy or EntryPolicy()
    problems: list[Problem] = []
    found: list[Condition] = []
    row_of: dict[tuple[str, date], int] = {}
    for row, cells in _rows(path, COLUMNS, NEEDED, problems):
        where = f"{path.name} row {row}"
        condition = noun_of(Condition, cells, where, problems, is_text=True)
        if condition is None:
            continue
        if "method" not in cells:
            condition = replace(condition, method=_method(condition))
        problems += _doubts(condition, where, network, policy)
        key = (condition.segment_id, condition.observed_on)
        if key in row_of:
            problems.append(
                Problem(where, f"looks at {key[0]} on {key[1]} again, as row {row_of[key]} did")
            )
        row_of.setdefault(key, row)
        found.append(condition)
    refuse(problems)
    if not found:
        raise InputError(f"{path.name} has a header and no row")
    _check_units(found, path, policy)
    return tuple(found)


def write_conditions(conditions: Iterable[Condition], path: str | Path) -> Path:
    """Write inspections so that :func:`read_conditions` gives them back, equal.

    Raises
    ------
    InputError
        If the folder is not there.
    """
    path = Path(path)
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    out.writerow(COLUMNS)
    for condition in conditions:
        out.writerow(_cell(getattr(condition, name)) for name in COLUMNS)
    write_text(path, text.getvalue())
    return path


def read_bad_roads(path: str | Path) -> RoadsAsTold:
    """The answer to "which roads are bad, and when were they last bladed?" from a CSV.

    Columns: ``road`` (a segment's id or a road's name), ``is_bad`` (yes when left out) and
    ``last_bladed_on``. Whether the roads exist is checked where the answer is used.

    Raises
    ------
    InputError
        If a column or a cell is not understood, or one road has two days of blading.
    """
    path = Path(path)
    problems: list[Problem] = []
    bad: list[str] = []
    last_bladed: dict[str, date] = {}
    for row, cells in _rows(path, ("road", "is_bad", "last_bladed_on"), ("road",), problems):
        where = f"{path.name} row {row}"
        told = noun_of(_Told, cells, where, problems, is_text=True)
        if told is None:
            continue
        if told.is_bad and told.road not in bad:
            bad.append(told.road)
        if told.last_bladed_on is not None:
            before = last_bladed.setdefault(told.road, told.last_bladed_on)
            if before != told.last_bladed_on:
                problems.append(Problem(where, f"{told.road} was last bladed on {before} above"))
    refuse(problems)
    return RoadsAsTold(tuple(bad), last_bladed)


@dataclass(frozen=True, slots=True)
class _Told:
    road: str
    is_bad: bool = True
    last_bladed_on: date | None = None


def _rows(
    path: Path, known: tuple[str, ...], needed: tuple[str, ...], problems: list[Problem]
) -> list[tuple[int, dict[str, str]]]:
    """Numbered rows as cells that say something."""
    with open_text(path) as lines:
        table = csv.reader(lines, strict=True)
        try:
            rows = [(table.line_num, row) for row in table]
        except csv.Error as error:
            raise InputError(f"{path.name} row {table.line_num} is not CSV ({error})") from None
    if not rows:
        raise InputError(f"{path.name} is empty; expected the columns {', '.join(needed)}")
    header = [name.strip() for name in rows[0][1]]
    for name in header:
        if name not in known:
            raise InputError(f"{path.name}: column {name!r} is unknown{likely(name, known)}")
        if header.count(name) > 1:
            raise InputError(f"{path.name}: column {name!r} is there twice")
    for name in needed:
        if name not in header:
            raise InputError(f"{path.name}: column {name!r} is missing")
    kept = []
    for row, cells in rows[1:]:
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(header):
            words = f"has {len(cells)} cells; expected {len(header)} as the header"
            problems.append(Problem(f"{path.name} row {row}", words))
            continue
        pairs = zip(header, cells, strict=True)
        kept.append((row, {name: cell.strip() for name, cell in pairs if cell.strip()}))
    return kept


_DISTRESS_MM = ("corrugation_mm", "pothole_mm", "rut_mm", "loose_mm")
_MEASURED = (
    "crossfall_pct",
    "gravel_mm",
    *_DISTRESS_MM,
    "corrugation_spacing_m",
    "pothole_count_per_km",
)


def _method(condition: Condition) -> Method:
    has_figure = any(getattr(condition, name) is not None for name in _MEASURED)
    return "measured" if has_figure else "estimated"


def _doubts(
    condition: Condition, where: str, network: Network | None, policy: EntryPolicy
) -> list[Problem]:
    """What cannot be so in one row."""
    limits = dict.fromkeys(SCORES, (1.0, 5.0)) | dict.fromkeys(
        _DISTRESS_MM, (0.0, policy.distress_max_mm)
    )
    limits |= {
        "crossfall_pct": (-policy.crossfall_max_pct, policy.crossfall_max_pct),
        "gravel_mm": (0.0, policy.gravel_max_mm),
        "corrugation_spacing_m": (0.0, policy.corrugation_spacing_max_m),
        "pothole_count_per_km": (0.0, policy.potholes_max_per_km),
    }
    found = []
    for name, (low, high) in limits.items():
        value = getattr(condition, name)
        if value is not None and not low <= value <= high:
            scale = " (failed to excellent)" if name in SCORES else ""
            words = f"is {value:g}; expected {low:g} to {high:g}{scale}"
            found.append(Problem(f"{where}, {name}", words))
    bladed = condition.last_bladed_on
    if bladed is not None and bladed > condition.observed_on:
        words = f"is {bladed}, after it was looked at on {condition.observed_on}"
        found.append(Problem(f"{where}, last_bladed_on", words))
    if network is not None:
        segment = network.segment_by_id.get(condition.segment_id)
        if segment is None:
            words = f"{condition.segment_id!r} is no segment of the network"
            found.append(Problem(f"{where}, segment_id", words))
        elif not segment.is_maintained:
            words = f"{condition.segment_id} ({segment.route}) is not maintained by this agency"
            found.append(Problem(f"{where}, segment_id", words))
    return found


def _check_units(found: list[Condition], path: Path, policy: EntryPolicy) -> None:
    """Refuse a column that reads like another unit."""
    for condition in found:
        slope = condition.crossfall_pct
        if slope is not None and 0 < slope < policy.crossfall_fraction_below:
            raise UnitsError(
                f"{path.name}, crossfall_pct of {condition.segment_id} is {slope:g} %; if it was"
                f" meant as a fraction write {100 * slope:g}"
            )
    thick = [c.gravel_mm for c in found if c.gravel_mm is not None]
    if len(thick) >= 3 and median(thick) < policy.gravel_median_min_mm:
        raise UnitsError(
            f"{path.name}, gravel_mm is {median(thick):g} mm at the median; if it is in inches"
            " multiply by 25.4"
        )


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date | datetime):
        return value.isoformat()
    return value if isinstance(value, str) else repr(value)
