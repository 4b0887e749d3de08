"""Hauls entered at a desk: agreements and leave from what somebody typed, each with a new key."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from crossfall.errors import InputError
from crossfall.model import HaulAgreement, LoadExemption, Money
from crossfall.network.spots import route_of
from crossfall_app.store import models, repository


def agree_haul(
    company: str,
    roads: Sequence[str],
    *,
    first_day: date,
    last_day: date,
    tonnes: float,
    bond: float | None,
    currency: str,
    payload_t: float | None,
    signed_by: str,
    note: str,
    by: str,
) -> HaulAgreement:
    """Keep a new agreement; ``roads`` are keys of segments or names of roads.

    Raises
    ------
    InputError
        If a road is unknown, nobody hauls, or a figure or a day cannot be.
    """
    if not company.strip():
        raise InputError("company is empty; say who hauls")
    if bond is not None and bond < 0:
        raise InputError(f"bond is {bond:g}; expected 0 or more")
    known = set(models.HaulAgreement.objects.values_list("key", flat=True))
    made = HaulAgreement(
        id=_free(f"HA-{first_day.year}", known),
        company=company.strip(),
        segment_ids=_route(roads),
        first_day=first_day,
        last_day=last_day,
        tonnes=tonnes,
        bond=None if bond is None else Money(round(100 * bond), currency, first_day.year),
        payload_t=payload_t,
        signed_by=signed_by.strip(),
        note=note.strip(),
    )
    repository.add_agreements([made], by=by)
    return made


def give_leave(
    holder: str,
    roads: Sequence[str],
    *,
    first_day: date,
    last_day: date,
    granted_by: str,
    granted_at: datetime,
    axle_t: float | None,
    agreement_id: str | None,
    reason: str,
    by: str,
) -> LoadExemption:
    """Log leave to pass a posted load limit.

    Raises
    ------
    InputError
        If a road or the agreement is unknown, nobody holds or grants it, or the axle cannot be.
    """
    if not holder.strip():
        raise InputError("holder is empty; say who may pass")
    if axle_t is not None and not axle_t > 0:
        raise InputError(f"axle is {axle_t:g} t; expected above 0")
    agreements = models.HaulAgreement.objects.filter(key=agreement_id or "")
    if agreement_id is not None and not agreements.exists():
        raise InputError(f"agreement {agreement_id!r} is unknown; see: crossfall haul list")
    known = set(models.LoadExemption.objects.values_list("key", flat=True))
    made = LoadExemption(
        id=_free(f"EX-{first_day.year}", known),
        segment_ids=_route(roads),
        holder=holder.strip(),
        granted_by=granted_by.strip(),
        granted_at=granted_at,
        first_day=first_day,
        last_day=last_day,
        axle_t=axle_t,
        agreement_id=agreement_id,
        reason=reason.strip(),
    )
    repository.add_exemptions([made], by=by)
    return made


def _route(roads: Sequence[str]) -> tuple[str, ...]:
    named = [each for each in roads if each.strip()]
    if not named:
        raise InputError("no road is named; expected the route, as keys or names")
    return route_of(repository.load_network(), named)


def _free(stem: str, known: set[str]) -> str:
    number = 1
    while f"{stem}-{number}" in known:
        number += 1
    return f"{stem}-{number}"
