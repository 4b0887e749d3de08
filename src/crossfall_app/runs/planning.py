"""Planning a week with what the store knows: what the command and the page both do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from crossfall.dispatch.orders import orders_reserved
from crossfall.model import District, Plan, PlanWish, Progress, quiet
from crossfall.network import build_graph
from crossfall.workflow import WeekPlan, plan_week
from crossfall_app.store import repository


@dataclass(frozen=True)
class Planned:
    """A week that was planned and not yet kept, with the district it was planned for."""

    district: District
    week: WeekPlan


def plan_from_store(
    *,
    first_day: date,
    n_days: int,
    seconds: float,
    seed: int,
    made_at: datetime,
    iterations: int | None = None,
    progress: Progress = quiet,
) -> Planned:
    """Load the district and plan; :func:`crossfall_app.store.repository.save_week` keeps it.

    Roads that crews have issued cards for in these days are left out, and so are the hours of
    those cards; the plan's note says so.

    Raises
    ------
    InputError
        If the district cannot be planned for; the message says what is missing.
    Cancelled
        If ``progress`` raises it.
    """
    last_day = first_day + timedelta(days=n_days - 1)
    ordered = repository.ordered_segments(first_day, last_day)
    district = replace(repository.load_district(), ordered_ids=frozenset(ordered))
    district = _with_orders(district, repository.ordered_stages(first_day, last_day))
    progress(0.0, "The district is loaded")
    week = plan_week(
        district,
        first_day=first_day,
        n_days=n_days,
        made_at=made_at,
        seconds=seconds,
        seed=seed,
        previous=_plan_in_force(),
        wishes=_wishes_ahead(first_day),
        iterations=iterations,
        progress=progress,
    )
    if ordered:
        note = " ".join(filter(None, (week.plan.note, _left_out(district, ordered))))
        week = replace(week, plan=replace(week.plan, note=note))
    return Planned(district, week)


def _with_orders(district: District, ordered: Mapping[Plan, frozenset[str]]) -> District:
    """The district whose machines and people are taken for the hours of issued cards."""
    if not ordered:
        return district
    graph = build_graph(district.network)
    held = tuple(
        each
        for plan, stage_ids in ordered.items()
        for each in orders_reserved(plan, stage_ids, district.network, graph, district.fleet)
    )
    calendar = district.calendar
    return replace(
        district, calendar=replace(calendar, reservations=(*calendar.reservations, *held))
    )


def _plan_in_force() -> Plan | None:
    """A plan that a crew has cards of; drafts bind nobody."""
    latest = repository.latest_week()
    if latest is None or not any(card.status in {"issued", "closed"} for card in latest.cards):
        return None
    return latest.plan


def _wishes_ahead(first_day: date) -> tuple[PlanWish, ...]:
    """What people asked of the last plan, but for days that are over."""
    latest = repository.latest_week()
    wishes = latest.plan.wishes if latest is not None else ()
    return tuple(each for each in wishes if each.day is None or each.day >= first_day)


def _left_out(district: District, ordered: Mapping[str, tuple[int, ...]]) -> str:
    """The sentence on roads that crews have orders for."""
    numbers = sorted(number for each in ordered.values() for number in each)
    known = district.network.segment_by_id
    roads = sorted({known[each].route for each in ordered if each in known})
    shown = ", ".join(map(str, numbers[:_MOST_NAMED])) + (", ..." if numbers[_MOST_NAMED:] else "")
    where = ", ".join(roads[:_MOST_NAMED]) + (", ..." if roads[_MOST_NAMED:] else "")
    cards, are = ("card", "is") if len(numbers) == 1 else ("cards", "are")
    return (
        f"Left out, for {cards} {shown} {are} issued there already: {where}. Withdraw a card to"
        " plan its road anew."
    )


_MOST_NAMED = 8
