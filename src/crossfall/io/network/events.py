"""Attribute events from CSV: one row for a stretch of road and one fact about it.

Columns ``segment_id`` (or ``route``), ``from_m``, ``to_m``, ``name``, ``value``
and, if wanted, ``side`` and ``source``. Metres are from the segment's start, or
measures along the route; a stretch that runs over several segments is cut.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import get_args

from crossfall.errors import InputError, Problem, refuse
from crossfall.io.network.csv_wkt import read_columns
from crossfall.model import Network, Side
from crossfall.network.events import check_event
from crossfall.network.linear import Calibration, LinearReference, LineEvent, Position

_NEEDED = ("from_m", "to_m", "name", "value")
_KNOWN = {"segment_id", "route", "side", "source", *_NEEDED}


def read_events(
    path: str | Path,
    network: Network,
    *,
    calibrations: Mapping[str, Calibration] | None = None,
    encoding: str = "utf-8",
) -> tuple[LineEvent, ...]:
    """Read a table of events.

    Parameters
    ----------
    path : path
    network : Network
        The one the metres are of.
    calibrations : mapping of segment id to Calibration, optional
        Where the agency's metres were tied to places: its metres are turned into ours, which are
        stretched evenly over the drawn line.

    Raises
    ------
    InputError
        If a column is missing or unknown, or a row does not fit the network.
    """
    path = Path(path)
    if not path.is_file():
        raise InputError(f"{path.name} is not there; expected a file to read events from")
    columns, numbers = read_columns(path, encoding=encoding)
    unknown = [name for name in columns if name not in _KNOWN]
    missing = [name for name in _NEEDED if name not in columns]
    if unknown or missing or not {"segment_id", "route"} & columns.keys():
        what = f"the unknown column {unknown[0]!r}" if unknown else "too few columns"
        raise InputError(
            f"{path.name} has {what}; expected segment_id or route, {', '.join(_NEEDED)} and,"
            " if wanted, side and source"
        )
    linear = LinearReference(network)
    counted = LinearReference(network, calibrations=calibrations)
    events: list[LineEvent] = []
    bad: list[Problem] = []
    for row, number in enumerate(numbers):
        cells = {name: values[row] for name, values in columns.items()}
        try:
            found = _events_of(cells, linear)
        except ValueError as error:
            bad.append(Problem(f"{path.name} row {number}", str(error)))
            continue
        found = [_as_ours(event, counted, linear) for event in found]
        for event in found:
            wrong = check_event(event, network)
            if wrong is not None:
                bad.append(Problem(f"{path.name} row {number}", wrong))
        events += found
    refuse(bad)
    return tuple(events)


def _as_ours(event: LineEvent, counted: LinearReference, ours: LinearReference) -> LineEvent:
    """An event in metres that the calibration counts, in metres stretched evenly over the line."""
    if not counted.is_calibrated(event.segment_id):
        return event
    from_m, to_m = (
        ours.official_m(event.segment_id, counted.drawn_m(event.segment_id, metres))
        for metres in (event.from_m, event.to_m)
    )
    return replace(event, from_m=from_m, to_m=to_m)


def position_of(cells: Mapping[str, str | None], column: str, linear: LinearReference) -> Position:
    """Position from ``segment_id`` or ``route`` and the metres in ``column``."""
    metres = _metres(cells, column)
    segment_id, route = cells.get("segment_id"), cells.get("route")
    if segment_id:
        linear.place(segment_id, metres)  # refuses what lies beyond its ends
        return Position(segment_id, metres)
    if route:
        return linear.on_route(route, metres)
    raise InputError("neither segment_id nor route is given")


def _events_of(cells: Mapping[str, str | None], linear: LinearReference) -> list[LineEvent]:
    said = cells.get("side") or "both"
    side = next((each for each in get_args(Side) if each == said), None)
    if side is None:
        raise InputError(f"side is {said!r}; expected left, right or both")
    from_m, to_m = _metres(cells, "from_m"), _metres(cells, "to_m")
    segment_id, route = cells.get("segment_id"), cells.get("route")
    if segment_id:
        stretches = [(segment_id, from_m, to_m)]
    elif route:
        stretches = linear.stretches(route, from_m, to_m)
    else:
        raise InputError("neither segment_id nor route is given")
    name, value = cells.get("name") or "", cells.get("value") or ""
    return [
        LineEvent(each, start, end, name, value, side, cells.get("source") or "")
        for each, start, end in stretches
    ]


def _metres(cells: Mapping[str, str | None], column: str) -> float:
    text = cells.get(column)
    try:
        metres = float(text or "")
    except ValueError:
        metres = float("nan")
    if not metres >= 0:
        raise InputError(f"{column} is {text!r}; expected metres from the start")
    return metres
