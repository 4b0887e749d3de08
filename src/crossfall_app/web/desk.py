"""What a page stands on: the district, its morning sheet, and the latest plan.

Working out the surface of every road takes a moment, so the last morning is kept in memory for as
long as nothing in the store has changed; every change leaves a line in the audit, and only what it
touched is read again.

A served office with many people goes one step further: while a new desk is laid in the background,
whoever changed nothing since may still look at the one before, which is a second or two old. Who
made a change always sees it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from threading import Lock, Thread
from typing import Any, TypeVar

from django.db import DatabaseError, connection

from crossfall.judgement import SurfaceDifference
from crossfall.judgement.turned import Turned, turned_since_yesterday
from crossfall.model import District
from crossfall.workflow import MorningSheet, morning, what_changed
from crossfall_app.store import models, repository
from crossfall_app.store.fresh import Changes, changes_since, refreshed
from crossfall_app.store.repository import StoredWeek
from crossfall_app.workspace import current_workspace, workspace_from_environment

OUTLOOK_DAYS = 10
ALL = "all"
"""Made of everything: gone with any change."""
T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class Desk:
    """Everything that lies on the foreman's desk this morning."""

    district: District
    sheet: MorningSheet
    week: StoredWeek | None
    turned: tuple[Turned, ...] = ()
    """What opened and closed since yesterday."""
    _made: dict[str, tuple[frozenset[str], Any]] = field(default_factory=dict, repr=False)

    @property
    def today(self) -> date:
        return self.sheet.today

    def once(self, name: str, make: Callable[[], T], *, of: Iterable[str] = (ALL,)) -> T:
        """What ``make`` gives, made once for as long as what it is made ``of`` does not change.

        Parts are ``week``, those of :class:`crossfall_app.store.fresh.Changes`, or everything.
        """
        if name not in self._made:
            self._made[name] = (frozenset(of), make())
        made: T = self._made[name][1]
        return made

    def still_true(self, changes: Changes) -> dict[str, tuple[frozenset[str], Any]]:
        """What was made of parts that did not change."""
        touched = {ALL, *changes.parts, *(("week",) if changes.is_week else ())}
        return {name: kept for name, kept in self._made.items() if not kept[0] & touched}

    @cached_property
    def news(self) -> SurfaceDifference | None:
        """What the looks and readings of today changed; None where no road hears any."""
        told = {each.id for each in self.district.observations if each.observed_on == self.today}
        if self.sheet.state is None or not told:
            return None
        found = what_changed(self.district, told, today=self.today, n_days=OUTLOOK_DAYS)
        return found if found.touched_ids else None


@dataclass(frozen=True, eq=False)
class _Laid:
    """A desk, and up to which line of the audit it is true."""

    place: str
    line: int
    today: date
    desk: Desk


def this_morning() -> Desk:
    """The district as it stands now; worked out again only after a change or at midnight."""
    place, line, today = str(workspace_from_environment()), _last_line(), agency_today()
    laid = _LAID.get(place)
    if laid is not None and laid.today == today:
        if laid.line == line:
            return laid.desk
        is_young = _age(laid) < _OLDEST_S
        if _MAY_WAIT.get() and is_young and laid.line >= _MUST_SEE.get():
            _lay_beside(place)
            return laid.desk
    return _lay(place)


def agency_today() -> date:
    """Today where the roads are; an invented district stays on the morning it was made for."""
    return repository.agency().invented_today or current_workspace().today()


@contextmanager
def a_moment_old(must_see: int) -> Iterator[None]:
    """Within, a desk that is true up to line ``must_see`` of the audit will do."""
    waits, sees = _MAY_WAIT.set(True), _MUST_SEE.set(must_see)
    try:
        yield
    finally:
        _MAY_WAIT.reset(waits)
        _MUST_SEE.reset(sees)


def last_line() -> int:
    """The audit's last line: what somebody who changed something must see."""
    return _last_line()


_MAY_WAIT: ContextVar[bool] = ContextVar("may_wait", default=False)
_MUST_SEE: ContextVar[int] = ContextVar("must_see", default=0)
_LOCK = Lock()
_AT_WORK = Lock()
_LAID: dict[str, _Laid] = {}
_OVER_SINCE: dict[_Laid, float] = {}
_BEGAN: dict[str, float] = {}
_PAUSE_S = 3.0
"""Between two desks laid in the background, so that many small changes are taken in together."""
_OLDEST_S = 10.0
"""A desk that could not be brought up to date for so long is shown to nobody any more."""


def _age(laid: _Laid) -> float:
    """For how long it has been known that this desk is not the newest [s]."""
    if laid not in _OVER_SINCE:
        _OVER_SINCE.clear()
        _OVER_SINCE[laid] = time.monotonic()
    return time.monotonic() - _OVER_SINCE[laid]


def _lay(place: str) -> Desk:
    """Bring the desk up to date; two who ask at once share the work."""
    with _LOCK:
        line, today = _last_line(), agency_today()
        laid = _LAID.get(place)
        if laid is not None and (laid.line, laid.today) == (line, today):
            return laid.desk
        desk = _work_out(laid, today)
        _LAID.clear()
        _LAID[place] = _Laid(place, line, today, desk)
        return desk


def _lay_beside(place: str) -> None:
    """The same from a thread of its own, one at a time."""
    if time.monotonic() - _BEGAN.get(place, -_PAUSE_S) < _PAUSE_S:
        return
    if not _AT_WORK.acquire(blocking=False):
        return
    _BEGAN.clear()
    _BEGAN[place] = time.monotonic()

    def work() -> None:
        try:
            _lay(place)
        except DatabaseError:
            # The next who asks tries again, and is told if it still cannot be
            pass
        finally:
            _AT_WORK.release()
            connection.close()

    Thread(target=work, name="crossfall-desk", daemon=True).start()


def _work_out(laid: _Laid | None, today: date) -> Desk:
    changes = changes_since(laid.line) if laid is not None and laid.today == today else None
    if laid is None or changes is None or changes.is_all or laid.line > _last_line():
        return _whole(repository.load_district(), today, repository.latest_week())
    before = laid.desk
    week = repository.latest_week() if changes.is_week else before.week
    district = refreshed(before.district, changes)
    kept = before.still_true(changes)
    if changes.is_surface:
        return _whole(district, today, week, kept)
    return Desk(district, before.sheet, week, before.turned, kept)


def _whole(
    district: District,
    today: date,
    week: StoredWeek | None,
    kept: dict[str, tuple[frozenset[str], Any]] | None = None,
) -> Desk:
    sheet = morning(district, today=today, n_days=OUTLOOK_DAYS)
    turned = turned_since_yesterday(district, today=today) if sheet.state is not None else ()
    return Desk(district, sheet, week, turned, kept or {})


def _last_line() -> int:
    last = models.Audit.objects.order_by("-pk").values_list("pk", flat=True).first()
    return last or 0
