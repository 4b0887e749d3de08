"""What the store holds, handed to the writers of open formats; pages and commands share this."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from crossfall.errors import InputError
from crossfall.io.conditions import write_conditions
from crossfall.io.export import write_network
from crossfall.io.exports import (
    CrewWork,
    crew_calendar,
    crew_work,
    day_gpx,
    open311_requests,
    work_zone_feed,
    write_everything,
    write_tables,
)
from crossfall.io.exports.open311 import as_xml
from crossfall.io.fleet import write_fleet
from crossfall.io.policy import write_policy
from crossfall_app.store import convert, models, repository
from crossfall_app.workspace import Workspace


def hand_out(
    workspace: Workspace,
    what: str,
    file: Path,
    *,
    only_changed: bool = False,
    machine: str | None = None,
    plan_id: str | None = None,
) -> None:
    """Write one kind of thing to a file, whole or not at all.

    Raises
    ------
    InputError
        If there is nothing of it to write.
    """
    if what == "roads":
        if not repository.has_network():
            raise InputError("the workspace has no network; bring one in with: crossfall import")
        write_network(repository.load_network(), file)
    elif what == "fleet":
        write_fleet(repository.load_fleet(), file)
    elif what == "conditions":
        write_conditions(repository.load_district().conditions, file)
    elif what == "policy":
        write_policy(repository.load_policy(), file, only_changed=only_changed)
    elif what == "everything":
        if not repository.has_network():
            raise InputError("the workspace has no network; bring one in with: crossfall import")
        write = write_tables if file.suffix.lower() == ".zip" else write_everything
        write(repository.load_district(), file)
    elif what == "work-zones":
        feed = work_zones(workspace, plan_id)
        _put(file, json.dumps(feed, ensure_ascii=False, indent=1) + "\n")
    elif what in ("calendar", "cancelled"):
        _put(file, calendar(workspace, what, machine=machine, plan_id=plan_id))
    elif what == "routes":
        _put(file, routes(workspace, machine=machine, plan_id=plan_id))
    elif what == "requests":
        rows = requests(workspace)
        if file.suffix.lower() == ".xml":
            _put(file, as_xml(rows, root="service_requests", each="request") + "\n")
        else:
            _put(file, json.dumps(rows, ensure_ascii=False, indent=1) + "\n")
    else:
        raise InputError(f"what is {what!r}; that cannot be written")


def work_zones(workspace: Workspace, plan_id: str | None = None) -> dict[str, Any]:
    """The WZDx feed of the latest plan's work, and of issued cards of plans before it."""
    return work_zone_feed(
        works(workspace, plan_id),
        repository.load_network(),
        publisher=repository.agency().name,
        source_id=own_name(),
        made_at=workspace.now(),
    )


def calendar(
    workspace: Workspace,
    what: str = "calendar",
    *,
    machine: str | None = None,
    plan_id: str | None = None,
) -> str:
    """The crews' calendar, or the cancellations of it."""
    chosen = [
        work for work in works(workspace, plan_id) if machine is None or _is_of(work, machine)
    ]
    return crew_calendar(
        chosen,
        name=f"{repository.agency().name}, crews",
        domain=own_name(),
        made_at=workspace.now(),
        method="CANCEL" if what == "cancelled" else "PUBLISH",
    )


def routes(workspace: Workspace, *, machine: str | None = None, plan_id: str | None = None) -> str:
    """Each machine's days of one plan as GPX, with stakes."""
    week = _week(plan_id)
    chosen = [
        each
        for each in week.plan.itineraries
        if machine is None or each.machine_id == _machine_id(machine)
    ]
    return day_gpx(
        chosen,
        week.jobs,
        repository.load_network(),
        zone=ZoneInfo(workspace.config.time_zone),
        name=f"{repository.agency().name}, week of {week.plan.first_day}",
    )


def requests(workspace: Workspace, **chosen: Any) -> list[dict[str, Any]]:
    """Requests in the shape of Open311; ``chosen`` as its filters."""
    district = repository.load_district()
    return open311_requests(
        district.requests,
        district.network,
        zone=ZoneInfo(workspace.config.time_zone),
        **chosen,
    )


def works(workspace: Workspace, plan_id: str | None = None) -> tuple[CrewWork, ...]:
    """Work of one plan; of the latest one, with orders of earlier plans that still stand."""
    zone, now = ZoneInfo(workspace.config.time_zone), workspace.now()
    week = _week(plan_id)
    found = list(crew_work(week.plan, week.jobs, week.cards, zone=zone, now=now))
    if plan_id is None:
        found += _older(week.plan.id, zone, now)
    return tuple(sorted(found, key=lambda each: (each.start, each.card.number)))


def own_name() -> str:
    """A name that belongs to this workspace alone and stays: of its very first row of history.

    It goes into every UID and event id, so that two agencies never share one.
    """
    first = models.Audit.objects.order_by("pk").values_list("hash", flat=True).first()
    return f"crossfall-{(first or 'empty')[:16]}"


def _older(latest: str, zone: ZoneInfo, now: datetime) -> list[CrewWork]:
    """Issued cards, and withdrawn or closed ones of these days, of plans before the latest."""
    rows = models.JobCard.objects.exclude(plan__key=latest).exclude(status="draft")
    rows = rows.filter(day__gte=now.date()) | rows.filter(status="issued")
    found: list[CrewWork] = []
    for key in dict.fromkeys(rows.values_list("plan__key", flat=True)):
        week = _week(key)
        cards = [convert.card_to_noun(row) for row in rows.filter(plan__key=key).order_by("number")]
        found += crew_work(week.plan, week.jobs, cards, zone=zone, now=now)
    return found


def _week(plan_id: str | None) -> repository.StoredWeek:
    week = repository.latest_week() if plan_id is None else repository.load_week(plan_id)
    if week is None:
        raise InputError("there is no plan yet; make one with: crossfall plan")
    return week


def _is_of(work: CrewWork, machine: str) -> bool:
    return machine in (work.card.machine, work.machine_id)


def _machine_id(machine: str) -> str:
    for each in repository.load_fleet().machines:
        if machine in (each.id, each.name):
            return each.id
    raise InputError(f"machine {machine!r} is not in the fleet")


def _put(file: Path, text: str) -> None:
    """Write beside the target, then move; a failure leaves what was there."""
    partial = file.with_name(file.name + ".part")
    try:
        with partial.open("w", encoding="utf-8", newline="") as target:
            target.write(text)
        partial.replace(file)
    finally:
        partial.unlink(missing_ok=True)
