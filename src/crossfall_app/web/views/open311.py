"""Open311 GeoReport v2: services and requests to read, and requests that wait to be looked at.

Off until the agency turns it on in its policy. Nothing here says who asked, for that is not kept.
What is sent is staged: a person in the office takes it in or refuses it.
"""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from datetime import date, datetime
from functools import wraps
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_safe

from crossfall.errors import InputError
from crossfall.io.exports.open311 import as_xml, open311_services
from crossfall_app.store import open311, repository
from crossfall_app.store.hand_out import requests as requests_out
from crossfall_app.workspace import current_workspace

_MOST_BYTES = 50_000
_MOST_ANSWERED = 1000
"""Requests in one answer, the newest first; GeoReport v2 names this many where nothing is asked."""


def _only_when_on(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Answers as if it were not there while the agency has it off."""

    @wraps(view)
    def answer(request: HttpRequest, **parts: Any) -> HttpResponse:
        kind = parts["kind"]
        if not open311.is_on():
            return _trouble(404, "there is no Open311 here", kind)
        try:
            return view(request, **parts)
        except open311.Full as error:
            return _trouble(503, str(error), kind)
        except InputError as error:
            return _trouble(400, str(error), kind)

    return answer


@login_not_required
@require_safe
@_only_when_on
def services(request: HttpRequest, kind: str) -> HttpResponse:
    """What can be asked for."""
    rows = open311_services(agency=repository.agency().name)
    return _answer(rows, "services", "service", kind)


@csrf_exempt
@login_not_required
@require_http_methods(["GET", "HEAD", "POST"])
@_only_when_on
def requests(request: HttpRequest, kind: str) -> HttpResponse:
    """Requests by day and status; or one that is sent."""
    if request.method == "POST":
        return _sent(request, kind)
    asked = request.GET
    ids = [each for each in asked.get("service_request_id", "").split(",") if each]
    rows = requests_out(
        current_workspace(),
        first_day=_day(asked.get("start_date")),
        last_day=_day(asked.get("end_date")),
        status=asked.get("status") or None,
        ids=ids or None,
    )
    code = asked.get("service_code")
    if code:
        wanted = set(code.split(","))
        rows = [row for row in rows if row["service_code"] in wanted]
    return _answer(rows[:_MOST_ANSWERED], "service_requests", "request", kind)


@login_not_required
@require_safe
@_only_when_on
def one_request(request: HttpRequest, request_id: str, kind: str) -> HttpResponse:
    """One request by its key."""
    rows = requests_out(current_workspace(), ids=[request_id])
    if not rows:
        return _trouble(404, f"request {request_id!r} is unknown", kind)
    return _answer(rows, "service_requests", "request", kind)


def _sent(request: HttpRequest, kind: str) -> HttpResponse:
    if int(request.headers.get("Content-Length") or 0) > _MOST_BYTES:
        return _trouble(413, "the request is too long", kind)
    given: Mapping[str, Any] = request.POST.dict()
    if request.content_type == "application/json":
        try:
            given = json.loads(request.body)
        except (ValueError, RecursionError):
            raise InputError("the body is not JSON") from None
        if not isinstance(given, dict):
            raise InputError("the body is not an object with the fields of a request")
    key = open311.receive(given)
    told = {
        "service_request_id": key,
        "service_notice": "a person looks at every request before it is in the books",
        "account_id": None,
    }
    return _answer([told], "service_requests", "request", kind, status=201)


def _day(text: str | None) -> date | None:
    """The agency's day of a date and time that Open311 writes, which is UTC more often than not."""
    if not text:
        return None
    try:
        # A + that a sender did not escape comes as a blank
        when = datetime.fromisoformat(text.replace(" ", "+") if "T" in text else text)
        if when.tzinfo is not None:
            when = when.astimezone(ZoneInfo(current_workspace().config.time_zone))
        return when.date()
    except (ValueError, OverflowError):
        raise InputError(f"{text!r} is no date; expected such as 2026-05-12T00:00:00Z") from None


def _answer(
    rows: list[dict[str, Any]], root: str, each: str, kind: str, *, status: int = 200
) -> HttpResponse:
    if kind == "xml":
        text, content_type = as_xml(rows, root=root, each=each), "text/xml; charset=utf-8"
    else:
        text = json.dumps(rows, ensure_ascii=False)
        content_type = "application/json; charset=utf-8"
    return HttpResponse(text, status=status, content_type=content_type)


def _trouble(status: int, told: str, kind: str) -> HttpResponse:
    return _answer([{"code": status, "description": told}], "errors", "error", kind, status=status)
