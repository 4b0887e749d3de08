"""The morning sheet: sky and surface by day, what is due, what is dangerous, what was left open."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from crossfall.judgement import HazardNotice, Zone
from crossfall.model import District, Hazard, JobCard, Need, Treatment
from crossfall.model.need import Task
from crossfall_app.web.present.measures import (
    Measures,
    moment,
    percent,
    short_day,
)
from crossfall_app.web.present.plan import where_on
from crossfall_app.web.present.words import (
    FAMILY,
    HAZARD_LABEL,
    SURFACE,
    SURFACE_LABEL,
    TASK_LABEL,
)

_TASKS: tuple[Task, ...] = ("light_blading", "cutting", "hauling")
_MOST_PRESSING = 6
_MOST_ASSUMED = 6


@dataclass(frozen=True, slots=True)
class Layer:
    """One class in a day's column, from the top, in per cent."""

    colour: str
    label: str
    share: str
    y: float
    height: float


@dataclass(frozen=True, slots=True)
class DayColumn:
    """One day of the strip."""

    name: str
    parts: tuple[Layer, ...]
    workable: str
    rain_chance: str
    rain: str


@dataclass(frozen=True, slots=True)
class GoDay:
    """Share of road length on which work may go ahead as it is, and only with water."""

    share: str
    percent: float
    watered: str
    watered_percent: float


@dataclass(frozen=True, slots=True)
class GoRow:
    """One kind of work over the days."""

    label: str
    days: tuple[GoDay, ...]


@dataclass(frozen=True, slots=True)
class Outlook:
    """What the sky and the surface allow."""

    sentence: str
    days: tuple[DayColumn, ...] = ()
    go: tuple[GoRow, ...] = ()
    legend: tuple[tuple[str, str], ...] = ()
    wet_day: str = ""
    trouble: str = ""
    """Why nothing is known, in whole sentences, and what stands above it."""
    trouble_title: str = ""


def outlook_of(whole: Zone, district: District, measures: Measures) -> Outlook:
    """The strip: classes, rain and what may be done, by share of road length."""
    days = tuple(
        DayColumn(
            name=short_day(whole.first_day + timedelta(days=n), whole.first_day),
            parts=class_layers(whole.class_share[:, n].tolist()),
            workable=percent(float(whole.workable_share[n])),
            rain_chance=percent(float(whole.rain_chance[n])),
            rain=rain_words(float(whole.rain_high_mm[n]), measures),
        )
        for n in range(whole.n_days)
    )
    go = tuple(_go_row(task, whole) for task in _TASKS)
    limit_mm = district.policy.moisture.rain_limit_mm
    return Outlook(
        sentence=_sentence(days, go),
        days=days,
        go=go,
        legend=surface_legend(bool(row.any()) for row in whole.class_share),
        wet_day=f"over {measures.show(limit_mm, 'mm')}; the most, nine times in ten",
    )


def class_layers(shares: Sequence[float]) -> tuple[Layer, ...]:
    """The classes of one day, one above the other, frozen and wet on top."""
    parts, top = [], 0.0
    for key, share in zip(SURFACE, shares, strict=True):
        if share <= 0:
            continue
        height = 100 * share
        parts.append(
            Layer(key, SURFACE_LABEL[key], percent(share), round(top, 2), round(height, 2))
        )
        top += height
    return tuple(parts)


def surface_legend(is_there: Iterable[bool]) -> tuple[tuple[str, str], ...]:
    """Colour and label of each class that is shown."""
    return tuple(
        (key, SURFACE_LABEL[key]) for key, shown in zip(SURFACE, is_there, strict=True) if shown
    )


def rain_words(high_mm: float, measures: Measures) -> str:
    """How much rain there may be: ``up to 12 mm``, ``dry``, or nothing where nobody knows."""
    if not math.isfinite(high_mm):
        return ""
    much = measures.show(high_mm, "mm")
    return f"up to {much}" if much != measures.show(0.0, "mm") else "dry"


def due_rows(needs: Iterable[Need], district: District, measures: Measures) -> list[dict[str, Any]]:
    """How many roads, and how much road, need each treatment."""
    needs = tuple(needs)
    segments = district.network.segment_by_id
    length_m: dict[Treatment, float] = defaultdict(float)
    for need in needs:
        length_m[need.treatment] += segments[need.segment_id].length_m
    count = Counter(need.treatment for need in needs)
    return [
        {
            "label": treatment.label,
            "colour": FAMILY[treatment],
            "n": n,
            "length": measures.road(length_m[treatment]),
        }
        for treatment, n in count.most_common()
    ]


def pressing_rows(
    needs: Iterable[Need], district: District, measures: Measures
) -> list[dict[str, Any]]:
    """The few needs that should wait least."""
    segments = district.network.segment_by_id
    first = sorted(needs, key=lambda need: (-need.urgency, -need.benefit_h))[:_MOST_PRESSING]
    return [
        {
            "segment_id": need.segment_id,
            "route": segments[need.segment_id].route,
            "where": where_on(segments[need.segment_id], measures),
            "treatment": need.treatment.label,
            "cause": measures.words(need.cause),
        }
        for need in first
    ]


def assumed_rows(needs: Iterable[Need], measures: Measures) -> list[dict[str, Any]]:
    """What the needs rest on that nobody measured: the subject, how many roads, an example."""
    count: Counter[str] = Counter()
    example: dict[str, str] = {}
    for need in needs:
        for text in need.assumed:
            subject, _, rest = text.partition(":")
            count[subject] += 1
            example.setdefault(subject, measures.words(rest.strip()))
    return [
        {"subject": subject, "n": n, "example": example[subject]}
        for subject, n in count.most_common(_MOST_ASSUMED)
    ]


def hazard_rows(
    notices: Iterable[HazardNotice],
    district: District,
    measures: Measures,
    live: Iterable[JobCard] = (),
) -> list[dict[str, Any]]:
    """Open dangers, those that nobody has secured first; ``live`` are issued cards to take back."""
    cards = tuple(live)
    segments = district.network.segment_by_id
    return [
        {
            "kind": HAZARD_LABEL[notice.hazard.kind],
            "segment_id": notice.hazard.segment_id,
            "route": segments[notice.hazard.segment_id].route,
            "at": measures.show(notice.hazard.at_m, "m"),
            "state": _hazard_state(notice.hazard),
            "note": notice.hazard.note,
            "stops": notice.stops_routine_work,
            "cards": [
                card.number
                for card in cards
                if notice.stops_routine_work and card.segment_id == notice.hazard.segment_id
            ],
        }
        for notice in notices
    ]


def _go_row(task: Task, whole: Zone) -> GoRow:
    plain, watered = whole.go_share[task], whole.watered_share[task]
    days = tuple(
        GoDay(
            share=percent(go),
            percent=round(100 * go, 1),
            watered=percent(wet) if wet else "",
            watered_percent=round(100 * wet, 1),
        )
        for go, wet in zip(plain.tolist(), watered.tolist(), strict=True)
    )
    return GoRow(TASK_LABEL[task], days)


def _sentence(days: tuple[DayColumn, ...], go: tuple[GoRow, ...]) -> str:
    blading, cutting = go[0].days[0], go[1].days[0]
    said = f"Today light blading is a go on {blading.share} of the road length, cutting on"
    said += f" {cutting.share}"
    said += f" and on {cutting.watered} more with water." if cutting.watered else "."
    if len(days) > 1:
        said += f" Chance of rain tomorrow: {days[1].rain_chance}."
    return said


def _hazard_state(hazard: Hazard) -> str:
    noticed = f"noticed {moment(hazard.noticed_at)}"
    if hazard.barricaded_at is None:
        return f"{noticed}, not secured yet. Close or barricade it now."
    return f"{noticed}, barricaded {moment(hazard.barricaded_at)}, not repaired."
