"""Inspections in and out as CSV, and the short list of bad roads for a first week.

The columns are the fields of a condition, units in the name. An unknown column
is an error; an empty cell says nothing. Every row is judged: the file is taken
whole or refused with each bad row named, or its good rows are kept and the bad
ones handed back.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import date, datetime
from pathlib import Path

from crossfall.errors import InputError, Problem, UnitsError, refuse
from crossfall.io.survey_doubts import MEASURED, SCORES, clashes, doubts_of, inches_in_columns
from crossfall.io.text import open_text
from crossfall.io.toml import write_text
from crossfall.io.written import likely, noun_of
from crossfall.model import Condition, Method, Network
from crossfall.model.policy import EntryPolicy

COLUMNS = tuple(each.name for each in fields(Condition))
NEEDED = ("segment_id", "observed_on", *SCORES)


@dataclass(frozen=True, slots=True)
class RoadsAsTold:
    """Which roads are bad, and when roads were last bladed; by segment id or by road name."""

    bad: tuple[str, ...]
    last_bladed: Mapping[str, date]
    rows: Mapping[str, int] = field(default_factory=dict)
    """The first row of the file that names each road."""


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that was not taken, as it stood in the file, and everything wrong with it."""

    row: int
    cells: tuple[str, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class Survey:
    """A survey file, sorted into rows that can be used and rows that cannot; nothing is lost."""

    file: str
    header: tuple[str, ...]
    looks: tuple[Condition, ...]
    bad: tuple[BadRow, ...]

    @property
    def problems(self) -> tuple[Problem, ...]:
        """What is wrong, row by row."""
        return tuple(problem for row in self.bad for problem in row.problems)

    def summary(self) -> str:
        """One sentence."""
        return f"{self.file}: {len(self.looks)} looks, {len(self.bad)} rows that cannot be used"


def read_survey(
    path: str | Path,
    *,
    network: Network | None = None,
    policy: EntryPolicy | None = None,
    today: date | None = None,
    also: Callable[[Condition], Iterable[tuple[str, str]]] | None = None,
) -> Survey:
    """Read inspections, judging every row; with ``network`` its segments must be maintained ones.

    ``also`` gives further doubts of a look as pairs of field and words, such as photos that cannot
    be used; a row with one of them is bad like any other.

    A row that does not say its ``method`` is ``measured`` when it has a measured figure, else
    ``estimated``: somebody looked. With ``today`` no look may be later.

    Raises
    ------
    InputError
        If the file cannot be read, a column is unknown, doubled or missing, or there is no row.
    """
    path, policy = Path(path), policy or EntryPolicy()
    header, rows = _table(path, (*COLUMNS, _BACK), NEEDED)
    wrong: dict[str, list[Problem]] = {}
    looks: list[tuple[str, Condition]] = []
    for row in rows:
        where = f"{path.name} row {row.number}"
        problems: list[Problem] = []
        cells = row.named(header, where, problems)
        cells.pop(_BACK, None)
        look = noun_of(Condition, cells, where, problems, is_text=True) if cells else None
        if look is not None:
            if "method" not in cells:
                look = replace(look, method=_method(look))
            problems += doubts_of(look, where, network=network, policy=policy, today=today)
            if also is not None:
                problems += [Problem(f"{where}, {field}", words) for field, words in also(look)]
            looks.append((where, look))
        if problems:
            wrong[where] = problems
    if not rows:
        raise InputError(f"{path.name} has a header and no row")
    for where, problem in inches_in_columns(looks, policy).items():
        # The column says it better than the row alone
        kept = [each for each in wrong.get(where, ()) if each.where != problem.where]
        wrong[where] = [*kept, problem]
    for where, problem in clashes(looks, network).items():
        wrong.setdefault(where, []).append(problem)
    return Survey(
        file=path.name,
        header=tuple(name for name in header if name != _BACK),
        looks=tuple(look for where, look in looks if where not in wrong),
        bad=tuple(
            BadRow(row.number, _without(header, row.cells), tuple(wrong[where]))
            for row in rows
            if (where := f"{path.name} row {row.number}") in wrong
        ),
    )


def read_conditions(
    path: str | Path,
    *,
    network: Network | None = None,
    policy: EntryPolicy | None = None,
    today: date | None = None,
) -> tuple[Condition, ...]:
    """Read inspections whole, or not at all: :func:`read_survey` keeps the good rows instead.

    Raises
    ------
    InputError
        If a column or a cell is not what a condition has, or a place was looked at twice on one
        day.
    UnitsError
        If the only slips are figures that can only be of another unit.
    """
    return whole_survey(read_survey(path, network=network, policy=policy, today=today))


def whole_survey(survey: Survey) -> tuple[Condition, ...]:
    """All looks of a survey without a bad row.

    Raises
    ------
    InputError
        If there is a bad row; UnitsError if all that is wrong is of another unit.
    """
    problems = survey.problems
    if problems and all(_is_of_units(problem) for problem in problems):
        raise UnitsError("; ".join(str(problem) for problem in problems[:_MOST_QUOTED]))
    refuse(problems)
    return survey.looks


def write_bad_rows(survey: Survey, path: str | Path) -> Path:
    """Hand the rows that were not taken back, each with what is wrong, to be mended.

    Raises
    ------
    InputError
        If the folder is not there.
    """
    path = Path(path)
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    out.writerow((*survey.header, _BACK))
    for row in survey.bad:
        cells = (*row.cells, *[""] * (len(survey.header) - len(row.cells)))
        words = "; ".join(
            f"{each.where.partition(', ')[2]} {each.message}".strip() for each in row.problems
        )
        out.writerow((*cells, words))
    write_text(path, text.getvalue())
    return path


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
    named: dict[str, int] = {}
    for row, cells in _rows(path, ("road", "is_bad", "last_bladed_on"), ("road",), problems):
        where = f"{path.name} row {row}"
        told = noun_of(_Told, cells, where, problems, is_text=True)
        if told is None:
            continue
        named.setdefault(told.road, row)
        if told.is_bad and told.road not in bad:
            bad.append(told.road)
        if told.last_bladed_on is not None:
            before = last_bladed.setdefault(told.road, told.last_bladed_on)
            if before != told.last_bladed_on:
                problems.append(Problem(where, f"{told.road} was last bladed on {before} above"))
    refuse(problems)
    return RoadsAsTold(tuple(bad), last_bladed, named)


@dataclass(frozen=True, slots=True)
class _Told:
    road: str
    is_bad: bool = True
    last_bladed_on: date | None = None


@dataclass(frozen=True, slots=True)
class _Row:
    number: int
    cells: tuple[str, ...]

    def named(self, header: list[str], where: str, problems: list[Problem]) -> dict[str, str]:
        """Cells that say something, by column."""
        if len(self.cells) != len(header):
            words = f"has {len(self.cells)} cells; expected {len(header)} as the header"
            problems.append(Problem(where, words))
            return {}
        pairs = zip(header, self.cells, strict=True)
        return {name: cell.strip() for name, cell in pairs if cell.strip()}


def _rows(
    path: Path, known: tuple[str, ...], needed: tuple[str, ...], problems: list[Problem]
) -> list[tuple[int, dict[str, str]]]:
    """Numbered rows as cells that say something."""
    header, rows = _table(path, known, needed)
    named = (
        (row.number, row.named(header, f"{path.name} row {row.number}", problems)) for row in rows
    )
    return [(number, cells) for number, cells in named if cells]


def _table(
    path: Path, known: tuple[str, ...], needed: tuple[str, ...]
) -> tuple[list[str], list[_Row]]:
    """Header and the rows below it that hold anything."""
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
    return header, [_Row(n, tuple(cells)) for n, cells in rows[1:] if any(map(str.strip, cells))]


def _method(look: Condition) -> Method:
    has_figure = any(getattr(look, name) is not None for name in MEASURED)
    return "measured" if has_figure else "estimated"


_MOST_QUOTED = 3
_BACK = "problem"
"""The column in which bad rows come back; it is passed over when they are mended and read again."""


def _without(header: list[str], cells: tuple[str, ...]) -> tuple[str, ...]:
    if _BACK not in header:
        return cells
    at = header.index(_BACK)
    return cells[:at] + cells[at + 1 :]


def _is_of_units(problem: Problem) -> bool:
    return "in inches" in problem.message or "as a fraction" in problem.message


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, tuple):
        return " ".join(value)
    return value if isinstance(value, str) else repr(value)
