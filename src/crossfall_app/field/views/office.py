"""The office's side of the cab: who is out, what came in, phones, replay, rates."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from crossfall.errors import InputError
from crossfall.learning import propose_rates
from crossfall.model import JobCard, Stage
from crossfall.records.field_facts import REASONS
from crossfall.report.qr import qr_svg
from crossfall_app.field import approve
from crossfall_app.field.pairing import make_code, revoke
from crossfall_app.field.present import (
    change_rows,
    clash_rows,
    people_rows,
    phone_rows,
    shift_links,
    waiting_rows,
)
from crossfall_app.field.shift_replay import HIGH, LABEL, WIDE, replay_of
from crossfall_app.store import models as store
from crossfall_app.store import repository
from crossfall_app.store.card_life import stage_of_card
from crossfall_app.web.desk import agency_today
from crossfall_app.web.pages import measures, page, sentence
from crossfall_app.web.present.measures import day_name
from crossfall_app.workspace import current_workspace

_SIDES = ("left", "right", "both")
_NEARLY_ALWAYS = timedelta(hours=18)


@require_GET
def field(request: HttpRequest) -> HttpResponse:
    """Who is out, what waits for approval, which edits clash."""
    today, now = agency_today(), timezone.now()
    return page(
        request,
        "field.html",
        "Field",
        here="field",
        people=people_rows(approve.people_out(now=now), now=now, today=today),
        waiting=waiting_rows(approve.waiting_cards(), measures(), today),
        others=[
            {"what": LABEL[each.kind], "note": each.payload.get("note", ""), "by": each.by}
            for each in approve.other_facts()
        ]
        + [
            {
                "what": f"undid “{LABEL[fact.kind]}” after it was taken over or entered",
                "note": "put the record or the ledger right by hand",
                "by": undo.by,
            }
            for fact, undo in approve.late_undos()
        ],
        clashes=clash_rows(approve.clashes()),
        machines=store.Machine.objects.filter(is_current=True).order_by("position"),
        shifts=shift_links(today),
        now_clock=f"{timezone.localtime(now):%H:%M}",
    )


@require_POST
def radio(request: HttpRequest) -> HttpResponse:
    """Type in what was said over the radio."""
    given = request.POST

    def keep(by: str) -> str:
        now = timezone.now()
        approve.radio_report(
            given.get("machine", ""),
            given.get("kind", ""),
            by=by,
            now=now,
            today=agency_today(),
            who=given.get("who", ""),
            note=given.get("note", "")[:300],
            expected_back=_clock_ahead(given.get("back", ""), now),
        )
        return "The radio report is kept."

    return _change(request, keep)


@require_POST
def settle(request: HttpRequest, first: UUID, second: UUID) -> HttpResponse:
    """Say that the first of two edits holds."""

    def keep(by: str) -> str:
        approve.settle_clash(str(first), str(second), by=by)
        return "It is settled; the other one stays in the history."

    return _change(request, keep)


@require_POST
def take_over_rest(request: HttpRequest) -> HttpResponse:
    """Take over what was told about no card."""
    return _change(request, lambda by: f"{approve.take_over_others(by=by)} taken over.")


@require_http_methods(["GET", "POST"])
def actuals(request: HttpRequest, number: int) -> HttpResponse:
    """One form for a card's actuals: filled in from the cab, or typed in from paper."""
    try:
        card = repository.load_card(number)
        stage: Stage = stage_of_card(number)
    except InputError as error:
        raise Http404 from error
    waiting = approve.waiting_of(number)
    units, typed = measures(), request.POST
    if request.method == "POST":
        try:
            record = approve.take_over(
                number, by=request.user.get_username(), actuals=_actuals(typed, card.operator)
            )
        except InputError as error:
            messages.warning(request, units.words(sentence(error)))
        else:
            messages.success(
                request,
                f"Card {number}: {record.treatment.label}, {record.hours:g} h by {record.by}.",
            )
            return redirect("field")
    filled = typed if request.method == "POST" else _filled(waiting, card)
    return page(
        request,
        "field_actuals.html",
        f"Card {number}, what was done",
        here="field",
        card=card,
        where=units.words(card.where),
        filled=filled,
        waiting=waiting,
        told=waiting_rows((waiting,), units, agency_today())[0] if waiting else None,
        n_passes=stage.n_passes,
        changes=change_rows(approve.changes_of(card.id)),
        sides=_SIDES,
        signs={name: units.sign(unit) for name, unit in (("m", "m"), ("water", "L"))},
        reasons=REASONS,
        status=400 if request.method == "POST" else 200,
    )


@require_POST
def put_aside(request: HttpRequest, number: int) -> HttpResponse:
    """Leave what was told about a card without a record, and say why."""

    def keep(by: str) -> str:
        approve.set_aside(number, by=by, because=request.POST.get("because", ""))
        return f"What was told about card {number} is set aside."

    return _change(request, keep)


@require_GET
def phones(request: HttpRequest) -> HttpResponse:
    """Paired phones, and pairing."""
    return _phones(request)


@require_POST
def start_pairing(request: HttpRequest) -> HttpResponse:
    """Make a code for one machine's phone and show it, once."""
    given = request.POST
    policy = repository.load_policy().cab
    try:
        code = make_code(
            given.get("machine", ""),
            given.get("name", ""),
            by=request.user.get_username(),
            now=timezone.now(),
            policy=policy,
        )
    except InputError as error:
        messages.warning(request, sentence(error))
        return _phones(request, status=400)
    base = current_workspace().config.address or request.build_absolute_uri("/")
    link = f"{base.rstrip('/')}{reverse('cab')}"
    try:
        square = qr_svg(f"{link}#pair={code}", size_mm=56.0)
    except InputError:
        # An address too long for a square code is typed in
        square = ""
    return _phones(
        request,
        code=code,
        link=link,
        square=mark_safe(square),
        minutes=f"{policy.code_min:g}",
        is_tls=link.startswith("https://"),
    )


@require_POST
def take_key(request: HttpRequest, device_key: str) -> HttpResponse:
    """Take a phone's key away."""

    def keep(by: str) -> str:
        gone = revoke(device_key, by=by, now=timezone.now())
        return f"The phone of {gone.name} reads and tells nothing from now on."

    return _change(request, keep, back="field-phones")


@require_GET
def replay(request: HttpRequest, machine_id: str, day: str) -> HttpResponse:
    """One machine's day, planned against told."""
    machine = store.Machine.objects.filter(pk=machine_id).first()
    try:
        shown_day = date.fromisoformat(day)
    except ValueError as error:
        raise Http404 from error
    if machine is None:
        raise Http404
    return page(
        request,
        "field_replay.html",
        f"{machine.name}, {shown_day.isoformat()}",
        here="field",
        machine=machine,
        day_words=day_name(shown_day, agency_today()),
        replay=replay_of(machine_id, shown_day),
        width=WIDE,
        height=HIGH,
    )


@require_http_methods(["GET", "POST"])
def rates(request: HttpRequest) -> HttpResponse:
    """What the approved records say of the rates, and the step that takes them over."""
    district = repository.load_district()
    version = f"{district.policy.version}+cab-{agency_today():%Y%m%d}"
    proposal = propose_rates(district.records, district.network, district.policy, version=version)
    if request.method == "POST":

        def keep(by: str) -> str:
            if not proposal.has_changes:
                raise InputError("there are too few records to change any rate")
            repository.save_policy(proposal.policy, by=by, note="rates from own records")
            return "The rates are a new version of the settings; the next plan uses them."

        return _change(request, keep, back="field-rates")
    return page(
        request,
        "field_rates.html",
        "Rates from own records",
        here="field",
        proposal=proposal,
        rows=[
            {
                "name": each.name,
                "old": f"{each.old:.2f}",
                "new": f"{each.new:.2f}",
                "raw": f"{each.raw:.2f}",
                "unit": each.unit,
                "n": each.n,
                "is_prior": each.is_prior,
                "change": f"{each.change_pct:+.0f} %",
            }
            for each in proposal.rows
        ],
    )


def _phones(request: HttpRequest, *, status: int = 200, **shown: Any) -> HttpResponse:
    return page(
        request,
        "field_phones.html",
        "Phones",
        here="field",
        status=status,
        phones=phone_rows(approve.phones(), now=timezone.now(), today=agency_today()),
        machines=store.Machine.objects.filter(is_current=True).order_by("position"),
        operators=store.Operator.objects.filter(is_current=True).order_by("position"),
        **shown,
    )


def _filled(waiting: approve.Waiting | None, card: JobCard) -> dict[str, Any]:
    """What the form begins with: the cab's words, or finished work on paper."""
    if waiting is None:
        return {"by": card.operator, "day": card.day.isoformat(), "finished": "yes"}
    report = waiting.report
    reason = [report.reason] if report.is_given_up and report.reason else []
    return {
        "by": report.by,
        "day": waiting.day.isoformat(),
        "finished": "yes" if report.is_done else "no",
        "hours": "" if report.hours is None else f"{report.hours:g}",
        "passes": "" if report.is_done and report.n_passes == 0 else str(report.n_passes),
        "from": _typed(report.from_m, "m"),
        "to": _typed(report.to_m, "m"),
        "windrow": report.windrow_side or "",
        "in_way": "on" if report.is_windrow_in_travelled_way else "",
        "culvert_open": "on" if report.is_culvert_open else "",
        "loads": str(report.n_loads or ""),
        "water": _typed(report.water_l or None, "L"),
        "note": "; ".join([*reason, *report.notes]),
    }


def _typed(value: float | None, unit: str) -> str:
    """A figure of the engine as somebody of the agency would type it."""
    if value is None:
        return ""
    one = measures().read("1", unit, unit) or 1.0
    return f"{value / one:.0f}"


def _actuals(given: Any, operator: str) -> dict[str, Any]:
    units = measures()
    is_finished = given.get("finished", "yes") == "yes"
    hours = units.read(given.get("hours", ""), "h", "hours")
    if hours is None:
        raise InputError("hours are missing; they are never taken from the plan")
    side = given.get("windrow", "")
    if side and side not in _SIDES:
        raise InputError(f"windrow is {side!r}; expected left, right or both")
    return {
        "by_whom": given.get("by", "").strip() or operator,
        "hours": hours,
        "done_on": _day(given.get("day", "")),
        "n_passes": _whole(given.get("passes", ""), "passes"),
        "is_finished": is_finished,
        "from_m": None if is_finished else units.read(given.get("from", ""), "m", "from"),
        "to_m": None if is_finished else units.read(given.get("to", ""), "m", "to"),
        "windrow_side": side or None,
        "is_windrow_in_travelled_way": given.get("in_way") == "on",
        "is_culvert_open": given.get("culvert_open") == "on",
        "n_loads": _whole(given.get("loads", ""), "loads") or 0,
        "water_l": units.read(given.get("water", ""), "L", "water") or 0.0,
        "note": given.get("note", "").strip()[:500],
    }


def _day(text: str) -> date | None:
    if not text.strip():
        return None
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise InputError(f"day is {text!r}; expected a day such as 2026-05-04") from None
    if day > agency_today():
        raise InputError(f"day is {day}, which is still to come")
    return day


def _whole(text: str, name: str) -> int | None:
    if not text.strip():
        return None
    if not text.strip().isdecimal():
        raise InputError(f"{name} is {text.strip()!r}; expected a whole number")
    return int(text.strip()[:6])


def _clock_ahead(text: str, now: datetime) -> datetime | None:
    """A clock time today; one that lies far behind is tomorrow's, for shifts over midnight."""
    if not text.strip():
        return None
    try:
        clock = datetime.strptime(text.strip(), "%H:%M").time()  # noqa: DTZ007 - a clock only
    except ValueError:
        raise InputError(f"back is {text!r}; expected a time such as 15:30") from None
    local = timezone.localtime(now)
    then: datetime = local.replace(hour=clock.hour, minute=clock.minute, second=0, microsecond=0)
    return then + timedelta(days=1) if now - then > _NEARLY_ALWAYS / 1.5 else then


def _change(
    request: HttpRequest, change: Callable[[str], str], *, back: str = "field"
) -> HttpResponse:
    try:
        messages.success(request, change(request.user.get_username()))
    except InputError as error:
        messages.warning(request, measures().words(sentence(error)))
    return redirect(back)
