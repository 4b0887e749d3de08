"""Tracks as GeoJSON: points with a time each, or lines with their times beside them.

GeoJSON has no word of its own for time. Points say it in a property ``time`` (or ``timestamp``);
lines carry a list as long as the line in ``times``, ``coordTimes`` or
``coordinateProperties.times``. The whole file is read at once, so that large ones are refused.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from crossfall.errors import InputError
from crossfall.io.text import open_text
from crossfall.io.tracks.profile import TrackProfile
from crossfall.io.tracks.stream import Collector, ZoneMissingError, seconds_of
from crossfall.network.fixes import DOWN, UNKNOWN, UP, Fixes

_LARGEST_BYTES = 200_000_000
_TIME = ("time", "timestamp", "datetime")
_BLADE = ("blade", "blade_down", "pto")


def read_geojson(path: Path, profile: TrackProfile, left_out: Counter[str]) -> Iterator[Fixes]:
    """Fixes of all points and lines, in order of the file."""
    if path.stat().st_size > _LARGEST_BYTES:
        raise InputError(
            f"{path.name} has {path.stat().st_size / 1e6:.0f} MB; GeoJSON is read whole and up to"
            f" {_LARGEST_BYTES / 1e6:.0f} MB, export the track as GPX or CSV"
        )
    with open_text(path) as text:
        try:
            given = json.load(text)
        except (json.JSONDecodeError, RecursionError) as error:
            raise InputError(f"{path.name} is not JSON ({error})") from None
    features = given.get("features", [given]) if isinstance(given, dict) else None
    if not isinstance(features, list):
        raise InputError(f"{path.name} is JSON but not GeoJSON; expected a FeatureCollection")
    found = Collector()
    try:
        for feature in features:
            for time, place, blade in _fixes(feature, left_out):
                _add(time, place, blade, profile, found, left_out)
                if found.is_full:
                    yield found.take()
    except ZoneMissingError as error:
        raise InputError(f"{path.name}: {error}") from None
    yield found.take()


def _fixes(feature: Any, left_out: Counter[str]) -> Iterator[tuple[Any, Any, Any]]:
    if not isinstance(feature, dict):
        left_out["features of another kind"] += 1
        return
    told = feature.get("properties") or {}
    shape = feature.get("geometry") or {}
    kind, places = shape.get("type"), shape.get("coordinates")
    if kind == "Point":
        yield _first(told, _TIME), places, _first(told, _BLADE)
        return
    lines = {"LineString": [places], "MultiLineString": places}.get(str(kind))
    if not isinstance(lines, list):
        left_out["features of another kind"] += 1
        return
    times = _times(told)
    if kind == "LineString" and times is not None:
        times = [times]
    if (
        not isinstance(times, list)
        or len(times) != len(lines)
        or any(
            not isinstance(t, list) or not isinstance(line, list) or len(t) != len(line)
            for t, line in zip(times, lines, strict=True)
        )
    ):
        left_out["lines without a time for every place"] += 1
        return
    for line, when in zip(lines, times, strict=True):
        for place, time in zip(line, when, strict=True):
            yield time, place, None


def _times(told: dict[str, Any]) -> Any:
    inner = told.get("coordinateProperties")
    if isinstance(inner, dict) and "times" in inner:
        return inner["times"]
    return next((told[name] for name in ("times", "coordTimes") if name in told), None)


def _first(told: dict[str, Any], names: tuple[str, ...]) -> Any:
    return next((told[name] for name in names if told.get(name) is not None), None)


def _add(
    time: Any,
    place: Any,
    said: Any,
    profile: TrackProfile,
    found: Collector,
    left_out: Counter[str],
) -> None:
    if time is None:
        left_out["no time"] += 1
        return
    try:
        when = seconds_of(str(time), profile.zone, profile.time_format)
        lon, lat = float(place[0]), float(place[1])
    except ZoneMissingError:
        raise
    except (ValueError, TypeError, IndexError, KeyError):
        left_out["time or place that cannot be read"] += 1
        return
    blade = UNKNOWN
    if said is not None:
        blade = DOWN if str(said).strip().lower() in profile.blade_down else UP
    found.add(when, lon, lat, blade)
