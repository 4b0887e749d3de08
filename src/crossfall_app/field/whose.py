"""Which machine a card is for, by its id.

A card names its machine in words, as the crew says it. Where only one machine ever bore that name
it is that one; where two do, or a new one took over the name of one that left, the plan that the
card came from knows which.
"""

from __future__ import annotations

from collections.abc import Iterable

from crossfall.model import Plan
from crossfall_app.store import convert
from crossfall_app.store import models as store


def machines_of_cards(rows: Iterable[store.JobCard]) -> dict[int, str]:
    """For each card's row, by its primary key, the machine's id; empty where nobody can tell."""
    cards = list(rows)
    named: dict[str, list[str]] = {}
    found = store.Machine.objects.filter(name__in={card.machine for card in cards})
    for key, name in found.values_list("pk", "name"):
        named.setdefault(name, []).append(str(key))
    unclear = {card.plan_id for card in cards if len(named.get(card.machine, ())) > 1}
    plans: dict[int, Plan] = {}
    for row in store.Plan.objects.filter(pk__in=unclear):
        plans[row.pk] = convert.PLAN.of(store.Plan.objects.filter(pk=row.pk))[0]
    whose = {}
    for card in cards:
        known = named.get(card.machine, [])
        if len(known) > 1:
            known = _by_plan(plans[card.plan_id], card, known)
        whose[card.pk] = known[0] if len(known) == 1 else ""
    return whose


def machine_of_card(row: store.JobCard) -> str:
    """The id of the machine that one card is for; empty where nobody can tell."""
    return machines_of_cards([row])[row.pk]


def _by_plan(plan: Plan, card: store.JobCard, named: list[str]) -> list[str]:
    """Those of this name that the plan gives the card's stage to."""
    stage = convert.card_to_noun(card).stage_id
    holders = {
        itinerary.machine_id
        for itinerary in plan.itineraries
        if itinerary.day == card.day and any(leg.stage_id == stage for leg in itinerary.legs)
    } or {
        itinerary.machine_id
        for itinerary in plan.itineraries
        if any(leg.stage_id == stage for leg in itinerary.legs)
    }
    return [key for key in named if key in holders]
