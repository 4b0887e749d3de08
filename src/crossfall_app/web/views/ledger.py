"""The ledger page, and the forms on it: dangers, residents' requests."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from datetime import datetime
from typing import Literal

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from crossfall.errors import InputError
from crossfall.judgement.hazards import report_hazard, stops_work
from crossfall.judgement.requests import matters
from crossfall.model import District
from crossfall.records.replies import draft_replies
from crossfall.units import convert
from crossfall_app.store import repository
from crossfall_app.web.desk import agency_today, this_morning
from crossfall_app.web.pages import empty_page, measures, page, sentence
from crossfall_app.web.present.hauls import hauls
from crossfall_app.web.present.inspect import typed_unit
from crossfall_app.web.present.ledger import hazard_choices, register, residents
from crossfall_app.workspace import current_workspace

_STEPS: dict[str, Literal["barricaded_at", "repaired_at"]] = {
    "barricade": "barricaded_at",
    "repair": "repaired_at",
}


@require_GET
def ledger(request: HttpRequest) -> HttpResponse:
    """Dangers first, then what residents asked, then hauls."""
    desk = this_morning()
    district = desk.district
    if not district.network.segments:
        return empty_page(request, "Ledger", "ledger")
    return page(
        request,
        "ledger.html",
        "Ledger",
        here="ledger",
        dangers=register(district, _now(), measures()),
        kinds=hazard_choices(),
        road=request.GET.get("road", ""),
        length_unit=typed_unit("m", measures()),
        now=f"{_now():%Y-%m-%dT%H:%M}",
        residents=residents(district, desk.today, measures()),
        hauls=hauls(district, desk.today, measures()),
    )


@require_POST
def report(request: HttpRequest) -> HttpResponse:
    """Put a danger into the register."""
    district = this_morning().district
    who = request.user.get_username()
    try:
        hazard = report_hazard(
            district.network,
            kind=request.POST.get("kind", ""),
            road=request.POST.get("road", ""),
            at_m=_metres(request.POST.get("at", "")),
            noticed_at=_moment(request.POST.get("noticed", "")),
            by=request.POST.get("by", "").strip() or who,
            note=request.POST.get("note", "")[:400],
            now=_now(),
            taken=(each.id for each in district.hazards),
        )
        repository.add_hazards([hazard], by=who)
    except InputError as error:
        messages.warning(request, sentence(error))
    else:
        messages.success(request, f"{hazard.id} is in the register. Secure or close it now.")
        stopped = stops_work(hazard, agency_today())
        for card in repository.live_cards([hazard.segment_id]) if stopped else ():
            messages.warning(
                request,
                f"Card {card.number} is issued there, for {card.machine} on {card.day}:"
                " call the crew back and withdraw it.",
            )
    return redirect("ledger")


@require_POST
def move(request: HttpRequest, hazard_id: str, step: str) -> HttpResponse:
    """Say when a danger was barricaded or repaired."""
    if step not in _STEPS:
        raise Http404
    who = request.POST.get("by", "").strip() or request.user.get_username()
    try:
        when = _past(request.POST.get("at", ""), _latest_notice(hazard_id))
        repository.move_hazard(hazard_id, _STEPS[step], when, by=who)
    except InputError as error:
        messages.warning(request, sentence(error))
    return redirect("ledger")


@require_POST
def place(request: HttpRequest, request_id: str) -> HttpResponse:
    """Say which segment a request is about."""
    segment_id = request.POST.get("segment", "").strip()
    try:
        repository.place_request(request_id, segment_id, by=request.user.get_username())
    except InputError as error:
        messages.warning(request, sentence(error))
    return redirect(f"{reverse('ledger')}#requests")


@require_POST
def answer(request: HttpRequest, request_id: str) -> HttpResponse:
    """Close a matter with the words a named person approves; nothing is sent."""
    desk = this_morning()
    district = desk.district
    drafts = draft_replies(district.requests, district.records, district.network, today=desk.today)
    draft = next((each for each in drafts if each.matter.head.id == request_id), None)
    try:
        repository.answer_requests(
            _asked_together(district, request_id),
            request.POST.get("reply", ""),
            approved_by=request.POST.get("approved_by", ""),
            approved_at=_now(),
            closed_on=desk.today,
            record_id=draft.record.id if draft else None,
            by=request.user.get_username(),
        )
    except InputError as error:
        messages.warning(request, sentence(error))
    else:
        messages.success(request, "Closed. Nothing was sent: tell the residents yourself.")
    return redirect(f"{reverse('ledger')}#requests")


def _asked_together(district: District, request_id: str) -> list[str]:
    for matter in matters(district.requests):
        if matter.head.id == request_id:
            return [each.id for each in matter.requests]
    raise InputError(f"request {request_id} is not open any more")


def _now() -> datetime:
    """This moment where the roads are, on the morning an invented district was made for."""
    now = current_workspace().now()
    return datetime.combine(agency_today(), now.time(), now.tzinfo)


def _moment(text: str) -> datetime:
    if not text:
        return _now()
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(f"the time is {text!r}; expected one such as 2026-05-12T07:30") from None
    return when if when.tzinfo is not None else when.replace(tzinfo=_now().tzinfo)


def _past(text: str, noticed_at: datetime | None) -> datetime:
    """A time that is not after now; an invented danger may be noticed later than our clock says."""
    now = _now()
    latest = now if noticed_at is None else max(now, noticed_at)
    when = _moment(text) if text else latest
    if when > latest:
        raise InputError(f"the time is {when:%Y-%m-%d %H:%M}, after now")
    return when


def _latest_notice(hazard_id: str) -> datetime | None:
    hazards = this_morning().district.hazards
    return next((each.noticed_at for each in hazards if each.id == hazard_id), None)


def _metres(text: str) -> float | None:
    if not text.strip():
        return None
    try:
        value = float(text)
    except ValueError:
        raise InputError(f"how far along is {text!r}; expected a figure") from None
    return convert(value, typed_unit("m", measures()), "m")
