"""What a page stands on: the district, its morning sheet, and the latest plan.

Working out the surface of every road takes a moment, so the last morning is kept in memory for as
long as nothing in the store has changed; every change leaves a line in the audit.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property
from threading import Lock

from crossfall.judgement import SurfaceDifference
from crossfall.judgement.turned import Turned, turned_since_yesterday
from crossfall.model import District
from crossfall.workflow import MorningSheet, morning, what_changed
from crossfall_app.store import models, repository
from crossfall_app.store.repository import StoredWeek
from crossfall_app.workspace import current_workspace, workspace_from_environment

OUTLOOK_DAYS = 10


@dataclass(frozen=True, eq=False)
class Desk:
    """Everything that lies on the foreman's desk this morning."""

    district: District
    sheet: MorningSheet
    week: StoredWeek | None
    turned: tuple[Turned, ...] = ()
    """What opened and closed since yesterday."""

    @property
    def today(self) -> date:
        return self.sheet.today

    @cached_property
    def news(self) -> SurfaceDifference | None:
        """What the looks and readings of today changed; None where no road hears any."""
        told = {each.id for each in self.district.observations if each.observed_on == self.today}
        if self.sheet.state is None or not told:
            return None
        found = what_changed(self.district, told, today=self.today, n_days=OUTLOOK_DAYS)
        return found if found.touched_ids else None


def this_morning() -> Desk:
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
_KEPT: dict[tuple[object, date], Desk] = {}


def _work_out(today: date) -> Desk:
    district = repository.load_district()
    sheet = morning(district, today=today, n_days=OUTLOOK_DAYS)
    turned = turned_since_yesterday(district, today=today) if sheet.state is not None else ()
    return Desk(district, sheet, repository.latest_week(), turned)


def _store_version() -> tuple[str, int]:
    last = models.Audit.objects.order_by("-pk").values_list("pk", flat=True).first()
    return str(workspace_from_environment()), last or 0
