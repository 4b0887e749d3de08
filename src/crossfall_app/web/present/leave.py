"""The page of permissions and signatures: what work waits for, and what is on file."""

from __future__ import annotations

from datetime import date
from typing import Any

from crossfall.model import Clearance, DesignSignature, District
from crossfall_app.store.repository import StoredWeek
from crossfall_app.web.present.measures import Measures, day_name

KIND_LABEL = {
    "utilities": "Buried utilities",
    "stream": "Stream",
    "wetland": "Wetland",
    "rail": "Railway",
    "right_of_way": "Right of way",
}


def waiting_rows(
    district: District, week: StoredWeek | None, today: date, units: Measures
) -> list[dict[str, Any]]:
    """Stages of the latest plan that have no day on which all their permissions hold."""
    left = {each.job_id for each in (week.plan.unserved if week else ())}
    segments = district.network.segment_by_id
    rows = []
    for job in week.jobs if week else ():
        if job.id not in left or job.segment_id not in segments:
            continue
        for stage in job.stages:
            lacks = [
                kind
                for kind in stage.leave_lacks
                if kind in KIND_LABEL and not _held(district, kind, stage, today)
            ]
            if lacks:
                rows.append(
                    {
                        "segment_id": job.segment_id,
                        "road": segments[job.segment_id].route,
                        "work": stage.name,
                        "kinds": [(kind, KIND_LABEL[kind]) for kind in lacks],
                        "stretch": f"{units.show(stage.from_m, 'm')} to"
                        f" {units.show(stage.to_m, 'm')}",
                    }
                )
    return rows


def clearance_rows(district: District, today: date, units: Measures) -> list[dict[str, Any]]:
    """Everything on file, what runs out first at the top, what has run out at the end."""
    segments = district.network.segment_by_id
    ordered = sorted(
        district.clearances, key=lambda each: (each.expires_on < today, each.expires_on)
    )
    return [
        {
            "road": segments[each.segment_id].route,
            "segment_id": each.segment_id,
            "kind": KIND_LABEL[each.kind],
            "reference": each.reference,
            "granted_by": each.granted_by,
            "begins": day_name(each.valid_from),
            "ends": day_name(each.expires_on),
            "stretch": f"{units.show(each.from_m, 'm')} to"
            f" {'the end' if each.to_m is None else units.show(each.to_m, 'm')}",
            "state": _state(each, today),
        }
        for each in ordered
    ]


def design_rows(
    district: District, week: StoredWeek | None, units: Measures
) -> list[dict[str, Any]]:
    """Designs of the latest plan that wait for a signature, with what they would take."""
    segments = district.network.segment_by_id
    needs = {need.id: need for need in (week.needs if week else ())}
    rows = []
    for job in week.jobs if week else ():
        if not job.needs_engineer or job.segment_id not in segments:
            continue
        need = needs.get(job.need_id)
        rows.append(
            {
                "segment_id": job.segment_id,
                "road": segments[job.segment_id].route,
                "length": units.road(segments[job.segment_id].length_m),
                "label": job.treatment.label,
                "treatment": job.treatment.value,
                "cause": need.cause if need else "",
                "why": [
                    units.words(text)
                    for text in job.assumed
                    if "laid out" in text or "engineer" in text or "limit" in text
                ],
                "stages": [stage.name for stage in job.stages],
            }
        )
    return rows


def signature_rows(district: District, today: date, units: Measures) -> list[dict[str, Any]]:
    """What was signed, the newest first, and whether it still stands."""
    segments = district.network.segment_by_id
    last: dict[tuple[str, str], str] = {
        (each.segment_id, each.treatment.value): each.id for each in district.signatures
    }
    return [
        {
            "id": each.id,
            "road": segments[each.segment_id].route,
            "segment_id": each.segment_id,
            "work": each.treatment.label,
            "work_key": each.treatment.value,
            "signed": each.words,
            "until": day_name(each.expires_on) if each.expires_on else "",
            "limit": units.show(each.limit_t, "t") if each.limit_t is not None else "",
            "note": each.note,
            "state": _word_state(each, today, last),
        }
        for each in reversed(district.signatures)
    ]


def _held(district: District, kind: str, stage: Any, today: date) -> bool:
    """Whether it has come on file since the plan was made."""
    return any(
        each.segment_id == stage.segment_id
        and each.kind == kind
        and each.holds(max(today, each.valid_from), stage.from_m, stage.to_m)
        for each in district.clearances
        if each.expires_on >= today
    )


def _state(each: Clearance, today: date) -> str:
    if each.expires_on < today:
        return "run out"
    return "holds" if each.valid_from <= today else "not yet"


def _word_state(each: DesignSignature, today: date, last: dict[tuple[str, str], str]) -> str:
    if each.is_withdrawn:
        return "taken back"
    if last[each.segment_id, each.treatment.value] != each.id:
        return "replaced"
    return "stands" if each.stands(today) else "run out"
