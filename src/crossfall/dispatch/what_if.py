"""What one more grader, one more hour or one day of rain would do to the week."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Literal

from crossfall.dispatch.explain import TalkingGates, Verdict
from crossfall.dispatch.problem import Graph
from crossfall.dispatch.stages import Flags, Floats
from crossfall.dispatch.week import dispatch_week
from crossfall.errors import InputError
from crossfall.judgement import closed_by_hazard, judge_gates, surface_state
from crossfall.model import (
    CrewCalendar,
    District,
    Fleet,
    Job,
    MachineKind,
    Network,
    Plan,
    Policy,
    Progress,
    Task,
    quiet,
)
from crossfall.network import build_graph


@dataclass(frozen=True, slots=True)
class WhatIf:
    """One answer: how the week would change."""

    question: str
    benefit_h: float
    change_h: float
    """Against the plan in hand [h]; search noise of about a percent is in it."""
    n_served: int
    n_served_change: int

    def summary(self) -> str:
        """One sentence."""
        word = "more" if self.change_h >= 0 else "less"
        return (
            f"{self.question}: worth {abs(self.change_h):.1f} h {word},"
            f" {self.n_served_change:+d} jobs."
        )


@dataclass(frozen=True)
class RainedOut:
    """The gate as it is, but one day nothing that minds rain may be done."""

    gates: TalkingGates
    day: date
    tasks_that_go_on: tuple[Task, ...] = ("hand_work", "emergency")

    @property
    def first_day(self) -> date:
        return self.gates.first_day

    @property
    def n_days(self) -> int:
        return self.gates.n_days

    def index(self, segment_id: str, /) -> int:
        return self.gates.index(segment_id)

    def allowed(self, task: Task, /) -> Flags:
        table = self.gates.allowed(task).copy()
        if task not in self.tasks_that_go_on:
            table[:, (self.day - self.first_day).days] = False
        return table

    def needs_water(self, task: Task, /) -> Flags:
        return self.gates.needs_water(task)

    def worth(self, task: Task, /) -> Floats:
        return self.gates.worth(task)

    def verdict(self, segment_id: str, day: date, task: Task, /) -> Verdict:
        if day == self.day and task not in self.tasks_that_go_on:
            return _Rained("The day is taken to be rained out.")
        return self.gates.verdict(segment_id, day, task)


@dataclass(frozen=True, slots=True)
class _Rained:
    reason: str


Kind = Literal["grader", "hour", "overtime", "rain", "helper", "overnight"]


@dataclass(frozen=True, slots=True)
class Question:
    """One thing changed: another grader, an hour a day, overtime, nights out, rain, a helper."""

    kind: Kind
    day: date | None = None
    """Of the rain; None takes the plan's second day."""
    machine_kind: MachineKind = "haul_truck"
    """Of the helper."""


USUAL = (Question("grader"), Question("hour"), Question("rain"))


def ask_what_if(
    district: District,
    plan: Plan,
    jobs: Sequence[Job],
    *,
    questions: Sequence[Question] = USUAL,
    made_at: datetime,
    seconds: float = 5.0,
    seed: int = 1,
    progress: Progress = quiet,
) -> tuple[WhatIf, ...]:
    """How a planned week would change with one thing changed, ``seconds`` of search for each.

    Raises
    ------
    InputError
        If a question names a day that is not in the plan, or there is nobody to add another like.
    Cancelled
        If ``progress`` raises it.
    """
    network = district.network.without(closed_by_hazard(district, today=plan.first_day))
    state = surface_state(district, first_day=plan.first_day, n_days=plan.n_days, seed=seed)
    return what_if(
        plan,
        [job for job in jobs if job.segment_id in network.segment_by_id],
        network,
        build_graph(network),
        district.fleet,
        judge_gates(state, district.fleet, district.policy),
        district.policy,
        questions=questions,
        calendar=district.calendar.as_promised(plan.reserved),
        made_at=made_at,
        seconds=seconds,
        seed=seed,
        progress=progress,
    )


def what_if(
    plan: Plan,
    jobs: Sequence[Job],
    network: Network,
    graph: Graph,
    fleet: Fleet,
    gates: TalkingGates,
    policy: Policy,
    *,
    questions: Sequence[Question] = USUAL,
    calendar: CrewCalendar | None = None,
    made_at: datetime,
    seconds: float = 5.0,
    seed: int = 1,
    iterations: int | None = None,
    progress: Progress = quiet,
) -> tuple[WhatIf, ...]:
    """Plan the week once for every question, each time with one thing changed.

    One more grader stands where the first does, with an operator of the same hours; one more hour
    is for every grader operator; overtime is up to each operator's own limit; a helper is another
    machine like the first of its kind. The plan in hand is searched for as long once more, so that
    what is told is the change and not the search.

    Raises
    ------
    InputError
        If a day of rain is not in the plan, or there is no machine to add another like.
    Cancelled
        If ``progress`` raises it.
    """
    cases = [("As it is", fleet, gates, policy)]
    cases += [_changed(question, plan, fleet, gates, policy) for question in questions]
    made: list[Plan] = []
    for k, (_, its_fleet, its_gates, its_policy) in enumerate(cases):
        made.append(
            dispatch_week(
                jobs,
                network,
                graph,
                its_fleet,
                its_gates,
                its_policy,
                first_day=plan.first_day,
                n_days=plan.n_days,
                made_at=made_at,
                seconds=seconds,
                seed=seed,
                previous=plan,
                calendar=calendar,
                iterations=iterations,
                progress=lambda share, message, k=k: progress((k + share) / len(cases), message),
            )
        )
    now = max(plan.benefit_h, made[0].benefit_h)
    n_now = len((plan if plan.benefit_h >= made[0].benefit_h else made[0]).served)
    return tuple(
        WhatIf(case[0], each.benefit_h, each.benefit_h - now, len(each.served),
               len(each.served) - n_now)
        for case, each in zip(cases[1:], made[1:], strict=True)
    )  # fmt: skip


Case = tuple[str, Fleet, TalkingGates, Policy]


def _changed(
    question: Question, plan: Plan, fleet: Fleet, gates: TalkingGates, policy: Policy
) -> Case:
    if question.kind == "grader":
        return "One more grader", _one_more_grader(fleet), gates, policy
    if question.kind == "hour":
        return "One more hour a day", _one_more_hour(fleet), gates, policy
    if question.kind == "overtime":
        rules = replace(policy.dispatch, is_overtime_planned=True)
        return "With overtime", fleet, gates, replace(policy, dispatch=rules)
    if question.kind == "overnight":
        rules = replace(policy.dispatch, may_stay_out=True)
        told = "With graders staying out overnight"
        return told, fleet, gates, replace(policy, dispatch=rules)
    if question.kind == "helper":
        name = question.machine_kind.replace("_", " ")
        return f"One more {name}", _one_more(fleet, question.machine_kind), gates, policy
    days = [date.fromordinal(plan.first_day.toordinal() + d) for d in range(plan.n_days)]
    day = days[min(1, len(days) - 1)] if question.day is None else question.day
    if day not in days:
        raise InputError(f"the day of rain is {day}; expected a day of the plan, {days[0]} on")
    return f"Rain all day on {day:%a} {day.day}", fleet, RainedOut(gates, day), policy


def _one_more_grader(fleet: Fleet) -> Fleet:
    return _one_more(fleet, "grader")


def _one_more(fleet: Fleet, kind: MachineKind) -> Fleet:
    """Another machine like the first of its kind, with an operator of the same hours."""
    alike = [m for m in fleet.machines if m.kind == kind and m.is_available]
    if not alike:
        raise InputError(f"the fleet has no available {kind} to add another like it")
    model = alike[0]
    people = [o for o in fleet.operators if o.machine_id == model.id] or list(fleet.operators)
    if not people:
        raise InputError("the fleet has no operator to run another machine")
    machine = replace(model, id=f"{model.id}+", name=f"{model.name} (one more)")
    person = replace(people[0], id=f"{people[0].id}+", machine_id=machine.id, off_days=())
    return replace(
        fleet,
        machines=(*fleet.machines, machine),
        operators=(*fleet.operators, person),
    )


def _one_more_hour(fleet: Fleet) -> Fleet:
    graders = {machine.id for machine in fleet.graders}
    return replace(
        fleet,
        operators=tuple(
            replace(o, shift_h=min(24.0, o.shift_h + 1)) if o.machine_id in graders else o
            for o in fleet.operators
        ),
    )
