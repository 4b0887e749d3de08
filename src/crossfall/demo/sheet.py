"""A whole invented road network of any size: land, section lines, villages, cuts, features."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from crossfall.demo.draft import Draft, Piece
from crossfall.demo.extras import add_creek_road, add_half_roads, drop_doubles, settle_count
from crossfall.demo.features import find_features
from crossfall.demo.grid import build_roads, lay_lines
from crossfall.demo.land import Land, Points, draw_land
from crossfall.demo.recipe import MILE_M, Recipe
from crossfall.demo.roads import finish, in_order
from crossfall.demo.villages import Village, build_village, place_villages, village_miles
from crossfall.errors import InputError
from crossfall.model import Network

SMALLEST, WITH_VILLAGES = 12, 120


@dataclass(frozen=True, eq=False)
class Sheet:
    """An invented network with the land it lies on."""

    network: Network
    land: Land
    villages: tuple[Village, ...]
    junctions: Points
    """Where three or more roads meet outside villages, on the plane, shape (junction, 2) [m]."""


def section_grid(n_segments: int, seed: int) -> Network:
    """An invented section-grid network with exactly ``n_segments`` gravel segments, in one piece.

    Roads lie on a mile grid with correction lines, missing links, creeks with
    bridges and dead ends, a railway with level crossings, two paved highways
    and, from 120 segments on, villages. The same arguments give the same network.

    Raises
    ------
    InputError
        If ``n_segments`` is below 12 or above 300000.

    Examples
    --------
    >>> network = section_grid(200, seed=1)
    >>> len(network.maintained)
    200
    """
    return draw_sheet(n_segments, seed).network


def draw_sheet(n_segments: int, seed: int, recipe: Recipe | None = None) -> Sheet:
    """As :func:`section_grid`, with the land and the villages beside the network."""
    if not SMALLEST <= n_segments <= 300_000:
        raise InputError(f"n_segments is {n_segments}; expected {SMALLEST} to 300000")
    recipe = recipe or Recipe()
    rng = np.random.default_rng([seed, n_segments])
    n_miles = max(8, round(n_segments / recipe.pieces_per_mile))
    n_columns, n_rows = _size(n_miles, recipe)
    land = draw_land(n_columns * MILE_M, n_rows * MILE_M, rng)
    lines = lay_lines(n_columns, n_rows, recipe, rng)
    villages: tuple[Village, ...] = ()
    if n_segments >= WITH_VILLAGES:
        villages = place_villages(lines, land, n_columns, n_rows, rng)
    draft = build_roads(lines, land, n_miles, village_miles(villages, lines), recipe, rng)
    for village in villages:
        build_village(draft, village, recipe)
    if villages:
        add_half_roads(draft, round(recipe.half_road_share * n_columns * n_rows), land, rng)
        add_creek_road(draft, land, recipe, "Osier Creek Road")
        drop_doubles(draft, "Osier Creek Road")
    settle_count(draft, n_segments, rng)
    towns = np.array([[village.x, village.y] for village in villages]).reshape(-1, 2)
    pieces = in_order(draft)
    network = finish(draft, pieces, land, towns, rng, prefix="OV")
    features = find_features(network.segments, pieces, land, rng)
    return Sheet(replace(network, features=features), land, villages, _junctions(draft, pieces))


def _size(n_miles: int, recipe: Recipe) -> tuple[int, int]:
    """Sections east-west and north-south whose lines, less those never built, make ``n_miles``."""
    for n_rows in range(2, 2000):
        n_columns = max(2, round(recipe.aspect * n_rows))
        miles = n_columns * n_rows + (n_columns + 1) * n_rows
        if miles * (1 - recipe.missing_share) >= n_miles:
            return n_columns, n_rows
    raise InputError(f"{math.ceil(n_miles)} miles do not fit any sheet")


def _junctions(draft: Draft, pieces: list[Piece]) -> Points:
    degree = Counter(end for p in pieces if p.build == "gravel" for end in (p.a, p.b))
    return draft.ends()[sorted(node for node, count in degree.items() if count >= 3)]
