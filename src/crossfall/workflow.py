"""The hall: each function reads like the table of the house.

Everything comes in as nouns and goes out as nouns; dates, seeds and progress
are arguments. Loading, saving and showing are the doors' business.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from crossfall.cards import make_cards
from crossfall.design import design_jobs
from crossfall.design.clearances import hold_for_leave
from crossfall.design.dust import hold_for_rain, treated_roads
from crossfall.design.jobs import make_tools
from crossfall.design.site import Site
from crossfall.dispatch import dispatch_week
from crossfall.dispatch.checker import check_plan
from crossfall.dispatch.replan import Replan, replan_week
from crossfall.errors import InputError
from crossfall.judgement import (
    GateTable,
    HazardNotice,
    LoadAdvisory,
    MoistureState,
    RoadDays,
    SurfaceDifference,
    WateringVerdict,
    advise_load_limits,
    closed_by_hazard,
    find_needs,
    judge_gates,
    open_hazards,
    road_days,
    surface_difference,
    surface_state,
    water_or_wait,
)
from crossfall.model import (
    Condition,
    District,
    Fleet,
    Job,
    JobCard,
    Machine,
    Need,
    Network,
    Plan,
    PlanWish,
    Progress,
    Violation,
    quiet,
)
from crossfall.network import RoadGraph, build_graph
from crossfall.programme.district import ask_years as ask_years
from crossfall.programme.district import needs_with_years
from crossfall.programme.district import plan_years as plan_years
from crossfall.programme.district import segment_facts_of as segment_facts_of
from crossfall.records import OpenEnd, open_ends


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
    wishes: Sequence[PlanWish] = (),
    iterations: int | None = None,
    progress: Progress = quiet,
) -> WeekPlan:
    """Plan the week: network, condition, weather and machines in; a checked plan with cards out.

    With ``iterations`` instead of ``seconds`` the same seed gives the same plan.
    ``wishes`` are what people pinned or kept out; those about work that is done are dropped.

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
    policy, fleet = district.policy, district.fleet
    # Nobody is sent over a washout: for the plan, and for its checker, that road is not there
    network = district.network.without(closed_by_hazard(district, today=first_day))
    graph = build_graph(network)
    state = surface_state(district, first_day=first_day, n_days=n_days, seed=seed)
    progress(0.10, "Surface moisture is known")
    needs, conditions = find_needs(district, today=first_day)
    needs = needs_with_years(needs, district, today=first_day)
    gates = judge_gates(state, fleet, policy)
    progress(0.15, f"{len(needs)} roads need something")
    jobs = _designed(needs, conditions, district, network, graph, state, first_day)
    jobs = _on_days_that_hold(jobs, district, network, state, first_day, n_days)
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
        wishes=_still_there(wishes, jobs, fleet),
        calendar=district.calendar,
        overdue=_waited_long(conditions, first_day, policy.dispatch.service_days),
        iterations=iterations,
        progress=lambda fraction, message: progress(0.25 + 0.65 * fraction, message),
    )
    violations = check_plan(plan, jobs, network, fleet, gates, policy, calendar=district.calendar)
    progress(0.92, "The plan is checked")
    cards = make_cards(plan, jobs, needs, district, gates) if not violations else ()
    progress(1.0, f"{len(cards)} job cards are written")
    return WeekPlan(plan, jobs, needs, conditions, cards, violations, state, gates)


def _designed(
    needs: tuple[Need, ...],
    conditions: tuple[Condition, ...],
    district: District,
    network: Network,
    graph: RoadGraph,
    state: MoistureState,
    first_day: date,
) -> tuple[Job, ...]:
    """A job for each need, with what engineers have signed and what was treated for dust."""
    policy = district.policy
    signed = tuple(each for each in district.signatures if each.stands(first_day))
    treated = treated_roads(district.dust, first_day, policy.design.dust)
    return design_jobs(
        needs,
        conditions,
        network,
        graph,
        district.fleet,
        state,
        policy,
        signatures=signed,
        treated=treated,
    )


def _on_days_that_hold(
    jobs: tuple[Job, ...],
    district: District,
    network: Network,
    state: MoistureState,
    first_day: date,
    n_days: int,
) -> tuple[Job, ...]:
    """The jobs with the days on which permissions on file now, and rain, let them be done."""
    policy = district.policy
    jobs = hold_for_leave(
        jobs,
        network.features_by_segment,
        district.clearances,
        first_day=first_day,
        n_days=n_days,
        practice=policy.design.permission,
    )
    return hold_for_rain(jobs, state, policy.design.dust)


@dataclass(frozen=True)
class ChangedWeek:
    """What is left of a planned week after people's wishes, and everything that moved for them."""

    week: WeekPlan
    replan: Replan


def change_week(
    district: District,
    previous: Plan,
    jobs: tuple[Job, ...],
    needs: tuple[Need, ...],
    conditions: tuple[Condition, ...],
    *,
    wishes: Sequence[PlanWish] = (),
    now: datetime,
    made_at: datetime,
    rounds: int | None = None,
    seconds: float = 4.0,
    rained: Collection[date] = (),
    has_new_needs: bool = False,
    seed: int = 1,
    progress: Progress = quiet,
) -> ChangedWeek:
    """Plan the rest of a week anew, around wishes or after something happened; little moves.

    The jobs stay as they were designed; with ``has_new_needs`` roads that have none yet get one.
    ``district`` is as it is now: without the machine that broke down or the operator who is ill. On
    ``rained`` days nothing that minds rain is begun. The same wishes, moment, ``rounds`` and seed
    give the same plan; without ``rounds`` it is searched for ``seconds``.

    Raises
    ------
    InputError
        If ``now`` is outside the days of the plan, or a wish names what is not there.
    Cancelled
        If ``progress`` raises it.
    """
    policy, fleet, today = district.policy, district.fleet, now.date()
    network = district.network.without(closed_by_hazard(district, today=today))
    n_days = previous.n_days - (today - previous.first_day).days
    state = surface_state(district, first_day=today, n_days=max(1, n_days), seed=seed)
    graph = build_graph(network)
    gates = replace(judge_gates(state, fleet, policy), rained=frozenset(rained))
    jobs = tuple(job for job in jobs if job.segment_id in network.segment_by_id)
    if has_new_needs:
        fresh, conditions = find_needs(district, today=today)
        known = {job.segment_id for job in jobs}
        fresh = tuple(each for each in fresh if each.segment_id not in known)
        needs += fresh
        jobs += _designed(fresh, conditions, district, network, graph, state, today)
    jobs = _on_days_that_hold(jobs, district, network, state, today, max(1, n_days))
    calendar = district.calendar.as_promised(previous.reserved)
    replan = replan_week(
        previous,
        jobs,
        network,
        graph,
        fleet,
        gates,
        policy,
        now=now,
        made_at=made_at,
        seed=seed,
        wishes=wishes,
        calendar=calendar,
        seconds=seconds,
        iterations=rounds,
        progress=progress,
    )
    plan = replan.plan
    violations = check_plan(
        plan, jobs, network, fleet, gates, policy, since=replan.since, calendar=calendar
    )
    cards = make_cards(plan, jobs, needs, district, gates) if not violations else ()
    week = WeekPlan(plan, jobs, needs, conditions, cards, violations, state, gates)
    return ChangedWeek(week, replan)


@dataclass(frozen=True)
class MorningSheet:
    """What a foreman wants to know at a quarter past six."""

    today: date
    hazards: tuple[HazardNotice, ...]
    needs: tuple[Need, ...]
    conditions: tuple[Condition, ...]
    """Condition of each maintained segment as it is believed to be today."""
    open_ends: tuple[OpenEnd, ...]
    state: MoistureState | None
    """None when the weather does not reach today; ``trouble`` says why."""
    gates: GateTable | None
    limits: tuple[LoadAdvisory, ...]
    trouble: str = ""


def morning(district: District, *, today: date, n_days: int = 10, seed: int = 0) -> MorningSheet:
    """Look at the sky and the roads: dangers, needs, what was left open, what the surface allows.

    Without weather that reaches today the sheet stands without a surface and says why.
    """
    hazards = open_hazards(district, today=today)
    needs, conditions = find_needs(district, today=today)
    needs = needs_with_years(needs, district, today=today)
    left = open_ends(district.records, district.policy.records)
    try:
        state = surface_state(district, first_day=today, n_days=n_days, seed=seed)
    except InputError as error:
        return MorningSheet(today, hazards, needs, conditions, left, None, None, (), str(error))
    gates = judge_gates(state, district.fleet, district.policy)
    limits = advise_load_limits(state)
    return MorningSheet(today, hazards, needs, conditions, left, state, gates, limits)


@dataclass(frozen=True)
class RoadSurface:
    """The surface of one road: its days, and whether to water it today."""

    days: RoadDays
    water: WateringVerdict | None
    """For the depth a blade would cut today; None where ``no_water`` says why not."""
    no_water: str = ""


def road_surface(district: District, sheet: MorningSheet, segment_id: str) -> RoadSurface:
    """Follow one segment through its days, and weigh water against waiting.

    Raises
    ------
    InputError
        If the sheet has no surface, or the segment is unknown or not maintained.
    """
    if sheet.state is None:
        raise InputError(sheet.trouble)
    days = road_days(sheet.state, segment_id)
    trucks = [each for each in district.fleet.machines if _brings_water(each)]
    if not trucks:
        return RoadSurface(days, None, "No water truck is at hand, so nothing is said of watering")
    segment = district.network.segment_by_id[segment_id]
    condition = next((c for c in sheet.conditions if c.segment_id == segment_id), None)
    tools = make_tools(district.fleet, build_graph(district.network), district.policy)
    site = Site(segment, condition, (), None, (False, False), tools)
    state, n_days = sheet.state, 1 + district.policy.moisture.water_wait_days
    if state.n_days < n_days:
        # A sheet of fewer days than one is willing to wait does not know what those bring
        state = surface_state(district, first_day=sheet.today, n_days=n_days)
    try:
        water = water_or_wait(
            state,
            segment,
            sheet.today,
            max(trucks, key=lambda each: each.capacity),
            district.policy,
            water_km=tools.sources.water_km(segment),
            worked_depth_mm=max(site.cut_mm, tools.design.shape.light_cut_mm),
        )
    except InputError as error:
        # A figure of this road is out of any range; its moisture still stands
        return RoadSurface(days, None, f"Water cannot be reckoned here: {error}")
    return RoadSurface(days, water)


def what_changed(
    district: District, told_ids: Collection[str], *, today: date, n_days: int = 10, seed: int = 0
) -> SurfaceDifference:
    """What some observations of the district changed: the surface without and with them."""
    others = tuple(each for each in district.observations if each.id not in told_ids)
    unheard = replace(district, observations=others)
    before, after = (
        surface_state(each, first_day=today, n_days=n_days, seed=seed)
        for each in (unheard, district)
    )
    return surface_difference(before, after)


def _waited_long(
    conditions: Sequence[Condition], today: date, service_days: float
) -> frozenset[str]:
    """Segments whose last blading is known and longer ago than a road should wait."""
    return frozenset(
        each.segment_id
        for each in conditions
        if each.last_bladed_on is not None and (today - each.last_bladed_on).days > service_days
    )


def _still_there(
    wishes: Sequence[PlanWish], jobs: tuple[Job, ...], fleet: Fleet
) -> tuple[PlanWish, ...]:
    """Wishes about work that is still to be done, by machines that are still there."""
    machines = {machine.id for machine in fleet.machines} | {None}
    stages = {(job.id, stage.id) for job in jobs for stage in job.stages}
    known = stages | {(job.id, None) for job in jobs}
    return tuple(
        each
        for each in wishes
        if (each.job_id, each.stage_id) in known and each.machine_id in machines
    )


def _brings_water(machine: Machine) -> bool:
    return machine.kind == "water_truck" and machine.is_available and machine.capacity > 0
