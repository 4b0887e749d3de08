"""One piece of planned work as others want to know it: what, where, when, and how certain."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, time, timedelta, tzinfo
from typing import Literal

from crossfall.model import Job, JobCard, Plan, Stage

WorkStatus = Literal["planned", "ordered", "active", "done", "cancelled"]
"""Planned is a draft, ordered an issued card; active is ordered work while its time runs."""


@dataclass(frozen=True, slots=True)
class CrewWork:
    """A card with its stage, and when it is to be done."""

    card: JobCard
    stage: Stage
    start: datetime
    end: datetime
    status: WorkStatus
    machine_id: str = ""
    operator_id: str = ""


def crew_work(
    plan: Plan,
    jobs: Iterable[Job],
    cards: Iterable[JobCard],
    *,
    zone: tzinfo,
    now: datetime,
) -> tuple[CrewWork, ...]:
    """Every card of a plan with its times, by day and number.

    Parameters
    ----------
    plan, jobs, cards
        One planned week as it is kept.
    zone : tzinfo
        The agency's; cards tell the time of day.
    now : datetime
        Ordered work whose time runs at this moment is active.
    """
    stages = {(job.id, stage.id): stage for job in jobs for stage in job.stages}
    found = []
    for card in sorted(cards, key=lambda each: (each.day, each.number, each.version)):
        stage = stages.get((card.job_id, card.stage_id))
        if stage is None:
            continue
        start, end, machine_id, operator_id = _times(plan, card, stage, zone)
        status: WorkStatus = {
            "draft": "planned",
            "issued": "ordered",
            "closed": "done",
            "withdrawn": "cancelled",
        }[card.status]  # type: ignore[assignment]
        if status == "ordered" and start <= now <= end:
            status = "active"
        found.append(CrewWork(card, stage, start, end, status, machine_id, operator_id))
    return tuple(found)


def _times(
    plan: Plan, card: JobCard, stage: Stage, zone: tzinfo
) -> tuple[datetime, datetime, str, str]:
    """From the plan's own legs; a card that was moved keeps its clock and the stage's length."""
    for itinerary in plan.itineraries:
        legs = [leg for leg in itinerary.legs if leg.stage_id == stage.id]
        if itinerary.day == card.day and legs:
            midnight = datetime.combine(card.day, time(), zone)
            first = min(leg.start_min for leg in legs)
            last = max(leg.end_min for leg in legs)
            return (
                midnight + timedelta(minutes=first),
                midnight + timedelta(minutes=last),
                itinerary.machine_id,
                itinerary.operator_id,
            )
    hours, _, minutes = (card.start_clock or "07:00").partition(":")
    start = datetime.combine(card.day, time(int(hours), int(minutes or 0)), zone)
    return start, start + timedelta(minutes=stage.work_min + stage.wait_min), "", ""
