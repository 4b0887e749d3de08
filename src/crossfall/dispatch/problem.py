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

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Protocol

import numpy as np
import numpy.typing as npt

from crossfall.dispatch.blocks import Blocks, build_blocks
from crossfall.dispatch.roads import Roads, passable
from crossfall.dispatch.shifts import Shift, may_do, open_shifts, support_hours
from crossfall.errors import InputError
from crossfall.model import Fleet, Job, Machine, Network, Stage, Task
from crossfall.model.policy import DispatchPolicy

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


class Gates(Protocol):
    """What the dispatcher asks of the moisture gate; :class:`~crossfall.judgement.gate.GateTable`
    answers. Arrays have shape (segment, day)."""

    @property
    def first_day(self) -> date: ...
    @property
    def n_days(self) -> int: ...
    def index(self, segment_id: str, /) -> int: ...
    def allowed(self, task: Task, /) -> Flags: ...
    def needs_water(self, task: Task, /) -> Flags: ...
    def p(self, task: Task, /) -> Floats: ...


class Graph(Protocol):
    """What the dispatcher asks of the road graph; the network room's answers."""

    def nearest_node(self, lon: float, lat: float, /) -> str: ...


@dataclass(frozen=True)
class Windows:
    """Whether, how surely and with water or not each stage may be worked: shape (stage, day)."""

    allowed: Flags
    p: Floats
    needs_water: Flags


@dataclass(frozen=True)
class Support:
    """Supporting machines: hours they are manned by (machine, day), and what each stage needs."""

    machine_ids: tuple[str, ...]
    kinds: tuple[str, ...]
    kind_of: Ints
    hours: Floats
    needs: tuple[tuple[tuple[int, int, float], ...], ...]
    """For each stage: (kind, n_machines, hours of each)."""
    water_h: Floats
    """Extra water-truck hours of each stage on days that allow it only if watered [h]."""


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
    shift_yard: Ints
    """Port of the place each shift starts from and ends at."""
    may_do: Flags
    """Skill and attachment only, whatever the weather: shape (stage, shift)."""
    is_reached: Flags
    """Whether the shift can drive there and home at all: shape (stage, shift)."""
    windows: Windows
    worth_h: Floats
    """Expected worth of the stage in the shift [h], shape (stage, shift)."""
    after: tuple[tuple[int, ...], ...]
    waits_outside: Flags
    """Stages that must follow one that is not in this plan at all."""
    support: Support
    set_aside: Flags
    """Stages the search does not look at because there are more than it can hold."""

    @property
    def work_min(self) -> Floats:
        """Blade-down minutes of each stage [min]."""
        return np.array([stage.work_min for stage in self.stages], dtype=float)

    @property
    def may_serve_now(self) -> Flags:
        """Stage and shift pairs open to the search: skill, reach and weather together."""
        return self._open & self.is_reached

    @property
    def may_serve_ever(self) -> Flags:
        """The same, and those set aside count as if they were reached: what the bound needs."""
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
    check: Callable[[], None] = lambda: None,
) -> Problem:
    """Turn the nouns into arrays, refusing what cannot be true.

    Raises
    ------
    InputError
        If ids are doubled, minutes are negative, a stage lies outside its segment, or nobody
        could go out at all.
    """
    jobs = tuple(jobs)
    _check_jobs(jobs, network)
    stages = tuple(s for job in jobs if not job.needs_engineer for s in job.stages)
    job_of = np.array(
        [j for j, job in enumerate(jobs) if not job.needs_engineer for _ in job.stages],
        dtype=np.int64,
    )
    shifts = open_shifts(fleet, network, policy, first_day=first_day, n_days=n_days)
    windows = _windows(stages, gates, first_day, n_days)
    worth = _worth(jobs, stages, job_of, windows, shifts)
    after, waits_outside = _after(stages)
    classes, class_of = _classes(network, [shift.machine for shift in shifts])
    yards, yard_of = _yards(fleet, graph, [shift.machine for shift in shifts])
    roads = tuple(
        Roads(network, policy, mass_t=mass, most_km_h=km_h, yards=yards) for mass, km_h in classes
    )
    can = _can(stages, shifts, policy)
    hopeful = can.any(axis=1) & windows.allowed.any(axis=1) & ~waits_outside
    kept = _kept(stages, hopeful, worth, roads, policy)
    segment_index = {segment.id: i for i, segment in enumerate(network.segments)}
    ports = np.unique(
        np.array([segment_index[stages[s].segment_id] for s in np.flatnonzero(kept)], np.int64)
    )
    between = (
        np.stack([road.between(ports, check=check) for road in roads])
        if roads
        else (np.zeros((0, 0, 0), dtype=np.float32))
    )
    port_of = {int(segment): k for k, segment in enumerate(ports)}
    stage_port = np.array(
        [port_of.get(segment_index[stage.segment_id], -1) for stage in stages], dtype=np.int64
    )
    stage_port[~kept] = -1
    blocks = build_blocks(stages, stage_port, ports, network, roads, between, policy)
    yard_port = 2 * ports.size + yard_of
    reached = _reached(blocks, between, class_of, yard_port, len(stages))
    return Problem(
        policy=policy,
        network=network,
        jobs=jobs,
        stages=stages,
        job_of=job_of,
        shifts=shifts,
        first_day=first_day,
        n_days=n_days,
        roads=roads,
        ports=ports,
        between=between,
        blocks=blocks,
        shift_class=class_of,
        shift_yard=yard_port,
        may_do=can,
        is_reached=reached,
        windows=windows,
        worth_h=worth,
        after=after,
        waits_outside=waits_outside,
        support=_support(stages, fleet, first_day, n_days, policy),
        set_aside=hopeful & ~kept,
    )


def _check_jobs(jobs: tuple[Job, ...], network: Network) -> None:
    seen_jobs: set[str] = set()
    seen_stages: set[str] = set()
    for job in jobs:
        if job.id in seen_jobs:
            raise InputError(f"job id {job.id!r} is there twice; ids must be unique")
        seen_jobs.add(job.id)
        if not np.isfinite(job.benefit_h):
            raise InputError(f"job {job.id} has benefit_h {job.benefit_h}; expected a number")
        if job.segment_id not in network.segment_by_id:
            raise InputError(f"job {job.id} names unknown segment {job.segment_id!r}")
        for stage in job.stages:
            if stage.id in seen_stages:
                raise InputError(f"stage id {stage.id!r} is there twice; ids must be unique")
            seen_stages.add(stage.id)
            _check_stage(stage, network)


def _check_stage(stage: Stage, network: Network) -> None:
    segment = network.segment_by_id.get(stage.segment_id)
    if segment is None:
        raise InputError(f"stage {stage.id} names unknown segment {stage.segment_id!r}")
    if not stage.pass_minutes:
        raise InputError(f"stage {stage.id} has no pass_minutes; expected one for each pass")
    for minutes in stage.pass_minutes:
        if not 0 < minutes < np.inf:
            raise InputError(
                f"stage {stage.id} has a pass of {minutes:g} min; expected more than 0"
            )
    if not 0 <= stage.from_m < stage.to_m <= segment.length_m + 1:
        raise InputError(
            f"stage {stage.id} runs from {stage.from_m:g} to {stage.to_m:g} m; expected within"
            f" segment {segment.id}, 0 to {segment.length_m:g} m"
        )
    for support in stage.support:
        if support.n_machines < 0 or not support.hours >= 0:
            raise InputError(
                f"stage {stage.id} asks for {support.n_machines} × {support.hours:g} h of"
                f" {support.kind}; expected no negative figures"
            )


def _windows(stages: tuple[Stage, ...], gates: Gates, first_day: date, n_days: int) -> Windows:
    shape = (len(stages), n_days)
    allowed, p, water = np.zeros(shape, bool), np.zeros(shape), np.zeros(shape, bool)
    offset = (first_day - gates.first_day).days
    if offset < 0 or offset + n_days > gates.n_days:
        raise InputError(
            f"the gate covers {gates.n_days} days from {gates.first_day}; expected to cover"
            f" {n_days} days from {first_day}"
        )
    days = slice(offset, offset + n_days)
    tables = {
        task: (gates.allowed(task), gates.p(task), gates.needs_water(task))
        for task in {stage.task for stage in stages}
    }
    for s, stage in enumerate(stages):
        row = gates.index(stage.segment_id)
        for into, table in zip((allowed, p, water), tables[stage.task], strict=True):
            into[s] = table[row, days]
    return Windows(allowed, np.clip(p, 0.0, 1.0), water & allowed)


def _worth(
    jobs: tuple[Job, ...],
    stages: tuple[Stage, ...],
    job_of: Ints,
    windows: Windows,
    shifts: tuple[Shift, ...],
) -> Floats:
    share = np.array(
        [
            jobs[j].benefit_h * stage.work_min / (60 * jobs[j].work_h)
            for j, stage in zip(job_of, stages, strict=True)
        ],
        dtype=float,
    ).reshape(-1, 1)
    days = np.array([shift.day_index for shift in shifts], dtype=np.int64)
    return share * windows.p[:, days]


def _after(stages: tuple[Stage, ...]) -> tuple[tuple[tuple[int, ...], ...], Flags]:
    """Indices of the stages each must follow; and which follow something outside the plan."""
    index = {stage.id: s for s, stage in enumerate(stages)}
    outside = np.array([any(a not in index for a in st.after) for st in stages], dtype=bool)
    after = tuple(tuple(index[a] for a in st.after if a in index) for st in stages)
    state = np.zeros(len(stages), dtype=np.int8)
    for root in range(len(stages)):
        stack = [(root, iter(after[root]))] if state[root] == 0 else []
        state[root] = max(state[root], 1)
        while stack:
            s, rest = stack[-1]
            following = next(rest, None)
            if following is None:
                state[s] = 2
                stack.pop()
            elif state[following] == 1:
                raise InputError(
                    f"stages {stages[s].id} and {stages[following].id} each wait for the other;"
                    " 'after' must not go round in a circle"
                )
            elif state[following] == 0:
                state[following] = 1
                stack.append((following, iter(after[following])))
    changed = True
    while changed:
        behind = np.array([any(outside[a] for a in before) for before in after], dtype=bool)
        changed = bool((behind & ~outside).any())
        outside |= behind
    return after, outside


def _can(stages: tuple[Stage, ...], shifts: tuple[Shift, ...], policy: DispatchPolicy) -> Flags:
    """Skill of the operator and attachments of the machine: shape (stage, shift)."""
    can = np.zeros((len(stages), len(shifts)), dtype=bool)
    kinds: dict[tuple[str, str], list[int]] = {}
    for s, stage in enumerate(stages):
        kinds.setdefault((stage.treatment, stage.needs_attachment), []).append(s)
    for members in kinds.values():
        stage = stages[members[0]]
        for h, shift in enumerate(shifts):
            has_tool = not stage.needs_attachment or (
                stage.needs_attachment in shift.machine.attachments
            )
            can[members, h] = has_tool and may_do(shift.operator, stage, policy)
    return can


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


def _kept(
    stages: tuple[Stage, ...],
    hopeful: Flags,
    worth: Floats,
    roads: tuple[Roads, ...],
    policy: DispatchPolicy,
) -> Flags:
    """The hopeful stages, or of too many those on the segments worth most for their minutes."""
    n_arcs = max((road.n_arcs for road in roads), default=1)
    most = min(policy.most_segments_searched, int(policy.most_travel_steps / (2 * n_arcs)))
    density: dict[str, float] = {}
    for s in np.flatnonzero(hopeful):
        stage = stages[s]
        each = float(worth[s].max()) / stage.work_min
        density[stage.segment_id] = max(density.get(stage.segment_id, -np.inf), each)
    if len(density) <= most:
        return hopeful.copy()
    best = set(sorted(density, key=lambda segment: (-density[segment], segment))[:most])
    return hopeful & np.array([stage.segment_id in best for stage in stages], dtype=bool)


def _reached(
    blocks: Blocks,
    between: npt.NDArray[np.float32],
    class_of: Ints,
    yard_port: Ints,
    n_stages: int,
) -> Flags:
    """Whether a shift could drive out, do the stage and come home at all: (stage, shift)."""
    reached = np.zeros((n_stages, class_of.size), dtype=bool)
    whole = blocks.first_option[:, 0]
    there = np.flatnonzero(whole >= 0)
    for c, yard in {(int(c), int(y)) for c, y in zip(class_of, yard_port, strict=True)}:
        block = whole[there]
        out = between[c, yard, blocks.enter[block]]
        back = between[c, blocks.leave[block], yard]
        total = (out + back + blocks.minutes[c, block]).min(axis=1)
        column = (class_of == c) & (yard_port == yard)
        reached[np.ix_(there, column)] = np.isfinite(total)[:, None]
    return reached


def _support(
    stages: tuple[Stage, ...], fleet: Fleet, first_day: date, n_days: int, policy: DispatchPolicy
) -> Support:
    days = [first_day + timedelta(days=d) for d in range(n_days)]
    hours = support_hours(fleet, days)
    kind_by_id = {machine.id: machine.kind for machine in fleet.machines}
    kinds = sorted(
        {kind_by_id[m] for m in hours}
        | {each.kind for stage in stages for each in stage.support}
        | {"water_truck"}
    )
    number = {kind: k for k, kind in enumerate(kinds)}
    needs = tuple(_needs(stage, number) for stage in stages)
    has_truck = np.array(
        [any(k == number["water_truck"] for k, _, _ in need) for need in needs], dtype=bool
    )
    work_h = np.array([stage.work_min / 60 for stage in stages], dtype=float)
    return Support(
        machine_ids=tuple(hours),
        kinds=tuple(kinds),
        kind_of=np.array([number[kind_by_id[m]] for m in hours], dtype=np.int64),
        hours=np.array(list(hours.values()), dtype=float).reshape(len(hours), n_days),
        needs=needs,
        water_h=np.where(has_truck, 0.0, work_h * policy.water_truck_share),
    )


def _needs(stage: Stage, number: dict[str, int]) -> tuple[tuple[int, int, float], ...]:
    """Machines and hours by kind; two lines of one kind are taken together, the longer hours."""
    found: dict[int, tuple[int, float]] = {}
    for each in stage.support:
        if each.n_machines > 0 and each.hours > 0 and each.kind != "grader":
            count, hours = found.get(number[each.kind], (0, 0.0))
            found[number[each.kind]] = (count + each.n_machines, max(hours, each.hours))
    return tuple((kind, count, hours) for kind, (count, hours) in found.items())
