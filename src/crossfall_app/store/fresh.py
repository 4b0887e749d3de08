"""A district brought up to date by what the audit says was changed, and not loaded as a whole.

Every change leaves a line in the audit that names its table; so only that part is read again. What
is not known here asks for the whole.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from crossfall import model as nouns
from crossfall_app.store import convert, models
from crossfall_app.store.fleet_rows import load_fleet
from crossfall_app.store.material_rows import load_materials


@dataclass(frozen=True, slots=True)
class Changes:
    """What the audit's newer lines touched."""

    parts: frozenset[str]
    """Names of parts of the district to read again."""
    is_week: bool
    """The plan or its cards changed."""
    is_all: bool
    """Something changed that only a whole load brings in."""

    @property
    def is_surface(self) -> bool:
        """Whether needs, surface or gates may come out otherwise."""
        return bool(self.parts - {"calls"})


def changes_since(pk: int) -> Changes:
    """What was changed after one line of the audit."""
    tables = set(
        models.Audit.objects.filter(pk__gt=pk).order_by().values_list("table", flat=True).distinct()
    )
    parts = {_PART[table] for table in tables & set(_PART)}
    unknown = tables - set(_PART) - _WEEK - _NOTHING
    return Changes(frozenset(parts), bool(tables & _WEEK), bool(unknown))


def refreshed(district: nouns.District, changes: Changes) -> nouns.District:
    """The district with the changed parts read again."""
    found: dict[str, Any] = {}
    for part in changes.parts:
        found |= _READ[part]()
    return replace(district, **found) if found else district


_PART = {
    "condition": "conditions",
    "observation": "observations",
    "hazard": "hazards",
    "request": "requests",
    "workrecord": "records",
    "crewcall": "calls",
}
_WEEK = {"plan", "jobcard"}
_NOTHING = {"account", "run", "event", "fact", "device", "pairingcode"}


def _of(mapping: convert.Mapping[Any], *, only_standing: bool = False) -> tuple[Any, ...]:
    rows = mapping.table.objects.filter(segment__vanished_at__isnull=True).order_by("pk")
    return mapping.of(rows.filter(superseded_by__isnull=True) if only_standing else rows)


_READ: dict[str, Callable[[], dict[str, Any]]] = {
    "conditions": lambda: {"conditions": _of(convert.CONDITION, only_standing=True)},
    "observations": lambda: {"observations": _of(convert.OBSERVATION)},
    "hazards": lambda: {"hazards": _of(convert.HAZARD)},
    "requests": lambda: {"requests": _of(convert.REQUEST)},
    "records": lambda: {"records": _of(convert.RECORD, only_standing=True)},
    "calls": lambda: load_materials(load_fleet()),
}
