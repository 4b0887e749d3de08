"""Hauls by agreement: agreed, ended, given leave, and charged with the work they bring."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_GET, require_POST

from crossfall.errors import InputError
from crossfall.judgement.haul import trucks_a_day
from crossfall_app.store import repository
from crossfall_app.store.hauls import agree_haul, give_leave
from crossfall_app.store.moves import book_record, end_agreement
from crossfall_app.web.desk import agency_today, this_morning
from crossfall_app.web.pages import a_day, empty_page, measures, page, sentence
from crossfall_app.web.present.hauls import hauls as haul_rows
from crossfall_app.web.present.hauls import other_leave
from crossfall_app.web.roles import signing_name
from crossfall_app.workspace import current_workspace


@require_GET
def hauls(request: HttpRequest) -> HttpResponse:
    """Every agreement, and the forms to agree another and to give leave."""
    desk, units = this_morning(), measures()
    if not desk.district.network.segments:
        return empty_page(request, "Hauls", "ledger")
    return page(
        request,
        "hauls.html",
        "Hauls",
        here="ledger",
        hauls=haul_rows(desk.district, desk.today, units),
        leave=other_leave(desk.district.load_exemptions, units),
        today=desk.today.isoformat(),
        mass_sign=units.sign("t"),
        currency=current_workspace().config.currency,
        routes=sorted({each.route for each in desk.district.network.maintained}),
        survey_days=desk.district.policy.haul.survey_days,
    )


@require_POST
def agree(request: HttpRequest) -> HttpResponse:
    """Agree a haul; its trucks age the roads of its route from then on."""
    given, units = request.POST, measures()

    def keep(by: str) -> str:
        agreement = agree_haul(
            given.get("company", ""),
            _lines(given.get("roads", "")),
            first_day=a_day(given.get("first", ""), agency_today()),
            last_day=a_day(given.get("last", ""), agency_today()),
            tonnes=units.read(given.get("tonnes", ""), "t", "what is hauled") or 0.0,
            bond=_money(given.get("bond", "")),
            currency=current_workspace().config.currency,
            payload_t=units.read(given.get("payload", ""), "t", "load of a truck"),
            signed_by=signing_name(request.user, given.get("signed_by", "")),
            note=given.get("note", "")[:400],
            by=by,
        )
        trucks = trucks_a_day(agreement, repository.load_policy().haul)
        return (
            f"{agreement.id} is agreed: about {trucks:.0f} trucks a day. Survey the route before"
            f" {agreement.first_day}."
        )

    return _change(request, keep)


@require_POST
def end(request: HttpRequest, agreement_id: str) -> HttpResponse:
    """End a haul before its time."""
    given, units = request.POST, measures()

    def keep(by: str) -> str:
        ended = end_agreement(
            agreement_id,
            a_day(given.get("last", ""), agency_today()),
            because=given.get("because", ""),
            tonnes=units.read(given.get("tonnes", ""), "t", "what was hauled"),
            by=by,
        )
        return f"{ended.id} ends on {ended.last_day}. Survey its route now."

    return _change(request, keep)


@require_POST
def leave(request: HttpRequest) -> HttpResponse:
    """Log leave to pass a posted load limit."""
    given, units = request.POST, measures()

    def keep(by: str) -> str:
        made = give_leave(
            given.get("holder", ""),
            _lines(given.get("roads", "")),
            first_day=a_day(given.get("first", ""), agency_today()),
            last_day=a_day(given.get("last", ""), agency_today()),
            granted_by=signing_name(request.user, given.get("granted_by", "")),
            granted_at=_now(),
            axle_t=units.read(given.get("axle", ""), "t", "axle"),
            agreement_id=given.get("agreement", "").strip() or None,
            reason=given.get("reason", "")[:400],
            by=by,
        )
        return f"{made.id} is logged: {made.holder} may pass, granted by {made.granted_by}."

    return _change(request, keep)


@require_POST
def book(request: HttpRequest, agreement_id: str) -> HttpResponse:
    """Book work on the route to its company."""

    def keep(by: str) -> str:
        booked = book_record(request.POST.get("record", ""), agreement_id, by=by)
        return f"{booked.treatment.label} of {booked.done_on} is booked to {agreement_id}."

    return _change(request, keep)


def _change(request: HttpRequest, keep: Callable[[str], str]) -> HttpResponse:
    try:
        told = keep(request.user.get_username())
    except InputError as error:
        messages.warning(request, sentence(error))
    else:
        messages.success(request, told)
    return redirect("hauls")


def _lines(text: str) -> list[str]:
    """Roads one on each line, or parted by commas."""
    return [part.strip() for line in text.splitlines() for part in line.split(",") if part.strip()]


def _money(text: str) -> float | None:
    if not text.strip():
        return None
    try:
        return float(text.replace(",", ""))
    except ValueError:
        raise InputError(f"bond is {text!r}; expected an amount of money") from None


def _now() -> datetime:
    now = current_workspace().now()
    return datetime.combine(agency_today(), now.time(), now.tzinfo)
