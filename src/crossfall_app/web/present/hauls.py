"""Hauls by agreement: what was agreed, how the route was found and left, what is booked to it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from crossfall.judgement.haul import HaulStatement, haul_statement
from crossfall.judgement.rating import RATING_NAMES
from crossfall.model import Condition, District, LoadExemption
from crossfall_app.web.present.measures import Measures, day_name, moment, money
from crossfall_app.web.present.themes import rating_of


def hauls(district: District, today: date, measures: Measures) -> list[dict[str, Any]]:
    """Agreements with their surveys, what is booked and what is missing; the latest first."""
    agreements = sorted(
        district.haul_agreements, key=lambda each: (each.first_day, each.id), reverse=True
    )
    return [
        _haul(haul_statement(each, district, today=today), district, today, measures)
        for each in agreements
    ]


def other_leave(exemptions: Iterable[LoadExemption], measures: Measures) -> list[str]:
    """Leave to pass a limit outside any agreement."""
    return [_leave(each, measures) for each in exemptions if each.agreement_id is None]


def _haul(
    told: HaulStatement, district: District, today: date, measures: Measures
) -> dict[str, Any]:
    agreement = told.agreement
    return {
        "id": agreement.id,
        "company": agreement.company,
        "phase": told.phase,
        "is_over": told.phase == "ended",
        "days": f"{day_name(agreement.first_day)} to {day_name(agreement.last_day)}",
        "first_day": agreement.first_day.isoformat(),
        "latest_end": min(today, agreement.last_day).isoformat(),
        "tonnes": measures.show(agreement.tonnes, "t"),
        "trucks": f"{told.trucks_a_day:.0f}",
        "bond": money(agreement.bond) if agreement.bond else "none",
        "signed_by": agreement.signed_by,
        "note": agreement.note,
        "roads": [
            {"id": segment_id, "route": _road(segment_id, district)}
            for segment_id in agreement.segment_ids
        ],
        "surveys": [
            {
                "id": each.segment_id,
                "road": _road(each.segment_id, district),
                "before": _look(each.before, measures),
                "after": _look(each.after, measures),
            }
            for each in told.surveys
        ],
        "n_before": sum(each.before is not None for each in told.surveys),
        "n_after": sum(each.after is not None for each in told.surveys),
        "n_roads": len(told.surveys),
        "booked": ", ".join(money(each) for each in told.costs) or "nothing",
        "n_records": len(told.records),
        "n_uncosted": told.n_uncosted,
        "unbooked": [
            {
                "id": each.id,
                "what": f"{each.treatment.label}, {_road(each.segment_id, district)},"
                f" {day_name(each.done_on)}",
                "cost": money(each.cost) if each.cost is not None else "no cost yet",
            }
            for each in told.unbooked
        ],
        "missing": list(told.missing),
        "leave": [
            _leave(each, measures)
            for each in district.load_exemptions
            if each.agreement_id == agreement.id
        ],
    }


def _look(look: Condition | None, measures: Measures) -> dict[str, Any] | None:
    if look is None:
        return None
    rating = rating_of(look)
    rut = "" if look.rut_mm is None else f", ruts {measures.show(look.rut_mm, 'mm')}"
    gravel = "" if look.gravel_mm is None else f", gravel {measures.show(look.gravel_mm, 'mm')}"
    return {
        "words": f"{rating} {RATING_NAMES[rating]}, {day_name(look.observed_on)}{rut}{gravel}",
        "photos": [
            {"name": name, "alt": f"Photo {n} of {len(look.photos)}"}
            for n, name in enumerate(look.photos, start=1)
        ],
    }


def _leave(each: LoadExemption, measures: Measures) -> str:
    axle = f", axles up to {measures.show(each.axle_t, 't')}" if each.axle_t is not None else ""
    because = f" ({each.reason})" if each.reason else ""
    return (
        f"{each.holder}: {day_name(each.first_day)} to {day_name(each.last_day)}{axle}, granted by"
        f" {each.granted_by} on {moment(each.granted_at)}{because}"
    )


def _road(segment_id: str, district: District) -> str:
    segment = district.network.segment_by_id.get(segment_id)
    return segment.route if segment is not None else segment_id
