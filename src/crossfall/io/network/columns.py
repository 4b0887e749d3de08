"""An agency's columns: which is the name, which the surface, and in what unit.

Columns with exact well-known names are found by themselves; a mapping names the
others. A mapping that names a column which is not there is an error.
"""

from __future__ import annotations

from difflib import get_close_matches

import numpy as np

from crossfall.errors import InputError, Problem, refuse
from crossfall.io.network.cells import Cells
from crossfall.io.network.options import NetworkOptions
from crossfall.io.network.own import is_road
from crossfall.io.network.place import jumps, to_lonlat
from crossfall.io.network.points import found_in_table, has_kinds
from crossfall.io.network.source import Found
from crossfall.io.network.table import LineTable
from crossfall.io.network.words import WELL_KNOWN
from crossfall.network.roads import Flags, Floats, Ints, RoadLines


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
        kinds = {"Point": len(table.point_row), "no geometry": len(table.empty_rows)}
        kinds = {kind: n for kind, n in (kinds | table.others).items() if n}
        what = ", ".join(f"{n} {kind}" for kind, n in kinds.items()) or "nothing"
        raise InputError(f"{table.file} has no line in it (but {what}); expected road lines")
    columns = find_columns(table, options)
    table = table.only_lines(np.array([is_road(table, r) for r in table.line_row.tolist()]))
    table.places = to_lonlat(table.places, table.crs, options, file=table.file)
    problems: list[Problem] = []
    keep, n_zero = _usable(table, options, problems)
    cells = Cells(table, columns, options, problems)
    ids = cells.ids()
    facts, fact_of_row = cells.facts()
    limits, official = cells.numbers("max_mass_t"), cells.official_m()
    level, is_bridge = cells.level(), cells.flags("is_bridge")
    against = cells.against()
    points, _ = (
        found_in_table(table, options, cells.bad, among_roads=True)
        if has_kinds(table) and len(table.point_row)
        else ([], [])
    )
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
    if len(table.point_row) and not points:
        left_out["points without a kind"] = len(table.point_row)
    if table.empty_rows:
        left_out["rows without a line"] = len(table.empty_rows)
    return Found(
        lines=lines.only(keep) if not keep.all() else lines,
        points=points,
        left_out=left_out,
        problems=problems,
        assumed=cells.assumed,
        unused_columns=tuple(c for c in table.columns if c not in set(columns.values())),
        n_zero_length=n_zero,
    )


def _usable(
    table: LineTable, options: NetworkOptions, problems: list[Problem]
) -> tuple[Flags, int]:
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
    jump_km = jumps(table.places, table.offsets, longest_km=options.policy.longest_step_km)
    bad += [
        Problem(
            f"{table.file} {table.label(int(table.line_row[line]))}",
            f"the line jumps {jump_km[line]:,.0f} km between two of its vertices",
        )
        for line in np.flatnonzero(jump_km).tolist()
    ]
    if bad and not options.skip_bad:
        refuse(
            [
                Problem(
                    each.where, each.message + "; mend it, or leave such rows out with --skip-bad"
                )
                for each in bad
            ]
        )
    problems += bad
    return has_length & (jump_km == 0), int(np.count_nonzero(~has_length))


def _turned(places: Floats, offsets: Ints, against: Flags) -> Floats:
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


def _shown(names: list[str]) -> str:
    return f"it has {', '.join(names[:12])}" + (" and more" if len(names) > 12 else "")
