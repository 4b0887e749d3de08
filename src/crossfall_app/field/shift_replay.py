"""A shift as it was planned and as it was told, side by side in time and on the map.

For training and for disputes: what was ordered, what came in, when, from which phone, and what was
undone. Facts that were undone stay in sight and say so.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from crossfall.cards.sketch import cut_line
from crossfall.model import FieldFact
from crossfall.records.field_sync import standing
from crossfall_app.field.intake import facts_of
from crossfall_app.field.models import Fact
from crossfall_app.field.whose import machines_of_cards
from crossfall_app.store import convert
from crossfall_app.store import models as store

WIDE, HIGH = 900.0, 420.0
_EDGE = 24.0
_AXIS = 860.0
_INDENT = 30.0

LABEL = {
    "shift_start": "shift started",
    "shift_end": "shift finished",
    "check_in": "checked in",
    "pass_done": "pass done",
    "job_done": "job done",
    "not_done": "not done",
    "hours": "hours",
    "loads": "loads placed",
    "stakes": "stakes set",
    "water": "water put down",
    "windrow": "windrow left",
    "culvert": "culvert",
    "soft_spot": "soft spot",
    "sign_missing": "sign missing",
    "rock": "oversize rock",
    "felt": "surface felt",
    "edge": "cutting edge changed",
    "photo": "photo",
    "note": "note",
    "edit": "changed",
}


@dataclass(frozen=True)
class Replay:
    """Everything one page shows of one machine's day."""

    rows: tuple[dict[str, Any], ...]
    planned: tuple[dict[str, Any], ...]
    recorded: tuple[dict[str, Any], ...]
    ticks: tuple[dict[str, Any], ...]
    first_min: float
    last_min: float
    roads: tuple[str, ...]
    jobs: tuple[dict[str, Any], ...]
    track: str
    spots: tuple[dict[str, Any], ...]
    compared: tuple[dict[str, Any], ...]

    @property
    def is_empty(self) -> bool:
        return not self.planned and not self.rows


def replay_of(machine_id: str, day: date) -> Replay:
    """One machine's day as planned and as told."""
    facts = facts_of(Fact.objects.filter(machine_key=machine_id, day=day))
    undone = {each.id for each in facts} - {each.id for each in standing(facts)}
    legs = _legs(machine_id, day)
    minutes = [_minute(fact.at) for fact in facts if fact.kind != "track"]
    times = [*minutes, *(each for leg in legs for each in (leg.start_min, leg.end_min))]
    first, last = (min(times), max(times)) if times else (360.0, 1080.0)
    span = max(last - first, 30.0)

    def x_of(minute: float) -> float:
        return round(_INDENT + (minute - first) / span * (_AXIS - 2 * _INDENT), 1)

    numbers = dict(store.JobCard.objects.values_list("key", "number"))
    place, roads, jobs = _map(machine_id, day, legs, facts)
    shown = [fact for fact in facts if fact.kind not in {"track", "undo"}]
    return Replay(
        rows=tuple(_row(fact, numbers, fact.id in undone) for fact in _in_time(shown)),
        planned=tuple(
            {
                "x": x_of(leg.start_min),
                "width": max(1.0, x_of(leg.end_min) - x_of(leg.start_min)),
                "kind": leg.kind,
                "what": f"{_clock(leg.start_min)} to {_clock(leg.end_min)}, {_leg_words(leg)}",
            }
            for leg in legs
        ),
        recorded=tuple(
            {
                "x": x_of(_minute(fact.at)),
                "kind": fact.kind,
                "is_undone": fact.id in undone,
                "minute": round(_minute(fact.at), 1),
                "what": f"{_clock(_minute(fact.at))}, {_fact_words(fact, numbers)}",
            }
            for fact in shown
        ),
        ticks=tuple(
            {"x": x_of(60.0 * hour), "label": f"{hour:02d}:00"}
            for hour in range(int(first // 60), int(last // 60) + 2)
            if first <= 60 * hour <= first + span
        ),
        first_min=round(first, 1),
        last_min=round(first + span, 1),
        roads=roads,
        jobs=jobs,
        track=_track(facts, place),
        spots=tuple(
            {
                "x": round(at[0], 1),
                "y": round(at[1], 1),
                "minute": round(_minute(fact.at), 1),
                "what": f"{_clock(_minute(fact.at))}, {_fact_words(fact, numbers)}",
            }
            for fact in shown
            if place is not None and "lon" in fact.payload and "lat" in fact.payload
            for at in [place(float(fact.payload["lon"]), float(fact.payload["lat"]))]
            if 0 <= at[0] <= WIDE and 0 <= at[1] <= HIGH
        ),
        compared=_compared(legs, facts, undone, numbers, machine_id, day),
    )


def _legs(machine_id: str, day: date) -> list[Any]:
    keys = store.JobCard.objects.filter(day=day).values_list("plan__key", flat=True)
    issued = set(keys.filter(status__in=("issued", "closed", "withdrawn")))
    plans = convert.PLAN.of(store.Plan.objects.filter(key__in=issued or set(keys)).order_by("-pk"))
    for plan in plans:
        for itinerary in plan.itineraries:
            if (itinerary.machine_id, itinerary.day) == (machine_id, day):
                return [leg for leg in itinerary.legs if leg.end_min > leg.start_min]
    return []


def _map(
    machine_id: str, day: date, legs: list[Any], facts: tuple[FieldFact, ...]
) -> tuple[Any, tuple[str, ...], tuple[dict[str, Any], ...]]:
    wanted = {leg.segment_id for leg in legs if leg.segment_id}
    segments = convert.SEGMENT.of(store.Segment.objects.filter(pk__in=wanted))
    lines = [segment.line for segment in segments]
    told = [
        (float(row[1]), float(row[2]))
        for fact in facts
        if fact.kind == "track"
        for row in fact.payload["points"]
    ]
    told += [
        (float(fact.payload["lon"]), float(fact.payload["lat"]))
        for fact in facts
        if "lon" in fact.payload and "lat" in fact.payload
    ]
    # A phone that was carried far away does not shrink the day's work to a dot
    points = [point for line in lines for point in line] or told
    if not points:
        return None, (), ()
    place = _fit(points)
    known = {segment.id: segment for segment in segments}
    jobs = []
    for leg in legs:
        if leg.kind != "work" or leg.segment_id not in known:
            continue
        segment = known[leg.segment_id]
        from_m = 0.0 if leg.from_m is None else leg.from_m
        to_m = segment.length_m if leg.to_m is None else leg.to_m
        low, high = sorted((from_m, to_m))
        line = cut_line(segment.line, segment.length_m, low, high) if high - low > 1 else ()
        drawn = line if from_m <= to_m else line[::-1]
        jobs.append(
            {
                "path": _path(drawn, place),
                "start": round(leg.start_min, 1),
                "end": round(leg.end_min, 1),
            }
        )
    return place, tuple(_path(line, place) for line in lines), tuple(jobs)


def _fit(points: list[tuple[float, float]]) -> Any:
    lons, lats = [p[0] for p in points], [p[1] for p in points]
    west, east, south, north = min(lons), max(lons), min(lats), max(lats)
    narrow = math.cos(math.radians((south + north) / 2))
    across, up = max((east - west) * narrow, 1e-4), max(north - south, 1e-4)
    scale = min((WIDE - 2 * _EDGE) / across, (HIGH - 2 * _EDGE) / up)

    def place(lon: float, lat: float) -> tuple[float, float]:
        x = WIDE / 2 + (lon - (west + east) / 2) * narrow * scale
        return x, HIGH / 2 - (lat - (south + north) / 2) * scale

    return place


def _track(facts: tuple[FieldFact, ...], place: Any) -> str:
    if place is None:
        return ""
    parts = [
        _path([(row[1], row[2]) for row in fact.payload["points"]], place)
        for fact in _in_time(list(facts))
        if fact.kind == "track"
    ]
    return "".join(parts)


def _compared(
    legs: list[Any],
    facts: tuple[FieldFact, ...],
    undone: set[str],
    numbers: dict[str, int],
    machine_id: str,
    day: date,
) -> tuple[dict[str, Any], ...]:
    """Each card: passes and hours as planned and as told."""
    names = store.Machine.objects.filter(pk=machine_id).values_list("name", flat=True)
    found = list(
        store.JobCard.objects.filter(
            day=day, machine__in=list(names), status__in=("issued", "closed")
        ).order_by("number")
    )
    whose = machines_of_cards(found)
    cards = [convert.card_to_noun(row) for row in found if whose[row.pk] == machine_id]
    rows = []
    for card in cards:
        mine = [leg for leg in legs if leg.kind == "work" and leg.stage_id == card.stage_id]
        told = [each for each in facts if each.card_id == card.id and each.id not in undone]
        hours = [each.payload["hours"] for each in told if each.kind == "hours"]
        passes = {each.payload["pass"] for each in told if each.kind == "pass_done"}
        rows.append(
            {
                "number": card.number,
                "title": card.title,
                "planned_passes": len({leg.pass_number for leg in mine}),
                "told_passes": len(passes),
                "planned_h": round(sum(leg.end_min - leg.start_min for leg in mine) / 60, 1),
                "told_h": hours[-1] if hours else None,
                "planned_start": _clock(min(leg.start_min for leg in mine)) if mine else "",
                "told_start": _clock(_minute(told[0].at)) if told else "",
            }
        )
    return tuple(rows)


def _row(fact: FieldFact, numbers: dict[str, int], is_undone: bool) -> dict[str, Any]:
    return {
        "clock": _clock(_minute(fact.at)),
        "what": _fact_words(fact, numbers),
        "by": fact.by,
        "card": numbers.get(fact.card_id or ""),
        "note": fact.payload.get("note", ""),
        "is_undone": is_undone,
        "number": fact.number,
    }


def _fact_words(fact: FieldFact, numbers: dict[str, int]) -> str:
    said = fact.payload
    more: Callable[[], str] = {
        "pass_done": lambda: f" {said['pass']}",
        "hours": lambda: f" {said['hours']:g}",
        "loads": lambda: f" {said['loads']}",
        "stakes": lambda: f" {said['stakes']}",
        "culvert": lambda: f" {said['state']}",
        "felt": lambda: f" {said['felt'].replace('_', ' ')}",
        "windrow": lambda: f", {said['side']}",
        "edit": lambda: f" {said['target'].rpartition('/')[2].replace('_', ' ')}: {said['value']}",
    }.get(fact.kind, lambda: "")
    card = f", card {numbers[fact.card_id]}" if fact.card_id in numbers else ""
    return f"{LABEL.get(fact.kind, fact.kind)}{more()}{card}"


def _leg_words(leg: Any) -> str:
    what = {"travel": "drive", "wait": "set up"}.get(leg.kind, leg.kind)
    return f"{what} pass {leg.pass_number}" if leg.pass_number else what


def _in_time(facts: list[FieldFact]) -> list[FieldFact]:
    return sorted(facts, key=lambda fact: (fact.at, fact.sequence))


def _path(line: Any, place: Any) -> str:
    spots = [place(lon, lat) for lon, lat in line]
    return "".join(f"{'M' if i == 0 else 'L'}{x:.1f} {y:.1f}" for i, (x, y) in enumerate(spots))


def _minute(at: datetime) -> float:
    local: datetime = timezone.localtime(at)
    return local.hour * 60 + local.minute + local.second / 60


def _clock(minute: float) -> str:
    return f"{int(minute // 60):02d}:{int(minute % 60):02d}"
