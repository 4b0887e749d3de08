"""Where along a road: route and metres, and the place on the map that belongs to them.

A measure counts metres from the start of a route, a position metres from the
start of a segment; left and right face increasing measure. A segment's length
may be the agency's own and differ from the drawn one, so metres are stretched
evenly over the drawn line, or along a calibration table where somebody has
tied measures to places. An event keeps its lon/lat as captured: when the line
is drawn anew it is snapped again and does not drift.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

from crossfall.errors import InputError
from crossfall.model import Network, Segment, Side
from crossfall.network.features import segment_shapes, side_of
from crossfall.network.projection import LocalPlane

Floats = npt.NDArray[np.float64]

Calibration = Sequence[tuple[float, float]]
"""Pairs of (metres by the agency, metres along the drawn line), both rising."""

_ROUNDING_M = 1e-6


@dataclass(frozen=True, slots=True)
class Position:
    """A place on a segment."""

    segment_id: str
    at_m: float
    """Metres from the segment's start [m]."""
    offset_m: float = 0.0
    """Distance from the line, never negative [m]."""
    side: Side = "both"


@dataclass(frozen=True, slots=True)
class LineEvent:
    """Something true of a stretch ``[from_m, to_m)`` of one segment."""

    segment_id: str
    from_m: float
    to_m: float
    name: str
    """Field it speaks of: ``width_m``, ``surface``, ``drainage``."""
    value: str
    side: Side = "both"
    source: str = ""


class LinearReference:
    """Positions, measures and places of one network.

    Parameters
    ----------
    network : Network
        Segments with routes and measures.
    calibrations : mapping of segment id to Calibration, optional
        For segments whose measures were tied to places.

    Raises
    ------
    InputError
        If a calibration names an unknown segment or does not rise.
    """

    def __init__(
        self, network: Network, *, calibrations: Mapping[str, Calibration] | None = None
    ) -> None:
        self.network = network
        self.plane = LocalPlane.of(network)
        self._calibrations = dict(calibrations or {})
        for segment_id, pairs in self._calibrations.items():
            self._segment(segment_id)
            steps = np.diff(np.asarray(pairs, dtype=np.float64), axis=0)
            if len(pairs) < 2 or np.any(steps <= 0):
                raise InputError(
                    f"calibration of segment {segment_id} does not rise; expected at least two"
                    " pairs of growing metres"
                )

    def place(self, segment_id: str, at_m: float) -> tuple[float, float]:
        """Lon, lat of a position [degrees].

        Raises
        ------
        InputError
            If the segment is unknown or ``at_m`` lies beyond its ends.
        """
        segment = self._segment(segment_id)
        if not -_ROUNDING_M <= at_m <= segment.length_m + _ROUNDING_M:
            raise InputError(
                f"at_m {at_m:g} lies beyond segment {segment_id}, which is"
                f" {segment.length_m:.1f} m long"
            )
        shape = self._shape(segment_id)
        x, y = shapely.get_coordinates(
            shapely.line_interpolate_point(shape, self._drawn_m(segment, at_m))
        )[0]
        lon, lat = self.plane.to_lonlat([x], [y])
        return float(lon[0]), float(lat[0])

    def on_route(self, route: str, measure_m: float) -> Position:
        """The segment and metre of a measure along a route.

        Raises
        ------
        InputError
            If the route is unknown or has no such measure; says what it has.
        """
        segments = self._route(route)
        starts = [segment.from_m for segment in segments]
        k = max(0, bisect_right(starts, measure_m + _ROUNDING_M) - 1)
        segment = segments[k]
        at_m = measure_m - segment.from_m
        if not -_ROUNDING_M <= at_m <= segment.length_m + _ROUNDING_M:
            raise InputError(
                f"measure {measure_m:g} m is not on {route}, which runs from"
                f" {segments[0].from_m:.0f} to {segments[-1].to_m:.0f} m"
            )
        return Position(segment.id, min(max(at_m, 0.0), segment.length_m))

    def stretches(self, route: str, from_m: float, to_m: float) -> list[tuple[str, float, float]]:
        """Segments under a stretch of a route: (segment id, from, to) in their own metres [m].

        Raises
        ------
        InputError
            If the stretch is empty, or its ends are not on the route.
        """
        if not from_m < to_m:
            raise InputError(f"from_m {from_m:g} is not before to_m {to_m:g}")
        self.on_route(route, from_m)
        self.on_route(route, to_m)
        cut = [
            (s.id, max(from_m, s.from_m) - s.from_m, min(to_m, s.to_m) - s.from_m)
            for s in self._route(route)
        ]
        return [each for each in cut if each[2] - each[1] > _ROUNDING_M]

    def measure(self, segment_id: str, at_m: float) -> tuple[str, float]:
        """Route and measure of a position [m]."""
        segment = self._segment(segment_id)
        return segment.route, segment.from_m + at_m

    def snap(self, lon: float, lat: float, *, within_m: float) -> Position | None:
        """The nearest position on any segment, or None where none is within reach."""
        found = self.snap_many([lon], [lat], within_m=within_m)
        return found[0]

    def snap_many(
        self, lon: npt.ArrayLike, lat: npt.ArrayLike, *, within_m: float
    ) -> list[Position | None]:
        """The nearest position for each place, shapes (place,) [degrees]."""
        points = shapely.points(np.column_stack(self.plane.to_plane(lon, lat)))
        place, road = self._tree.query_nearest(
            points, max_distance=within_m, all_matches=False, return_distance=False
        )
        result: list[Position | None] = [None] * len(points)
        drawn = shapely.line_locate_point(self._shapes[road], points[place])
        offset = shapely.distance(self._shapes[road], points[place])
        for k, (index, segment_index) in enumerate(zip(place.tolist(), road.tolist(), strict=True)):
            segment = self.network.segments[segment_index]
            result[index] = Position(
                segment.id,
                self._official_m(segment, float(drawn[k])),
                float(offset[k]),
                side_of(
                    self._shapes[segment_index],
                    shapely.get_coordinates(points[index])[0],
                    on_road_m=_ROUNDING_M,
                ),
            )
        return result

    def project(self, segment_id: str, lon: float, lat: float) -> Position:
        """The nearest position on one segment, however far."""
        segment, shape = self._segment(segment_id), self._shape(segment_id)
        point = shapely.points(np.column_stack(self.plane.to_plane([lon], [lat])))[0]
        return Position(
            segment_id,
            self._official_m(segment, float(shapely.line_locate_point(shape, point))),
            float(shapely.distance(shape, point)),
            side_of(shape, shapely.get_coordinates(point)[0], on_road_m=_ROUNDING_M),
        )

    def is_calibrated(self, segment_id: str) -> bool:
        """Whether somebody tied metres of this segment to places."""
        return segment_id in self._calibrations

    def official_m(self, segment_id: str, drawn_m: float) -> float:
        """Metres from the segment's start of a place along the drawn line [m]."""
        return self._official_m(self._segment(segment_id), drawn_m)

    def drawn_m(self, segment_id: str, at_m: float) -> float:
        """Metres along the drawn line of a position [m]."""
        return self._drawn_m(self._segment(segment_id), at_m)

    def stretch(
        self, segment_id: str, from_m: float, to_m: float
    ) -> tuple[tuple[float, float], ...]:
        """The line between two positions of a segment, lon/lat [degrees]."""
        if not from_m < to_m:
            raise InputError(f"from_m {from_m:g} is not before to_m {to_m:g}")
        segment, shape = self._segment(segment_id), self._shape(segment_id)
        start, end = self.place(segment_id, from_m), self.place(segment_id, to_m)
        steps = np.hypot(*np.diff(shapely.get_coordinates(shape), axis=0).T)
        along = np.concatenate([[0.0], np.cumsum(steps)])
        first, last = self._drawn_m(segment, from_m), self._drawn_m(segment, to_m)
        between = np.flatnonzero((along > first + _ROUNDING_M) & (along < last - _ROUNDING_M))
        return (start, *(segment.line[k] for k in between.tolist()), end)

    @cached_property
    def _shapes(self) -> Any:
        return segment_shapes(self.network.segments, self.plane)

    @cached_property
    def _tree(self) -> Any:
        return shapely.STRtree(self._shapes)

    @cached_property
    def _index(self) -> dict[str, int]:
        return {segment.id: k for k, segment in enumerate(self.network.segments)}

    @cached_property
    def _routes(self) -> dict[str, list[Segment]]:
        routes: dict[str, list[Segment]] = {}
        for segment in sorted(self.network.segments, key=lambda s: s.from_m):
            routes.setdefault(segment.route, []).append(segment)
        return routes

    def _segment(self, segment_id: str) -> Segment:
        try:
            return self.network.segment_by_id[segment_id]
        except KeyError:
            raise InputError(f"segment {segment_id!r} is not in this network") from None

    def _route(self, route: str) -> list[Segment]:
        try:
            return self._routes[route]
        except KeyError:
            raise InputError(f"route {route!r} is not in this network") from None

    def _shape(self, segment_id: str) -> Any:
        return self._shapes[self._index[segment_id]]

    def _drawn_m(self, segment: Segment, at_m: float) -> float:
        pairs = self._pairs(segment)
        return float(np.interp(at_m, [a for a, _ in pairs], [b for _, b in pairs]))

    def _official_m(self, segment: Segment, drawn_m: float) -> float:
        pairs = self._pairs(segment)
        return float(np.interp(drawn_m, [b for _, b in pairs], [a for a, _ in pairs]))

    def _pairs(self, segment: Segment) -> Calibration:
        if segment.id in self._calibrations:
            return self._calibrations[segment.id]
        drawn = float(shapely.length(self._shape(segment.id)))
        return ((0.0, 0.0), (segment.length_m, drawn))
