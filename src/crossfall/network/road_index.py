"""Which roads are near a fix: road lines cut into short straight pieces, found through a grid.

The pieces and the grid are plain arrays, so that a kernel can look up some hundred thousand fixes
a second. Beside it stand the lengths and ends of the segments and the junctions they meet at.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.model import Network
from crossfall.network.matching_kernel import distances_near, nearby_roads
from crossfall.network.projection import LocalPlane

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_LONGEST_PIECE_M = 60.0


@dataclass(frozen=True, eq=False)
class Ways:
    """Shortest ways from some nodes to the nodes around them, as sorted rows."""

    row_of: Ints
    """Row of each node of the network, -1 where it has none."""
    start: Ints
    node: Ints
    """Nodes reached, ascending within a row."""
    metres: Floats
    segment: Ints
    """Segment by which that node is reached last."""
    before: Ints
    """The node before it on the way."""


class RoadIndex:
    """The roads of one network, ready for matching.

    Parameters
    ----------
    network : Network
    search_m : float
        Roads up to this far from a fix are found. [m]

    Raises
    ------
    InputError
        If the network has no segment.
    """

    def __init__(self, network: Network, *, search_m: float) -> None:
        if not network.segments:
            raise InputError("the network has no segment to match a track to")
        self.network = network
        self.search_m = search_m
        self.plane = LocalPlane.of(network)
        node = {each.id: k for k, each in enumerate(network.nodes)}
        self.from_node = np.array([node[s.from_node] for s in network.segments], dtype=np.int64)
        self.to_node = np.array([node[s.to_node] for s in network.segments], dtype=np.int64)
        self.official_m = np.array([s.length_m for s in network.segments])
        self._cut()
        self._lay_grid()
        self._join()

    @property
    def n_segments(self) -> int:
        return len(self.network.segments)

    def official(self, segment: Ints, drawn_m: Floats) -> Floats:
        """Metres along segments as the agency counts them, from metres along the drawn lines."""
        return drawn_m * self.official_m[segment] / self.length_m[segment]

    def nearby(self, x: Floats, y: Floats, *, most: int) -> tuple[Ints, Floats, Floats, Ints]:
        """Roads within ``search_m`` of each place, nearest first.

        Parameters
        ----------
        x, y : array, shape (fix,)
            Places in the plane of the network. [m]
        most : int
            So many roads at most for each.

        Returns
        -------
        segment : array of int, shape (fix, most); -1 where there are fewer
        at_m : array, shape (fix, most)
            Metres along the drawn line. [m]
        offset_m : array, shape (fix, most)
            Distance. [m]
        n_found : array of int, shape (fix,)
        """
        return nearby_roads(
            np.ascontiguousarray(x), np.ascontiguousarray(y), self.search_m, most,
            self._x0, self._y0, self._cell_m, self._n_columns, self._n_rows,
            self._cell_start, self._cell_piece,
            self._piece_xy, self._piece_segment, self._piece_at,
        )  # fmt: skip

    def ways_around(self, nodes: Ints, *, limit_m: float) -> Ways:
        """Shortest ways from each of ``nodes`` to all nodes within ``limit_m``."""
        nodes = np.unique(nodes)
        row_of = np.full(len(self.network.nodes), -1, dtype=np.int64)
        row_of[nodes] = np.arange(nodes.size)
        start, reached, metres, segment, before = distances_near(
            nodes, limit_m, self._arc_start, self._arc_node, self._arc_segment, self.length_m,
            len(self.network.nodes),
        )  # fmt: skip
        return Ways(row_of, start, reached, metres, segment, before)

    def _cut(self) -> None:
        """Straight pieces of at most sixty metres, shape (piece, 4) x0, y0, x1, y1 [m]."""
        segments = self.network.segments
        sizes = np.array([len(s.line) for s in segments])
        places = np.array([place for s in segments for place in s.line])
        xy = np.column_stack(self.plane.to_plane(places[:, 0], places[:, 1]))
        owner = np.repeat(np.arange(len(segments)), sizes)
        is_step = owner[1:] == owner[:-1]
        start, end, of = xy[:-1][is_step], xy[1:][is_step], owner[:-1][is_step]
        length = np.hypot(*(end - start).T)
        total = np.bincount(of, weights=length, minlength=len(segments))
        self.length_m = np.maximum(total, 1e-3)
        begins = np.concatenate([[0.0], np.cumsum(length)])[:-1]
        first_of = np.searchsorted(of, np.arange(len(segments)))
        along = begins - begins[np.minimum(first_of, begins.size - 1)][of]
        n_parts = np.maximum(np.ceil(length / _LONGEST_PIECE_M), 1).astype(np.int64)
        which = np.repeat(np.arange(n_parts.size), n_parts)
        k = np.arange(which.size) - np.repeat(np.cumsum(n_parts) - n_parts, n_parts)
        f0, f1 = k / n_parts[which], (k + 1) / n_parts[which]
        delta = (end - start)[which]
        self._piece_xy = np.column_stack(
            [start[which] + delta * f0[:, None], start[which] + delta * f1[:, None]]
        )
        self._piece_segment = of[which]
        self._piece_at = along[which] + length[which] * f0

    def _lay_grid(self) -> None:
        """Every piece in all cells of the grid that its box touches; cells as sorted rows."""
        self._cell_m = max(self.search_m, _LONGEST_PIECE_M)
        xs, ys = self._piece_xy[:, [0, 2]], self._piece_xy[:, [1, 3]]
        self._x0, self._y0 = float(xs.min()), float(ys.min())
        self._n_columns = int((xs.max() - self._x0) // self._cell_m) + 1
        self._n_rows = int((ys.max() - self._y0) // self._cell_m) + 1
        c0 = ((xs.min(axis=1) - self._x0) // self._cell_m).astype(np.int64)
        c1 = ((xs.max(axis=1) - self._x0) // self._cell_m).astype(np.int64)
        r0 = ((ys.min(axis=1) - self._y0) // self._cell_m).astype(np.int64)
        r1 = ((ys.max(axis=1) - self._y0) // self._cell_m).astype(np.int64)
        cells, pieces = [], []
        # A piece is no longer than a cell: it touches two columns and two rows at most
        for dc in (0, 1):
            for dr in (0, 1):
                there = (c0 + dc <= c1) & (r0 + dr <= r1)
                cells.append((r0 + dr)[there] * self._n_columns + (c0 + dc)[there])
                pieces.append(np.flatnonzero(there))
        cell, piece = np.concatenate(cells), np.concatenate(pieces)
        order = np.lexsort((piece, cell))
        # Only cells with a road are kept; a country's empty corners cost nothing
        self._cell_key, first = np.unique(cell[order], return_index=True)
        self._cell_piece = piece[order]
        self._cell_start = np.column_stack(
            [self._cell_key, first, np.append(first[1:], cell.size)]
        ).astype(np.int64)

    def _join(self) -> None:
        """Segments at each node, both directions: tracks do not obey signs, nor do graders."""
        n = self.n_segments
        ends = np.concatenate([self.from_node, self.to_node])
        others = np.concatenate([self.to_node, self.from_node])
        of = np.concatenate([np.arange(n), np.arange(n)])
        order = np.argsort(ends, kind="stable")
        self._arc_node, self._arc_segment = others[order], of[order]
        counts = np.bincount(ends, minlength=len(self.network.nodes))
        self._arc_start = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
