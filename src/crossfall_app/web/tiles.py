"""Vector tiles of the agency's own roads, for networks too large to send as one drawing.

A tile holds lines and the number of each road; colours travel apart, as one code for each road, so
that tiles stay true for as long as the network does. They are kept as files under its fingerprint.
Far out, where a screen has fewer points than there are roads, one road of each small square stands
for its neighbours; what is not drawn there appears as one comes closer.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from threading import Lock, Thread
from typing import Any

import mapbox_vector_tile
import numpy as np
import numpy.typing as npt
import shapely

from crossfall.errors import InputError
from crossfall.model import Network

FROM_SEGMENTS = 10_000
"""Networks of more segments are drawn from tiles."""
EXTENT = 4096
CLOSEST = 13
"""Closer in, the map enlarges the tiles of this zoom."""
NAMED_FROM = 10
"""From this zoom on, a road in a tile carries its key, its name and where along it."""
_THIN_TO = 11
_CELLS = 96
"""Squares along a thinned tile; at most one road is drawn for each."""
_BUFFER = 64
_PRE_MADE_TO = 8
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Tiles:
    """All roads in the square that the web's maps share, ready to be cut."""

    version: str
    lines: npt.NDArray[np.object_]
    box: Floats
    """West, north, east and south of each line, 0 to 1 across the world, (segment, 4)."""
    length: Floats
    is_ours: npt.NDArray[np.bool_]
    names: tuple[tuple[str, str, str], ...]
    """Key, road and where along it."""
    bounds: tuple[float, float, float, float]
    """Degrees, for the map to begin with."""
    folder: Path | None = None

    def tile(self, zoom: int, x: int, y: int) -> bytes:
        """One tile, from its file or made now and kept.

        Raises
        ------
        InputError
            If there is no such tile in the world, or it is closer than tiles are made.
        """
        if not (0 <= zoom <= CLOSEST and 0 <= x < 2**zoom and 0 <= y < 2**zoom):
            raise InputError(f"tile {zoom}/{x}/{y} is none; expected zoom 0 to {CLOSEST}")
        file = self.folder / self.version / f"{zoom}-{x}-{y}.mvt" if self.folder else None
        if file is not None and file.is_file():
            return file.read_bytes()
        made = self._make(zoom, x, y)
        if file is not None:
            file.parent.mkdir(parents=True, exist_ok=True)
            part = file.with_suffix(f".{id(made)}.part")
            part.write_bytes(made)
            part.replace(file)
        return made

    def pre_make(self) -> int:
        """Make the tiles that everybody sees first; returns how many."""
        n = 0
        for zoom in range(_PRE_MADE_TO + 1):
            for x, y in self.over(zoom):
                self.tile(zoom, x, y)
                n += 1
        return n

    def over(self, zoom: int) -> Iterator[tuple[int, int]]:
        """Tiles of one zoom that the network lies on."""
        west, north, east, south = (float(v) for v in _hull(self.box))
        size = 2**zoom
        for x in range(int(west * size), min(size - 1, int(east * size)) + 1):
            for y in range(int(north * size), min(size - 1, int(south * size)) + 1):
                yield x, y

    def _make(self, zoom: int, x: int, y: int) -> bytes:
        size = 1.0 / 2**zoom
        west, north = x * size, y * size
        margin = size * _BUFFER / EXTENT
        box = self.box
        inside = np.flatnonzero(
            (box[:, 2] >= west - margin)
            & (box[:, 0] <= west + size + margin)
            & (box[:, 3] >= north - margin)
            & (box[:, 1] <= north + size + margin)
        )
        if zoom < _THIN_TO:
            inside = inside[self._thinned(inside, west, north, size)]
        if inside.size == 0:
            return b""
        scale = EXTENT / size
        drawn = shapely.transform(
            self.lines[inside],
            lambda at: np.column_stack([(at[:, 0] - west) * scale, (at[:, 1] - north) * scale]),
        )
        cut = shapely.clip_by_rect(
            shapely.simplify(drawn, 2.0, preserve_topology=False),
            -_BUFFER, -_BUFFER, EXTENT + _BUFFER, EXTENT + _BUFFER,
        )  # fmt: skip
        features = [
            {"geometry": line, "id": int(i), "properties": self._told(int(i), zoom)}
            for i, line in zip(inside, cut, strict=True)
            if not line.is_empty
        ]
        if not features:
            return b""
        layer = {"name": "roads", "features": features}
        options = {"extents": EXTENT, "y_coord_down": True}
        made: bytes = mapbox_vector_tile.encode([layer], default_options=options)
        return made

    def _thinned(
        self, inside: npt.NDArray[np.int64], west: float, north: float, size: float
    ) -> npt.NDArray[np.int64]:
        """One road for each small square, ours before others and the longest of them."""
        middle_x = (self.box[inside, 0] + self.box[inside, 2]) / 2
        middle_y = (self.box[inside, 1] + self.box[inside, 3]) / 2
        cell_x = np.floor((middle_x - west) / size * _CELLS).astype(np.int64)
        cell_y = np.floor((middle_y - north) / size * _CELLS).astype(np.int64)
        order = np.lexsort((-self.length[inside], ~self.is_ours[inside]))
        cells = (cell_x * (4 * _CELLS) + cell_y)[order]
        _, first = np.unique(cells, return_index=True)
        return np.sort(order[first])

    def _told(self, i: int, zoom: int) -> dict[str, Any]:
        told: dict[str, Any] = {"i": i, "is_ours": bool(self.is_ours[i])}
        if zoom >= NAMED_FROM:
            told["id"], told["route"], told["where"] = self.names[i]
        return told


def make_tiles(
    network: Network, wheres: Iterable[str], folder: Path | None, *, version: str = ""
) -> Tiles:
    """All roads of a network, ready to be cut into tiles; ``wheres`` says where each lies."""
    segments = network.segments
    sizes = [len(segment.line) for segment in segments]
    at = np.array([point for segment in segments for point in segment.line], dtype=float)
    x = (at[:, 0] + 180) / 360
    sine = np.sin(np.radians(np.clip(at[:, 1], -85.05, 85.05)))
    y = 0.5 - np.log((1 + sine) / (1 - sine)) / (4 * math.pi)
    flat = np.column_stack([x, y])
    lines = shapely.linestrings(flat, indices=np.repeat(np.arange(len(sizes)), sizes))
    ours = {segment.id for segment in network.maintained}
    names = tuple(
        (segment.id, segment.route, where) for segment, where in zip(segments, wheres, strict=True)
    )
    return Tiles(
        version or fingerprint(network),
        np.asarray(lines, dtype=object),
        shapely.bounds(lines),
        np.array([segment.length_m for segment in segments]),
        np.array([segment.id in ours for segment in segments]),
        names,
        (
            float(at[:, 0].min()), float(at[:, 1].min()),
            float(at[:, 0].max()), float(at[:, 1].max()),
        ),
        folder,
    )  # fmt: skip


def fingerprint(network: Network) -> str:
    """A short name that changes with any line, name or class of the network."""
    found = hashlib.sha256()
    for segment in network.segments:
        told = (segment.id, segment.route, segment.from_m, segment.is_maintained, segment.line)
        found.update(repr(told).encode())
    return found.hexdigest()[:16]


def keep_tiles(tiles: Tiles) -> Tiles:
    """Hold a network's tiles, forget those of the one before, and make the first ones beside."""
    with _LOCK:
        held = _HELD.get(tiles.version)
        if held is not None:
            return held
        _HELD.clear()
        _HELD[tiles.version] = tiles
    Thread(target=tiles.pre_make, name="crossfall-tiles", daemon=True).start()
    return tiles


def held_tiles(version: str) -> Tiles | None:
    """Tiles that are held under a version."""
    return _HELD.get(version)


_LOCK = Lock()
_HELD: dict[str, Tiles] = {}


def _hull(box: Floats) -> tuple[float, float, float, float]:
    return (
        float(box[:, 0].min()),
        float(box[:, 1].min()),
        float(box[:, 2].max()),
        float(box[:, 3].max()),
    )
