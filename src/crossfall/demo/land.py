"""The lie of the invented land: creeks, a railway, rough ground, and where it sits on the globe.

Everything is drawn on a flat sheet in metres, x to the east and y to the north,
and laid on the globe at the very end. Nothing here is surveyed: it is drawn from
a seed so that the roads have something to bend around.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pyproj
import shapely
from scipy.interpolate import CubicSpline
from scipy.spatial import cKDTree

Points = npt.NDArray[np.float64]
"""Plane coordinates, shape (point, 2) [m]."""

CENTRE_LON_LAT = (-98.3, 44.9)
"""Where the invented sheet is laid on the globe; no real place is meant."""

CREEK_STEP_M = 60.0


@dataclass(frozen=True, eq=False)
class Land:
    """Creeks and railway of a sheet ``width_m`` by ``height_m``."""

    width_m: float
    height_m: float
    creeks: tuple[Points, ...]
    """The first is the main creek; the others run into it or beside it."""
    rail: Points

    def creek_distance_m(self, points: Points) -> tuple[npt.NDArray[np.float64], Points]:
        """Distance to the nearest creek, and the nearest creek point itself."""
        distance, index = self._bed.query(points)
        return np.asarray(distance, dtype=np.float64), self._bed.data[index]

    @cached_property
    def _bed(self) -> cKDTree:
        return cKDTree(np.vstack(self.creeks))


def draw_land(width_m: float, height_m: float, rng: np.random.Generator) -> Land:
    """Draw creeks and a railway across a sheet.

    A main creek wanders from the north-west to the south-east and one branch
    runs into it; sheets larger than about 40 km get further creeks beside it.
    """
    n_valleys = max(1, round(height_m / 40_000))
    creeks: list[Points] = []
    for valley in range(n_valleys):
        band = height_m / n_valleys
        bottom = valley * band
        creek = _meander(
            np.array([-900.0, bottom + band * rng.uniform(0.66, 0.74)]),
            np.array([width_m + 900.0, bottom + band * rng.uniform(0.20, 0.28)]),
            rng,
        )
        creeks.append(creek)
        mouth = creek[int(len(creek) * rng.uniform(0.54, 0.60))]
        spring = np.array([width_m * rng.uniform(0.72, 0.80), bottom + band + 700.0])
        creeks.append(_meander(spring, mouth, rng, is_branch=True))
    return Land(width_m, height_m, tuple(creeks), _railway(width_m, height_m, rng))


def smooth_field(points: Points, rng: np.random.Generator, wavelength_m: float) -> Points:
    """A gentle random field over the plane, about -1 to 1, one value for each point."""
    value = np.zeros(len(points))
    for _ in range(5):
        angle = rng.uniform(0, 2 * np.pi)
        length = wavelength_m * rng.uniform(0.6, 1.6)
        along = points @ np.array([np.cos(angle), np.sin(angle)])
        value += np.sin(2 * np.pi * along / length + rng.uniform(0, 2 * np.pi))
    return value / np.sqrt(5 * 0.5) / 2


def on_globe(points: Points, width_m: float, height_m: float) -> Points:
    """Longitude and latitude of plane points; the middle of the sheet lies at the centre."""
    lon, lat = CENTRE_LON_LAT
    plane = pyproj.CRS.from_proj4(
        f"+proj=tmerc +lat_0={lat} +lon_0={lon} +k=1 +x_0={width_m / 2} +y_0={height_m / 2}"
        " +datum=WGS84 +units=m"
    )
    to_globe = pyproj.Transformer.from_crs(plane, "EPSG:4326", always_xy=True)
    lons, lats = to_globe.transform(points[:, 0], points[:, 1])
    return np.column_stack([np.round(lons, 7), np.round(lats, 7)])


def crossings(lines: npt.NDArray[np.object_], path: Points) -> tuple[npt.NDArray[np.intp], Points]:
    """Where ``lines`` (shapely LineStrings) cross a path: index of the line, and the point."""
    pieces = shapely.linestrings(np.stack([path[:-1], path[1:]], axis=1))
    line_index, piece_index = shapely.STRtree(pieces).query(lines, predicate="intersects")
    meets = shapely.centroid(shapely.intersection(lines[line_index], pieces[piece_index]))
    points = shapely.get_coordinates(meets)
    order = np.argsort(line_index, kind="stable")
    return line_index[order], points[order]


def _meander(
    start: Points, end: Points, rng: np.random.Generator, *, is_branch: bool = False
) -> Points:
    straight = end - start
    length = float(np.hypot(*straight))
    along = np.linspace(0, 1, max(20, int(length / CREEK_STEP_M)))
    taper = np.minimum(1.0, 12 * np.minimum(along, 1 - along)) if is_branch else 1.0
    size = 0.55 if is_branch else 1.0
    off = np.zeros_like(along)
    for wavelength_m, amplitude_m in ((13_000, 1700), (5200, 620), (2100, 250), (900, 95)):
        phase = rng.uniform(0, 2 * np.pi)
        drift = 0.35 * np.sin(2 * np.pi * along * length / (2.7 * wavelength_m) + phase)
        wave = 2 * np.pi * along * length / (wavelength_m * rng.uniform(0.85, 1.15))
        off += size * amplitude_m * np.sin(wave + phase + drift)
    normal = np.array([-straight[1], straight[0]]) / length
    path: Points = start + along[:, None] * straight + (off * taper)[:, None] * normal
    return path


def _railway(width_m: float, height_m: float, rng: np.random.Generator) -> Points:
    x = np.array([-0.05, 0.18, 0.42, 0.70, 1.05]) * width_m
    y = np.array([0.10, 0.26, 0.37, 0.68, 0.93]) * height_m
    y = y + rng.uniform(-0.015, 0.015, len(y)) * height_m
    fine = np.linspace(x[0], x[-1], max(50, int(width_m / 250)))
    return np.column_stack([fine, CubicSpline(x, y)(fine)])
