"""Work that is let: the order, tickets against loads, holes against depth, who signed."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from crossfall.design.contract import contract_for, state_of
from crossfall.errors import InputError
from crossfall.model import Contract, Job, ScaleTicket, Treatment
from crossfall.model.policy.specifications import ContractPractice
from crossfall_app.store import repository
from crossfall_app.web.desk import agency_today
from crossfall_app.web.pages import a_day, measures, page, sentence
from crossfall_app.web.present.measures import Measures, day_name

_LETS = (Treatment.REGRAVELLING, Treatment.SPOT_GRAVEL, Treatment.DITCH_CLEANING)
_WORDS_OF_A_TICKET = 2


@require_GET
def contracts(request: HttpRequest) -> HttpResponse:
    """Every contract with what stands against its acceptance, and jobs that could be let."""
    district, units = repository.load_district(), measures()
    segments = district.network.segment_by_id
    return page(
        request,
        "contracts.html",
        "Contracts",
        here="gravel",
        contracts=[
            _row(each, segments[each.segment_id].route, units, district.policy.design.contract)
            for each in district.contracts
        ],
        jobs=[
            (job.id, f"{job.treatment.label}: {segments[job.segment_id].route}, {job.segment_id}")
            for job in _jobs()
            if job.segment_id in segments
        ],
        today=agency_today().isoformat(),
        depth_sign=units.sign("mm"),
        mass_sign=units.sign("t"),
    )


@require_POST
def let(request: HttpRequest) -> HttpResponse:
    """Let one designed job."""
    given = request.POST

    def add(by: str) -> None:
        job = next((each for each in _jobs() if each.id == given.get("job")), None)
        if job is None:
            raise InputError("job is not in the latest plan; choose one of the list")
        route = repository.load_network().segment_by_id[job.segment_id].route
        made = contract_for(
            job,
            contract_id=f"contract-{uuid4().hex[:12]}",
            title=f"{job.treatment.label}: {route}",
            contractor=given.get("contractor", ""),
            moisture_pct=_figure(given.get("moisture", "") or "0", "moisture"),
        )
        repository.add_contracts([made], by=by)

    return _change(request, add)


@require_POST
def tickets(request: HttpRequest, contract_id: str) -> HttpResponse:
    """Add scale tickets, a number and a net mass on each line."""
    given, units = request.POST, measures()

    def add(by: str) -> None:
        day = a_day(given.get("day", ""), agency_today())
        lines = [line for line in given.get("tickets", "").splitlines() if line.strip()]
        found = []
        for line in lines:
            words = line.replace(";", " ").replace(",", " ").split()
            if len(words) != _WORDS_OF_A_TICKET:
                raise InputError(f"ticket {line.strip()!r}; expected its number and its net mass")
            mass = units.read(words[1], "t", f"net mass of {words[0]}")
            found.append(ScaleTicket(words[0], day, mass or 0.0))
        if not found:
            raise InputError("tickets is empty; expected a number and a net mass on each line")
        repository.add_tickets(contract_id, found, by=by)

    return _change(request, add)


@require_POST
def depths(request: HttpRequest, contract_id: str) -> HttpResponse:
    """Add depths that were dug."""
    units = measures()

    def add(by: str) -> None:
        words = request.POST.get("depths", "").replace(";", " ").split()
        found = [units.read(each, "mm", "depth") or 0.0 for each in words]
        if not found:
            raise InputError("depths is empty; expected one or more, with spaces between")
        repository.add_depths(contract_id, found, by=by)

    return _change(request, add)


@require_POST
def hold_point(request: HttpRequest, contract_id: str) -> HttpResponse:
    """Say who has looked at the next hold point."""
    given = request.POST
    return _change(
        request,
        lambda by: repository.pass_hold_point(
            contract_id,
            given.get("name", ""),
            seen_by=given.get("seen_by", ""),
            on=agency_today(),
            by=by,
        ),
    )


@require_POST
def accept(request: HttpRequest, contract_id: str) -> HttpResponse:
    """Take the work over in a person's name; what still stands against it needs a reason."""
    given = request.POST

    def sign(by: str) -> None:
        district = repository.load_district()
        found = next((each for each in district.contracts if each.id == contract_id), None)
        if found is None:
            raise InputError(f"contract {contract_id!r} is unknown")
        state = state_of(found, district.policy.design.contract)
        note = given.get("note", "").strip()
        if state is not None and not state.is_accepted and not note:
            told = "; ".join(state.remarks)
            raise InputError(f"{told}: say in the note why the work is taken over all the same")
        repository.accept_contract(
            contract_id,
            accepted_by=given.get("accepted_by", ""),
            on=agency_today(),
            note=note,
            by=by,
        )

    return _change(request, sign)


def _jobs() -> list[Job]:
    week = repository.latest_week()
    return [each for each in (week.jobs if week else ()) if each.treatment in _LETS and each.stages]


def _row(
    contract: Contract, road: str, units: Measures, practice: ContractPractice
) -> dict[str, Any]:
    state = state_of(contract, practice)
    return {
        "contract": contract,
        "road": road,
        "items": [(item.number, item.name, units.show(item.quantity, item.unit))
                  for item in contract.items],
        "loads": f"{len(contract.tickets)} of {contract.ordered_loads}",
        "mass": "" if state is None else f"{units.show(state.delivered_dry_t, 't')} of"
        f" {units.show(state.ordered_dry_t, 't')}",
        "depth": "" if state is None or state.thinnest_mm is None
        else f"{units.show(state.thinnest_mm, 'mm')} at the thinnest of {len(contract.depths_mm)}"
        f" holes, {units.show(state.wanted_mm, 'mm')} wanted",
        "against": [units.words(each) for each in state.remarks] if state else [],
        "holds": [(each.name, each.seen_by, day_name(each.seen_on) if each.seen_on else "")
                  for each in contract.hold_points],
        "next_hold": contract.open_holds[0] if contract.open_holds else "",
        "accepted": day_name(contract.accepted_on) if contract.accepted_on else "",
    }  # fmt: skip


def _figure(text: str, name: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise InputError(f"{name} is {text!r}; expected a figure") from None


def _change(request: HttpRequest, change: Callable[[str], Any]) -> HttpResponse:
    try:
        change(request.user.get_username())
    except InputError as error:
        messages.warning(request, measures().words(sentence(error)))
    return redirect(reverse("contracts"))
