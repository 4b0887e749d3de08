"""How supporting machines get about: from their yards to the stages that need them, and between.

A water truck, a roller or a haul truck drives at its own speed on the roads that bear it. It is
where the grader begins when the first pass begins, and where it ends when the last one ends; on to
the next stage it goes its own shortest way, and can turn anywhere at no cost.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from crossfall.dispatch.daylight import last_light
from crossfall.dispatch.roads import passable
from crossfall.dispatch.shifts import on_duty
from crossfall.errors import InputError
from crossfall.model import CrewCalendar, Fleet, Machine, Network, Stage
from crossfall.model.policy import DispatchPolicy

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

_CHUNK = 256


@dataclass(frozen=True)
class SupportWays:
    """Drives and hours of every supporting machine; a *place* is a stage's end node or a yard."""

    class_of: Ints
    """Machines of one class drive the same roads at the same speed: shape (machine,)."""
    home_of: Ints
    """Place of each machine's yard; -1 where it is unknown and its drive does not count."""
    place_of: Ints
    """Place one comes in by and goes out by through each port, shape (port, 2); -1 for none."""
    between: npt.NDArray[np.float32]
    """Minutes from place to place, shape (class, place, place) [min]."""
    rest: Floats
    """Minutes over what of its segment is not the stage's; infinite where the road does not bear
    it: shape (class, stage) [min]."""
    window: Floats
    """Clock when it may leave the yard and must be home, and 1 if the drive out counts (0 when
    the day is under way): shape (machine, day, 3) [min after midnight]."""

    def there_and_back(self, machine: int, port: int, stage: int) -> float:
        """Least minutes from the yard to a stage and home again [min]."""
        c, home = int(self.class_of[machine]), int(self.home_of[machine])
        ends = self.place_of[port]
        if ends[0] < 0 or home < 0:
            return 0.0
        out, back = self.between[c, home, ends].min(), self.between[c, ends, home].min()
        return float(out + back + self.rest[c, stage])


def support_ways(
    stages: Sequence[Stage],
    asks: Flags,
    ports: Ints,
    machines: Sequence[Machine],
    fleet: Fleet,
    network: Network,
    nearest_node: Callable[[float, float], str],
    policy: DispatchPolicy,
    *,
    first_day: date,
    n_days: int,
    is_under_way: bool,
    calendar: CrewCalendar | None = None,
) -> SupportWays:
    """Drives between all stages that ask for support on some day; ``ports`` lists the segments."""
    index = {segment.id: i for i, segment in enumerate(network.segments)}
    node = {each.id: i for i, each in enumerate(network.nodes)}
    segment_of = np.array([index[stage.segment_id] for stage in stages], dtype=np.int64)
    ends = np.array(
        [(node[s.from_node], node[s.to_node]) for s in network.segments], dtype=np.int64
    ).reshape(-1, 2)
    asking = np.isin(ports, segment_of[asks])
    yards = _yards(machines, fleet, network, nearest_node)
    places = np.unique(np.concatenate([ends[ports[asking]].ravel(), yards[yards >= 0]]))
    # Along increasing measure one comes in by the first end and goes out by the second
    both = np.stack([ends[ports], ends[ports][:, ::-1]], axis=1).reshape(-1, 2)
    place_of = np.where(np.repeat(asking, 2)[:, None], np.searchsorted(places, both), -1)
    fastest = max((segment.travel_km_h for segment in network.segments), default=0.0)
    class_of = np.zeros(len(machines), dtype=np.int64)
    classes: dict[tuple[bytes, float], int] = {}
    between: list[npt.NDArray[np.float32]] = []
    rest: list[Floats] = []
    for m, machine in enumerate(machines):
        if not machine.travel_km_h > 0:
            raise InputError(
                f"machine {machine.id} has travel_km_h {machine.travel_km_h:g}; expected above 0"
            )
        bears = passable(network, machine.mass_t)
        key = (bears.tobytes(), min(machine.travel_km_h, fastest))
        if key not in classes:
            classes[key] = len(between)
            minutes = np.array(
                [s.length_m * 0.06 / min(s.travel_km_h, key[1]) for s in network.segments]
            )
            between.append(_drives(network, ends, bears, minutes, places))
            beyond = [
                1.0 - (stage.to_m - stage.from_m) / network.segments[i].length_m
                for stage, i in zip(stages, segment_of, strict=True)
            ]
            own = np.maximum(beyond, 0.0) * minutes[segment_of]
            rest.append(np.where(bears[segment_of], own, np.inf))
        class_of[m] = classes[key]
    nothing = np.zeros((1, places.size, places.size), np.float32)
    return SupportWays(
        class_of,
        np.where(yards >= 0, np.searchsorted(places, yards), -1),
        place_of,
        np.stack(between) if between else nothing,
        np.stack(rest) if rest else np.zeros((1, len(stages))),
        _window(machines, fleet, network, policy, first_day, n_days, is_under_way, calendar),
    )


def _window(
    machines: Sequence[Machine],
    fleet: Fleet,
    network: Network,
    policy: DispatchPolicy,
    first_day: date,
    n_days: int,
    is_under_way: bool,
    calendar: CrewCalendar | None,
) -> Floats:
    light_until = last_light(network, policy)
    window = np.tile([0.0, -1.0, 1.0], (len(machines), n_days, 1))
    for m, machine in enumerate(machines):
        for d in range(n_days):
            day = first_day + timedelta(days=d)
            driver = on_duty(fleet, machine, day, dusk=light_until(day), calendar=calendar)
            if driver is not None:
                window[m, d, 0] = driver.start_min + policy.pretrip_min
                window[m, d, 1] = driver.end_min
    if is_under_way:
        window[:, 0, 2] = 0.0
    return window


def _yards(
    machines: Sequence[Machine],
    fleet: Fleet,
    network: Network,
    nearest_node: Callable[[float, float], str],
) -> Ints:
    """Node that each machine stands at overnight; -1 where its place is unknown."""
    node = {each.id: i for i, each in enumerate(network.nodes)}
    found = {place.id: node[nearest_node(place.lon, place.lat)] for place in fleet.places}
    return np.array([found.get(machine.home_id, -1) for machine in machines], dtype=np.int64)


def _drives(
    network: Network, ends: Ints, bears: Flags, minutes: Floats, places: Ints
) -> npt.NDArray[np.float32]:
    """Minutes of the shortest ways between places, over roads that bear the machine."""
    two_way = bears & np.array([not s.is_oneway for s in network.segments], dtype=bool)
    tail = np.concatenate([ends[bears, 0], ends[two_way, 1]])
    head = np.concatenate([ends[bears, 1], ends[two_way, 0]])
    weight = np.maximum(np.concatenate([minutes[bears], minutes[two_way]]), 1e-6)
    # Of parallel roads the quickest counts; a sparse array would add them up
    order = np.lexsort((weight, head, tail))
    tail, head, weight = tail[order], head[order], weight[order]
    is_first = np.ones(tail.size, dtype=bool)
    is_first[1:] = (np.diff(tail) != 0) | (np.diff(head) != 0)
    n_nodes = len(network.nodes)
    graph = csr_array((weight[is_first], (tail[is_first], head[is_first])), (n_nodes, n_nodes))
    apart = np.empty((places.size, places.size), dtype=np.float32)
    for first in range(0, places.size, _CHUNK):
        rows = slice(first, first + _CHUNK)
        apart[rows] = dijkstra(graph, indices=places[rows])[:, places]
    return apart
