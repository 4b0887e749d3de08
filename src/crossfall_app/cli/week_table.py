"""A planned week as a table: who goes where by day, hours, cost, and what is left out and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

from crossfall.dispatch.figures import figures_of
from crossfall.model import CostRange, District, Itinerary, Plan, Stage
from crossfall_app.cli.speak import count, in_units, new_table, say, say_table
from crossfall_app.store.repository import StoredWeek
from crossfall_app.web.present.words import LEFT_OUT

_MOST_ROADS = 6
"""Roads named in one cell of the table; the card and ``--json`` name them all."""


def say_week(district: District, week: StoredWeek, *, units: str = "metric") -> None:
    """Print the week; measures in its sentences in the agency's units."""
    plan = week.plan
    stages = {stage.id: stage for job in week.jobs for stage in job.stages}
    last = plan.first_day + timedelta(days=plan.n_days - 1)
    say(f"{district.name}: {_day(plan.first_day)} to {_day(last)} {last.year}")
    if plan.note:
        say(plan.note)
    if not week.jobs:
        say("No road needs anything that can be planned.")
        return
    table = new_table("Day", "Machine", "Work", "Hours", "Cost", right=("Hours", "Cost"))
    names = _names(district)
    day = None
    for each in sorted(plan.itineraries, key=lambda each: (each.day, names[each.machine_id])):
        if day is not None and each.day != day:
            table.add_section()
        cost = total_cost(stages[stage_id] for stage_id in each.stage_ids)
        table.add_row(
            _day(each.day) if each.day != day else "",
            names[each.machine_id],
            _work(district, each, stages),
            f"{_hours_out(each):.1f}",
            _money(cost) if cost else "",
        )
        day = each.day
    say_table(table)
    cost = week_cost(week)
    is_are = "is" if len(plan.served) == 1 else "are"
    is_are_out = "is" if len(plan.unserved) == 1 else "are"
    say(
        f"{count(len(plan.served), 'job')} {is_are} in the plan, {len(plan.unserved)} {is_are_out}"
        " left out." + (f" Cost about {_money(cost)} ({_money_range(cost)})." if cost else "")
    )
    say(in_units(figures_of(plan, week.jobs, district.network).summary(), units))
    for stay in plan.stays:
        where = stay.place_id or stay.node
        say(f"{names[stay.machine_id]} stays at {where} after {_day(stay.night_of)}.")
    say(f"It could be better by {plan.gap_pct:.1f} % at most.")
    _say_left_out(district, week, units)


def week_cost(week: StoredWeek) -> CostRange | None:
    """Cost of all stages in the plan."""
    stages = {stage.id: stage for job in week.jobs for stage in job.stages}
    planned = {stage_id for each in week.plan.itineraries for stage_id in each.stage_ids}
    return total_cost(stages[stage_id] for stage_id in sorted(planned))


def total_cost(stages: Iterable[Stage]) -> CostRange | None:
    """Sum of the stages' costs; None when none has one."""
    total: CostRange | None = None
    for stage in stages:
        if stage.cost is not None:
            total = stage.cost if total is None else total + stage.cost
    return total


def cost_json(cost: CostRange | None) -> dict[str, Any] | None:
    """A cost range in whole currency units."""
    if cost is None:
        return None
    return {
        "low": cost.low.major,
        "likely": cost.likely.major,
        "high": cost.high.major,
        "currency": cost.likely.currency,
        "year": cost.likely.year,
    }


def unserved_rows(district: District, plan: Plan) -> list[dict[str, Any]]:
    """What was left out, each with its reason."""
    roads = district.network.segment_by_id
    return [
        {
            "job": each.job_id,
            "segment": each.segment_id,
            "road": roads[each.segment_id].route,
            "binding": each.binding,
            "reason": each.reason,
            "would_change": each.would_change,
            "stages_done": each.n_stages_done,
        }
        for each in plan.unserved
    ]


def itinerary_rows(district: District, week: StoredWeek) -> list[dict[str, Any]]:
    """Each machine's day with its stops in order."""
    stages = {stage.id: stage for job in week.jobs for stage in job.stages}
    return [
        {
            "day": each.day.isoformat(),
            "machine": each.machine_id,
            "machine_name": _names(district)[each.machine_id],
            "operator": each.operator_id,
            "hours_out": round(_hours_out(each), 3),
            "minutes": {
                kind: round(each.minutes(kind), 2)
                for kind in ("travel", "work", "turn", "break", "wait")
            },
            "stops": [_stop(district, each, stages[stage_id]) for stage_id in each.stage_ids],
        }
        for each in week.plan.itineraries
    ]


def _stop(district: District, itinerary: Itinerary, stage: Stage) -> dict[str, Any]:
    legs = [leg for leg in itinerary.legs if leg.stage_id == stage.id]
    return {
        "job": stage.job_id,
        "stage": stage.id,
        "segment": stage.segment_id,
        "road": district.network.segment_by_id[stage.segment_id].route,
        "treatment": stage.treatment.value,
        "passes": stage.n_passes,
        "start_min": round(min(leg.start_min for leg in legs), 2),
        "end_min": round(max(leg.end_min for leg in legs), 2),
    }


def _work(district: District, itinerary: Itinerary, stages: dict[str, Stage]) -> str:
    roads: dict[str, dict[str, int]] = {}
    for stage_id in itinerary.stage_ids:
        stage = stages[stage_id]
        route = district.network.segment_by_id[stage.segment_id].route
        where = roads.setdefault(stage.treatment.label, {})
        where[route] = where.get(route, 0) + 1
    return "\n".join(f"{label}: {_some(at)}" for label, at in roads.items())


def _some(roads: dict[str, int]) -> str:
    told = [f"{road} ({n} parts)" if n > 1 else road for road, n in roads.items()]
    rest = len(told) - _MOST_ROADS
    return ", ".join(told[:_MOST_ROADS]) + (f" and {rest} more" if rest > 0 else "")


def _say_left_out(district: District, week: StoredWeek, units: str) -> None:
    unserved, worth = week.plan.unserved, {job.id: job.benefit_h for job in week.jobs}
    if not unserved:
        return
    table = new_table("Left out", "Jobs", "Why, for the one worth most", right=("Jobs",))
    for binding, n in Counter(each.binding for each in unserved).most_common():
        alike = [each for each in unserved if each.binding == binding]
        first = max(alike, key=lambda each: worth.get(each.job_id, 0.0))
        road = district.network.segment_by_id[first.segment_id].route
        table.add_row(LEFT_OUT[binding], str(n), f"{road}: {in_units(first.reason, units)}")
    say_table(table)
    say("Every road left out, with its reason: crossfall plan --json")


def _day(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b}"


def _hours_out(itinerary: Itinerary) -> float:
    if not itinerary.legs:
        return 0.0
    return (itinerary.legs[-1].end_min - itinerary.legs[0].start_min) / 60


def _names(district: District) -> dict[str, str]:
    return {machine.id: machine.name for machine in district.fleet.machines}


def _money(cost: CostRange) -> str:
    return f"{cost.likely.currency} {cost.likely.major:,.0f}"


def _money_range(cost: CostRange) -> str:
    return f"{cost.low.major:,.0f} to {cost.high.major:,.0f}, {cost.likely.year} prices"
