"""Where machines stand overnight: in the yard, at a camp, or where the last job ended.

A machine that stays out saves the drive home and out again; its operator is fetched and brought
back by pickup, and both rides come out of the shifts and are paid like hours. The first search has
everybody home; then stays that save time are tried, and kept if the week is worth more.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from crossfall.dispatch.decode import itineraries_of
from crossfall.dispatch.keep import start_from
from crossfall.dispatch.problem import Graph, Problem
from crossfall.dispatch.roads import passable
from crossfall.dispatch.shifts import Shift
from crossfall.dispatch.solve import Solution
from crossfall.model import Fleet, Itinerary, Machine, Network, Stay
from crossfall.model.policy import DispatchPolicy

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Rides:
    """Minutes of the crew's pickup between nodes."""

    node_index: dict[str, int]
    graph: csr_array

    @classmethod
    def of(cls, network: Network, policy: DispatchPolicy) -> Rides:
        """Roads as a pickup drives them."""
        index = {node.id: i for i, node in enumerate(network.nodes)}
        is_open = passable(network, policy.pickup_mass_t)
        least: dict[tuple[int, int], float] = {}
        for segment, may in zip(network.segments, is_open, strict=True):
            if not may:
                continue
            a, b = index[segment.from_node], index[segment.to_node]
            minutes = segment.length_m * 0.06 / min(segment.travel_km_h, policy.pickup_km_h)
            for pair in ((a, b),) if segment.is_oneway else ((a, b), (b, a)):
                least[pair] = min(least.get(pair, np.inf), max(minutes, 1e-6))
        rows, columns = zip(*least, strict=True) if least else ((), ())
        shape = (len(index), len(index))
        return cls(index, csr_array((list(least.values()), (list(rows), list(columns))), shape))

    def minutes(self, from_node: str, to_nodes: Sequence[str]) -> Floats:
        """Shortest rides, infinite where there is none [min]."""
        away = dijkstra(self.graph, indices=self.node_index[from_node])
        return np.asarray(away[[self.node_index[node] for node in to_nodes]], dtype=float)


@dataclass(frozen=True)
class RidesHome:
    """Rides from each machine's own yard."""

    rides: Rides
    fleet: Fleet
    graph: Graph

    def minutes(self, machine: Machine, node: str) -> float:
        """One ride between the machine's yard and a node [min]."""
        home = next(place for place in self.fleet.places if place.id == machine.home_id)
        yard = self.graph.nearest_node(home.lon, home.lat)
        return float(self.rides.minutes(yard, [node])[0])


Blocks = Sequence[Sequence[int]]
_MOST_ATTEMPTS = 4
_SHARES = (0.3, 0.4, 0.3)
"""Of the time: everybody home, with nights out, and on without."""


def search_with_nights(
    build: Callable[[Sequence[Stay]], Problem],
    search: Callable[[Problem, Blocks, float, float], Solution],
    problem: Problem,
    start: Blocks,
    fleet: Fleet,
    graph: Graph,
) -> tuple[Problem, Solution]:
    """The better of two weeks: with everybody home at night, and with the nights out that pay.

    ``build`` makes the problem with some stays; ``search`` looks for a plan of it from a start, for
    a share of the time, after another share is gone.
    """
    first = search(problem, start, _SHARES[0], 0.0)
    home = search(problem, first.blocks, _SHARES[2], _SHARES[0])
    best = problem, home
    rides = RidesHome(Rides.of(problem.network, problem.policy), fleet, graph)
    stays = stays_worth_trying(problem, home, fleet, graph)
    away = build(stays) if stays else problem
    begin = start_from(away, itineraries_of(problem, home))
    share, done = _SHARES[1], _SHARES[0] + _SHARES[2]
    for attempt in range(_MOST_ATTEMPTS + 1):
        if not away.stays:
            break
        found = search(away, begin, share, done)
        stays = stays_as_found(away, found, rides, may_move=attempt < _MOST_ATTEMPTS)
        if stays == away.stays:
            if _net_h(away, found) > _net_h(problem, home):
                best = away, found
            break
        # The last job is another one now, or nobody goes out that day: once more, so that it holds
        days = itineraries_of(away, found)
        away = build(stays)
        begin, share, done = start_from(away, days), 0.0, 1.0
    return best


def _net_h(problem: Problem, solution: Solution) -> float:
    """Worth less the price of the rides [h]."""
    rides = sum(
        shift.ride_min
        for shift, blocks in zip(problem.shifts, solution.blocks, strict=True)
        if blocks
    )
    return solution.worth_h - problem.policy.hour_price * rides / 60


def stays_worth_trying(
    problem: Problem, solution: Solution, fleet: Fleet, graph: Graph
) -> tuple[Stay, ...]:
    """For each machine and night between two working days the stay that saves most, if any does.

    Saved is the drive home from the last job and out to the next morning's first; against it stand
    two rides, and the drives to and from a camp.
    """
    policy, network = problem.policy, problem.network
    rides = Rides.of(network, policy)
    places = {place.id: place for place in fleet.places}
    camps = [
        (place.id, graph.nearest_node(place.lon, place.lat))
        for place in fleet.places
        if place.kind == "camp"
    ]
    by_key = {(s.machine.id, s.day): h for h, s in enumerate(problem.shifts)}
    found: list[Stay] = []
    for (machine_id, day), h in by_key.items():
        after = by_key.get((machine_id, day + timedelta(days=1)))
        if after is None or not solution.blocks[h] or not solution.blocks[after]:
            continue
        home = places[problem.shifts[h].machine.home_id]
        yard = graph.nearest_node(home.lon, home.lat)
        last, first = _ends(problem, solution, h)[1], _ends(problem, solution, after)[0]
        drives = _drive_home(problem, h, solution.blocks[h][-1], solution.modes[h][-1])
        drives += _drive_out(problem, after, solution.blocks[after][0], solution.modes[after][0])
        options = [("", last), *camps]
        out = rides.minutes(yard, [node for _, node in options])
        best: tuple[float, Stay] | None = None
        for (place_id, node), ride in zip(options, out, strict=True):
            ways = _machine_minutes(problem, h, node, [last, first])
            saved = drives - 2 * float(ride) - float(ways.sum())
            if np.isfinite(saved) and saved >= policy.least_saved_min and node != yard:
                stay = Stay(machine_id, day, node, place_id, float(ride))
                if best is None or saved > best[0]:
                    best = saved, stay
        if best is not None:
            found.append(best[1])
    return tuple(found)


def with_stays(
    shifts: Sequence[Shift], stays: Sequence[Stay], first_day: date
) -> tuple[tuple[Shift, ...], tuple[Stay, ...]]:
    """Shifts that begin and end where machines stay, and the stays that can be kept at all.

    A stay is kept when its machine goes out on a later day of the plan, and on its own day too
    unless that is over already.
    """
    days: dict[str, list[date]] = {}
    for shift in shifts:
        days.setdefault(shift.machine.id, []).append(shift.day)
    kept = [
        stay
        for stay in stays
        if any(day > stay.night_of for day in days.get(stay.machine_id, ()))
        and (stay.night_of < first_day or stay.night_of in days.get(stay.machine_id, ()))
    ]
    ends = {(stay.machine_id, stay.night_of): stay for stay in kept}
    made: list[Shift] = []
    for shift in shifts:
        before = [
            stay
            for stay in kept
            if stay.machine_id == shift.machine.id
            and stay.night_of < shift.day
            and not any(stay.night_of < day < shift.day for day in days[shift.machine.id])
        ]
        changed = shift
        if before and shift.standing is None:
            changed = replace(
                changed,
                start_min=changed.start_min + before[0].shuttle_min,
                start_node=before[0].node,
                ride_min=before[0].shuttle_min,
            )
        tonight = ends.get((shift.machine.id, shift.day))
        if tonight is not None:
            changed = replace(
                changed,
                end_min=changed.end_min - tonight.shuttle_min,
                regular_min=changed.regular_min - tonight.shuttle_min,
                end_node=tonight.node,
                ride_min=changed.ride_min + tonight.shuttle_min,
            )
        made.append(changed)
    return tuple(made), tuple(kept)


def stays_as_found(
    problem: Problem, solution: Solution, rides: RidesHome, *, may_move: bool
) -> tuple[Stay, ...]:
    """The stays that a found plan can have: of machines that go out on both days.

    One that is to be where the last job ended goes there, or is given up without ``may_move``.
    """
    by_key = {(s.machine.id, s.day): h for h, s in enumerate(problem.shifts) if solution.blocks[h]}
    found: list[Stay] = []
    for stay in problem.stays:
        h = by_key.get((stay.machine_id, stay.night_of))
        if stay.night_of < problem.first_day:
            found.append(stay)
        elif h is not None and (stay.machine_id, stay.night_of + timedelta(days=1)) in by_key:
            node = _ends(problem, solution, h)[1]
            if stay.place_id or node == stay.node:
                found.append(stay)
            elif may_move:
                ride = rides.minutes(problem.shifts[h].machine, node)
                if np.isfinite(ride):
                    found.append(replace(stay, node=node, shuttle_min=ride))
    return tuple(found)


def ride_h(problem: Problem, itineraries: Sequence[Itinerary]) -> float:
    """Hours of the crew's rides to machines in the morning and from them in the evening [h]."""
    out = {(each.machine_id, each.day) for each in itineraries}
    return sum(
        shift.ride_min / 60 for shift in problem.shifts if (shift.machine.id, shift.day) in out
    )


def _ends(problem: Problem, solution: Solution, h: int) -> tuple[str, str]:
    """Nodes where the shift's first work begins and its last ends."""
    first = problem.blocks.enter[solution.blocks[h][0], solution.modes[h][0]]
    last = problem.blocks.leave[solution.blocks[h][-1], solution.modes[h][-1]]
    segments = problem.network.segments
    begin = segments[int(problem.ports[first // 2])]
    end = segments[int(problem.ports[last // 2])]
    return (
        begin.from_node if first % 2 == 0 else begin.to_node,
        end.to_node if last % 2 == 0 else end.from_node,
    )


def _drive_home(problem: Problem, h: int, block: int, mode: int) -> float:
    c, home = int(problem.shift_class[h]), int(problem.shift_home[h])
    return float(problem.between[c, problem.blocks.leave[block, mode], home])


def _drive_out(problem: Problem, h: int, block: int, mode: int) -> float:
    c, start = int(problem.shift_class[h]), int(problem.shift_start[h])
    return float(problem.between[c, start, problem.blocks.enter[block, mode]])


def _machine_minutes(problem: Problem, h: int, node: str, others: Sequence[str]) -> Floats:
    """Least minutes of the shift's machine between a node and others, turns left out [min]."""
    roads = problem.roads[int(problem.shift_class[h])]
    n_nodes = len(problem.network.nodes)
    arcs = np.flatnonzero(roads.usable)
    order = np.lexsort((roads.minutes[arcs], roads.head[arcs], roads.tail[arcs]))
    arcs = arcs[order]
    pair = np.column_stack([roads.tail[arcs], roads.head[arcs]])
    is_first = np.ones(arcs.size, dtype=bool)
    is_first[1:] = (np.diff(pair, axis=0) != 0).any(axis=1)
    arcs = arcs[is_first]
    graph = csr_array(
        (roads.minutes[arcs], (roads.tail[arcs], roads.head[arcs])), (n_nodes, n_nodes)
    )
    index = {each.id: i for i, each in enumerate(problem.network.nodes)}
    away = dijkstra(graph, indices=index[node])
    return np.asarray([away[index[other]] for other in others], dtype=float)
