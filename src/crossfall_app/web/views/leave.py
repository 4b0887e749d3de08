"""Permissions to dig and cross, and designs that an engineer signs."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from collections.abc import Callable
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from crossfall.design.alone import ALONE
from crossfall.errors import InputError
from crossfall.model import Clearance, DesignSignature, Segment, Treatment
from crossfall_app.store import repository
from crossfall_app.web.desk import agency_today
from crossfall_app.web.pages import a_day, empty_page, measures, page, sentence
from crossfall_app.web.present.leave import (
    KIND_LABEL,
    clearance_rows,
    design_rows,
    signature_rows,
    waiting_rows,
)


@require_GET
def leave(request: HttpRequest) -> HttpResponse:
    """What work waits for, what is on file, what waits for an engineer and what is signed."""
    district, units, today = repository.load_district(), measures(), agency_today()
    if not district.network.segments:
        return empty_page(request, "Permissions", "cards")
    week = repository.latest_week()
    clearances = clearance_rows(district, today, units)
    return page(
        request,
        "leave.html",
        "Permissions",
        here="cards",
        waiting=waiting_rows(district, week, today, units),
        clearances=clearances,
        n_run_out=sum(row["state"] == "run out" for row in clearances),
        designs=design_rows(district, week, units),
        signatures=signature_rows(district, today, units),
        kinds=KIND_LABEL,
        works=[(each.value, each.label) for each in ALONE],
        routes=sorted({each.route for each in district.network.maintained}),
        today=today.isoformat(),
        notice=district.policy.design.permission.notice_days,
        has_plan=week is not None,
        length_sign=units.sign("m"),
        mass_sign=units.sign("t"),
    )


@require_POST
def file_clearance(request: HttpRequest) -> HttpResponse:
    """Put a permission on file for a road or a stretch of it."""
    given, units = request.POST, measures()

    def add(by: str) -> None:
        today = agency_today()
        kinds = [kind for kind in given.getlist("kind") if kind in KIND_LABEL]
        if not kinds:
            raise InputError(f"kind is missing; expected one of {', '.join(KIND_LABEL)}")
        for name in ("reference", "granted_by"):
            if not given.get(name, "").strip():
                raise InputError(f"{name.replace('_', ' ')} is empty; a crew reads it out")
        if not given.get("expires_on", "").strip():
            raise InputError("last day is empty; every permission runs out on a day")
        start = units.read(given.get("from", ""), "m", "from")
        made = [
            Clearance(
                id=f"clearance-{uuid4().hex[:12]}",
                kind=kind,
                segment_id=segment.id,
                reference=given["reference"].strip(),
                granted_by=given["granted_by"].strip(),
                valid_from=a_day(given.get("valid_from", ""), today),
                expires_on=a_day(given["expires_on"], today),
                from_m=0.0 if start is None else start,
                to_m=units.read(given.get("to", ""), "m", "to"),
            )
            for segment in _segments(given.get("road", ""))
            for kind in kinds
        ]
        repository.add_clearances(made, by=by)
        messages.success(request, "It is on file. Plan the week again to use its days.")

    return _change(request, add, "")


@require_POST
def sign(request: HttpRequest) -> HttpResponse:
    """Sign a design, or take back what was signed."""
    given, units = request.POST, measures()

    def add(by: str) -> None:
        today = agency_today()
        word = given.get("treatment", "")
        if word not in {each.value for each in ALONE}:
            raise InputError(f"treatment is {word!r}; expected {', '.join(t.value for t in ALONE)}")
        until = given.get("until", "").strip()
        is_back = given.get("take_back") == "1"
        made = [
            DesignSignature(
                id=f"signature-{uuid4().hex[:12]}",
                segment_id=segment.id,
                treatment=Treatment(word),
                signed_by=given.get("signed_by", "").strip(),
                capacity=given.get("capacity", "").strip(),
                signed_on=today,
                expires_on=a_day(until, today) if until else None,
                limit_t=units.read(given.get("limit", ""), "t", "limit"),
                note=given.get("note", "").strip(),
                is_withdrawn=is_back,
            )
            for segment in _segments(given.get("road", ""))
        ]
        repository.add_signatures(made, by=by)
        done = "taken back" if is_back else "signed"
        messages.success(request, f"It is {done}. Plan the week again to use it.")

    return _change(request, add, "#designs")


def _segments(wanted: str) -> list[Segment]:
    said = wanted.strip()
    maintained = repository.load_network().maintained
    found = [each for each in maintained if said in (each.id, each.route)]
    if not found:
        raise InputError(f"road is {said!r}; name a maintained road or a stretch's id")
    return found


def _change(request: HttpRequest, change: Callable[[str], None], anchor: str) -> HttpResponse:
    try:
        change(request.user.get_username())
    except InputError as error:
        messages.warning(request, measures().words(sentence(error)))
    return redirect(reverse("leave-page") + anchor)
