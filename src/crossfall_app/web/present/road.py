"""One road's page: what it needs and why, its surface, its condition, its facts."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from crossfall.judgement import (
    LayerCheck,
    MoistureClass,
    RestingRoad,
    is_only_reported,
    open_hazards,
)
from crossfall.judgement.gate import GateTable
from crossfall.judgement.rating import RATING_NAMES
from crossfall.judgement.state import MoistureState
from crossfall.model import Condition, District, Need, Segment
from crossfall.model.need import Task
from crossfall_app.store.repository import StoredWeek
from crossfall_app.web.present.measures import Measures, day_name, hours, short_day
from crossfall_app.web.present.morning import hazard_rows
from crossfall_app.web.present.plan import where_on
from crossfall_app.web.present.themes import rating_of
from crossfall_app.web.present.words import (
    FAMILY,
    FEATURE_LABEL,
    SURFACE,
    SURFACE_LABEL,
    TASK_LABEL,
    VERDICT_LABEL,
)

_PART_WORDS = {
    "traffic": "a smoother ride for those who drive there while the work lasts",
    "road class": "what the road must carry whatever its traffic",
    "condition": "how far it has fallen, for work of this size",
    "delay": "dearer work that waiting would bring",
    "requests": "residents who asked",
    "served": "who depends on it: school bus, milk, logs, mail, emergency",
}
_TASKS: tuple[Task, ...] = ("light_blading", "cutting", "hauling")
_GATE_DAYS = 5
_SCORES = (
    ("crown", "Crown"),
    ("drainage", "Drainage"),
    ("gravel", "Gravel"),
    ("deformation", "Washboard, potholes, ruts"),
    ("defects", "Dust, loose stone"),
)
_MEASURED = (
    ("crossfall_pct", "Crossfall", None),
    ("gravel_mm", "Gravel", "mm"),
    ("corrugation_mm", "Washboard", "mm"),
    ("pothole_mm", "Potholes", "mm"),
    ("rut_mm", "Ruts", "mm"),
    ("loose_mm", "Loose stone", "mm"),
)
_FLAGS = (
    ("has_secondary_ditch", "secondary ditch along the edge"),
    ("has_high_shoulder", "high shoulder"),
    ("is_ditch_blocked", "ditch blocked"),
    ("is_culvert_blocked", "culvert blocked"),
)
_SURFACE_SOURCE = {
    "agency": "from your own records",
    "tag": "from the map's tags",
    "inferred": "inferred",
    "unknown": "nobody has said",
}


def road_page(
    segment: Segment,
    district: District,
    need: Need | None,
    condition: Condition | None,
    state: MoistureState | None,
    gates: GateTable | None,
    week: StoredWeek | None,
    today: date,
    measures: Measures,
    rest: RestingRoad | None = None,
    layer: LayerCheck | None = None,
) -> dict[str, Any]:
    """Everything that is known of one segment, in words."""
    dangers = open_hazards(district, today=today)
    here = [each for each in dangers if each.hazard.segment_id == segment.id]
    assumed = [measures.words(each) for each in need.assumed] if need else []
    return {
        "id": segment.id,
        "route": segment.route,
        "where": where_on(segment, measures),
        "surface": segment.surface,
        "is_maintained": segment.is_maintained,
        "is_unseen": segment.is_maintained and _last_look(segment, district) is None,
        "today": today.isoformat(),
        "hazards": hazard_rows(here, district, measures),
        "need": _need(need, measures) if need else None,
        "rest": rest.text if rest is not None else "",
        "layer": _layer(layer, measures) if layer is not None else None,
        "condition": _condition(condition, _last_look(segment, district), today, measures)
        if condition
        else None,
        "facts": _facts(segment, measures),
        "features": _features(segment, district, measures),
        "assumed": assumed,
        **_surface(segment, state, gates, today, measures),
        **_plan(segment, week, district, today, measures),
    }


def _need(need: Need, measures: Measures) -> dict[str, Any]:
    cause = measures.words(need.cause)
    return {
        "treatment": need.treatment.label,
        "colour": FAMILY[need.treatment],
        "cause": cause[:1].upper() + cause[1:],
        "first": ", then ".join(each.label.lower() for each in need.prerequisites),
        "after": ", then ".join(each.label.lower() for each in need.follow_ups),
        "urgency": f"{100 * need.urgency:.0f}",
        "worth": hours(need.benefit_h),
        "usual_work": hours(need.estimated_h),
        "parts": [
            {
                "name": part.name.capitalize(),
                "hours": f"{part.hours:.1f}",
                "says": _PART_WORDS[part.name],
                "percent": round(100 * part.hours / need.benefit_h, 1),
            }
            for part in need.benefit
        ],
        "reasons": [
            {"text": measures.words(each.text), "evidence": each.evidence, "source": each.source}
            for each in need.reasons
        ],
    }


def _layer(check: LayerCheck, measures: Measures) -> dict[str, Any]:
    show = measures.show
    needed = "more than the table knows" if check.needed_mm is None else show(check.needed_mm, "mm")
    return {
        "is_enough": check.is_enough,
        "rows": [
            ("There", show(check.there_mm, "mm")),
            ("Needed by the table", needed),
            ("Second opinion, while soft", show(check.second_opinion_mm, "mm")),
            ("Lost in a year", show(check.loss_mm_year, "mm")),
            (f"Left at the next regravel, in {check.regravel_years:g} years",
             show(check.left_mm, "mm")),
        ],
        "assumed": [measures.words(each) for each in check.assumed],
    }  # fmt: skip


def _condition(
    condition: Condition, look: Condition | None, today: date, measures: Measures
) -> dict[str, Any]:
    rating = rating_of(condition)
    bladed = condition.last_bladed_on
    when = "What it is believed to be like today. "
    if look is not None and is_only_reported(look):
        when += f"Reported bad {day_name(look.observed_on, today)}; nobody has looked yet. "
        when += "The scores are assumed. "
    elif look is not None and look.method == "default":
        when += "Nobody has looked at it yet. The scores are assumed. "
    elif look is not None:
        by = f" by {look.observer}" if look.observer else ""
        when += f"Last looked at {day_name(look.observed_on, today)}{by}. "
    when += f"Last bladed {day_name(bladed, today)}." if bladed else "Last blading not known."
    measured = [
        (label, f"{value:.1f} %" if unit is None else measures.show(value, unit))
        for name, label, unit in _MEASURED
        if (value := getattr(condition, name)) is not None
    ]
    flags = [label for name, label in _FLAGS if getattr(condition, name)]
    if flags:
        measured.append(("Seen", ", ".join(flags)))
    best = max(RATING_NAMES)
    return {
        "rating": f"{rating} {RATING_NAMES[rating]}",
        "method": condition.method,
        "when": when,
        "scores": [
            {
                "label": label,
                "value": f"{getattr(condition, name):.1f}",
                "percent": round(100 * getattr(condition, name) / best, 1),
            }
            for name, label in _SCORES
        ],
        "measured": measured,
    }


def _last_look(segment: Segment, district: District) -> Condition | None:
    looks = [each for each in district.conditions if each.segment_id == segment.id]
    return max(looks, key=lambda look: look.observed_on, default=None)


def _surface(
    segment: Segment,
    state: MoistureState | None,
    gates: GateTable | None,
    today: date,
    measures: Measures,
) -> dict[str, Any]:
    if state is None or gates is None or segment.id not in state.segment_ids:
        return {}
    is_unsure = state.is_unsure(segment.id, today)
    key = SURFACE[MoistureClass.UNKNOWN if is_unsure else state.most_likely(segment.id, today)]
    days = [today + timedelta(days=n) for n in range(min(_GATE_DAYS, gates.n_days))]
    rows: list[dict[str, Any]] = [
        {
            "label": TASK_LABEL[task],
            "days": [
                {
                    "decision": verdict.decision,
                    "label": VERDICT_LABEL[verdict.decision],
                    "reason": verdict.reason,
                }
                for day in days
                for verdict in (gates.verdict(segment.id, day, task),)
            ],
        }
        for task in _TASKS
    ]
    figures = state.reason(segment.id, today)
    reasons = [
        measures.words(f"{row['label']} today: {verdict['reason'].removesuffix(figures).strip()}")
        for row in rows
        for verdict in row["days"][:1]
    ]
    return {
        "surface_today": {
            "colour": key,
            "label": "Not sure" if is_unsure else SURFACE_LABEL[key],
            "reason": measures.words(figures),
        },
        "gate_days": [short_day(day, today) for day in days],
        "gates": rows,
        "gate_reasons": reasons,
    }


def _plan(
    segment: Segment, week: StoredWeek | None, district: District, today: date, measures: Measures
) -> dict[str, Any]:
    if week is None:
        return {}
    stages = {
        stage.id: stage for job in week.jobs if job.segment_id == segment.id for stage in job.stages
    }
    machines = {machine.id: machine.name for machine in district.fleet.machines}
    cards = {card.stage_id: card.number for card in week.cards}
    planned = [
        {
            "day": day_name(itinerary.day, today),
            "stage": stages[stage_id].name,
            "machine": machines.get(itinerary.machine_id, itinerary.machine_id),
            "hours": hours(stages[stage_id].work_min / 60),
            "card": cards.get(stage_id),
        }
        for itinerary in sorted(week.plan.itineraries, key=lambda each: each.day)
        for stage_id in itinerary.stage_ids
        if stage_id in stages
    ]
    left_out = [
        {
            "reason": measures.words(each.reason),
            "would_change": measures.words(each.would_change),
        }
        for each in week.plan.unserved
        if each.segment_id == segment.id
    ]
    return {"plan": planned, "left_out": left_out[0] if left_out else None}


def _facts(segment: Segment, measures: Measures) -> list[dict[str, str]]:
    show = measures.show
    facts = [
        ("Length", measures.road(segment.length_m), ""),
        ("Surface", f"{segment.surface}, {_SURFACE_SOURCE[segment.surface_source]}", ""),
        ("Class", segment.road_class, ""),
        ("Width", show(segment.width_m, "m"), segment.width_method),
        ("Traffic", f"{segment.adt:,.0f} vehicles a day", segment.adt_method),
        ("Gravel", show(segment.gravel_mm, "mm"), segment.gravel_method),
        ("Material", segment.material, ""),
        ("Drainage", segment.drainage, ""),
        ("Shade", segment.shade, ""),
        ("Grade", f"{segment.grade_pct:.1f} %", ""),
    ]
    if segment.max_mass_t is not None:
        facts.append(("Posted limit", show(segment.max_mass_t, "t"), ""))
    if segment.serves:
        facts.append(("Serves", segment.serves.replace(" ", ", "), ""))
    if segment.district:
        facts.append(("Board district", segment.district, ""))
    if segment.jurisdiction:
        facts.append(("Jurisdiction", segment.jurisdiction, ""))
    facts.append(("Key", segment.external_id or segment.id, ""))
    return [{"name": name, "value": value, "method": method} for name, value, method in facts]


def _features(segment: Segment, district: District, measures: Measures) -> list[str]:
    found = []
    for each in district.network.features_by_segment.get(segment.id, ()):
        text = FEATURE_LABEL[each.kind]
        if each.name:
            text += f" {each.name}"
        if each.at_m is not None:
            text += f", at {measures.show(each.at_m, 'm')}"
        if each.side != "both":
            text += f", {each.side} side"
        if each.max_mass_t is not None:
            text += f", limit {measures.show(each.max_mass_t, 't')}"
        found.append(text)
    return found
