"""What a page stands on: the district, this morning's surface and needs, and the latest plan.

Working out the surface of every road takes a moment, so the last morning is kept in memory for as
long as nothing in the store has changed; every change leaves a line in the audit.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from threading import Lock

from crossfall.errors import InputError
from crossfall.judgement import find_needs, judge_gates, surface_state
from crossfall.judgement.gate import GateTable
from crossfall.judgement.state import MoistureState
from crossfall.model import Condition, District, Need
from crossfall_app.store import models, repository
from crossfall_app.store.repository import StoredWeek
from crossfall_app.workspace import current_workspace, workspace_from_environment

OUTLOOK_DAYS = 10


@dataclass(frozen=True, eq=False)
class Morning:
    """Everything known on one morning, and what it means for the roads."""

    today: date
    district: District
    needs: tuple[Need, ...]
    conditions: tuple[Condition, ...]
    week: StoredWeek | None
    state: MoistureState | None
    """None when the weather does not reach today; ``trouble`` says why."""
    gates: GateTable | None
    trouble: str = ""


def this_morning() -> Morning:
    """The district as it stands now; worked out again only after a change or at midnight."""
    key = (_store_version(), agency_today())
    with _LOCK:
        if key not in _KEPT:
            made = _work_out(key[1])
            _KEPT.clear()
            _KEPT[key] = made
        return _KEPT[key]


def agency_today() -> date:
    """Today where the roads are; an invented district stays on the morning it was made for."""
    return repository.agency().invented_today or current_workspace().today()


_LOCK = Lock()
_KEPT: dict[tuple[object, date], Morning] = {}


def _work_out(today: date) -> Morning:
    district = repository.load_district()
    needs, conditions = find_needs(district, today=today)
    state, gates, trouble = None, None, ""
    try:
        state = surface_state(district, first_day=today, n_days=OUTLOOK_DAYS)
        gates = judge_gates(state, district.fleet, district.policy)
    except InputError as error:
        trouble = str(error)
    week = repository.latest_week()
    return Morning(today, district, needs, conditions, week, state, gates, trouble)


def _store_version() -> tuple[str, int]:
    last = models.Audit.objects.order_by("-pk").values_list("pk", flat=True).first()
    return str(workspace_from_environment()), last or 0
