"""The books as pages: work and its costs, what is open, a day's sheet, an event, what is kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import Any

from crossfall.model import District, Money
from crossfall.model.policy.retention import RetentionPolicy
from crossfall.records import OpenEnd
from crossfall.records.ledger import By, Total, WorkLine, grand_total, totals
from crossfall_app.store.books import Approval, Event
from crossfall_app.web.present.measures import Measures, day_name, hours, moment, money
from crossfall_app.web.present.plan import where_on
from crossfall_app.web.present.words import FAMILY

BY_LABEL: dict[By, str] = {
    "road": "By road",
    "treatment": "By treatment",
    "month": "By month",
    "district": "By district",
}
WORK_HEADS = (
    "record", "day", "road", "segment", "treatment", "passes", "hours", "by", "machine", "card",
    "loads", "loose_gravel_m3", "water_l", "labour", "equipment", "material", "cost", "currency",
    "price_year", "how", "finished", "note",
)  # fmt: skip


def work_rows(
    lines: Iterable[WorkLine], district: District, units: Measures
) -> list[dict[str, Any]]:
    """Work for the page."""
    segments = district.network.segment_by_id
    return [
        {
            "id": line.record.id,
            "day": day_name(line.record.done_on),
            "segment_id": line.record.segment_id,
            "route": line.route,
            "where": where_on(segments[line.record.segment_id], units)
            if line.record.segment_id in segments
            else "",
            "treatment": line.record.treatment.label,
            "colour": FAMILY[line.record.treatment],
            "by": line.record.by,
            "machine": line.machine,
            "hours": hours(line.record.hours),
            "gravel": units.show(line.record.loose_gravel_m3, "m3")
            if line.record.loose_gravel_m3
            else "",
            "cost": money(line.cost),
            "how": line.how,
            "card": (line.record.card_id or "").rpartition("-")[2],
        }
        for line in lines
    ]


def work_file(lines: Iterable[WorkLine]) -> list[list[Any]]:
    """The same for a spreadsheet."""
    return [
        [
            line.record.id, line.record.done_on.isoformat(), line.route, line.record.segment_id,
            line.record.treatment.value, line.record.n_passes, line.record.hours, line.record.by,
            line.machine, line.record.card_id or "", line.record.n_loads,
            line.record.loose_gravel_m3, line.record.water_l, _major(line.labour),
            _major(line.equipment), _major(line.material), _major(line.cost), line.cost.currency,
            line.cost.year, line.how, "yes" if line.record.is_finished else "no", line.record.note,
        ]
        for line in lines
    ]  # fmt: skip


def total_rows(lines: tuple[WorkLine, ...], by: By, units: Measures) -> list[dict[str, Any]]:
    """Sums with a bar each: the share of the dearest."""
    found = totals(lines, by)
    most = max((each.cost.minor for each in found), default=0)
    return [_total_row(each, units, most) for each in found]


def all_of(lines: tuple[WorkLine, ...], units: Measures) -> dict[str, Any]:
    """One line for everything."""
    return _total_row(grand_total(lines), units, 0)


def open_register(
    ends: Iterable[OpenEnd],
    approvals: Mapping[tuple[str, str], Approval],
    district: District,
    units: Measures,
    today: date,
) -> list[dict[str, Any]]:
    """Windrows, culverts and work left open, with due date and who let it stay."""
    segments = district.network.segment_by_id
    rows = []
    for end in ends:
        approval = approvals.get((end.record_id, end.kind))
        holds = approval is not None and approval.until >= today
        segment = segments.get(end.segment_id)
        rows.append(
            {
                "kind": end.kind,
                "record": end.record_id,
                "segment_id": end.segment_id,
                "route": segment.route if segment else end.segment_id,
                "where": where_on(segment, units) if segment else "",
                "text": units.words(end.text),
                "since": day_name(end.since, today),
                "due": day_name(end.due, today),
                "is_late": end.is_overdue(today),
                "in_way": end.is_in_travelled_way,
                "may_stay": holds,
                "approved": f"{approval.approved_by}, {moment(approval.at)}, until the morning of"
                f" {day_name(approval.until, today)}"
                if approval
                else "",
                "must_close": end.is_in_travelled_way and not holds,
            }
        )
    return rows


def stock_rows(district: District, units: Measures) -> list[dict[str, str]]:
    """Gravel on hand, pit by pit."""
    return [
        {
            "name": pit.place.name,
            "material": pit.material,
            "stock": units.show(pit.stock_m3, "m3"),
        }
        for pit in district.fleet.pits
    ]


def day_sheet_rows(lines: Iterable[WorkLine], units: Measures) -> list[dict[str, Any]]:
    """A day's work person by person: the time sheet, from what was reported on the road."""
    people: dict[str, list[WorkLine]] = {}
    for line in lines:
        people.setdefault(line.record.by or "nobody named", []).append(line)
    return [
        {
            "who": who,
            "hours": hours(sum(line.record.hours for line in mine)),
            "lines": [
                {
                    "route": line.route,
                    "treatment": line.record.treatment.label,
                    "machine": line.machine,
                    "passes": line.record.n_passes,
                    "hours": hours(line.record.hours),
                    "loads": line.record.n_loads or "",
                    "gravel": units.show(line.record.loose_gravel_m3, "m3")
                    if line.record.loose_gravel_m3
                    else "",
                    "card": line.record.card_id or "",
                    "note": line.record.note,
                    "left": _left(line),
                }
                for line in mine
            ],
        }
        for who, mine in sorted(people.items())
    ]


def event_rows(events: Iterable[Event]) -> list[dict[str, Any]]:
    """Event codes for the page."""
    return [
        {
            "code": each.code,
            "name": each.name,
            "days": day_name(each.first_day)
            + (f" to {day_name(each.last_day)}" if each.last_day else ", still open"),
            "n_records": len(each.records),
            "n_hazards": len(each.hazards),
            "note": each.note,
        }
        for each in events
    ]


def retention_rows(
    oldest: Mapping[str, tuple[int, date | None]], policy: RetentionPolicy, today: date
) -> list[dict[str, Any]]:
    """What is kept, how long, and how much is past its time; nothing is thrown away here."""
    rows = []
    for key, label in KEPT.items():
        years = int(getattr(policy, f"{key}_years"))
        n, first = oldest.get(key, (0, None))
        until = _years_after(first, years) if first else None
        rows.append(
            {
                "label": label,
                "years": years,
                "n": n,
                "oldest": day_name(first) + f" {first.year}" if first else "none yet",
                "until": f"{until.year}" if until else "",
                "is_past": until is not None and until < today,
            }
        )
    return rows


KEPT = {
    "work": "Work done and its costs",
    "inspection": "Inspections and photos",
    "hazard": "Dangers",
    "request": "Residents' requests",
    "card": "Job cards",
    "plan": "Plans and reasons",
    "limit": "Load limits",
    "event": "Event codes",
}


def _years_after(day: date, years: int) -> date:
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return day.replace(year=day.year + years, day=28) + timedelta(days=1)


def _total_row(each: Total, units: Measures, most: int) -> dict[str, Any]:
    return {
        "key": each.key,
        "n": each.n,
        "hours": hours(each.hours),
        "gravel": units.show(each.gravel_m3, "m3") if each.gravel_m3 else "",
        "cost": money(each.cost),
        "n_priced": each.n_priced,
        "percent": round(100 * each.cost.minor / most, 1) if most else 0,
    }


def _left(line: WorkLine) -> str:
    record = line.record
    told = []
    if record.windrow_side:
        told.append(f"windrow left, {record.windrow_side}")
    if record.is_culvert_open:
        told.append("culvert open")
    if not record.is_finished:
        told.append("not finished")
    return ", ".join(told)


def _major(amount: Money) -> float:
    return amount.minor / 100
