"""The morning sheet, and the one button that plans."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBadRequest, JsonResponse
from django.shortcuts import redirect
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
from crossfall_app.web.present.measures import day_name
from crossfall_app.web.present.morning import (
    Outlook,
    assumed_rows,
    due_rows,
    hazard_rows,
    open_rows,
    outlook_of,
    pressing_rows,
    request_rows,
)
from crossfall_app.web.present.plan import Board, week_board
from crossfall_app.web.present.runs import run_row

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
    board = _board(desk)
    shown_day, crew = _crew(board, today)
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
        crew=crew,
        due=due_rows(desk.sheet.needs, district, units),
        pressing=pressing_rows(desk.sheet.needs, district, units),
        assumed=assumed_rows(desk.sheet.needs, units),
        open_ends=open_rows(desk.sheet.open_ends, district, units, today),
        requests=request_rows(district.requests, district, today),
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


@require_GET
def run(request: HttpRequest, run_id: UUID) -> JsonResponse:
    """How far a run is."""
    return JsonResponse(run_row(_run(run_id)))


@require_POST
def cancel_run(request: HttpRequest, run_id: UUID) -> HttpResponse:
    """Ask a run to stop."""
    runs.cancel(_run(run_id).pk, by=request.user.get_username())
    return redirect(f"/?run={run_id}")


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
    (whole,) = zones(sheet.state, sheet.gates, desk.district.network.maintained)
    return outlook_of(whole, desk.district, measures())


def _board(desk: Desk) -> Board | None:
    week = desk.week
    if week is None:
        return None
    return week_board(week.plan, week.jobs, week.cards, desk.district, measures(), desk.today)


def _crew(board: Board | None, today: date) -> tuple[str, list[dict[str, Any]]]:
    """Everybody's jobs on today, or on the plan's first day when today is not in it."""
    if board is None:
        return "", []
    days = [day for day, _ in board.days]
    at = days.index(today) if today in days else 0
    rows = [
        {"machine": row.name, "machine_id": row.machine_id, "cell": row.cells[at]}
        for row in board.rows
    ]
    return ("today" if days[at] == today else f"on {day_name(days[at])}"), rows


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
