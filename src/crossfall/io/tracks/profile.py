"""What a person says about a track file: columns, time zone, first day, what a lowered blade is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import date, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from crossfall.errors import InputError
from crossfall.io.toml import read_toml

FIELDS = ("time", "date", "lat", "lon", "blade", "machine")
"""Ours, that a column of theirs can be mapped to."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TrackProfile:
    """How a track file is to be read; most formats need none of it.

    Raises
    ------
    InputError
        If a field is none of ours.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    """CSV: our field to their column, ``{"time": "DateTime", "blade": "Input1"}``."""
    zone: tzinfo | None = None
    """Time zone of clocks that do not say one."""
    first_day: date | None = None
    """NMEA without dates: the day of the first sentence, UTC."""
    blade_down: tuple[str, ...] = ("1", "true", "down", "on", "yes")
    """Words for a lowered blade, in lower case; every other word is up, an empty cell unknown."""
    delimiter: str = ","
    time_format: str = ""
    """As :meth:`datetime.datetime.strptime` takes it; empty is ISO 8601 or seconds since 1970."""
    machine: str = ""
    """CSV of several machines: the one that is wanted, as its column says it."""

    def __post_init__(self) -> None:
        for name in self.columns:
            if name not in FIELDS:
                raise InputError(f"columns names {name!r}; expected one of {', '.join(FIELDS)}")
        if len(self.delimiter) != 1:
            raise InputError(f"delimiter is {self.delimiter!r}; expected one character")


def zone_named(name: str) -> tzinfo:
    """The zone of that name.

    Raises
    ------
    InputError
        If there is none.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        raise InputError(
            f"zone is {name!r}; expected a zone such as America/Denver or UTC"
        ) from None


def read_profile(path: str | Path) -> TrackProfile:
    """A mapping profile from a small TOML file.

    ::

        zone = "America/Denver"
        blade_down = ["1", "On"]
        [columns]
        time = "Device time"
        lat = "Latitude"
        lon = "Longitude"
        blade = "Input 2"

    Raises
    ------
    InputError
        If the file is not TOML, or says something that is not known.
    """
    path = Path(path)
    said = read_toml(path)
    known = {each.name for each in fields(TrackProfile)}
    unknown = sorted(set(said) - known)
    if unknown:
        raise InputError(f"{path.name} says {unknown[0]!r}; expected {', '.join(sorted(known))}")
    if "zone" in said:
        said["zone"] = zone_named(str(said["zone"]))
    if "blade_down" in said:
        words = said["blade_down"]
        if not isinstance(words, list):
            raise InputError(f"{path.name}, blade_down is {words!r}; expected a list of words")
        said["blade_down"] = tuple(str(word).strip().lower() for word in words)
    if not isinstance(said.get("columns", {}), dict):
        raise InputError(f"{path.name}, columns is not a table; expected [columns] with pairs")
    return TrackProfile(**said)
