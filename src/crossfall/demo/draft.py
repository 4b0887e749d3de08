"""A road network while it is being drawn: junctions and pieces of road on the plane.

The grid, the villages and the creek road all draw on the same draft; only when
it is finished does it become a :class:`~crossfall.model.network.Network`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from crossfall.demo.land import Points

Build = Literal["gravel", "paved", "street"]


@dataclass(eq=False)
class Piece:
    """A piece of road between two junctions, drawn from ``a`` to ``b``."""

    a: int
    b: int
    points: Points
    route: str
    at_m: float
    """About where it begins along its route [m]; sorts the pieces of a route."""
    build: Build = "gravel"
    is_collector: bool = False
    is_bridged: bool = False
    stops_at_water: bool = False
    is_fixed: bool = False
    """Never dropped: a highway, a village street, a road that holds the rest together."""
    is_gone: bool = False

    @property
    def length_m(self) -> float:
        return float(np.hypot(*np.diff(self.points, axis=0).T).sum())


@dataclass(eq=False)
class Draft:
    """Junctions and pieces. Pieces are added or struck out, never moved."""

    nodes: list[tuple[float, float]] = field(default_factory=list)
    pieces: list[Piece] = field(default_factory=list)

    def add_node(self, x: float, y: float) -> int:
        self.nodes.append((float(x), float(y)))
        return len(self.nodes) - 1

    def add(self, piece: Piece) -> Piece:
        self.pieces.append(piece)
        return piece

    def cut(self, piece: Piece, at_m: float) -> tuple[int, Piece, Piece]:
        """Replace ``piece`` by two that meet ``at_m`` from its start; the new junction is first."""
        along = measures(piece.points)
        middle = point_at(piece.points, along, at_m)
        node = self.add_node(*middle)
        before, after = piece.points[along < at_m - 1.0], piece.points[along > at_m + 1.0]
        first = replace(piece, b=node, points=np.vstack([before, middle]))
        second = replace(piece, a=node, points=np.vstack([middle, after]), at_m=piece.at_m + at_m)
        piece.is_gone = True
        return node, self.add(first), self.add(second)

    @property
    def live(self) -> list[Piece]:
        return [piece for piece in self.pieces if not piece.is_gone]

    @property
    def n_gravel(self) -> int:
        return sum(1 for piece in self.live if piece.build == "gravel")

    def ends(self) -> Points:
        return np.array(self.nodes, dtype=np.float64).reshape(-1, 2)


def measures(points: Points) -> Points:
    """Distance of each vertex from the first [m]."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    return np.concatenate([[0.0], np.cumsum(steps)])


def point_at(points: Points, along: Points, at_m: float) -> Points:
    """The point ``at_m`` metres along."""
    return np.array([np.interp(at_m, along, points[:, axis]) for axis in (0, 1)])
