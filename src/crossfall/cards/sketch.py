"""The map on the card: the job's own line, the roads around it, and what stands beside it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from shapely import LineString, STRtree, clip_by_rect

from crossfall.model import Network, Segment, Sketch, SketchFeature, Stage

Floats = npt.NDArray[np.float64]
Line = tuple[tuple[float, float], ...]

_WIDE, _TALL = (1.4, 2.0), (0.7, 1.6)
"""Width and height of the neighbourhood, as shares of the job's own extent across and up: a little
more than the drawing shows, whichever way the road runs."""
_LEAST_SPAN_DEG = 0.004
_MOST_ROADS = 60


@dataclass(frozen=True)
class Sketcher:
    """Draws sketches for one network; looks neighbours up in a tree made once."""

    network: Network
    tree: STRtree
    lines: tuple[LineString, ...]
    behind: STRtree
    """Creeks and railways."""

    @classmethod
    def of(cls, network: Network) -> Sketcher:
        """Prepare the network's lines for looking up."""
        lines = tuple(LineString(segment.line) for segment in network.segments)
        behind = STRtree([LineString(each.line) for each in network.backdrop])
        return cls(network, STRtree(lines), lines, behind)

    def sketch(self, segment: Segment, stage: Stage) -> Sketch:
        """The stage in its neighbourhood, with names, features and both ends."""
        line = cut_line(segment.line, segment.length_m, stage.from_m, stage.to_m)
        west, south, east, north = _frame(line)
        nearby: list[Line] = []
        labels: dict[str, tuple[float, SketchFeature]] = {}
        for index in sorted(self.tree.query(LineString([(west, south), (east, north)]).envelope)):
            other = self.network.segments[int(index)]
            if other.id == segment.id or len(nearby) >= _MOST_ROADS:
                continue
            for part in _parts(clip_by_rect(self.lines[int(index)], west, south, east, north)):
                nearby.append(part)
                length = LineString(part).length
                if other.route != segment.route and length > labels.get(other.route, (0.0,))[0]:
                    label = SketchFeature("road", *_middle(part), other.route)
                    labels[other.route] = (length, label)
        water, rail = self._backdrop(west, south, east, north)
        rest = [
            cut_line(segment.line, segment.length_m, low, high)
            for low, high in ((0.0, stage.from_m), (stage.to_m, segment.length_m))
            if high - low > 1.0
        ]
        return Sketch(
            line=line,
            nearby=(*rest, *nearby),
            features=(
                SketchFeature("start", *line[0], ""),
                SketchFeature("end", *line[-1], ""),
                *self._marks(segment, stage),
                *(label for _, label in labels.values()),
            ),
            water=water,
            rail=rail,
        )

    def _backdrop(
        self, west: float, south: float, east: float, north: float
    ) -> tuple[tuple[Line, ...], tuple[Line, ...]]:
        water: list[Line] = []
        rail: list[Line] = []
        frame = LineString([(west, south), (east, north)]).envelope
        for index in sorted(self.behind.query(frame)):
            each = self.network.backdrop[int(index)]
            parts = _parts(clip_by_rect(LineString(each.line), west, south, east, north))
            (rail if each.kind == "rail" else water).extend(parts)
        return tuple(water), tuple(rail)

    def _marks(self, segment: Segment, stage: Stage) -> list[SketchFeature]:
        return [
            SketchFeature(feature.kind, feature.lon, feature.lat, feature.name)
            for feature in self.network.features_by_segment.get(segment.id, ())
            if feature.at_m is None or stage.from_m <= feature.at_m <= stage.to_m
        ]


def cut_line(line: Line, length_m: float, from_m: float, to_m: float) -> Line:
    """The part of a line between two measures; the measures are spread along the drawn line.

    Examples
    --------
    >>> cut_line(((0.0, 0.0), (0.0, 0.01)), 1000.0, 250.0, 500.0)
    ((0.0, 0.0025), (0.0, 0.005))
    """
    points = np.asarray(line, dtype=np.float64)
    narrow = np.cos(np.radians(points[:, 1].mean()))
    steps = np.hypot(np.diff(points[:, 0]) * narrow, np.diff(points[:, 1]))
    along = np.concatenate([[0.0], np.cumsum(steps)])
    if along[-1] <= 0:
        return line
    along *= length_m / along[-1]
    inside = (along > from_m) & (along < to_m)
    at = np.concatenate([[from_m], along[inside], [to_m]])
    lon, lat = np.interp(at, along, points[:, 0]), np.interp(at, along, points[:, 1])
    return tuple(zip(lon.tolist(), lat.tolist(), strict=True))


def heading(line: Line) -> str:
    """Which way a line runs, as one says it to a driver: ``eastbound``.

    Examples
    --------
    >>> heading(((-107.0, 40.0), (-106.9, 40.01)))
    'eastbound'
    """
    (lon0, lat0), (lon1, lat1) = line[0], line[-1]
    east = (lon1 - lon0) * float(np.cos(np.radians((lat0 + lat1) / 2)))
    north = lat1 - lat0
    if abs(east) >= abs(north):
        return "eastbound" if east >= 0 else "westbound"
    return "northbound" if north >= 0 else "southbound"


def _frame(line: Line) -> tuple[float, float, float, float]:
    points = np.asarray(line)
    (west, south), (east, north) = points.min(axis=0), points.max(axis=0)
    narrow = float(np.cos(np.radians((south + north) / 2)))
    across, up = (east - west) * narrow, north - south
    wide = max(across * _WIDE[0], up * _WIDE[1], _LEAST_SPAN_DEG)
    tall = max(across * _TALL[0], up * _TALL[1], _LEAST_SPAN_DEG)
    pad_x, pad_y = (wide - across) / 2 / narrow, (tall - up) / 2
    return west - pad_x, south - pad_y, east + pad_x, north + pad_y


def _parts(shape: object) -> list[Line]:
    if isinstance(shape, LineString):
        return [] if shape.is_empty else [tuple((x, y) for x, y, *_ in shape.coords)]
    return [part for each in getattr(shape, "geoms", ()) for part in _parts(each)]


def _middle(line: Line) -> tuple[float, float]:
    point = LineString(line).interpolate(0.5, normalized=True)
    return float(point.x), float(point.y)
