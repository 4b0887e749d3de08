"""How supporting machines get about: from their yards to the stages that need them, and between.

A water truck, a roller or a haul truck drives at its own speed on the roads that bear it. Where on
a stage it stands when the work ends is not planned, so a drive counts between the ends of the two
roads that lie farthest apart; from and to its yard, to the nearer end. Rollers and trucks are
taken to turn anywhere at no cost.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from crossfall.dispatch.roads import passable
from crossfall.dispatch.shifts import dusk_min, on_duty
from crossfall.errors import InputError
from crossfall.model import Fleet, Machine, Network, Stage
from crossfall.model.policy import DispatchPolicy

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

_CHUNK = 256


@dataclass(frozen=True)
class SupportWays:
    """Drives and hours of every supporting machine. A *place* is a segment that may need some."""

    place_of: Ints
    """Place of each stage; -1 where it never needs any."""
    class_of: Ints
    """Machines of one class drive the same roads at the same speed: shape (machine,)."""
    between: npt.NDArray[np.float32]
    """Minutes from place to place, shape (class, place, place) [min]."""
    home: Floats
    """Minutes out to each place and back home, shape (machine, place, 2) [min]."""
    window: Floats
    """Clock when it may leave the yard and must be home, and 1 if the drive out counts (0 when
    the day is under way): shape (machine, day, 3) [min after midnight]."""


def support_ways(
    stages: Sequence[Stage],
    asks: Flags,
    machines: Sequence[Machine],
    fleet: Fleet,
    network: Network,
    nearest_node: Callable[[float, float], str],
    policy: DispatchPolicy,
    *,
    first_day: date,
    n_days: int,
    is_under_way: bool,
) -> SupportWays:
    """Drives between all stages that ask for support on some day."""
    index = {segment.id: i for i, segment in enumerate(network.segments)}
    segment_of = np.array([index[stage.segment_id] for stage in stages], dtype=np.int64)
    places = np.unique(segment_of[asks])
    place_of = np.full(len(stages), -1, dtype=np.int64)
    place_of[asks] = np.searchsorted(places, segment_of[asks])
    class_of = np.zeros(len(machines), dtype=np.int64)
    between: list[npt.NDArray[np.float32]] = []
    home = np.zeros((len(machines), places.size, 2))
    yards = _yards(machines, fleet, network, nearest_node)
    classes: dict[tuple[bytes, float], tuple[int, dict[int, tuple[Floats, Floats]]]] = {}
    fastest = max((segment.travel_km_h for segment in network.segments), default=0.0)
    for m, machine in enumerate(machines):
        if not machine.travel_km_h > 0:
            raise InputError(
                f"machine {machine.id} has travel_km_h {machine.travel_km_h:g}; expected above 0"
            )
        bears = passable(network, machine.mass_t)
        key = (bears.tobytes(), min(machine.travel_km_h, fastest))
        if key not in classes:
            table, to_yards = _drives(network, bears, key[1], places, sorted(set(yards)))
            classes[key] = (len(between), to_yards)
            between.append(table)
        class_of[m], to_yards = classes[key]
        if yards[m] >= 0:
            home[m, :, 0], home[m, :, 1] = to_yards[yards[m]]
        home[m, ~bears[places]] = np.inf
    return SupportWays(
        place_of,
        class_of,
        np.stack(between) if between else np.zeros((1, places.size, places.size), np.float32),
        home,
        _window(machines, fleet, network, policy, first_day, n_days, is_under_way),
    )


def _window(
    machines: Sequence[Machine],
    fleet: Fleet,
    network: Network,
    policy: DispatchPolicy,
    first_day: date,
    n_days: int,
    is_under_way: bool,
) -> Floats:
    latitude = sum(node.lat for node in network.nodes) / max(1, len(network.nodes))
    window = np.tile([0.0, -1.0, 1.0], (len(machines), n_days, 1))
    for m, machine in enumerate(machines):
        for d in range(n_days):
            day = first_day + timedelta(days=d)
            driver = on_duty(fleet, machine, day)
            if driver is not None:
                start = driver.shift_start_h * 60
                dusk = dusk_min(latitude, day, policy) - policy.dusk_margin_min
                window[m, d, 0] = start + policy.pretrip_min
                window[m, d, 1] = min(start + driver.shift_h * 60, dusk)
    if is_under_way:
        window[:, 0, 2] = 0.0
    return window


def _yards(
    machines: Sequence[Machine],
    fleet: Fleet,
    network: Network,
    nearest_node: Callable[[float, float], str],
) -> list[int]:
    """Node that each machine stands at overnight; -1 where its place is unknown."""
    node = {each.id: i for i, each in enumerate(network.nodes)}
    found = {place.id: node[nearest_node(place.lon, place.lat)] for place in fleet.places}
    return [found.get(machine.home_id, -1) for machine in machines]


def _drives(
    network: Network, bears: Flags, km_h: float, places: Ints, yards: Sequence[int]
) -> tuple[npt.NDArray[np.float32], dict[int, tuple[Floats, Floats]]]:
    """Minutes between the farthest ends of places; and between each yard and their nearer ends."""
    node = {each.id: i for i, each in enumerate(network.nodes)}
    start = np.array([node[s.from_node] for s in network.segments], dtype=np.int64)
    end = np.array([node[s.to_node] for s in network.segments], dtype=np.int64)
    minutes = np.array([s.length_m * 0.06 / min(s.travel_km_h, km_h) for s in network.segments])
    two_way = bears & np.array([not s.is_oneway for s in network.segments], dtype=bool)
    tail = np.concatenate([start[bears], end[two_way]])
    head = np.concatenate([end[bears], start[two_way]])
    weight = np.maximum(np.concatenate([minutes[bears], minutes[two_way]]), 1e-6)
    # Of parallel roads the quickest counts; a sparse array would add them up
    order = np.lexsort((weight, head, tail))
    tail, head, weight = tail[order], head[order], weight[order]
    is_first = np.ones(tail.size, dtype=bool)
    is_first[1:] = (np.diff(tail) != 0) | (np.diff(head) != 0)
    graph = csr_array((weight[is_first], (tail[is_first], head[is_first])), shape=(len(node),) * 2)
    ends = np.column_stack([start[places], end[places]])
    sources = np.unique(np.concatenate([ends.ravel(), [y for y in yards if y >= 0]])).astype(int)
    row = {int(source): k for k, source in enumerate(sources)}
    apart = np.empty((sources.size, sources.size), dtype=np.float32)
    for first in range(0, sources.size, _CHUNK):
        rows = slice(first, first + _CHUNK)
        apart[rows] = dijkstra(graph, indices=sources[rows])[:, sources]
    at = np.searchsorted(sources, ends)
    table = np.zeros((places.size, places.size), dtype=np.float32)
    for a in range(2):
        for b in range(2):
            table = np.maximum(table, apart[np.ix_(at[:, a], at[:, b])])
    to_yards = {
        y: (
            apart[row[y]][at].min(axis=1).astype(float),
            apart[:, row[y]][at].min(axis=1).astype(float),
        )
        for y in yards
        if y >= 0
    }
    return table, to_yards
