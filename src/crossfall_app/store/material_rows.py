"""Gravel, edges, dust control and contracts: what is added, and what takes its course."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from typing import Any

from django.db import IntegrityError, transaction

from crossfall import model as nouns
from crossfall.design.ledger import stocked
from crossfall.errors import InputError
from crossfall_app.store import audit, convert, models

_TAKES_COURSE = ("tickets", "depths_mm", "hold_points", "accepted_by", "accepted_on", "note")


def add_material_tests(tests: Iterable[nouns.MaterialTest], *, by: str) -> int:
    """Add laboratory sheets; returns how many."""
    return _add(convert.TEST, tests, by=by)


def add_pile_entries(entries: Iterable[nouns.PileEntry], *, by: str) -> int:
    """Put lines into the ledger of the piles; one that names another takes it back."""
    return _add(convert.PILE, entries, by=by)


def add_edges(edges: Iterable[nouns.FittedEdge], *, by: str) -> int:
    """Say that a cutting edge was put on a machine."""
    return _add(convert.EDGE, edges, by=by)


def add_machine_days(days: Iterable[nouns.MachineDay], *, by: str) -> int:
    """Add the sums of machines' days."""
    return _add(convert.MACHINE_DAY, days, by=by)


def add_dust(applications: Iterable[nouns.DustApplication], *, by: str) -> int:
    """Add dust control as it was applied, with who paid and how long it rests."""
    return _add(convert.DUST, applications, by=by)


def add_contracts(contracts: Iterable[nouns.Contract], *, by: str) -> int:
    """Add work that is let."""
    return _add(convert.CONTRACT, contracts, by=by)


def end_rest(dust_id: str, last_day: date, *, by: str) -> nouns.DustApplication:
    """Let a treated road be bladed earlier than was meant; the old day stays in the audit."""
    with transaction.atomic():
        row = models.DustApplication.objects.select_for_update().filter(key=dust_id).first()
        if row is None:
            raise InputError(f"dust control {dust_id!r} is unknown")
        before = {"no_blade_until": row.no_blade_until.isoformat()}
        row.no_blade_until = last_day
        # The noun refuses a rest that ends before the application
        found: nouns.DustApplication = _noun(convert.DUST, row)
        row.save(update_fields=["no_blade_until"])
        after = {"no_blade_until": last_day.isoformat()}
        audit.note("move", "dustapplication", dust_id, who=by, before=before, after=after)
    return found


def add_tickets(
    contract_id: str, tickets: Iterable[nouns.ScaleTicket], *, by: str
) -> nouns.Contract:
    """Add loads that came over the scale; one that is there already is refused."""
    given = tuple(tickets)
    return _move(contract_id, lambda was: replace(was, tickets=(*was.tickets, *given)), by)


def add_depths(contract_id: str, depths_mm: Iterable[float], *, by: str) -> nouns.Contract:
    """Add holes that were dug [mm]."""
    given = tuple(depths_mm)
    if not all(0 < depth < 1000 for depth in given):
        raise InputError(f"depths_mm is {given}; expected millimetres above 0 and below 1000")
    return _move(contract_id, lambda was: replace(was, depths_mm=(*was.depths_mm, *given)), by)


def pass_hold_point(
    contract_id: str, name: str, *, seen_by: str, on: date, by: str
) -> nouns.Contract:
    """Say who has looked at a hold point; they are passed in order."""

    def passed(was: nouns.Contract) -> nouns.Contract:
        if not seen_by.strip():
            raise InputError("seen_by is empty; a named person looks at a hold point")
        if not was.open_holds or was.open_holds[0] != name:
            wanted = was.open_holds[0] if was.open_holds else "none"
            raise InputError(f"hold point {name!r} is not the next one; that is {wanted!r}")
        points = tuple(
            nouns.HoldPoint(name, seen_by.strip(), on) if each.name == name else each
            for each in was.hold_points
        )
        return replace(was, hold_points=points)

    return _move(contract_id, passed, by)


def accept_contract(
    contract_id: str, *, accepted_by: str, on: date, note: str = "", by: str
) -> nouns.Contract:
    """Take the work over by a person's signature, once.

    Raises
    ------
    InputError
        If a hold point was not looked at, or it was accepted before.
    """

    def accepted(was: nouns.Contract) -> nouns.Contract:
        if was.accepted_on is not None:
            raise InputError(f"contract {was.id} was accepted on {was.accepted_on} already")
        if was.open_holds:
            raise InputError(f"nobody has looked at: {', '.join(was.open_holds)}")
        if not accepted_by.strip():
            raise InputError("accepted_by is empty; a named person accepts the work")
        return replace(was, accepted_by=accepted_by.strip(), accepted_on=on, note=note or was.note)

    return _move(contract_id, accepted, by)


def load_materials(fleet: nouns.Fleet) -> dict[str, Any]:
    """What a district knows of gravel, edges, dust and contracts; stock as the ledger has it."""
    pits = {pit.place.id for pit in fleet.pits}
    machines = {machine.id for machine in fleet.machines}
    entries = tuple(e for e in convert.PILE.of(_in_order(models.PileEntry)) if e.pit_id in pits)
    tests = convert.TEST.of(models.MaterialTest.objects.order_by("taken_on", "pk"))
    days = convert.MACHINE_DAY.of(models.MachineDay.objects.order_by("day", "pk"))
    edges = convert.EDGE.of(models.FittedEdge.objects.order_by("fitted_on", "pk"))
    return {
        "fleet": stocked(fleet, entries),
        "material_tests": tuple(each for each in tests if each.pit_id in pits),
        "pile_entries": entries,
        "machine_days": tuple(each for each in days if each.machine_id in machines),
        "edges": tuple(each for each in edges if each.machine_id in machines),
        "dust": convert.DUST.of(_on_the_map(models.DustApplication)),
        "contracts": convert.CONTRACT.of(_on_the_map(models.Contract)),
    }


def store_materials(district: nouns.District, *, by: str) -> None:
    """All of it, into an empty store."""
    add_material_tests(district.material_tests, by=by)
    add_pile_entries(district.pile_entries, by=by)
    add_edges(district.edges, by=by)
    add_machine_days(district.machine_days, by=by)
    add_dust(district.dust, by=by)
    add_contracts(district.contracts, by=by)


def _add(mapping: convert.Mapping[Any], given: Iterable[Any], *, by: str) -> int:
    rows = [mapping.to_row(noun, created_by=by) for noun in given]
    if not rows:
        return 0
    name = mapping.table.__name__.lower()
    _refuse_unknown(rows)
    try:
        with transaction.atomic():
            mapping.table.objects.bulk_create(rows, batch_size=500)
            audit.note("add", name, who=by, after={"rows": len(rows)})
    except IntegrityError as error:
        raise InputError(
            f"a {mapping.noun.__name__} is in the store already or corrects an unknown one;"
            " nothing was added"
        ) from error
    return len(rows)


def _refuse_unknown(rows: list[Any]) -> None:
    for column, table, what in (
        ("segment_id", models.Segment, "segment"),
        ("pit_id", models.Pit, "pit"),
        ("machine_id", models.Machine, "machine"),
    ):
        named = {getattr(row, column) for row in rows if hasattr(row, column)}
        known = set(table.objects.filter(pk__in=named).values_list("pk", flat=True))
        unknown = sorted(named - known)
        if unknown:
            raise InputError(f"{what} {unknown[0]!r} is unknown; bring it in first, or correct it")


def _move(contract_id: str, change: Any, by: str) -> nouns.Contract:
    with transaction.atomic():
        row = models.Contract.objects.select_for_update().filter(key=contract_id).first()
        if row is None:
            raise InputError(f"contract {contract_id!r} is unknown")
        was: nouns.Contract = _noun(convert.CONTRACT, row)
        if was.accepted_on is not None and change.__name__ != "accepted":
            raise InputError(f"contract {contract_id} was accepted; nothing is added to it")
        now: nouns.Contract = change(was)
        fresh = convert.CONTRACT.to_row(now)
        for name in _TAKES_COURSE:
            setattr(row, name, getattr(fresh, name))
        row.save(update_fields=list(_TAKES_COURSE))
        before, after = (
            {"tickets": len(each.tickets), "holes": len(each.depths_mm), "by": each.accepted_by}
            for each in (was, now)
        )
        audit.note("move", "contract", contract_id, who=by, before=before, after=after)
    return now


def _noun(mapping: convert.Mapping[Any], row: Any) -> Any:
    return mapping.to_noun(getattr(row, name) for name in mapping.names)


def _in_order(table: Any) -> Any:
    return table.objects.order_by("day", "pk")


def _on_the_map(table: Any) -> Any:
    return table.objects.filter(segment__vanished_at__isnull=True).order_by("pk")
