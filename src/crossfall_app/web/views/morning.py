"""The morning sheet, and the one button that plans."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBadRequest, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from crossfall.errors import InputError
from crossfall.judgement import zones
from crossfall_app import runs
from crossfall_app.field.approve import overdue_workers
from crossfall_app.field.present import overdue_rows
from crossfall_app.store import repository
from crossfall_app.web.desk import Desk, agency_today, this_morning
from crossfall_app.web.pages import empty_page, measures, page, sentence
from crossfall_app.web.present.crew import CALL_LABEL, crew_lines, wet_day_work
from crossfall_app.web.present.due import due_lines, turned_rows
from crossfall_app.web.present.measures import day_name
from crossfall_app.web.present.morning import (
    Outlook,
    assumed_rows,
    due_rows,
    hazard_rows,
    outlook_of,
    pressing_rows,
)
from crossfall_app.web.present.plan import Board, DayCell
from crossfall_app.web.present.runs import run_row
from crossfall_app.web.views.plan import plan_board

DAY_CHOICES = (1, 2, 3, 4, 5, 7, 10, 14)
USUAL_DAYS = 5
USUAL_SECONDS = 20


@require_GET
def sheet(request: HttpRequest) -> HttpResponse:
    """Dangers, sky and surface, who goes where, what is due, what was left open."""
    desk = this_morning()
    district, today, units = desk.district, desk.today, measures()
    if not district.network.segments:
        return empty_page(request, "Morning", "morning")
    now = timezone.now()
    board = plan_board(desk, desk.week) if desk.week is not None else None
    shown_day, cells = _cells(board, today)
    calls = repository.crew_calls(today)
    wet_work = wet_day_work(
        desk.week.jobs if desk.week is not None else (),
        desk.sheet.conditions,
        desk.sheet.gates,
        district,
        units,
        today,
    )
    crew = crew_lines(district, calls, wet_work, today)
    return page(
        request,
        "morning.html",
        "Morning",
        here="morning",
        today_long=f"{today:%A} {today.day} {today:%B} {today.year}",
        overdue=overdue_rows(overdue_workers(now=now), now=now),
        hazards=hazard_rows(
            desk.sheet.hazards,
            district,
            units,
            repository.live_cards(each.hazard.segment_id for each in desk.sheet.hazards),
        ),
        outlook=_outlook(desk),
        board=board,
        shown_day=shown_day,
        crew=[(line, cells.get(line.machine_id)) for line in crew],
        n_in=sum(line.call != "off" for line in crew),
        n_ready=sum(machine.is_available for machine in district.fleet.machines),
        n_machines=len(district.fleet.machines),
        changed_calls=bool(calls),
        turned=turned_rows(desk.turned, district),
        to_see_to=due_lines(
            district,
            desk.sheet.open_ends,
            desk.sheet.limits,
            desk.week.cards if desk.week is not None else (),
            repository.machine_of_cards(),
            units,
            today,
        ),
        due=due_rows(desk.sheet.needs, district, units),
        pressing=pressing_rows(desk.sheet.needs, district, units),
        assumed=assumed_rows(desk.sheet.needs, units),
        run=_shown_run(request),
        done_url="/",
        day_choices=DAY_CHOICES,
        usual_days=USUAL_DAYS,
        usual_seconds=USUAL_SECONDS,
    )


@require_POST
def start_plan(request: HttpRequest) -> HttpResponse:
    """Start planning in the background and go back to the sheet, which follows it."""
    wanted = request.POST.get("days", str(USUAL_DAYS))
    if wanted not in map(str, DAY_CHOICES):
        return HttpResponseBadRequest(f"days is {wanted!r}; expected one of {DAY_CHOICES}")
    try:
        started = runs.start_plan(
            first_day=agency_today(),
            n_days=int(wanted),
            seconds=USUAL_SECONDS,
            by=request.user.get_username(),
        )
    except InputError as error:
        messages.warning(request, sentence(error))
        return redirect("morning")
    return redirect(f"/?run={started.pk}")


@require_POST
def call(request: HttpRequest, operator_id: str) -> HttpResponse:
    """Give one person the word for today: go, hold, wet-day work, or not in."""
    given = request.POST.get("call", "")
    try:
        repository.call_crew(operator_id, agency_today(), given, by=request.user.get_username())
    except InputError as error:
        messages.warning(request, sentence(error))
        return redirect(_crew_url())
    name = next(each.name for each in repository.load_fleet().operators if each.id == operator_id)
    told = f"{name}: {CALL_LABEL[given]}."
    if given in {"off", "hold", "wet"}:
        told += " Plan the week again to give the work to others."
    messages.success(request, told)
    return redirect(_crew_url())


@require_GET
def run(request: HttpRequest, run_id: UUID) -> JsonResponse:
    """How far a run is."""
    return JsonResponse(run_row(_run(run_id)))


@require_POST
def cancel_run(request: HttpRequest, run_id: UUID) -> HttpResponse:
    """Ask a run to stop."""
    asked = _run(run_id)
    runs.cancel(asked.pk, by=request.user.get_username())
    back = "years" if asked.kind == "years" else "morning"
    return redirect(f"{reverse(back)}?run={run_id}")


def _crew_url() -> str:
    return f"{reverse('morning')}#crew"


def _outlook(desk: Desk) -> Outlook:
    sheet = desk.sheet
    if sheet.state is None or sheet.gates is None:
        has_weather = bool(desk.district.weather)
        upto = "weather up to today" if has_weather else "weather"
        return Outlook(
            sentence=f"What the surface allows is not known without {upto}.",
            trouble=sentence(InputError(sheet.trouble.rstrip("."))),
            trouble_title="The weather does not reach today" if has_weather else "No weather yet",
        )
    state, gates, roads = sheet.state, sheet.gates, desk.district.network.maintained
    (whole,) = desk.once("whole", lambda: zones(state, gates, roads))
    return outlook_of(whole, desk.district, measures())


def _cells(board: Board | None, today: date) -> tuple[str, dict[str, DayCell]]:
    """Each machine's jobs today, or on the plan's first day when today is not in it."""
    if board is None:
        return "", {}
    days = [day for day, _ in board.days]
    at = days.index(today) if today in days else 0
    cells = {row.machine_id: row.cells[at] for row in board.rows}
    return ("today" if days[at] == today else f"on {day_name(days[at])}"), cells


def _shown_run(request: HttpRequest) -> dict[str, Any] | None:
    """The run that was asked for, or one that is at work now."""
    wanted = request.GET.get("run", "")
    try:
        found = runs.load(UUID(wanted)) if wanted else runs.at_work()
    except ValueError:
        return None
    return run_row(found) if found is not None else None


def _run(run_id: UUID) -> runs.Run:
    found = runs.load(run_id)
    if found is None:
        raise Http404
    return found
