"""Are these coordinates where they should be? Degrees, metres or feet; the right way round.

A file whose place is in doubt is refused: a network in the wrong country, or
of roads a hundred kilometres wide, makes every later figure wrong.
"""

from __future__ import annotations

import numpy as np
import pyproj
from pyproj.exceptions import CRSError

from crossfall.errors import InputError, UnitsError
from crossfall.io.network.options import NetworkOptions
from crossfall.network.roads import Floats, Ints

_EARTH_KM = 6371.0
_FOOT_M = 0.3048
_MARGIN_DEG = 3.0


def to_lonlat(places: Floats, crs: str | None, options: NetworkOptions, *, file: str) -> Floats:
    """Coordinates as lon, lat on WGS 84 [degrees].

    Parameters
    ----------
    places : ndarray, shape (vertex, 2)
        As the file has them: x (east) first.
    crs : str or None
        What the file says of its coordinate system; ``options.crs`` speaks where it is silent.

    Raises
    ------
    UnitsError
        If they are plausible only as feet or metres.
    InputError
        If the system is unknown, latitude and longitude are swapped, or the lines lie far
        from the place they should be at.
    """
    named = crs or options.crs
    if named is not None:
        places = _from_crs(places, named, file=file)
    _in_degrees(places, file=file)
    return places


def near_enough(places: Floats, options: NetworkOptions, *, file: str) -> None:
    """Refuse lines far from where they should be; say so when swapping would mend it."""
    target = options.near
    if target is None and options.existing is not None and options.existing.nodes:
        nodes = options.existing.nodes
        target = (
            float(np.median([node.lon for node in nodes])),
            float(np.median([node.lat for node in nodes])),
        )
    if target is None:
        return
    if not (-180 <= target[0] <= 180 and -90 <= target[1] <= 90):
        raise InputError(f"near is {target}; expected longitude, latitude in degrees")
    here = np.median(places, axis=0)
    apart = _apart_km(here, target)
    if apart <= options.policy.far_km:
        return
    if abs(here[0]) <= 90 and _apart_km(here[::-1], target) <= options.policy.far_km:
        raise InputError(
            f"{file}: latitude and longitude are swapped: ({here[0]:.4f}, {here[1]:.4f}) lies"
            f" {apart:,.0f} km from the place expected, the other way round it is there;"
            " write longitude first"
        )
    raise InputError(
        f"{file}: the lines lie around ({here[0]:.4f}, {here[1]:.4f}), {apart:,.0f} km from the"
        f" place expected ({target[0]:.4f}, {target[1]:.4f}); is it the right file and"
        " coordinate system?"
    )


def jumps(places: Floats, offsets: Ints, *, longest_km: float) -> Floats:
    """Longest step between two vertices of each line where it is beyond ``longest_km``, else 0.

    A road that jumps from one county to another has a vertex at (0, 0), or with its latitude
    and longitude swapped.
    """
    lon, lat = np.radians(places[:, 0]), np.radians(places[:, 1])
    step = np.zeros(len(places))
    half = (
        np.sin(np.diff(lat) / 2) ** 2
        + np.cos(lat[1:]) * np.cos(lat[:-1]) * np.sin(np.diff(lon) / 2) ** 2
    )
    step[1:] = 2 * _EARTH_KM * np.arcsin(np.sqrt(half))
    step[offsets[:-1]] = 0.0
    longest: Floats = np.maximum.reduceat(step, offsets[:-1])
    return np.where(longest > longest_km, longest, 0.0)


def _from_crs(places: Floats, named: str, *, file: str) -> Floats:
    try:
        system = pyproj.CRS.from_user_input(named)
    except CRSError:
        raise InputError(
            f"{file}: coordinate system {named!r} is unknown; expected a name such as EPSG:26913"
        ) from None
    if system.is_geographic and system.to_epsg() in (4326, None) and "84" in system.name:
        return places
    if system.is_projected and np.all(np.abs(places) <= [180.0, 90.0]):
        raise UnitsError(
            f"{file}: the coordinates look like degrees, but {named} ({system.name}) is in"
            f" {system.axis_info[0].unit_name}; say crs=EPSG:4326"
        )
    to_wgs84 = pyproj.Transformer.from_crs(system, "EPSG:4326", always_xy=True)
    lonlat = np.column_stack(to_wgs84.transform(places[:, 0], places[:, 1]))
    if system.is_projected and not _inside(lonlat, system):
        unit = system.axis_info[0].unit_name
        hint = "is it the right system?"
        if "foot" not in unit:
            metric = np.column_stack(
                to_wgs84.transform(places[:, 0] * _FOOT_M, places[:, 1] * _FOOT_M)
            )
            if _inside(metric, system):
                hint = "the figures look like feet: name the system of the same zone in feet"
        raise UnitsError(
            f"{file}: the coordinates do not lie where {named} ({system.name}, in {unit}) is"
            f" used; {hint}"
        )
    return lonlat


def _inside(lonlat: Floats, system: pyproj.CRS) -> bool:
    """Whether the middle lies in the system's area of use, with a margin."""
    area = system.area_of_use
    if not np.all(np.isfinite(lonlat)):
        return False
    if area is None:
        return True
    lon, lat = np.median(lonlat, axis=0)
    return bool(
        area.west - _MARGIN_DEG <= lon <= area.east + _MARGIN_DEG
        and area.south - _MARGIN_DEG <= lat <= area.north + _MARGIN_DEG
    )


def _in_degrees(places: Floats, *, file: str) -> None:
    x, y = np.abs(places[:, 0]), np.abs(places[:, 1])
    if not np.all(np.isfinite(places)):
        raise InputError(f"{file}: a coordinate is not a number; mend the line or leave it out")
    if np.all(x <= 180) and np.all(y <= 90):
        return
    worst = places[int(np.argmax(np.maximum(x / 180, y / 90)))]
    shown = f"({worst[0]:,.2f}; {worst[1]:,.2f})"
    if np.all(x <= 90) and np.all(y <= 180):
        raise InputError(
            f"{file}: coordinates such as {shown} have a latitude beyond 90; latitude and"
            " longitude are swapped: write longitude first"
        )
    raise UnitsError(
        f"{file}: coordinates such as {shown} are not degrees but metres or feet; name the"
        " system they are in (crs, for example EPSG:26913 for UTM 13 north in metres, or the"
        " state plane zone for feet)"
    )


def _apart_km(one: Floats | tuple[float, float], other: tuple[float, float]) -> float:
    lon1, lat1, lon2, lat2 = np.radians([one[0], one[1], other[0], other[1]])
    half = (
        np.sin((lat2 - lat1) / 2) ** 2
        + np.cos(lat1) * np.cos(lat2) * np.sin((lon2 - lon1) / 2) ** 2
    )
    return float(2 * _EARTH_KM * np.arcsin(np.sqrt(half)))
