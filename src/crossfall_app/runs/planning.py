"""Planning a week with what the store knows: what the command and the page both do."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from crossfall.model import District, Plan, Progress, quiet
from crossfall.workflow import WeekPlan, plan_week
from crossfall_app.store import repository


@dataclass(frozen=True)
class Planned:
    """A week that was planned and not yet kept, with the district it was planned for."""

    district: District
    week: WeekPlan


def plan_from_store(
    *,
    first_day: date,
    n_days: int,
    seconds: float,
    seed: int,
    made_at: datetime,
    progress: Progress = quiet,
) -> Planned:
    """Load the district and plan; :func:`crossfall_app.store.repository.save_week` keeps it.

    Raises
    ------
    InputError
        If the district cannot be planned for; the message says what is missing.
    Cancelled
        If ``progress`` raises it.
    """
    district = repository.load_district()
    progress(0.0, "The district is loaded")
    week = plan_week(
        district,
        first_day=first_day,
        n_days=n_days,
        made_at=made_at,
        seconds=seconds,
        seed=seed,
        previous=_plan_in_force(),
        progress=progress,
    )
    return Planned(district, week)


def _plan_in_force() -> Plan | None:
    """A plan that a crew has cards of; drafts bind nobody."""
    latest = repository.latest_week()
    if latest is None or not any(card.status in {"issued", "closed"} for card in latest.cards):
        return None
    return latest.plan
