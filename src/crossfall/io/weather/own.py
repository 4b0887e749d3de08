"""Columns of a weather CSV that carry our own names: the field and its unit are in the name."""

from __future__ import annotations

import csv
from pathlib import Path

from crossfall.io.text import open_text
from crossfall.io.weather.table import WHEN, delimiter

OWN_NAMES = {
    "rain_mm": ("rain", "mm"),
    "rain_in": ("rain", "in"),
    "tmin_c": ("tmin", "degC"),
    "tmin_f": ("tmin", "degF"),
    "tmax_c": ("tmax", "degC"),
    "tmax_f": ("tmax", "degF"),
    "temp_c": ("temp", "degC"),
    "temp_f": ("temp", "degF"),
    "dewpoint_c": ("dewpoint", "degC"),
    "dewpoint_f": ("dewpoint", "degF"),
    "wind_m_s": ("wind", "m/s"),
    "wind_km_h": ("wind", "km/h"),
    "wind_mph": ("wind", "mph"),
    "solar_mj_m2": ("solar", "MJ/m2"),
    "vapour_kpa": ("vapour", "kPa"),
}
"""Column to field and unit."""

_HOURLY_ONLY, _DAILY_ONLY = {"temp"}, {"tmin", "tmax"}


def with_own_names(
    path: Path, columns: dict[str, str], units: dict[str, str]
) -> tuple[dict[str, str], dict[str, str]]:
    """What was said of the columns, and for the rest those that carry our names.

    A date is found in ``date`` or ``time``, or in ``year``, ``month`` and ``day``, unless
    somebody said where it is. Of two columns for one field the first counts.
    """
    header = header_of(path)
    columns, units = dict(columns), dict(units)
    if not columns.keys() & set(WHEN):
        for names in (("time",), ("date",), ("year", "month", "day", "hour"), WHEN[2:5]):
            if set(names) <= set(header):
                columns |= {name: name for name in names}
                break
    is_hourly = bool({"time", "hour"} & columns.keys())
    foreign = _DAILY_ONLY if is_hourly else _HOURLY_ONLY
    taken = set(columns.values())
    for name in header:
        field, _ = OWN_NAMES.get(name, ("", ""))
        if field and field not in columns and name not in taken and field not in foreign:
            columns[field] = name
    for field, name in columns.items():
        if field not in units and OWN_NAMES.get(name, ("", ""))[0] == field:
            units[field] = OWN_NAMES[name][1]
    return columns, units


def has_own_names(path: Path) -> bool:
    """Whether rain stands under one of our names, so that nothing has to be said."""
    return any(OWN_NAMES.get(name, ("",))[0] == "rain" for name in header_of(path))


def header_of(path: Path) -> list[str]:
    """The names in the first line."""
    with open_text(path) as lines:
        return next(csv.reader(lines, delimiter=delimiter(path)), [])
