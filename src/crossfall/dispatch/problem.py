"""The week as arrays: stages, the blocks their passes can be driven in, shifts, and worth.

A *block* is a run of passes over one stage without leaving the segment. Passes
go with traffic, out along one side and back on the other, so a block of an odd
number of passes carries the machine to the far end. A stage is served in one
of its *options*: all passes in one block, or, on a whole segment with an even
number of passes, one pass now and the rest on the way back, as crews do who
grade out one side for miles and return on the other. All passes of a stage
belong to one shift.

What a stage is worth is its job's benefit in proportion to its share of the
job's blade-down minutes, times the probability that the surface is fit on the
day; the same rule holds for the bound and the checker.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Protocol

import numpy as np
import numpy.typing as npt

from crossfall.dispatch.blocks import Blocks, build_blocks
from crossfall.dispatch.calendar import Ban, bans_of, check_calendar, preference_pull
from crossfall.dispatch.daylight import last_light
from crossfall.dispatch.roads import Roads, passable
from crossfall.dispatch.shifts import Shift, open_shifts
from crossfall.dispatch.stages import (
    Gates,
    Support,
    Todo,
    Windows,
    after_of,
    can_of,
    check_jobs,
    support_of,
    todo_of,
    windows_of,
    worth_of,
)
from crossfall.dispatch.standing import Since
from crossfall.dispatch.supports import SupportWays, support_ways
from crossfall.dispatch.wishes import check_wishes, pin_pull, places_left
from crossfall.errors import InputError
from crossfall.model import CrewCalendar, Fleet, Job, Machine, Network, PlanWish, Stage, Stay
from crossfall.model.policy import DispatchPolicy

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


class Graph(Protocol):
    """What the dispatcher asks of the road graph; the network room's answers."""

    def nearest_node(self, lon: float, lat: float, /) -> str: ...


@dataclass(frozen=True)
class Problem:
    """Everything the search, the bound, the baselines and the explanations read; never changed."""

    policy: DispatchPolicy
    network: Network
    jobs: tuple[Job, ...]
    stages: tuple[Stage, ...]
    job_of: Ints
    shifts: tuple[Shift, ...]
    first_day: date
    n_days: int
    roads: tuple[Roads, ...]
    """One for each class of machine that can use the same roads at the same speeds."""
    ports: Ints
    """Index into ``network.segments`` of each segment with ways in and out."""
    between: npt.NDArray[np.float32]
    """Travel minutes, shape (class, port, port)."""
    blocks: Blocks
    shift_class: Ints
    shift_start: Ints
    """Port each shift starts from: its yard, or where the machine stands."""
    shift_home: Ints
    """Port of the yard each shift ends at."""
    standing_arcs: Ints
    """Arc that each standing machine has come along; their ports follow those of the yards."""
    may_do: Flags
    """Skill and attachment only, whatever the weather: shape (stage, shift)."""
    is_reached: Flags
    """Whether the shift can drive there and home at all: shape (stage, shift)."""
    windows: Windows
    worth_h: Floats
    """Expected worth of the stage in the shift [h], shape (stage, shift)."""
    pull_h: Floats
    """What only the search adds to it, to keep an earlier plan and to close windrows [h]."""
    n_done: Ints
    """Passes of each stage that have been made already."""
    since: Since | None
    after: tuple[tuple[int, ...], ...]
    waits_outside: Flags
    """Stages that must follow one that is not in this plan at all."""
    support: Support
    support_ways: SupportWays
    bans: tuple[tuple[Ban, ...], ...]
    """For each stage the hours in which it may not be worked."""
    stays: tuple[Stay, ...]
    """Machines that stand out overnight, where and when."""
    set_aside: Flags
    """Stages the search does not look at because there are more than it can hold."""
    wished: Flags
    """Where people's wishes let the search put each stage: shape (stage, shift)."""
    pinned_h: Floats
    """What of ``pull_h`` is for pins: shape (stage, shift) [h]."""

    @property
    def work_min(self) -> Floats:
        """Blade-down minutes of each stage [min]."""
        return np.array([stage.work_min for stage in self.stages], dtype=float)

    @property
    def stage_min(self) -> Floats:
        """Minutes of each stage that no plan avoids: signs and passes [min]."""
        return np.array([stage.work_min + stage.wait_min for stage in self.stages], dtype=float)

    @property
    def wet(self) -> Flags:
        """Whether a water truck is asked for only because of the surface: shape (stage, day)."""
        return self.windows.needs_water & (self.support.water_h > 0)[:, None]

    @property
    def may_serve_now(self) -> Flags:
        """Stage and shift pairs open to the search: skill, reach, weather and wishes together."""
        return self._open & self.is_reached & self.wished

    @property
    def may_serve_ever(self) -> Flags:
        """The same without wishes, and those set aside count as reached: what the bound needs."""
        return self._open & (self.is_reached | self.set_aside[:, None])

    @property
    def _open(self) -> Flags:
        days = np.array([shift.day_index for shift in self.shifts], dtype=np.int64)
        return self.may_do & self.windows.allowed[:, days] & ~self.waits_outside[:, None]


def build_problem(
    jobs: Sequence[Job],
    network: Network,
    graph: Graph,
    fleet: Fleet,
    gates: Gates,
    policy: DispatchPolicy,
    *,
    first_day: date,
    n_days: int,
    since: Since | None = None,
    wishes: Sequence[PlanWish] = (),
    calendar: CrewCalendar | None = None,
    overdue: Collection[str] = (),
    stays: Sequence[Stay] = (),
    most_steps: float = np.inf,
    check: Callable[[], None] = lambda: None,
) -> Problem:
    """Turn the nouns into arrays, refusing what cannot be true.

    ``calendar`` is what the week is planned around, ``overdue`` are segments that have waited too
    long for a blade. ``most_steps`` lowers ``policy.most_travel_steps`` when there is little time.

    Raises
    ------
    InputError
        If ids are doubled, minutes are negative, a stage lies outside its segment, or nobody
        could go out at all.
    """
    jobs = tuple(jobs)
    check_jobs(jobs, network)
    check_wishes(wishes, jobs, fleet)
    if since is not None and since.day != first_day:
        raise InputError(f"work is known up to {since.day}, the plan starts {first_day}")
    todo = todo_of(jobs, since)
    stages = todo.stages
    check_calendar(calendar, fleet)
    shifts = open_shifts(
        fleet,
        network,
        policy,
        first_day=first_day,
        n_days=n_days,
        since=since,
        calendar=calendar,
    )
    if stays:
        from crossfall.dispatch.overnight import with_stays

        shifts, stays = with_stays(shifts, stays, first_day)
        shifts = tuple(shift for shift in shifts if shift.usable_min > 0)
    windows = windows_of(todo, gates, first_day, n_days)
    worth = worth_of(todo, windows, shifts)
    after, waits_outside = after_of(stages, since.done if since else frozenset())
    machines = [shift.machine for shift in shifts]
    classes, class_of = _classes(network, machines)
    yards, yard_of = _yards(fleet, graph, machines)
    from_yard, to_yard = _overnight(yards, yard_of, shifts)
    roads = tuple(
        Roads(network, policy, mass_t=mass, most_km_h=km_h, yards=yards) for mass, km_h in classes
    )
    can = can_of(stages, shifts, policy)
    hopeful = can.any(axis=1) & windows.allowed.any(axis=1) & ~waits_outside
    pinned = pin_pull(wishes, stages, shifts, policy.closing_worth_h)
    kept = _kept(stages, hopeful, worth + pinned, roads, policy, most_steps)
    segment_index = {segment.id: i for i, segment in enumerate(network.segments)}
    ports = np.unique(
        np.array([segment_index[stages[s].segment_id] for s in np.flatnonzero(kept)], np.int64)
    )
    standing_arcs, stands_at = _standing_arcs(segment_index, shifts)
    between = (
        np.stack([road.between(ports, standing=standing_arcs, check=check) for road in roads])
        if roads
        else (np.zeros((0, 0, 0), dtype=np.float32))
    )
    port_of = {int(segment): k for k, segment in enumerate(ports)}
    stage_port = np.array(
        [port_of.get(segment_index[stage.segment_id], -1) for stage in stages], dtype=np.int64
    )
    stage_port[~kept] = -1
    blocks = build_blocks(
        stages, stage_port, ports, network, roads, between, policy, todo.must_start
    )
    home = 2 * ports.size + to_yard
    out = 2 * ports.size + from_yard
    start = np.where(stands_at >= 0, 2 * ports.size + len(yards) + stands_at, out)
    reached = _reached(blocks, between, class_of, start, home, len(stages))
    support = support_of(
        stages, fleet, first_day, n_days, policy, last_light(network, policy), calendar
    )
    wet = windows.needs_water.any(axis=1) & (support.water_h > 0)
    asks = kept & (wet | np.array([len(need) > 0 for need in support.needs], dtype=bool))
    by_id = {machine.id: machine for machine in fleet.machines}
    return Problem(
        policy=policy,
        network=network,
        jobs=jobs,
        stages=stages,
        job_of=todo.job_of,
        shifts=shifts,
        first_day=first_day,
        n_days=n_days,
        roads=roads,
        ports=ports,
        between=between,
        blocks=blocks,
        shift_class=class_of,
        shift_start=start,
        shift_home=home,
        standing_arcs=standing_arcs,
        may_do=can,
        is_reached=reached,
        windows=windows,
        worth_h=worth,
        pull_h=_closing_pull(todo, shifts, policy)
        + pinned
        + preference_pull(stages, shifts, network, policy, overdue),
        n_done=todo.n_done,
        since=since,
        after=after,
        waits_outside=waits_outside,
        support=support,
        support_ways=support_ways(
            stages,
            asks,
            ports,
            [by_id[machine_id] for machine_id in support.machine_ids],
            fleet,
            network,
            graph.nearest_node,
            policy,
            first_day=first_day,
            n_days=n_days,
            is_under_way=since is not None,
            calendar=calendar,
        ),
        set_aside=hopeful & ~kept,
        bans=bans_of(stages, calendar, first_day, n_days),
        stays=tuple(stays),
        wished=places_left(wishes, stages, shifts),
        pinned_h=pinned,
    )


def _classes(network: Network, machines: list[Machine]) -> tuple[list[tuple[float, float]], Ints]:
    """Machines that may use the same roads at the same speeds share one table of travel times."""
    fastest = max((s.travel_km_h for s in network.segments), default=0.0)
    found: dict[tuple[bytes, float], int] = {}
    classes: list[tuple[float, float]] = []
    class_of = np.zeros(len(machines), dtype=np.int64)
    known: dict[tuple[float, float], int] = {}
    for m, machine in enumerate(machines):
        if not machine.travel_km_h > 0:
            raise InputError(
                f"machine {machine.id} has travel_km_h {machine.travel_km_h:g}; expected above 0"
            )
        pair = (machine.mass_t, min(machine.travel_km_h, fastest))
        if pair not in known:
            key = (passable(network, machine.mass_t).tobytes(), pair[1])
            if key not in found:
                found[key] = len(classes)
                classes.append(pair)
            known[pair] = found[key]
        class_of[m] = known[pair]
    return classes, class_of


def _yards(fleet: Fleet, graph: Graph, machines: list[Machine]) -> tuple[list[str], Ints]:
    """Nodes that shifts start from, and which of them each machine uses."""
    places = {place.id: place for place in fleet.places}
    nodes: dict[str, int] = {}
    node_of: dict[str, int] = {}
    yard_of = np.zeros(len(machines), dtype=np.int64)
    for m, machine in enumerate(machines):
        if machine.home_id not in node_of:
            place = places[machine.home_id]
            node = graph.nearest_node(place.lon, place.lat)
            node_of[machine.home_id] = nodes.setdefault(node, len(nodes))
        yard_of[m] = node_of[machine.home_id]
    return list(nodes), yard_of


def _overnight(yards: list[str], yard_of: Ints, shifts: tuple[Shift, ...]) -> tuple[Ints, Ints]:
    """Where each shift starts and ends among the yards, to which nodes of stays are added."""
    number = {node: k for k, node in enumerate(yards)}
    start, end = yard_of.copy(), yard_of.copy()
    for h, shift in enumerate(shifts):
        for node, into in ((shift.start_node, start), (shift.end_node, end)):
            if node is not None:
                if node not in number:
                    number[node] = len(yards)
                    yards.append(node)
                into[h] = number[node]
    return start, end


def _kept(
    stages: tuple[Stage, ...],
    hopeful: Flags,
    worth: Floats,
    roads: tuple[Roads, ...],
    policy: DispatchPolicy,
    most_steps: float,
) -> Flags:
    """The hopeful stages, or of too many those on the segments worth most for their minutes."""
    n_arcs = max((road.n_arcs for road in roads), default=1)
    most_steps = min(policy.most_travel_steps, most_steps)
    most = max(1, min(policy.most_segments_searched, int(most_steps / (2 * n_arcs))))
    density: dict[str, float] = {}
    for s in np.flatnonzero(hopeful):
        stage = stages[s]
        each = float(worth[s].max()) / stage.work_min
        density[stage.segment_id] = max(density.get(stage.segment_id, -np.inf), each)
    if len(density) <= most:
        return hopeful.copy()
    best = set(sorted(density, key=lambda segment: (-density[segment], segment))[:most])
    return hopeful & np.array([stage.segment_id in best for stage in stages], dtype=bool)


def _standing_arcs(segment_index: dict[str, int], shifts: tuple[Shift, ...]) -> tuple[Ints, Ints]:
    """Arcs that machines out on the road have come along, and which of them each shift's is."""
    arcs: list[int] = []
    stands_at = np.full(len(shifts), -1, dtype=np.int64)
    for h, shift in enumerate(shifts):
        if shift.standing is not None and shift.standing.came is not None:
            segment_id, is_forward = shift.standing.came
            stands_at[h] = len(arcs)
            arcs.append(2 * segment_index[segment_id] + (0 if is_forward else 1))
    return np.array(arcs, dtype=np.int64), stands_at


def _closing_pull(todo: Todo, shifts: tuple[Shift, ...], policy: DispatchPolicy) -> Floats:
    """What has been begun is finished before anything else is started."""
    is_half = (todo.n_done > 0).astype(float)
    return np.repeat(is_half[:, None] * policy.closing_worth_h, len(shifts), axis=1)


def _reached(
    blocks: Blocks,
    between: npt.NDArray[np.float32],
    class_of: Ints,
    start: Ints,
    home: Ints,
    n_stages: int,
) -> Flags:
    """Whether a shift could drive out, do the stage and come home at all: (stage, shift)."""
    reached = np.zeros((n_stages, class_of.size), dtype=bool)
    whole = blocks.first_option[:, 0]
    there = np.flatnonzero(whole >= 0)
    kinds = np.column_stack([class_of, start, home])
    for c, leaves, comes in np.unique(kinds, axis=0):
        block = whole[there]
        out = between[c, leaves, blocks.enter[block]]
        back = between[c, blocks.leave[block], comes]
        total = (out + back + blocks.minutes[c, block]).min(axis=1)
        column = (kinds == (c, leaves, comes)).all(axis=1)
        reached[np.ix_(there, column)] = np.isfinite(total)[:, None]
    return reached
