"""Section lines: a mile apart, set over at correction lines, broken at the creek, some never built.

The spanning tree of the section lines is kept whatever happens, so the network
is always one piece; a tree road that meets the creek gets its bridge.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import minimum_spanning_tree

from crossfall.demo.draft import Draft, Piece
from crossfall.demo.land import Land, Points, crossings, smooth_field
from crossfall.demo.recipe import AVENUES, HIGHWAYS, MILE_M, Recipe


@dataclass(frozen=True, eq=False)
class Lines:
    """Every section-line mile there could be: arrays with one entry a mile."""

    nodes: Points
    a: npt.NDArray[np.intp]
    b: npt.NDArray[np.intp]
    is_column: npt.NDArray[np.bool_]
    """Whether it runs north-south."""
    number: npt.NDArray[np.intp]
    """Which row or column it lies on."""
    at_m: npt.NDArray[np.float64]
    corner: dict[tuple[int, int], int]
    """Node of a section corner (column, row), the southern one on a correction line."""
    highway_row: int
    highway_column: int


def lay_lines(n_columns: int, n_rows: int, recipe: Recipe, rng: np.random.Generator) -> Lines:
    """Section corners and the miles between them, ``n_columns`` by ``n_rows`` sections."""
    highway_row, highway_column = round(0.42 * n_rows), round(0.44 * n_columns)
    corrections = _correction_rows(n_rows, recipe)
    nodes: list[tuple[float, float]] = []
    south: dict[tuple[int, int], int] = {}
    north: dict[tuple[int, int], int] = {}
    edges: list[tuple[int, int, bool, int, float]] = []
    shift = 0.0
    for row in range(n_rows + 1):
        y = row * MILE_M
        set_over = 0.0
        if row in corrections:
            set_over = recipe.correction_shift_m * rng.uniform(0.8, 1.2) * rng.choice([-1, 1])
        along_row: list[tuple[float, int]] = []
        for column in range(n_columns + 1):
            x = column * MILE_M + shift
            is_highway = column == highway_column
            if not set_over or is_highway:
                nodes.append((x + set_over / 2, y))
                south[column, row] = north[column, row] = len(nodes) - 1
                along_row.append((x + set_over / 2, len(nodes) - 1))
                continue
            nodes += [(x, y), (x + set_over, y)]
            south[column, row], north[column, row] = len(nodes) - 2, len(nodes) - 1
            along_row += [(x, len(nodes) - 2), (x + set_over, len(nodes) - 1)]
        along_row.sort()
        edges += [(a, b, False, row, x) for (x, a), (_, b) in pairwise(along_row)]
        if row:
            edges += [
                (north[column, row - 1], south[column, row], True, column, y - MILE_M)
                for column in range(n_columns + 1)
            ]
        shift += set_over
    places = np.array(nodes) + rng.normal(0, recipe.jitter_m, (len(nodes), 2))
    a, b, is_column, number, at_m = zip(*edges, strict=True)
    return Lines(
        places,
        np.array(a),
        np.array(b),
        np.array(is_column),
        np.array(number),
        np.array(at_m, dtype=np.float64),
        south,
        highway_row,
        highway_column,
    )


def build_roads(
    lines: Lines,
    land: Land,
    n_miles: int,
    keep: set[int],
    recipe: Recipe,
    rng: np.random.Generator,
) -> Draft:
    """Decide which miles became roads, and draw them.

    ``n_miles`` gravel miles are kept as far as the lines allow; those numbered
    in ``keep`` always are.
    """
    nodes = _clear_of_water(lines.nodes, land, recipe)
    straight = np.stack([nodes[lines.a], nodes[lines.b]], axis=1)
    water: dict[int, list[Points]] = {}
    for creek in land.creeks:
        for index, point in zip(*crossings(shapely.linestrings(straight), creek), strict=True):
            water.setdefault(int(index), []).append(point)
    n_crossed = np.array([len(water.get(index, ())) for index in range(len(straight))])
    is_highway = np.where(
        lines.is_column, lines.number == lines.highway_column, lines.number == lines.highway_row
    )
    is_collector = lines.number % recipe.collector_every == np.where(lines.is_column, 2, 1)
    kept = np.zeros(len(straight), dtype=bool)
    kept[list(keep)] = True
    lot = rng.uniform(size=len(straight))
    weight = 1 + lot + 8 * n_crossed - 0.8 * is_collector - 0.95 * is_highway - 0.9 * kept
    holds = _spanning(len(nodes), lines, np.maximum(weight, 0.01)) | is_highway | kept
    gets_bridge = (n_crossed == 1) & (is_collector | (lot < recipe.bridge_share))
    gets_stop = (n_crossed > 0) & ~gets_bridge & (lot < recipe.bridge_share + recipe.stop_share)
    built = holds | (n_crossed == 0) | gets_bridge | gets_stop
    built &= ~_never_built(straight.mean(axis=1), built, holds | is_collector, n_miles, land, rng,
                           n_highway=int(is_highway.sum()))  # fmt: skip

    draft = Draft(nodes=[(float(x), float(y)) for x, y in nodes])
    curves = _curves(straight, (n_crossed > 0) | kept, is_highway, land, recipe, rng)
    bridged = (n_crossed > 0) & (holds | gets_bridge)
    for index in np.flatnonzero(built):
        column, number = bool(lines.is_column[index]), int(lines.number[index])
        piece = Piece(
            int(lines.a[index]),
            int(lines.b[index]),
            curves[index],
            route_name(number, is_column=column, lines=lines),
            float(lines.at_m[index]),
            build="paved" if is_highway[index] else "gravel",
            is_collector=bool(is_collector[index]),
            is_bridged=bool(bridged[index]),
            is_fixed=bool(holds[index]),
        )
        if n_crossed[index] and not bridged[index]:
            _stop_at_water(draft, piece, np.array(water[int(index)]))
        else:
            draft.add(piece)
    return draft


def route_name(number: int, *, is_column: bool, lines: Lines) -> str:
    """Avenues run north-south and are named by the alphabet; streets are numbered in tens."""
    if is_column and number == lines.highway_column:
        return HIGHWAYS[1]
    if not is_column and number == lines.highway_row:
        return HIGHWAYS[0]
    if not is_column:
        return f"{100 + 10 * number}th Street"
    series, letter = divmod(number, len(AVENUES))
    return f"{AVENUES[letter]} Avenue" + (f" {series + 1}" if series else "")


def _correction_rows(n_rows: int, recipe: Recipe) -> set[int]:
    first = round(0.68 * n_rows) if n_rows < recipe.correction_every else recipe.correction_every
    return {row for row in range(first, n_rows, recipe.correction_every) if row >= 3}


def _clear_of_water(nodes: Points, land: Land, recipe: Recipe) -> Points:
    distance, bed = land.creek_distance_m(nodes)
    clearance = 0.7 * recipe.creek_clearance_m
    away = (nodes - bed) / np.maximum(distance, 1.0)[:, None]
    moved: Points = nodes + away * np.maximum(0.0, clearance - distance)[:, None]
    return moved


def _spanning(n_nodes: int, lines: Lines, weight: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
    graph = coo_array((weight, (lines.a, lines.b)), shape=(n_nodes, n_nodes)).tocsr()
    tree = minimum_spanning_tree(graph).tocoo()
    held = set(zip(tree.row.tolist(), tree.col.tolist(), strict=True))
    pairs = zip(lines.a.tolist(), lines.b.tolist(), strict=True)
    return np.fromiter((pair in held for pair in pairs), dtype=bool, count=len(lines.a))


def _never_built(
    middles: Points,
    built: npt.NDArray[np.bool_],
    safe: npt.NDArray[np.bool_],
    n_miles: int,
    land: Land,
    rng: np.random.Generator,
    *,
    n_highway: int,
) -> npt.NDArray[np.bool_]:
    """Which miles to leave out: more in rough ground by the creek and at the edge of the sheet."""
    distance, _ = land.creek_distance_m(middles)
    edge = np.minimum.reduce(
        [middles[:, 0], land.width_m - middles[:, 0], middles[:, 1], land.height_m - middles[:, 1]]
    )
    wish = 0.55 * smooth_field(middles, rng, 9000.0) + 0.9 * np.exp(-distance / 900.0)
    wish += 0.35 * (edge < 0.3 * MILE_M) + rng.uniform(0, 1.6, len(middles))
    wish[safe | ~built] = -np.inf
    n_out = min(int(built.sum()) - n_highway - n_miles, int(np.isfinite(wish).sum()))
    out = np.zeros(len(middles), dtype=bool)
    if n_out > 0:
        out[np.argsort(-wish, kind="stable")[:n_out]] = True
    return out


def _curves(
    straight: Points,
    is_straight: npt.NDArray[np.bool_],
    is_highway: npt.NDArray[np.bool_],
    land: Land,
    recipe: Recipe,
    rng: np.random.Generator,
) -> list[Points]:
    """The drawn line of each mile: most are straight, some give way to water or to a slough."""
    n = len(straight)
    share = np.linspace(0, 1, 13)
    fine = straight[:, None, 0] * (1 - share)[:, None] + straight[:, None, 1] * share[:, None]
    distance, bed = land.creek_distance_m(fine.reshape(-1, 2))
    distance, bed = distance.reshape(n, -1), bed.reshape(n, -1, 2)
    short = np.maximum(0.0, recipe.creek_clearance_m - distance)
    push = (fine - bed) / np.maximum(distance, 1.0)[..., None] * short[..., None]
    push[is_straight] = 0.0
    push = _smooth(push)
    direction = straight[:, 1] - straight[:, 0]
    is_straight = is_straight | (np.hypot(*direction.T) < 0.7 * MILE_M)
    normal = np.stack([-direction[:, 1], direction[:, 0]], axis=1)
    normal /= np.hypot(*normal.T)[:, None]
    has_slough = (rng.uniform(size=n) < recipe.slough_share) & ~is_highway
    middle = rng.uniform(0.35, 0.65, n)[:, None]
    swing = rng.uniform(70, 170, n) * rng.choice([-1, 1], n) * has_slough
    bump = np.exp(-(((share[None] - middle) / 0.16) ** 2)) - np.exp(-((0.5 / 0.16) ** 2))
    bump *= np.minimum(1.0, 5 * np.minimum(share, 1 - share))
    near = np.exp(-distance.min(axis=1) / 500.0) * ~is_highway
    wiggle = np.sin(2 * np.pi * share[None] * rng.uniform(1, 2, n)[:, None] + 6 * middle)
    wiggle = wiggle * np.minimum(1.0, 4 * np.minimum(share, 1 - share)) * (45 * near)[:, None]
    offset = swing[:, None] * bump + wiggle
    drawn = fine + push + offset[..., None] * normal[:, None]
    is_bent = (np.abs(drawn - fine).max(axis=(1, 2)) > 12.0) & ~is_straight
    lines = shapely.simplify(shapely.linestrings(drawn), 6.0)
    return [
        shapely.get_coordinates(lines[index]) if is_bent[index] else straight[index]
        for index in range(n)
    ]


def _smooth(push: Points) -> Points:
    for _ in range(2):
        push[:, 1:-1] = (push[:, :-2] + 2 * push[:, 1:-1] + push[:, 2:]) / 4
        push[:, [0, -1]] = 0.0
    return push


def _stop_at_water(draft: Draft, piece: Piece, meets: Points) -> None:
    """Draw only the stretches from each end to the bank, where they are long enough to use."""
    start, end = piece.points[0], piece.points[-1]
    length = piece.length_m
    at = np.sort(np.hypot(*(meets - start).T))
    shortest, bank = 380.0, 45.0
    unit = (end - start) / length
    if at[0] - bank > shortest:
        tip = start + unit * (at[0] - bank)
        node = draft.add_node(*tip)
        draft.add(
            Piece(piece.a, node, np.stack([start, tip]), piece.route, piece.at_m,
                  stops_at_water=True)
        )  # fmt: skip
    if length - at[-1] - bank > shortest:
        tip = start + unit * (at[-1] + bank)
        node = draft.add_node(*tip)
        draft.add(
            Piece(node, piece.b, np.stack([tip, end]), piece.route, piece.at_m + at[-1] + bank,
                  stops_at_water=True)
        )  # fmt: skip
