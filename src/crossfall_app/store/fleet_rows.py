"""Machines, people, places and pits: the current ones, and those before them as history."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from crossfall import model as nouns
from crossfall.errors import InputError
from crossfall_app.store import audit, convert, models
from crossfall_app.store.crew import with_calls
from crossfall_app.store.fields import columns_of

_BATCH = 500


def load_fleet(*, with_words: bool = True) -> nouns.Fleet:
    """Machines, operators, places and pits that are current, in the agency's order.

    Who was told to stay at home has that day off; without words only the days off on file count.
    """
    places = models.Place.objects.filter(is_current=True, is_listed=True)
    pits = models.Pit.objects.filter(is_current=True).select_related("place")
    people = convert.OPERATOR.of(_current(models.Operator))
    return nouns.Fleet(
        places=convert.PLACE.of(places.order_by("position")),
        machines=convert.MACHINE.of(_current(models.Machine)),
        operators=with_calls(people) if with_words else people,
        pits=tuple(convert.pit_to_noun(row) for row in pits.order_by("position")),
    )


def save_fleet(fleet: nouns.Fleet, *, by: str) -> None:
    """Make ``fleet`` the current one; what it no longer lists is kept as history."""
    listed = {place.id for place in fleet.places}
    places = [(place, True) for place in fleet.places]
    places += [(pit.place, False) for pit in fleet.pits if pit.place.id not in listed]
    with transaction.atomic():
        before = _fleet_told(load_fleet(with_words=False))
        for table in (models.Pit, models.Operator, models.Machine, models.Place):
            table.objects.update(is_current=False)
        _upsert(
            models.Place,
            [
                convert.PLACE.to_row(place, position=number, is_listed=is_listed)
                for number, (place, is_listed) in enumerate(places)
            ],
        )
        pits = [convert.pit_to_row(pit, position=n) for n, pit in enumerate(fleet.pits)]
        _upsert(models.Pit, pits)
        parts: tuple[tuple[convert.Mapping[Any], tuple[Any, ...]], ...] = (
            (convert.MACHINE, fleet.machines),
            (convert.OPERATOR, fleet.operators),
        )
        for mapping, given in parts:
            rows = [mapping.to_row(noun, position=number) for number, noun in enumerate(given)]
            _upsert(mapping.table, rows)
        _explain_missing(fleet)
        audit.note("save", "fleet", who=by, before=before, after=_fleet_told(fleet))


def _fleet_told(fleet: nouns.Fleet) -> dict[str, Any]:
    """The fleet in the words the audit keeps, one line for each machine and person."""
    machines = {
        each.id: f"{each.name}, {each.kind}, {'ready' if each.is_available else 'not ready'}"
        for each in fleet.machines
    }
    people = {
        each.id: f"{each.name}, {each.machine_id}, {each.shift_h:g} h from {each.shift_start_h:g}"
        for each in fleet.operators
    }
    return machines | people


def _current(table: Any) -> Any:
    return table.objects.filter(is_current=True).order_by("position")


def _upsert(table: Any, rows: list[Any]) -> None:
    if not rows:
        return
    key = next(each for each in columns_of(table) if each.primary_key)
    columns = [each.name for each in columns_of(table) if each is not key]
    table.objects.bulk_create(
        rows,
        batch_size=_BATCH,
        update_conflicts=True,
        unique_fields=[key.name],
        update_fields=columns,
    )


def _explain_missing(fleet: nouns.Fleet) -> None:
    places = {place.id for place in fleet.places} | {pit.place.id for pit in fleet.pits}
    machines = {machine.id for machine in fleet.machines}
    for machine in fleet.machines:
        if machine.home_id not in places:
            raise InputError(f"machine {machine.id}: home_id {machine.home_id!r} is not a place")
    for operator in fleet.operators:
        if operator.machine_id not in machines:
            raise InputError(
                f"operator {operator.id}: machine_id {operator.machine_id!r} is not a machine"
            )
