"""Load limits: put up by a named person of the posting authority, and taken down again."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from datetime import date, datetime, time
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from crossfall.errors import InputError
from crossfall.judgement import LoadAdvisory, sign_posting
from crossfall_app.store import repository
from crossfall_app.web.desk import Desk, agency_today, this_morning
from crossfall_app.web.pages import a_day, measures, sentence


@require_POST
def put_up(request: HttpRequest) -> HttpResponse:
    """Put up a load limit around one station, from the start of a day."""
    desk, given = this_morning(), request.POST
    try:
        posting = sign_posting(
            _advisory(desk, given.get("station", "")),
            posting_id=f"limit-{uuid4().hex[:12]}",
            axle_t=measures().read(given.get("axle", ""), "t", "axle") or 0.0,
            authority=given.get("authority", ""),
            signed_by=given.get("signed_by", ""),
            up_at=_moment(a_day(given.get("day", ""), desk.today), time()),
            policy=desk.district.policy.gate,
        )
        repository.add_postings([posting], by=request.user.get_username())
    except InputError as error:
        messages.warning(request, sentence(error))
    return redirect(f"{reverse('moisture')}#limits")


@require_POST
def take_down(request: HttpRequest, posting_id: str) -> HttpResponse:
    """Take a posted load limit down, from this moment on."""
    now = _moment(agency_today(), timezone.localtime().time())
    try:
        repository.take_down_posting(posting_id, now, by=request.user.get_username())
    except InputError as error:
        messages.warning(request, sentence(error))
    return redirect(f"{reverse('moisture')}#limits")


def _advisory(desk: Desk, station: str) -> LoadAdvisory:
    for each in desk.sheet.limits:
        if each.station == station:
            return each
    raise InputError(f"station {station!r} is unknown; choose one of the list")


def _moment(day: date, clock: time) -> datetime:
    return datetime.combine(day, clock, timezone.get_current_timezone())
