"""Why a road is left out this week, in words fit for a public record, and what would change it.

The reasons are tried from the hardest to the softest: first what no plan
could do, then what no plan would do, and last what this plan did not reach.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from functools import cached_property
from typing import Protocol

import numpy as np
import numpy.typing as npt

from crossfall.dispatch import kernel
from crossfall.dispatch.problem import Problem
from crossfall.dispatch.roads import passable
from crossfall.dispatch.solve import Solution
from crossfall.dispatch.stages import Flags, Gates
from crossfall.dispatch.tables import routes_from, tables_of
from crossfall.model import Fleet, Job, Task, Unserved
from crossfall.model.calendar import free_stretches
from crossfall.model.plan import Binding


class Verdict(Protocol):
    """One answer of the gate."""

    @property
    def reason(self) -> str: ...


class TalkingGates(Gates, Protocol):
    """A gate that can also say why."""

    def verdict(self, segment_id: str, day: date, task: Task, /) -> Verdict: ...


def served_jobs(problem: Problem, solution: Solution) -> tuple[str, ...]:
    """Ids of jobs all of whose stages are in the plan."""
    done = set(solution.stage_shift(problem))
    left = {int(problem.job_of[s]) for s in range(len(problem.stages)) if s not in done}
    return tuple(
        job.id
        for j, job in enumerate(problem.jobs)
        if j not in left and job.stages and not job.needs_engineer
    )


def unserved_jobs(
    problem: Problem,
    solution: Solution,
    fleet: Fleet,
    gates: TalkingGates,
    taken_out: Mapping[int, tuple[Binding, str]] | None = None,
) -> tuple[Unserved, ...]:
    """Every job not finished by the plan, with what is in the way of its next stage.

    ``taken_out`` are stages that were found and came out again when the days were written out.
    """
    teller = _Teller(problem, solution, fleet, gates, taken_out or {})
    members: dict[int, list[int]] = {}
    for s, j in enumerate(problem.job_of):
        members.setdefault(int(j), []).append(s)
    found: list[Unserved] = []
    for j, job in enumerate(problem.jobs):
        left = [s for s in members.get(j, []) if s not in teller.shift_of]
        n_done = len(members.get(j, [])) - len(left)
        n_done += sum(stage.id in teller.done for stage in job.stages)
        if job.needs_engineer:
            binding, reason, change = teller.engineer()
        elif not job.stages:
            binding, reason, change = teller.no_stages()
        elif left:
            binding, reason, change = teller.why(job, left)
        else:
            continue
        found.append(Unserved(job.id, job.segment_id, binding, reason, change, n_done))
    return tuple(found)


Answer = tuple[Binding, str, str]


class _Teller:
    def __init__(
        self,
        problem: Problem,
        solution: Solution,
        fleet: Fleet,
        gates: TalkingGates,
        taken_out: Mapping[int, tuple[Binding, str]],
    ) -> None:
        self.taken_out = taken_out
        self.problem, self.fleet, self.gates = problem, fleet, gates
        self.blocks = solution.blocks
        self.shift_of = solution.stage_shift(problem)
        self.day_of = np.array([shift.day_index for shift in problem.shifts], dtype=np.int64)
        self.open_now = problem.may_serve_ever
        self.in_plan = np.array(sorted(self.shift_of), dtype=np.int64)
        self.plan_shift = np.array([self.shift_of[int(s)] for s in self.in_plan], dtype=np.int64)
        self.index = {stage.id: s for s, stage in enumerate(problem.stages)}
        self.graders = fleet.graders
        self.open_to: dict[float, Flags] = {}
        self.done = problem.since.done if problem.since else frozenset()

    def _passable(self, mass_t: float) -> Flags:
        if mass_t not in self.open_to:
            self.open_to[mass_t] = passable(self.problem.network, mass_t)
        return self.open_to[mass_t]

    def engineer(self) -> Answer:
        return (
            "engineer_to_confirm",
            "An engineer must confirm the design before a crew is sent.",
            "A named person signs the design.",
        )

    def no_stages(self) -> Answer:
        return (
            "engineer_to_confirm",
            "The job has no designed work yet.",
            "The job is designed in stages.",
        )

    def why(self, job: Job, left: Sequence[int]) -> Answer:
        """What is in the way of the first stage left that nothing else in the job holds up."""
        own = set(left)
        free = [s for s in left if not any(a in own for a in self.problem.after[s])]
        s = (free or list(left))[0]
        asked = (
            self._taken_out,
            self._waits,
            self._leave,
            self._crew,
            self._reach,
            self._weather,
            self._too_long,
            self._barred,
            self._support,
            self._worth,
            self._support_elsewhere,
        )
        for ask in asked:
            answer = ask(s)
            if answer is not None:
                return answer
        return self._priorities(s)

    def _taken_out(self, s: int) -> Answer | None:
        if s not in self.taken_out:
            return None
        binding, reason = self.taken_out[s]
        change = "Another day or machine for it, when the week is planned again."
        return binding, f"It was in the plan and came out again. {reason}", change

    def _waits(self, s: int) -> Answer | None:
        stage = self.problem.stages[s]
        missing = [a for a in stage.after if a not in self.index and a not in self.done]
        waits = [a for a in self.problem.after[s] if a not in self.shift_of]
        if not (missing or waits or self.problem.waits_outside[s]):
            return None
        first = (
            missing[0]
            if missing
            else (self.problem.stages[waits[0]].name if waits else "work that is not planned")
        )
        return (
            "waits_for_other_work",
            f"Other work must come first and is not in this plan: {first}.",
            "That work is finished, or planned earlier in the same week.",
        )

    def _leave(self, s: int) -> Answer | None:
        problem, stage = self.problem, self.problem.stages[s]
        if stage.leave_days is None or problem.windows.allowed[s].any():
            return None
        where = f"{stage.from_m:,.0f} to {stage.to_m:,.0f} m"
        if not stage.leave_days and "dry_forecast" in stage.leave_lacks:
            return (
                "no_workable_day",
                "Rain is likely too soon after every day of this plan: what is sprayed would wash"
                " off.",
                "A dry spell in the forecast.",
            )
        if not stage.leave_days:
            kinds = " and ".join(kind.replace("_", " ") for kind in stage.leave_lacks)
            return (
                "no_clearance",
                f"No {kinds} clearance that covers {where} holds on a day of this plan.",
                "The clearance is asked for, granted, and put on file with its last day.",
            )
        return (
            "no_clearance",
            f"For {where} there is leave, or a dry spell, on {_days(stage.leave_days)} only, when"
            " the surface is not fit for this work.",
            "The clearances are extended, or the surface is fit on one of those days.",
        )

    def _crew(self, s: int) -> Answer | None:
        problem, stage = self.problem, self.problem.stages[s]
        if not problem.shifts and len(self.days_off) == problem.n_days:
            return (
                "no_operator",
                f"Nobody works on {_days(self.days_off)}.",
                "More days in the plan, or a working day at the weekend.",
            )
        if not problem.shifts:
            return (
                "no_operator",
                "No grader has an operator on duty in these days.",
                "An operator is on duty.",
            )
        if problem.may_do[s].any():
            return None
        tool = stage.needs_attachment
        if tool and not any(tool in machine.attachments for machine in self.graders):
            return (
                "no_machine",
                f"No available grader has the attachment this work needs ({tool}).",
                f"A grader with {tool} is available.",
            )
        label = stage.treatment.label.lower()
        return (
            "no_operator",
            f"Nobody on duty in these days is qualified for this work ({label}).",
            f"An operator with that skill is on duty{' on that machine' if tool else ''}.",
        )

    def _reach(self, s: int) -> Answer | None:
        problem, stage = self.problem, self.problem.stages[s]
        if problem.set_aside[s] or (problem.may_do[s] & problem.is_reached[s]).any():
            return None
        if problem.blocks.first_option[s, 0] < 0 and not problem.windows.allowed[s].any():
            return None
        lies = float(problem.blocks.lies_min[s])
        if lies > 0:
            return (
                "too_long_for_shift",
                f"Between two passes the grader must go round for {lies:.0f} min, and a windrow may"
                f" lie open for {problem.policy.windrow_open_max_min:.0f} min at most.",
                "A place to turn round nearer by, or the job cut into shorter stages.",
            )
        index = problem.roads[0].segment_index[stage.segment_id]
        closed = [m for m in self.graders if not self._passable(m.mass_t)[index]]
        if len(closed) == len(self.graders):
            return (
                "road_class_closed",
                "The posted mass limit on this road is below the mass of every grader.",
                "The limit is lifted, or a lighter machine is found.",
            )
        return (
            "unreachable",
            "No grader that could do this work can drive there and back from its yard on the"
            " roads open to it.",
            "A closed or missing link is opened or added to the map.",
        )

    def _weather(self, s: int) -> Answer | None:
        problem, stage = self.problem, self.problem.stages[s]
        days = np.unique(self.day_of[problem.may_do[s]])
        if problem.windows.allowed[s, days].any():
            return None
        told = problem.shifts[int(np.flatnonzero(self.day_of == days[0])[0])].day
        why = self.gates.verdict(stage.segment_id, told, stage.task).reason
        first = problem.first_day
        idle = [day for day in self.days_off if problem.windows.allowed[s, (day - first).days]]
        if idle:
            return (
                "no_workable_day",
                f"The surface is fit for this work on {_days(idle)} only, when nobody works."
                f" On {told:%a} {told.day}: {why}",
                "A working day at the weekend, or more days in the plan.",
            )
        return (
            "no_workable_day",
            f"The surface is not fit for this work on any working day of the plan. {why}",
            "Drier or wetter weather, as the surface needs, or more days in the plan.",
        )

    def _too_long(self, s: int) -> Answer | None:
        problem = self.problem
        block = problem.blocks.first_option[s, 0]
        if block < 0:
            return None
        usable = np.array([shift.usable_min for shift in problem.shifts])
        enter, leave = problem.blocks.enter[block], problem.blocks.leave[block]
        least = np.full(usable.size, np.inf)
        for h in np.flatnonzero(self.open_now[s]):
            c, home = int(problem.shift_class[h]), int(problem.shift_home[h])
            there = problem.between[c, problem.shift_start[h], enter]
            there = there + problem.between[c, leave, home]
            least[h] = float((there + problem.blocks.minutes[c, block]).min())
        if (least <= usable).any():
            return None
        short = float((least - usable).min())
        return (
            "too_long_for_shift",
            f"With the drive there and back it needs {least.min() / 60:.1f} h in one shift,"
            f" {short:.0f} min more than the longest shift holds.",
            "A longer shift, a machine parked nearer, or the job cut into shorter stages.",
        )

    def _barred(self, s: int) -> Answer | None:
        """On every open day the hours left between those barred are too short for it."""
        problem = self.problem
        bans, stage = problem.bans[s], problem.stages[s]
        if not bans:
            return None
        needs_min = stage.work_min
        for h in np.flatnonzero(self.open_now[s]):
            shift = problem.shifts[int(h)]
            taken = [(b.start_min, b.end_min) for b in bans if b.day_index == shift.day_index]
            for begin, end in free_stretches(shift.start_min, shift.end_min, taken):
                if end - begin >= needs_min:
                    return None
        told = "; ".join(
            dict.fromkeys(f"{_hours(b.start_min, b.end_min)}: {b.reason}" for b in bans)
        )
        return (
            "barred_hours",
            f"No blade is down on this road in barred hours ({told}), and what is left of a shift"
            f" is shorter than the {needs_min / 60:.1f} h it takes.",
            "Shorter barred hours, or the job cut into shorter stages.",
        )

    @cached_property
    def days_off(self) -> list[date]:
        """Days of the plan on which nobody works."""
        problem = self.problem
        days = [problem.first_day + timedelta(days=d) for d in range(problem.n_days)]
        return [day for day in days if day.weekday() not in problem.policy.work_weekdays]

    @cached_property
    def _plan_again(self) -> tuple[kernel.Tables, kernel.Routes]:
        """The plan as the search has it, to try what else would fit."""
        tables = tables_of(self.problem)
        return tables, routes_from(tables, self.blocks)

    def _support_elsewhere(self, s: int) -> Answer | None:
        """A grader has the time and it would pay, but the machines that help are elsewhere then."""
        problem, support = self.problem, self.problem.support
        days = np.unique(self.day_of[self.open_now[s]])
        kinds = {kind for kind, _, _ in support.needs[s]}
        if problem.wet[s, days].any():
            kinds.add(support.kinds.index("water_truck"))
        block = int(problem.blocks.first_option[s, 0])
        if not kinds or block < 0:
            return None
        tables, routes = self._plan_again
        lines = routes.lines
        for h in np.flatnonzero(tables.ok[s]):
            if not support.needs[s] and not problem.wet[s, self.day_of[h]]:
                continue
            if any(a in self.shift_of and self.shift_of[a] >= h for a in problem.after[s]):
                continue
            total, _ = kernel.whole_at(
                tables.ways, lines, int(h), block, 0, np.ones(1, np.uint64), 0.0
            )
            if total > tables.shift_real[h, kernel.MOST_MIN]:
                continue
            gain = problem.worth_h[s, h] - tables.price * (total - lines.minutes[h])
            if gain > 0:
                names = " and ".join(support.kinds[k].replace("_", " ") for k in sorted(kinds))
                return (
                    "no_support",
                    f"A grader would have the time, but the {names} it needs is with other work,"
                    " or on the way, whenever it would fit.",
                    "One more of these machines with a driver, or fewer stages that need one.",
                )
        return None

    def _support(self, s: int) -> Answer | None:
        problem = self.problem
        support = problem.support
        days = np.unique(self.day_of[self.open_now[s]])
        asks = list(support.needs[s])
        lacking = ""
        for day in days:
            wanted = list(asks)
            if problem.windows.needs_water[s, day] and support.water_h[s] > 0:
                wanted.append((support.kinds.index("water_truck"), 1, float(support.water_h[s])))
            short = [
                (kind, count, hours)
                for kind, count, hours in wanted
                if np.sum((support.kind_of == kind) & (self._free_h(s, day) >= hours)) < count
            ]
            if not short:
                return None
            kind, count, hours = short[0]
            lacking = f"{count} × {support.kinds[kind].replace('_', ' ')} for {hours:.1f} h"
        return (
            "no_support",
            f"It needs {lacking} on one day, and that many are not manned for so long, with the"
            " drive there and back, on any day the surface is fit.",
            "More of these machines with drivers, or a smaller stage.",
        )

    def _free_h(self, s: int, day: int) -> npt.NDArray[np.float64]:
        """Hours each supporting machine could be with the stage that day [h]."""
        support, ways = self.problem.support, self.problem.support_ways
        free = ways.window[:, day, 1] - ways.window[:, day, 0]
        block = self.problem.blocks.first_option[s, 0]
        if block >= 0:
            port = int(self.problem.blocks.enter[block, 0])
            apart = [ways.there_and_back(m, port, s) for m in range(free.size)]
            # In the middle of a day a machine is out already
            free = free - np.where(ways.window[:, day, 2] > 0, apart, 0.0)
        return np.minimum(support.hours[:, day], free / 60)

    def _worth(self, s: int) -> Answer | None:
        problem = self.problem
        price = problem.policy.hour_price
        block = problem.blocks.first_option[s, 0]
        best, spent = -np.inf, 0.0
        for h in np.flatnonzero(self.open_now[s]):
            minutes = problem.stages[s].work_min
            if block >= 0:
                c, home = int(problem.shift_class[h]), int(problem.shift_home[h])
                there = problem.between[c, problem.shift_start[h], problem.blocks.enter[block]]
                back = problem.between[c, problem.blocks.leave[block], home]
                minutes = float((there + back + problem.blocks.minutes[c, block]).min())
            net = float(problem.worth_h[s, h]) - price * minutes / 60
            if net > best:
                best, spent = net, minutes / 60
        if best > 0:
            return None
        return (
            "not_worth_hours",
            f"What it would bring this week does not pay for the {spent:.1f} h of a grader that"
            " it would take.",
            "The road gets worse or busier, a neighbouring road is worked on the same day, or the"
            " price of an hour is set lower.",
        )

    def _priorities(self, s: int) -> Answer:
        problem = self.problem
        open_shifts = np.flatnonzero(self.open_now[s])
        days = sorted({int(self.day_of[h]) for h in open_shifts})
        names = _days([problem.shifts[int(h)].day for h in open_shifts])
        mine = float(problem.worth_h[s, open_shifts].max()) / problem.stages[s].work_min
        if problem.set_aside[s]:
            return (
                "higher_priorities",
                "There are more jobs than the crews could do many times over; this one is worth"
                " less for its hours than those that were looked at.",
                "More crews, or fewer jobs asked for.",
            )
        same_days = np.isin(self.day_of[self.plan_shift], days)
        is_rival = same_days & (problem.job_of[self.in_plan] != problem.job_of[s])
        rivals = self.in_plan[is_rival]
        worth = problem.worth_h[rivals, self.plan_shift[is_rival]]
        work = np.array([problem.stages[int(r)].work_min for r in rivals])
        jobs = problem.job_of[rivals]
        n_jobs = np.unique(jobs).size
        n_better = np.unique(jobs[worth >= mine * work]).size
        plural = "s" if len(days) > 1 else ""
        reason = (
            f"On the day{plural} its surface is fit ({names}) the graders' hours go to"
            f" {n_jobs} other job{'s' if n_jobs > 1 else ''}, whole or in part, {n_better} of them"
            " worth more for the time."
            if n_jobs
            else f"On the day{plural} its surface is fit ({names}) it could not be fitted in."
        )
        return (
            "higher_priorities",
            reason,
            "One more grader or a longer shift on "
            f"{'those days' if plural else 'that day'}, or a higher urgency for this road.",
        )


def _hours(start_min: float, end_min: float) -> str:
    """Two times of day as a clock shows them."""
    return "-".join(f"{int(each) // 60:02d}:{int(each) % 60:02d}" for each in (start_min, end_min))


def _days(days: Sequence[date]) -> str:
    """The days by name, each once, in order."""
    return ", ".join(f"{day:%a} {day.day}" for day in sorted(set(days)))
