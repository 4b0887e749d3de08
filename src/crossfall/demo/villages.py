"""Villages along the railway: a few blocks of paved streets in the corner of a section."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crossfall.demo.draft import Draft, Piece
from crossfall.demo.grid import Lines
from crossfall.demo.land import Land, Points
from crossfall.demo.recipe import MILE_M, VILLAGES, Recipe


@dataclass(frozen=True, slots=True)
class Village:
    """A village north-east of a section corner, ``n_blocks`` to the east and to the north."""

    name: str
    column: int
    row: int
    n_blocks: tuple[int, int]
    corner: int
    """Node of the section corner."""
    x: float
    y: float


def place_villages(
    lines: Lines, land: Land, n_columns: int, n_rows: int, rng: np.random.Generator
) -> tuple[Village, ...]:
    """The county seat where the highways meet, the others by the railway, clear of the creek."""
    found: list[Village] = []
    spots = [(lines.highway_column, lines.highway_row)]
    for share in (0.14, 0.62, 0.86, 0.30):
        x, y = land.rail[int(share * (len(land.rail) - 1))]
        spots.append((round(x / land.width_m * n_columns), round(y / land.height_m * n_rows)))
    for name, spot in zip(VILLAGES, spots, strict=True):
        free = _free_corner(spot, lines, land, n_columns, n_rows, found)
        if free is None:
            continue
        node = lines.corner[free]
        size = (4, 4) if not found else (int(rng.integers(2, 4)), int(rng.integers(2, 4)))
        x, y = lines.nodes[node]
        found.append(Village(name, *free, size, node, float(x), float(y)))
    return tuple(found)


def village_miles(villages: tuple[Village, ...], lines: Lines) -> set[int]:
    """The section-line miles that villages stand on; these are always built."""
    corners = {village.corner for village in villages}
    return {index for index in range(len(lines.a)) if int(lines.a[index]) in corners}


def build_village(draft: Draft, village: Village, recipe: Recipe) -> None:
    """Turn the ends of the two section lines into streets and fill the corner with blocks."""
    east = _leaving(draft, village.corner, axis=0)
    north = _leaving(draft, village.corner, axis=1)
    if east is None or north is None:
        return
    n_east, n_north = village.n_blocks
    block_east, block_north = recipe.block_m
    foot = _street_nodes(draft, east, n_east, block_east)
    side = _street_nodes(draft, north, n_north, block_north)
    grid = {(i, 0): node for i, node in enumerate(foot)}
    grid |= {(0, j): node for j, node in enumerate(side)}
    ends = draft.ends()
    origin = ends[village.corner]
    for i in range(1, n_east + 1):
        for j in range(1, n_north + 1):
            place = ends[foot[i]] + ends[side[j]] - origin
            grid[i, j] = draft.add_node(*place)
    for (i, j), node in sorted(grid.items()):
        if (i + 1, j) in grid and j > 0:
            _street(draft, node, grid[i + 1, j], f"{_ordinal(j)} Street, {village.name}", i)
        if (i, j + 1) in grid and i > 0:
            _street(draft, node, grid[i, j + 1], f"{_TREES[i]} Street, {village.name}", j)


_TREES = ("Main", "Ash", "Birch", "Cedar", "Elm", "Fir")


def _ordinal(number: int) -> str:
    return str(number) + {1: "st", 2: "nd", 3: "rd"}.get(number, "th")


def _street(draft: Draft, a: int, b: int, route: str, order: int) -> None:
    points: Points = np.array([draft.nodes[a], draft.nodes[b]])
    draft.add(Piece(a, b, points, route, 200.0 * order, build="street", is_fixed=True))


def _street_nodes(draft: Draft, piece: Piece, n_blocks: int, block_m: float) -> list[int]:
    nodes = [piece.a]
    rest = piece
    for _ in range(n_blocks):
        node, block, rest = draft.cut(rest, block_m)
        block.is_fixed = True
        if block.build == "gravel":
            block.build = "street"
        nodes.append(node)
    return nodes


def _leaving(draft: Draft, corner: int, axis: int) -> Piece | None:
    for piece in draft.live:
        if piece.a == corner and not piece.stops_at_water:
            step = np.abs(piece.points[-1] - piece.points[0])
            if step[axis] > step[1 - axis] and piece.length_m > 900.0:
                return piece
    return None


def _free_corner(
    spot: tuple[int, int],
    lines: Lines,
    land: Land,
    n_columns: int,
    n_rows: int,
    taken: list[Village],
) -> tuple[int, int] | None:
    """The section corner nearest to ``spot`` with dry room for a village."""
    around = [
        (spot[0] + i, spot[1] + j)
        for i in (0, -1, 1, -2, 2)
        for j in (0, -1, 1, -2, 2)
        if 1 <= spot[0] + i < n_columns - 1 and 1 <= spot[1] + j < n_rows - 1
    ]
    room = _corners_with_room(lines)
    around = [corner for corner in around if lines.corner[corner] in room]
    around.sort(key=lambda corner: abs(corner[0] - spot[0]) + abs(corner[1] - spot[1]))
    for corner in around:
        if any(abs(v.column - corner[0]) + abs(v.row - corner[1]) < 3 for v in taken):
            continue
        place = lines.nodes[lines.corner[corner]]
        samples = place + np.array([[a, b] for a in (0, 500, 1300) for b in (0, 500, 1300)])
        distance, _ = land.creek_distance_m(samples)
        if distance.min() > 330.0:
            return corner
    return None


def _corners_with_room(lines: Lines) -> set[int]:
    """Section corners from which a full mile runs north and another east."""
    step = np.abs(lines.nodes[lines.b] - lines.nodes[lines.a])
    is_north = lines.is_column & (step[:, 1] > 0.9 * MILE_M)
    is_east = ~lines.is_column & (step[:, 0] > 0.9 * MILE_M)
    return set(lines.a[is_north].tolist()) & set(lines.a[is_east].tolist())
