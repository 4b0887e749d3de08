"""One door for every track format: pieces of fixes, and counts of what could not be used."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
from pathlib import Path

import numpy as np

from crossfall.errors import InputError
from crossfall.io.tracks.profile import TrackProfile
from crossfall.network.fixes import UNKNOWN, Fixes

PIECE = 20_000
"""Fixes handed on at a time."""


@dataclass
class TrackStream:
    """A file that is being read."""

    file: str
    pieces: Iterator[Fixes]
    left_out: Counter[str] = field(default_factory=Counter)
    """What could not be used, and why; it grows while the pieces are read."""


class Collector:
    """Gathers fixes one at a time and hands them on in pieces."""

    def __init__(self) -> None:
        self._time: list[float] = []
        self._lon: list[float] = []
        self._lat: list[float] = []
        self._blade: list[int] = []

    def add(self, time_s: float, lon: float, lat: float, blade: int = UNKNOWN) -> None:
        self._time.append(time_s)
        self._lon.append(lon)
        self._lat.append(lat)
        self._blade.append(blade)

    @property
    def is_full(self) -> bool:
        return len(self._time) >= PIECE

    def take(self) -> Fixes:
        """What was gathered; the collector is empty afterwards."""
        fixes = Fixes(
            np.array(self._time),
            np.array(self._lon),
            np.array(self._lat),
            np.array(self._blade, dtype=np.int8),
        )
        self._time, self._lon, self._lat, self._blade = [], [], [], []
        return fixes


class ZoneMissingError(InputError):
    """A clock without a time zone, and nobody said which."""


def seconds_of(text: str, zone: tzinfo | None, time_format: str = "") -> float:
    """Seconds since 1970 of a time as files write it [s].

    Raises
    ------
    ZoneMissingError
        If the time has no zone and ``zone`` is None.
    ValueError
        If it is no time.

    Examples
    --------
    >>> seconds_of("2026-05-04T12:00:00Z", None)
    1777896000.0
    >>> seconds_of("1777896000", None)
    1777896000.0
    """
    said = text.strip()
    if time_format:
        when = datetime.strptime(said, time_format)  # noqa: DTZ007 - the zone follows below
    elif said.replace(".", "", 1).isdigit() and len(said.split(".")[0]) >= 9:
        figure = float(said)
        # Thirteen digits are milliseconds
        return figure / 1000 if figure > 1e11 else figure
    else:
        when = datetime.fromisoformat(said)
    if when.tzinfo is None:
        if zone is None:
            raise ZoneMissingError(
                f"{said!r} has no time zone; say which clock the device went by with --zone"
            )
        when = when.replace(tzinfo=zone)
    return when.astimezone(UTC).timestamp()


def open_track(path: str | Path, profile: TrackProfile | None = None) -> TrackStream:
    """Start reading a track: ``.gpx``, ``.nmea``, ``.csv``, ``.geojson`` or ``.json``.

    Parameters
    ----------
    path : path
    profile : TrackProfile, optional
        Columns, zone, first day; see there.

    Raises
    ------
    InputError
        At once if the file is absent or of an unknown kind; while reading, if it is damaged.
    """
    path, profile = Path(path), profile or TrackProfile()
    reader = READERS.get(path.suffix.lower())
    if reader is None:
        raise InputError(
            f"{path.name} has a name crossfall does not know as a track; expected one that ends in"
            f" {', '.join(READERS)}"
        )
    if not path.is_file():
        raise InputError(f"{path.name} is not there; expected a file with a track")
    left_out: Counter[str] = Counter()
    return TrackStream(path.name, reader(path, profile, left_out), left_out)


def _gpx(path: Path, profile: TrackProfile, left_out: Counter[str]) -> Iterator[Fixes]:
    from crossfall.io.tracks.gpx import read_gpx

    return read_gpx(path, profile, left_out)


def _nmea(path: Path, profile: TrackProfile, left_out: Counter[str]) -> Iterator[Fixes]:
    from crossfall.io.tracks.nmea import read_nmea

    return read_nmea(path, profile, left_out)


def _csv(path: Path, profile: TrackProfile, left_out: Counter[str]) -> Iterator[Fixes]:
    from crossfall.io.tracks.table import read_table

    return read_table(path, profile, left_out)


def _geojson(path: Path, profile: TrackProfile, left_out: Counter[str]) -> Iterator[Fixes]:
    from crossfall.io.tracks.geojson import read_geojson

    return read_geojson(path, profile, left_out)


READERS: dict[str, Callable[[Path, TrackProfile, Counter[str]], Iterator[Fixes]]] = {
    ".gpx": _gpx,
    ".nmea": _nmea,
    ".nma": _nmea,
    ".csv": _csv,
    ".geojson": _geojson,
    ".json": _geojson,
}
