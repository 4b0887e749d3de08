"""The hall: each function reads like the table of the house.

Everything comes in as nouns and goes out as nouns; dates, seeds and progress
are arguments. Loading, saving and showing are the doors' business.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from crossfall.cards import make_cards
from crossfall.design import design_jobs
from crossfall.dispatch import dispatch_week
from crossfall.dispatch.checker import check_plan
from crossfall.errors import InputError
from crossfall.judgement import find_needs, judge_gates, surface_state
from crossfall.judgement.gate import GateTable
from crossfall.judgement.state import MoistureState
from crossfall.model import (
    Condition,
    District,
    Job,
    JobCard,
    Need,
    Plan,
    Progress,
    Violation,
    quiet,
)
from crossfall.network import build_graph


@dataclass(frozen=True)
class WeekPlan:
    """A planned week with everything it rests on."""

    plan: Plan
    jobs: tuple[Job, ...]
    needs: tuple[Need, ...]
    conditions: tuple[Condition, ...]
    """Condition of each maintained segment as it is believed to be today."""
    cards: tuple[JobCard, ...]
    violations: tuple[Violation, ...]
    state: MoistureState
    gates: GateTable


def plan_week(
    district: District,
    *,
    first_day: date,
    n_days: int,
    made_at: datetime,
    seconds: float = 20.0,
    seed: int = 1,
    previous: Plan | None = None,
    progress: Progress = quiet,
) -> WeekPlan:
    """Plan the week: network, condition, weather and machines in; a checked plan with cards out.

    Raises
    ------
    InputError
        If ``n_days`` is not 1 to 14, there is no grader, no operator, or the weather record
        ends before ``first_day`` without a forecast.
    Cancelled
        If ``progress`` raises it.
    """
    if not 1 <= n_days <= 14:
        raise InputError(f"n_days is {n_days}; expected 1 to 14")
    policy, network, fleet = district.policy, district.network, district.fleet
    graph = build_graph(network)
    state = surface_state(district, first_day=first_day, n_days=n_days, seed=seed)
    progress(0.10, "Surface moisture is known")
    needs, conditions = find_needs(district, today=first_day)
    gates = judge_gates(state, fleet, policy)
    progress(0.15, f"{len(needs)} roads need something")
    jobs = design_jobs(needs, conditions, network, graph, fleet, state, policy)
    progress(0.25, f"{len(jobs)} jobs are designed")
    plan = dispatch_week(
        jobs,
        network,
        graph,
        fleet,
        gates,
        policy,
        first_day=first_day,
        n_days=n_days,
        made_at=made_at,
        seconds=seconds,
        seed=seed,
        previous=previous,
        progress=lambda fraction, message: progress(0.25 + 0.65 * fraction, message),
    )
    violations = check_plan(plan, jobs, network, fleet, gates, policy)
    progress(0.92, "The plan is checked")
    cards = make_cards(plan, jobs, needs, district, gates) if not violations else ()
    progress(1.0, f"{len(cards)} job cards are written")
    return WeekPlan(plan, jobs, needs, conditions, cards, violations, state, gates)
