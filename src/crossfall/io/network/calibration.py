"""Calibration tables: which metre of the agency's count lies where along the drawn line.

A CSV with ``segment_id`` and ``measure_m`` (metres from the segment's start as the agency counts
them), and either ``drawn_m`` (metres along the line as drawn) or ``lon`` and ``lat`` of the place,
as somebody read it off a marker post. Both must rise together; two rows at least for each segment.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

from crossfall.errors import InputError, Problem, refuse
from crossfall.io.network.csv_wkt import read_columns
from crossfall.model import Network
from crossfall.network.linear import Calibration, LinearReference

_KNOWN = {"segment_id", "measure_m", "drawn_m", "lon", "lat", "note"}
_FAR_M = 50.0


def read_calibrations(
    path: str | Path, network: Network, *, encoding: str = "utf-8"
) -> dict[str, Calibration]:
    """Pairs of metres for each segment that has some.

    Raises
    ------
    InputError
        If a column is missing or unknown, a segment is not on the map, a place lies off its road,
        or metres do not rise.
    """
    path = Path(path)
    if not path.is_file():
        raise InputError(f"{path.name} is not there; expected a calibration table")
    columns, numbers = read_columns(path, encoding=encoding)
    unknown = sorted(set(columns) - _KNOWN)
    if unknown or not {"segment_id", "measure_m"} <= columns.keys():
        what = f"the unknown column {unknown[0]!r}" if unknown else "too few columns"
        raise InputError(
            f"{path.name} has {what}; expected segment_id, measure_m and either drawn_m or lon and"
            " lat"
        )
    linear = LinearReference(network)
    found: dict[str, list[tuple[float, float]]] = {}
    bad: list[Problem] = []
    for row, number in enumerate(numbers):
        cells = {name: values[row] or "" for name, values in columns.items()}
        try:
            segment_id, pair = _pair(cells, linear)
        except ValueError as error:
            bad.append(Problem(f"{path.name} row {number}", str(error)))
            continue
        found.setdefault(segment_id, []).append(pair)
    for segment_id, pairs in found.items():
        pairs.sort()
        rises = all(b[0] > a[0] and b[1] > a[1] for a, b in pairwise(pairs))
        if len(pairs) < 2 or not rises:
            bad.append(
                Problem(
                    f"{path.name} segment {segment_id}",
                    "its metres do not rise together; expected at least two rows that do",
                )
            )
    refuse(bad)
    return {segment_id: tuple(pairs) for segment_id, pairs in found.items()}


def _pair(cells: dict[str, str], linear: LinearReference) -> tuple[str, tuple[float, float]]:
    segment_id = cells["segment_id"]
    segment = linear.network.segment_by_id.get(segment_id)
    if segment is None:
        raise InputError(f"segment {segment_id!r} is not on the map")
    measure_m = _figure(cells, "measure_m")
    if cells.get("drawn_m"):
        return segment_id, (measure_m, _figure(cells, "drawn_m"))
    lon, lat = _figure(cells, "lon"), _figure(cells, "lat")
    position = linear.project(segment_id, lon, lat)
    if position.offset_m > _FAR_M:
        raise InputError(
            f"({lon:g}, {lat:g}) lies {position.offset_m:.0f} m off segment {segment_id}; expected"
            " a place on it"
        )
    # Metres along the drawn line, from metres that are stretched to the official length
    return segment_id, (measure_m, linear.drawn_m(segment_id, position.at_m))


def _figure(cells: dict[str, str], name: str) -> float:
    text = cells.get(name, "")
    try:
        figure = float(text)
    except ValueError:
        figure = float("nan")
    if figure != figure or (name.endswith("_m") and figure < 0):
        raise InputError(f"{name} is {text!r}; expected a figure")
    return figure
