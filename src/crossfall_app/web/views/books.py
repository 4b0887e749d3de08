"""The books behind the ledger: work and costs, what is open, the day's sheet, events, retention."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.contrib import messages
from django.db.models import Count, Min
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from crossfall.errors import InputError
from crossfall.model import Treatment
from crossfall.records.ledger import By, WorkLine, work_lines
from crossfall_app.store import books, models, repository
from crossfall_app.web import handouts
from crossfall_app.web.desk import Desk, agency_today, this_morning
from crossfall_app.web.pages import (
    a_day,
    csv_answer,
    empty_page,
    measures,
    page,
    safe_name,
    sentence,
)
from crossfall_app.web.present.books import (
    BY_LABEL,
    WORK_HEADS,
    all_of,
    day_sheet_rows,
    event_rows,
    open_register,
    retention_rows,
    stock_rows,
    total_rows,
    work_file,
    work_rows,
)
from crossfall_app.web.present.measures import day_name
from crossfall_app.web.roles import signing_name
from crossfall_app.workspace import current_workspace

_USUAL_DAYS = 365
_MOST_SHOWN = 100


@require_GET
def work(request: HttpRequest) -> HttpResponse:
    """Work that was done and what it cost, with sums by road, treatment, month or district."""
    desk, asked = this_morning(), request.GET
    if not desk.district.network.segments:
        return empty_page(request, "Work", "ledger")
    units = measures()
    by = asked.get("sum", "road")
    if by not in BY_LABEL:
        raise Http404
    try:
        first_day, last_day = _span(asked, desk.today)
        lines = _lines(desk, asked)
    except InputError as error:
        messages.warning(request, sentence(error))
        return redirect("books-work")
    return page(
        request,
        "books_work.html",
        "Work and costs",
        here="ledger",
        rows=work_rows(lines[:_MOST_SHOWN], desk.district, units),
        n=len(lines),
        n_shown=min(len(lines), _MOST_SHOWN),
        sums=total_rows(lines, _by(by), units),
        whole=all_of(lines, units),
        by=by,
        by_choices=list(BY_LABEL.items()),
        first_day=first_day.isoformat(),
        last_day=last_day.isoformat(),
        road=asked.get("road", ""),
        treatment=asked.get("treatment", ""),
        treatments=[(each.value, each.label) for each in Treatment if each.value != "none"],
        asked=urlencode({key: value for key, value in asked.items() if value}),
        events=books.list_events(),
    )


@require_GET
def work_csv(request: HttpRequest) -> HttpResponse:
    """The same work as a table to download."""
    desk = this_morning()
    try:
        lines = _lines(desk, request.GET)
    except InputError as error:
        raise Http404 from error
    return csv_answer("work.csv", WORK_HEADS, work_file(lines))


@require_GET
def open_ends(request: HttpRequest) -> HttpResponse:
    """Windrows, culverts and work left open, and gravel on hand."""
    desk, units = this_morning(), measures()
    rows = open_register(
        desk.sheet.open_ends, books.end_approvals(), desk.district, units, desk.today
    )
    return page(
        request,
        "books_open.html",
        "Left open",
        here="ledger",
        rows=rows,
        n_must=sum(row["must_close"] for row in rows),
        stocks=stock_rows(desk.district, units),
    )


@require_POST
def approve_end(request: HttpRequest, record_id: str, kind: str) -> HttpResponse:
    """Let something stay open until tomorrow, in the account's name."""
    given = request.POST
    try:
        books.approve_end(
            record_id,
            kind,
            approved_by=signing_name(request.user, given.get("approved_by", "")),
            today=agency_today(),
            is_delineated=given.get("is_delineated") == "1",
            is_height_limited=given.get("is_height_limited") == "1",
            note=given.get("note", "")[:400],
            by=request.user.get_username(),
        )
    except InputError as error:
        messages.warning(request, sentence(error))
    else:
        messages.success(request, "It may stay until tomorrow morning. Close it then.")
    return redirect("books-open")


@require_GET
def time_sheet(request: HttpRequest) -> HttpResponse:
    """One day person by person, to print and sign: what was reported is not typed again."""
    desk = this_morning()
    try:
        day = a_day(request.GET.get("day", ""), desk.today)
    except InputError as error:
        messages.warning(request, sentence(error))
        return redirect("books-day")
    lines = _work(desk, day, day)
    return page(
        request,
        "books_day.html",
        "Time sheet",
        here="ledger",
        day_iso=day.isoformat(),
        day_label=f"{day:%A} {day.day} {day:%B} {day.year}",
        before=(day - timedelta(days=1)).isoformat(),
        after=(day + timedelta(days=1)).isoformat(),
        people=day_sheet_rows(lines, measures()),
        whole=all_of(lines, measures()),
    )


@require_GET
def events(request: HttpRequest) -> HttpResponse:
    """Event codes, and what is gathered under them."""
    return page(
        request,
        "books_events.html",
        "Event codes",
        here="ledger",
        rows=event_rows(books.list_events()),
        today=agency_today().isoformat(),
    )


@require_POST
def open_event(request: HttpRequest) -> HttpResponse:
    """Begin an event code."""
    given, today = request.POST, agency_today()
    try:
        last = given.get("last_day", "")
        books.open_event(
            given.get("code", ""),
            given.get("name", ""),
            a_day(given.get("first_day", ""), today),
            last_day=a_day(last, today) if last else None,
            note=given.get("note", "")[:400],
            by=request.user.get_username(),
        )
    except InputError as error:
        messages.warning(request, sentence(error))
    return redirect("books-events")


@require_POST
def gather(request: HttpRequest) -> HttpResponse:
    """Put ticked work under an event code, or take it out."""
    given = request.POST
    code = given.get("code", "")
    try:
        n = books.put_under(
            code,
            given.get("kind", "record"),
            given.getlist("key"),
            by=request.user.get_username(),
            is_in=given.get("act") != "out",
        )
    except InputError as error:
        messages.warning(request, sentence(error))
    else:
        plural = "line" if n == 1 else "lines"
        messages.success(request, f"{n} {plural} changed under {code}.")
    return redirect("books-work")


@require_GET
def event_zip(request: HttpRequest, code: str) -> HttpResponse:
    """Everything under an event code: labour, equipment, materials, photos before and after."""
    desk = this_morning()
    try:
        event = books.load_event(code)
    except InputError as error:
        raise Http404 from error
    lines = _work(desk, None, None)
    content = handouts.event_bundle(
        event, lines, desk.district, current_workspace().photos, timezone.localtime()
    )
    return _zip(content, f"event-{code}.zip")


@require_GET
def retention(request: HttpRequest) -> HttpResponse:
    """How long what is kept, and a bundle about one road for whoever asks for records."""
    desk = this_morning()
    routes = sorted({segment.route for segment in desk.district.network.maintained})
    return page(
        request,
        "books_keep.html",
        "Records kept",
        here="ledger",
        rows=retention_rows(_oldest(), desk.district.policy.retention, desk.today),
        routes=routes,
        first_day=desk.today.replace(month=1, day=1).isoformat(),
        today=desk.today.isoformat(),
    )


@require_GET
def road_zip(request: HttpRequest) -> HttpResponse:
    """All records of one road in a span of days."""
    desk, asked = this_morning(), request.GET
    route = asked.get("road", "")
    segments = frozenset(
        segment.id for segment in desk.district.network.segments if segment.route == route
    )
    try:
        first_day, last_day = _span(asked, desk.today)
        if not segments:
            raise InputError(f"road is {route!r}; choose one of the list")  # noqa: TRY301
    except InputError as error:
        messages.warning(request, sentence(error))
        return redirect("books-keep")
    content = handouts.road_bundle(
        route,
        segments,
        _work(desk, first_day, last_day),
        repository.list_cards(),
        desk.district,
        first_day,
        last_day,
        current_workspace().photos,
        timezone.localtime(),
        paper="letter" if settings.CROSSFALL_UNITS == "us" else "a4",
        units=settings.CROSSFALL_UNITS,
    )
    name = "-".join(route.lower().split())
    return _zip(content, f"records-{name}-{first_day}-{last_day}.zip")


def _lines(desk: Desk, asked: Any) -> tuple[WorkLine, ...]:
    first_day, last_day = _span(asked, desk.today)
    road, treatment = asked.get("road", "").strip().lower(), asked.get("treatment", "")
    event = books.load_event(asked["event"]) if asked.get("event") else None
    return tuple(
        line
        for line in _work(desk, first_day, last_day)
        if road in line.route.lower()
        and treatment in {"", line.record.treatment.value}
        and (event is None or line.record.id in event.records)
    )


def _work(desk: Desk, first_day: date | None, last_day: date | None) -> tuple[WorkLine, ...]:
    return work_lines(
        desk.district.records,
        desk.district.network,
        desk.district.policy.costs,
        machine_of=repository.machine_of_cards(),
        first_day=first_day,
        last_day=last_day,
    )


def _span(asked: Any, today: date) -> tuple[date, date]:
    last_day = a_day(asked.get("to", ""), today)
    usual = last_day - timedelta(days=_USUAL_DAYS)
    first_day = a_day(asked.get("from", ""), usual)
    if last_day < first_day:
        raise InputError(f"to {day_name(last_day)} is before from {day_name(first_day)}")
    return first_day, last_day


def _by(word: str) -> By:
    return next(each for each in BY_LABEL if each == word)


def _oldest() -> dict[str, tuple[int, date | None]]:
    """How many of each kind there are, and the oldest day."""
    tables: dict[str, tuple[Any, str]] = {
        "work": (models.WorkRecord, "done_on"),
        "inspection": (models.Condition, "observed_on"),
        "hazard": (models.Hazard, "noticed_at"),
        "request": (models.Request, "received_on"),
        "card": (models.JobCard, "day"),
        "plan": (models.Plan, "made_at"),
        "limit": (models.LoadPosting, "up_at"),
        "event": (models.Event, "first_day"),
    }
    found: dict[str, tuple[int, date | None]] = {}
    for key, (table, column) in tables.items():
        told = table.objects.aggregate(n=Count("pk"), first=Min(column))
        first = told["first"]
        found[key] = (told["n"], first.date() if hasattr(first, "date") else first)
    return found


def _zip(content: bytes, name: str) -> HttpResponse:
    return HttpResponse(
        content,
        content_type="application/zip",
        headers={"Content-Disposition": f'attachment; filename="{safe_name(name)}"'},
    )
