"""What one more grader, one more hour or one day of rain would do to the week."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from crossfall.dispatch.explain import TalkingGates, Verdict
from crossfall.dispatch.problem import Graph
from crossfall.dispatch.stages import Flags, Floats
from crossfall.dispatch.week import dispatch_week
from crossfall.errors import InputError
from crossfall.model import Fleet, Job, Network, Plan, Policy, Progress, Task, quiet


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


def what_if(
    plan: Plan,
    jobs: Sequence[Job],
    network: Network,
    graph: Graph,
    fleet: Fleet,
    gates: TalkingGates,
    policy: Policy,
    *,
    rain_on: date | None = None,
    made_at: datetime,
    seconds: float = 5.0,
    seed: int = 1,
    iterations: int | None = None,
    progress: Progress = quiet,
) -> tuple[WhatIf, ...]:
    """Plan the week three times over, each with one thing changed; ``seconds`` for each.

    One more grader stands where the first does, with an operator of the same hours; one more hour
    is for every grader operator; the day of rain is ``rain_on``, the plan's second day if not said.

    Raises
    ------
    InputError
        If ``rain_on`` is not a day of the plan.
    Cancelled
        If ``progress`` raises it.
    """
    days = [date.fromordinal(plan.first_day.toordinal() + d) for d in range(plan.n_days)]
    rain_on = days[min(1, len(days) - 1)] if rain_on is None else rain_on
    if rain_on not in days:
        raise InputError(f"rain_on is {rain_on}; expected a day of the plan, {days[0]} on")
    changes: list[tuple[str, Fleet, TalkingGates]] = [
        ("One more grader", _one_more_grader(fleet), gates),
        ("One more hour a day", _one_more_hour(fleet), gates),
        (f"Rain all day on {rain_on:%a} {rain_on.day}", fleet, RainedOut(gates, rain_on)),
    ]
    answers: list[WhatIf] = []
    for k, (question, changed_fleet, changed_gates) in enumerate(changes):
        made = dispatch_week(
            jobs,
            network,
            graph,
            changed_fleet,
            changed_gates,
            policy,
            first_day=plan.first_day,
            n_days=plan.n_days,
            made_at=made_at,
            seconds=seconds,
            seed=seed,
            previous=plan,
            iterations=iterations,
            progress=lambda fraction, message, k=k: progress((k + fraction) / 3, message),
        )
        answers.append(
            WhatIf(
                question,
                made.benefit_h,
                made.benefit_h - plan.benefit_h,
                len(made.served),
                len(made.served) - len(plan.served),
            )
        )
    return tuple(answers)


def _one_more_grader(fleet: Fleet) -> Fleet:
    if not fleet.graders:
        raise InputError("the fleet has no available grader to add another like it")
    model = fleet.graders[0]
    people = [o for o in fleet.operators if o.machine_id == model.id] or list(fleet.operators)
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
