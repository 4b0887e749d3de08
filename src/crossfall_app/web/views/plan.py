"""The week as a board, and one machine's day."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from datetime import date, timedelta

from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_GET

from crossfall_app.runs.board import Trial, issued_stages
from crossfall_app.store import repository
from crossfall_app.store.repository import StoredWeek
from crossfall_app.web.desk import Desk, this_morning
from crossfall_app.web.pages import empty_page, measures, page
from crossfall_app.web.present.measures import clock, day_name, hours, moment
from crossfall_app.web.present.plan import Board, machine_day, week_board
from crossfall_app.web.present.trial import trial_sheet, wish_words
from crossfall_app.web.present.words import FAMILY_LABEL
from crossfall_app.web.views.board import draft_of, trial_of


@require_GET
def board(request: HttpRequest) -> HttpResponse:
    """Machines by days, what it costs, what is left out and why."""
    desk = this_morning()
    if not desk.district.network.segments:
        return empty_page(request, "Plan", "plan")
    week = desk.week
    if week is None:
        return page(request, "plan.html", "Plan", here="plan")
    draft = draft_of(request)
    trial = trial_of(draft, desk) if draft is not None else None
    plan, units = trial.week.plan if trial is not None else week.plan, measures()
    shown = _trial_board(desk, week, trial) if trial is not None else plan_board(desk, week)
    return page(
        request,
        "plan.html",
        "Plan",
        here="plan",
        board=shown,
        base=week.plan.id,
        left_out_s=_LEFT_OUT_S,
        trial_key=hash((draft.now, draft.wishes)) if trial is not None and draft else "",
        made=moment(week.plan.made_at, desk.today),
        trial=trial_sheet(trial, desk.district, units, desk.today) if trial else None,
        n_steps=len(draft.steps) if draft is not None else 0,
        is_stale=draft is not None and draft.base != week.plan.id,
        wishes=wish_words(plan.wishes, week.jobs, desk.district),
        has_before=repository.week_before(week.plan.id) is not None,
        span=_span(plan.first_day, plan.n_days),
        n_cards=len(week.cards),
        n_columns=len(shown.days) + 1,
        families=[item for item in FAMILY_LABEL.items() if item[0] != "none"],
    )


def plan_board(desk: Desk, week: StoredWeek) -> Board:
    """The plan in force as a board; made once for each plan, its cards and the crew's words."""
    return desk.once(
        "board",
        lambda: week_board(
            week.plan,
            week.jobs,
            week.cards,
            desk.district,
            measures(),
            desk.today,
            issued=issued_stages(week.plan),
        ),
        of=("week", "calls"),
    )


def _trial_board(desk: Desk, week: StoredWeek, trial: Trial) -> Board:
    moved = frozenset(move.stage_id for move in trial.replan.moves)
    return week_board(
        trial.week.plan,
        week.jobs,
        (),
        desk.district,
        measures(),
        desk.today,
        issued=issued_stages(week.plan),
        moved=moved,
    )


@require_GET
def machine_on_day(request: HttpRequest, machine_id: str, day: date) -> HttpResponse:
    """One machine's day in the order it is driven."""
    desk = this_morning()
    week = desk.week
    found = [
        each
        for each in (week.plan.itineraries if week else ())
        if (each.machine_id, each.day) == (machine_id, day)
    ]
    if week is None or not found:
        raise Http404
    itinerary = found[0]
    fleet = desk.district.fleet
    machines = {each.id: each.name for each in fleet.machines}
    operators = {each.id: each.name for each in fleet.operators}
    return page(
        request,
        "machine_day.html",
        "A machine's day",
        here="plan",
        machine=machines.get(machine_id, machine_id),
        operator=operators.get(itinerary.operator_id, itinerary.operator_id),
        day_label=day_name(day),
        out=f"{clock(itinerary.legs[0].start_min)} to {clock(itinerary.legs[-1].end_min)}",
        work=hours(itinerary.minutes("work") / 60),
        travel=hours(itinerary.minutes("travel") / 60),
        lines=machine_day(itinerary, week.jobs, desk.district, measures()),
    )


_LEFT_OUT_S = 600
"""The reasons of a stored plan never change; their long table is kept as text for so long [s]."""


def _span(first_day: date, n_days: int) -> str:
    last_day = first_day + timedelta(days=n_days - 1)
    return day_name(first_day) if n_days == 1 else f"{day_name(first_day)} to {day_name(last_day)}"
