"""What a phone takes along: its machine's issued cards, pass by pass, and what others told of them.

Only orders: a draft is none, so a phone is told how many there are and nothing of what they say.
Everything is in the agency's units and ready to be read out; the phone works out nothing but which
pass is next.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any

from django.conf import settings
from django.db.models import Max

from crossfall.cards.cab import CabPass, cab_passes
from crossfall.cards.sketch import cut_line
from crossfall.model import (
    Itinerary,
    Job,
    JobCard,
    Leg,
    Operator,
    Plan,
    Policy,
    Segment,
    Stage,
)
from crossfall.records.field_facts import REASONS
from crossfall_app.field.intake import facts_of
from crossfall_app.field.models import Device, Fact
from crossfall_app.field.whose import machines_of_cards
from crossfall_app.store import convert, repository
from crossfall_app.store import models as store
from crossfall_app.web.present.measures import Measures

SHOWN_TO_OTHERS = ("pass_done", "job_done", "not_done", "undo", "edit")


def day_of(device: Device, *, today: date, now: datetime, policy: Policy) -> dict[str, Any]:
    """Everything the page in the cab shows."""
    # Read first: what comes in meanwhile counts as not yet seen
    latest = Fact.objects.aggregate(most=Max("number"))["most"] or 0
    machine = device.machine
    measures = Measures(settings.CROSSFALL_UNITS)
    last_day = today + timedelta(days=policy.cab.days_ahead)
    newest = _newest(str(machine.pk), machine.name, today, last_day)
    issued = [card for card in newest if card.status in {"issued", "closed"}]
    segments = _segments_of(issued)
    itineraries: dict[str, tuple[Itinerary, ...]] = {}
    agency = repository.agency()
    return {
        "machine": {"id": machine.pk, "name": machine.name},
        "who": device.name,
        "device": device.key,
        "today": today.isoformat(),
        "now": now.isoformat(),
        "district": agency.name,
        "is_invented": agency.is_invented,
        "shift": _shift(machine.pk),
        "units": {
            name: {"sign": measures.sign(unit), "factor": measures.read("1", unit, name)}
            for name, unit in (("m", "m"), ("litres", "L"), ("km", "km"))
        },
        "cards": [
            _card(card, segments.get(card.segment_id), itineraries, measures, policy)
            for card in issued
        ],
        "withdrawn": [
            {"number": card.number, "title": card.title, "because": card.withdrawn_because}
            for card in newest
            if card.status == "withdrawn" and card.withdrawn_because and card.day == today
        ],
        "n_drafts": sum(card.status == "draft" and card.day == today for card in newest),
        "told": _told_by_others(device, issued),
        "latest": latest,
        "reasons": REASONS,
        "limits": _limits(policy),
    }


def _newest(machine_id: str, name: str, first: date, last: date) -> list[JobCard]:
    rows = list(
        store.JobCard.objects.filter(machine=name, day__gte=first, day__lte=last).order_by(
            "number", "version"
        )
    )
    whose = machines_of_cards(rows)
    newest: dict[int, JobCard] = {}
    for row in rows:
        if whose[row.pk] == machine_id:
            newest[row.number] = convert.card_to_noun(row)
    return sorted(newest.values(), key=lambda card: (card.day, card.start_clock, card.number))


def _segments_of(cards: Iterable[JobCard]) -> dict[str, Segment]:
    wanted = {card.segment_id for card in cards}
    segments = convert.SEGMENT.of(store.Segment.objects.filter(pk__in=wanted))
    return {segment.id: segment for segment in segments}


def _card(
    card: JobCard,
    segment: Segment | None,
    itineraries: dict[str, tuple[Itinerary, ...]],
    measures: Measures,
    policy: Policy,
) -> dict[str, Any]:
    stage, legs = _work_of(card, itineraries)
    road, _, _ = (segment.route if segment else card.title).partition(" — ")
    passes: tuple[CabPass, ...] = ()
    line = card.sketch.line
    if segment is not None and stage is not None:
        passes = cab_passes(stage, segment, legs, policy.cab)
        line = cut_line(segment.line, segment.length_m, stage.from_m, stage.to_m)
    words = measures.words
    return {
        "id": card.id,
        "number": card.number,
        "version": card.version,
        "is_closed": card.status == "closed",
        "day": card.day.isoformat(),
        "title": words(card.title),
        "road": road,
        "treatment": stage.treatment.label if stage else card.title,
        "where": words(card.where),
        "start": card.start_clock,
        "operator": card.operator,
        "moisture": words(card.moisture),
        "end_state": words(card.end_state),
        "steps": [{"text": words(each.text), "detail": words(each.detail)} for each in card.steps],
        "checks": [words(each) for each in card.checks],
        "cautions": [{"text": words(each.text), "at": words(each.at)} for each in card.cautions],
        "quantities": [
            {"name": each.name, "value": measures.show(each.value, each.unit)}
            for each in card.quantities
        ],
        "stakes": [
            {"number": each.number, "at": measures.show(each.at_m, "m"), "load": each.load}
            for each in card.stakes
        ],
        "passes": [_pass(each, measures) for each in passes],
        "from_m": stage.from_m if stage else card.from_m,
        "to_m": stage.to_m if stage else card.to_m,
        "hours": round(stage.work_min / 60, 2) if stage else None,
        "line": [list(point) for point in line],
        "nearby": [[list(point) for point in each] for each in card.sketch.nearby],
        "water": [[list(point) for point in each] for each in card.sketch.water],
        "marks": [
            {"kind": each.kind, "lon": each.lon, "lat": each.lat, "label": each.label}
            for each in card.sketch.features
            if each.kind in {"culvert", "sign", "bridge", "rail_crossing"}
        ],
    }


def _pass(each: CabPass, measures: Measures) -> dict[str, Any]:
    low, high = each.speed_low_km_h, each.speed_high_km_h
    show = measures.show
    return {
        "number": each.number,
        "of": each.n_passes,
        "operation": each.operation,
        "heading": each.heading,
        "is_forward": each.is_forward,
        "from": show(each.from_m, "m"),
        "to": show(each.to_m, "m"),
        "moldboard": _angle(each),
        "speed": f"{show(low, 'km/h').split()[0]}–{show(high, 'km/h')}",
        "planned_speed": show(each.speed_km_h, "km/h"),
        "note": measures.words(each.note),
    }


def _angle(each: CabPass) -> str:
    if each.moldboard_deg:
        return f"{each.moldboard_deg:.0f}°"
    # A pass with the teeth, say: what the moldboard does is in its note
    return "see below" if each.note else ""


def _work_of(
    card: JobCard, itineraries: dict[str, tuple[Itinerary, ...]]
) -> tuple[Stage | None, tuple[Leg, ...]]:
    """The stage a card orders and the machine's legs of that day."""
    jobs: tuple[Job, ...] = convert.JOB.of(
        store.Job.objects.filter(plan__key=card.plan_id, key=card.job_id)
    )
    stages = [each for job in jobs for each in job.stages if each.id == card.stage_id]
    if card.plan_id not in itineraries:
        plans: tuple[Plan, ...] = convert.PLAN.of(store.Plan.objects.filter(key=card.plan_id))
        itineraries[card.plan_id] = plans[0].itineraries if plans else ()
    legs = tuple(
        leg
        for itinerary in itineraries[card.plan_id]
        if itinerary.day == card.day
        for leg in itinerary.legs
        if leg.stage_id == card.stage_id
    )
    return (stages[0] if stages else None), legs


def _shift(machine_id: str) -> dict[str, Any]:
    """When the machine's shift usually begins and how long it is, for the time expected back."""
    people: tuple[Operator, ...] = repository.load_fleet().operators
    mine = [each for each in people if each.machine_id == machine_id]
    if not mine:
        return {"begin_h": None, "hours": 8.0}
    return {"begin_h": mine[0].shift_start_h, "hours": mine[0].shift_h}


def _told_by_others(device: Device, cards: Iterable[JobCard]) -> list[dict[str, Any]]:
    """What other phones and the office told of these cards, so that no pass is driven twice."""
    keys = [card.id for card in cards]
    about_cards = Fact.objects.filter(card_key__in=keys, kind__in=SHOWN_TO_OTHERS)
    about_shift = Fact.objects.filter(
        kind="edit", payload__target__startswith=f"shift/{device.machine_id}/"
    )
    undos = Fact.objects.filter(kind="undo", machine_key=device.machine_id)
    rows = (about_cards | about_shift | undos).exclude(device=device)
    return [
        {
            "id": fact.id,
            "kind": fact.kind,
            "card": fact.card_id,
            "payload": dict(fact.payload),
            "at": fact.at.isoformat(),
            "by": fact.by,
            "number": fact.number,
        }
        for fact in facts_of(rows.filter(day__gte=_lately(keys)))
    ]


def _lately(keys: list[str]) -> date:
    first = Fact.objects.filter(card_key__in=keys).order_by("day").values_list("day", flat=True)
    return first[0] if first else date(1970, 1, 1)


def _limits(policy: Policy) -> dict[str, Any]:
    cab = policy.cab
    return {
        "moving_km_h": cab.moving_km_h,
        "stopped_s": cab.stopped_s,
        "pass_share": cab.pass_share,
        "off_road_m": cab.off_road_m,
        "seen_km_h": cab.seen_km_h,
        "check_in_h": cab.check_in_h,
        "note_letters": cab.note_letters,
        "facts_a_batch": cab.facts_a_batch,
        "photo_side_px": cab.photo_side_px,
        "chunk_kb": cab.chunk_kb,
        "storage_share": cab.storage_share,
        "keep_days": cab.keep_days,
        "skew_told_s": cab.skew_told_s,
    }
