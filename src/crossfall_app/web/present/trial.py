"""A change of the week that is being tried: what it costs, what moved, what was asked for."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from crossfall.dispatch.replan import Move
from crossfall.model import CostRange, District, Fleet, Job, Plan, PlanWish, Stage
from crossfall.model.plan import LegKind
from crossfall_app.runs.board import Trial
from crossfall_app.web.present.measures import Measures, day_name, hours, money
from crossfall_app.web.present.plan import where_on

_KIND = {
    "machine": "Another machine",
    "day": "Another day",
    "left_out": "Left out now",
    "added": "New in the plan",
}


@dataclass(frozen=True, slots=True)
class Turned:
    """One figure before and after."""

    name: str
    before: str
    after: str
    difference: str
    is_worse: bool = False


@dataclass(frozen=True, slots=True)
class TrialSheet:
    """The strip above the board while a change is tried."""

    sentence: str
    figures: tuple[Turned, ...]
    moves: tuple[dict[str, str], ...]
    asked: tuple[str, ...]
    warnings: tuple[str, ...]


def trial_sheet(trial: Trial, district: District, measures: Measures, today: date) -> TrialSheet:
    """Everything a person wants to know before keeping a change."""
    before, after = trial.base.plan, trial.week.plan
    stages = {stage.id: stage for job in trial.base.jobs for stage in job.stages}
    ahead = {key for each in after.itineraries for key in each.stage_ids}
    rest = [each for each in before.itineraries if each.day >= after.first_day]
    kept = {key for each in rest for key in each.stage_ids}
    lost_h = _worth(before, after)
    figures = [
        _count("Jobs done", len(before.served), len(after.served), is_more_better=True),
        _hours("Grader hours", _h(rest, "work"), _h(after.itineraries, "work")),
        _hours("Driving", _h(rest, "travel"), _h(after.itineraries, "travel"), is_more_worse=True),
        *_cost(_sum(stages, kept), _sum(stages, ahead)),
    ]
    moves = tuple(_move(each, stages, district, measures, today) for each in trial.replan.moves)
    warnings = list(_unmet(trial, ahead, district, measures))
    warnings += [each.text for each in trial.replan.open_windrows]
    warnings += [
        f"{each.machine_id} stands out on the road with nobody to drive it: fetch it or make it"
        " safe."
        for each in trial.replan.stranded
    ]
    return TrialSheet(
        _sentence(lost_h, trial),
        tuple(figures),
        moves,
        wish_words(after.wishes, trial.base.jobs, district),
        tuple(measures.words(each) for each in warnings),
    )


def _unmet(trial: Trial, ahead: set[str], district: District, measures: Measures) -> Iterable[str]:
    """Pins that could not be honoured, each with what stands against it."""
    by_id = {job.id: job for job in trial.base.jobs}
    why = {each.job_id: each.reason for each in trial.week.plan.unserved}
    for wish in trial.wishes:
        if wish.kind == "pin" and wish.stage_id and wish.stage_id not in ahead:
            job = by_id.get(wish.job_id)
            segment = district.network.segment_by_id.get(job.segment_id) if job else None
            road = segment.route if segment else wish.job_id
            yield f"{road} is left out now. {measures.words(why.get(wish.job_id, ''))}"


def wish_words(
    wishes: Iterable[PlanWish], jobs: Iterable[Job], district: District
) -> tuple[str, ...]:
    """Wishes as sentences: ``190th Street: pinned to Grader 2, Tue 9 Jun``."""
    by_id = {job.id: job for job in jobs}
    return tuple(_wish(each, by_id.get(each.job_id), district) for each in wishes)


def place_words(machine_id: str | None, day: date | None, fleet: Fleet) -> str:
    """A machine and a day as people say them."""
    names = {machine.id: machine.name for machine in fleet.machines}
    told = [names.get(machine_id, machine_id)] if machine_id else []
    return ", ".join([*told, *([day_name(day)] if day else [])])


def _wish(wish: PlanWish, job: Job | None, district: District) -> str:
    segment = district.network.segment_by_id.get(job.segment_id) if job else None
    what = job.treatment.label.lower() if job else "work"
    road = segment.route if segment else wish.job_id
    where = place_words(wish.machine_id, wish.day, district.fleet)
    if wish.kind == "pin":
        return f"{road}, {what}: pinned to {where}"
    return f"{road}, {what}: kept off {where}" if where else f"{road}, {what}: left out"


def _move(
    move: Move, stages: dict[str, Stage], district: District, measures: Measures, today: date
) -> dict[str, str]:
    stage = stages.get(move.stage_id)
    segment = district.network.segment_by_id.get(stage.segment_id) if stage else None
    return {
        "kind": _KIND[move.kind],
        "key": move.kind,
        "segment_id": segment.id if segment else "",
        "route": segment.route if segment else move.stage_id,
        "where": where_on(segment, measures, stage) if segment else "",
        "work": stage.name if stage else "",
        "before": place_words(*move.before, district.fleet) if move.before else "not planned",
        "after": place_words(*move.after, district.fleet) if move.after else "left out",
        "reason": measures.words(move.reason),
    }


def _sentence(lost_h: float, trial: Trial) -> str:
    n_moved = len(trial.replan.moves)
    moved = "Nothing else moves" if n_moved <= 1 else f"{n_moved} pieces of work move"
    if abs(lost_h) < _SMALL_H:
        return f"This costs nothing. {moved}."
    if lost_h > 0:
        return f"This costs work worth {hours(lost_h)} of a grader. {moved}."
    return f"This brings work worth {hours(-lost_h)} of a grader more. {moved}."


_SMALL_H = 0.05


def _worth(before: Plan, after: Plan) -> float:
    """What the change loses [h]; only to be compared where both plans cover the same days."""
    return before.benefit_h - after.benefit_h if before.first_day == after.first_day else 0.0


def _count(name: str, before: int, after: int, *, is_more_better: bool) -> Turned:
    more = after - before
    is_worse = (more < 0) if is_more_better else (more > 0)
    return Turned(name, str(before), str(after), f"{more:+d}" if more else "", is_worse)


def _hours(name: str, before: float, after: float, *, is_more_worse: bool = False) -> Turned:
    more = after - before
    told = f"{'+' if more > 0 else '−'}{hours(abs(more))}" if abs(more) >= _SMALL_H else ""
    return Turned(name, hours(before), hours(after), told, is_more_worse and more >= _SMALL_H)


def _cost(before: CostRange | None, after: CostRange | None) -> list[Turned]:
    if before is None or after is None:
        return []
    more = after.likely.minor - before.likely.minor
    sign = "+" if more > 0 else "−"
    told = f"{sign}{money(_of(after, abs(more)))}" if more else ""
    return [Turned("Likely cost", money(before.likely), money(after.likely), told, more > 0)]


def _of(cost: CostRange, minor: int) -> Any:
    from dataclasses import replace

    return replace(cost.likely, minor=minor)


def _h(itineraries: Iterable[Any], kind: LegKind) -> float:
    return sum(float(each.minutes(kind)) for each in itineraries) / 60


def _sum(stages: dict[str, Stage], keys: Iterable[str]) -> CostRange | None:
    total: CostRange | None = None
    for key in sorted(keys):
        cost = stages[key].cost if key in stages else None
        if cost is not None:
            total = cost if total is None else total + cost
    return total
