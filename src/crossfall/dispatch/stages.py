"""What is to be done: stages, when they may be worked, what they need and what they bring."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Protocol

import numpy as np
import numpy.typing as npt

from crossfall.dispatch.shifts import Shift, may_do, support_hours
from crossfall.dispatch.standing import HalfDone, Since
from crossfall.errors import InputError
from crossfall.model import CrewCalendar, Fleet, Job, Network, Stage, Task
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
    def worth(self, task: Task, /) -> Floats: ...


@dataclass(frozen=True)
class Windows:
    """Whether, to what good and with water or not each stage may be worked: shape (stage, day)."""

    allowed: Flags
    worth: Floats
    """Share of the stage's worth that the surface can be expected to leave, 0 to 1."""
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


def check_jobs(jobs: tuple[Job, ...], network: Network) -> None:
    """Refuse doubled ids, unknown segments and impossible minutes before anything is planned."""
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
    if not 0 <= stage.wait_min < np.inf:
        raise InputError(f"stage {stage.id} has wait_min {stage.wait_min:g}; expected 0 or more")
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


@dataclass(frozen=True)
class Todo:
    """What is left to do of all jobs, stage by stage."""

    stages: tuple[Stage, ...]
    """Of a half-done stage only the passes that are left."""
    job_of: Ints
    share_h: Floats
    """What each stage is worth when it is finished: its share of the job's benefit by work [h]."""
    n_done: Ints
    """Passes made already."""
    must_start: tuple[bool | None, ...]
    """Way the next pass must go so that both sides get their share; None when either will do."""


def todo_of(jobs: Sequence[Job], since: Since | None) -> Todo:
    """The stages of all jobs that need no engineer, less what has been done."""
    stages: list[Stage] = []
    job_of: list[int] = []
    share_h: list[float] = []
    n_done: list[int] = []
    must_start: list[bool | None] = []
    for j, job in enumerate(jobs):
        for stage in job.stages if not job.needs_engineer else ():
            half = since.half(stage.id) if since else None
            if since and stage.id in since.done:
                continue
            share_h.append(job.benefit_h * stage.work_min / (60 * job.work_h))
            stages.append(stage if half is None else _rest_of(stage, half.n_done))
            job_of.append(j)
            n_done.append(0 if half is None else half.n_done)
            must_start.append(None if half is None else _next_way(half))
    return Todo(
        tuple(stages),
        np.array(job_of, dtype=np.int64),
        np.array(share_h, dtype=float),
        np.array(n_done, dtype=np.int64),
        tuple(must_start),
    )


def _rest_of(stage: Stage, n_done: int) -> Stage:
    """The stage with the passes, and the supporting hours in proportion, that are left."""
    left = sum(stage.pass_minutes[n_done:]) / stage.work_min
    support = tuple(replace(each, hours=each.hours * left) for each in stage.support)
    return replace(stage, pass_minutes=stage.pass_minutes[n_done:], support=support, wait_min=0.0)


def _next_way(half: HalfDone) -> bool | None:
    n_backward = half.n_done - half.n_forward
    return None if half.n_forward == n_backward else half.n_forward < n_backward


def windows_of(todo: Todo, gates: Gates, first_day: date, n_days: int) -> Windows:
    """When each stage may be worked; a half-done one today, whatever the surface, and not later."""
    stages = todo.stages
    shape = (len(stages), n_days)
    allowed, worth, water = np.zeros(shape, bool), np.zeros(shape), np.zeros(shape, bool)
    offset = (first_day - gates.first_day).days
    if offset < 0 or offset + n_days > gates.n_days:
        raise InputError(
            f"the gate covers {gates.n_days} days from {gates.first_day}; expected to cover"
            f" {n_days} days from {first_day}"
        )
    days = slice(offset, offset + n_days)
    tables = {
        task: (gates.allowed(task), gates.worth(task), gates.needs_water(task))
        for task in {stage.task for stage in stages}
    }
    for s, stage in enumerate(stages):
        row = gates.index(stage.segment_id)
        for into, table in zip((allowed, worth, water), tables[stage.task], strict=True):
            into[s] = table[row, days]
        if stage.leave_days is not None:
            # Nobody digs on a day on which the permission for it has not begun or has run out
            held = [first_day + timedelta(days=d) in stage.leave_days for d in range(n_days)]
            allowed[s] &= np.array(held, dtype=bool)
    is_half = todo.n_done > 0
    allowed[is_half] = np.arange(n_days) == 0
    water[is_half] = False
    return Windows(allowed, np.clip(worth, 0.0, 1.0), water & allowed)


def worth_of(todo: Todo, windows: Windows, shifts: tuple[Shift, ...]) -> Floats:
    """Expected worth, shape (stage, shift) [h]."""
    days = np.array([shift.day_index for shift in shifts], dtype=np.int64)
    return todo.share_h[:, None] * windows.worth[:, days]


def after_of(
    stages: tuple[Stage, ...], done: frozenset[str]
) -> tuple[tuple[tuple[int, ...], ...], Flags]:
    """Indices of the stages each must follow; and which follow something outside the plan."""
    index = {stage.id: s for s, stage in enumerate(stages)}
    outside = np.array(
        [any(a not in index and a not in done for a in st.after) for st in stages], dtype=bool
    )
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


def can_of(stages: tuple[Stage, ...], shifts: tuple[Shift, ...], policy: DispatchPolicy) -> Flags:
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


def support_of(
    stages: tuple[Stage, ...],
    fleet: Fleet,
    first_day: date,
    n_days: int,
    policy: DispatchPolicy,
    light_until: Callable[[date], float],
    calendar: CrewCalendar | None = None,
) -> Support:
    """What other machines the stages need, and for how many hours of each there are people."""
    days = [first_day + timedelta(days=d) for d in range(n_days)]
    hours = support_hours(fleet, days, light_until, calendar)
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
