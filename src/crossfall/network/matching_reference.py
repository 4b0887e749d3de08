"""What the matching kernels do, said again plainly: by shapes, by scipy, by loops over numpy rows.

Slow and easy to read. The tests hold the compiled loops against these.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import numpy.typing as npt
import shapely
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from crossfall.network.road_index import RoadIndex

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def roads_within(roads: RoadIndex, x: Floats, y: Floats) -> list[dict[int, tuple[float, float]]]:
    """For each place every road within reach: distance, and metres along its drawn line [m]."""
    shapes = [shapely.LineString(roads.plane.line(each.line)) for each in roads.network.segments]
    found = []
    for px, py in zip(x.tolist(), y.tolist(), strict=True):
        point = shapely.Point(px, py)
        away = {k: float(shapely.distance(shape, point)) for k, shape in enumerate(shapes)}
        found.append(
            {
                k: (metres, float(shapely.line_locate_point(shapes[k], point)))
                for k, metres in away.items()
                if metres <= roads.search_m
            }
        )
    return found


def all_ways(roads: RoadIndex) -> Floats:
    """Shortest ways between all junctions, shape (node, node) [m]."""
    n = len(roads.network.nodes)
    best = np.full((n, n), np.inf)
    for a, b, metres in zip(roads.from_node, roads.to_node, roads.length_m, strict=True):
        best[a, b] = best[b, a] = min(best[a, b], metres)
    best[np.isinf(best)] = 0.0
    return np.asarray(dijkstra(csr_matrix(best), directed=False))


def likeliest_roads(
    roads: RoadIndex,
    ways: Floats,
    x: Floats,
    y: Floats,
    near: tuple[Ints, Floats, Floats, Ints],
    *,
    noise_m: float,
    detour_m: float,
    limit_m: float,
) -> Ints:
    """Road of each fix on the likeliest course, by weighing every pair of roads."""
    segment, at, offset, n_found = near
    course: list[int] = []
    paths: list[tuple[float, list[int]]] = []
    for i in range(x.size):
        here = []
        for b in range(int(n_found[i])):
            emission = -0.5 * (offset[i, b] / noise_m) ** 2
            options = []
            if paths:
                straight = float(np.hypot(x[i] - x[i - 1], y[i] - y[i - 1]))
                for a, (score, path) in enumerate(paths):
                    way = _way(
                        roads, ways, segment[i - 1, a], at[i - 1, a], segment[i, b], at[i, b]
                    )
                    if way <= limit_m + straight and np.isfinite(score):
                        options.append((score - abs(way - straight) / detour_m + emission, path))
            best = max(options, key=lambda option: option[0], default=None)
            here.append(
                (-np.inf, []) if best is None else (best[0], [*best[1], int(segment[i, b])])
            )
        if not any(np.isfinite(score) for score, _ in here):
            course += max(paths, key=lambda path: path[0], default=(0.0, []))[1]
            here = [
                (-0.5 * (offset[i, b] / noise_m) ** 2, [int(segment[i, b])])
                for b in range(int(n_found[i]))
            ]
            if not here:
                course.append(-1)
        paths = here
    return np.array(course + max(paths, key=lambda path: path[0], default=(0.0, []))[1])


def settled(bits: npt.NDArray[np.int8], wrong: float, change: float) -> npt.NDArray[np.int8]:
    """The likeliest course of a switch, by weighing every course there is; for a few fixes."""
    best, found = -np.inf, bits
    for course in product((0, 1), repeat=bits.size):
        score = 0.0
        for k, state in enumerate(course):
            if bits[k] >= 0:
                score += np.log(1 - wrong if bits[k] == state else wrong)
            if k:
                score += np.log(change if state != course[k - 1] else 1 - change)
        if score > best + 1e-12:
            best, found = score, np.array(course, dtype=np.int8)
    return found


def _way(roads: RoadIndex, ways: Floats, s1: int, m1: float, s2: int, m2: float) -> float:
    if s1 == s2:
        return abs(m2 - m1)
    out = ((roads.from_node[s1], m1), (roads.to_node[s1], roads.length_m[s1] - m1))
    into = ((roads.from_node[s2], m2), (roads.to_node[s2], roads.length_m[s2] - m2))
    return float(min(a + ways[p, q] + b for (p, a), (q, b) in product(out, into)))
