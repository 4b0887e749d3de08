"""An address for every page's pattern, with something in each of its gaps."""

from __future__ import annotations

from datetime import date
from uuid import uuid4

from django.urls import URLPattern, reverse

SAMPLES = {
    "secret": "guess",
    "segment_id": "s0",
    "machine_id": "g1",
    "day": date(2026, 5, 12),
    "name": "map",
    "kind": "json",
}
"""What stands in an address; anything else is filled in by its kind."""
KINDS = {"IntConverter": 1, "UUIDConverter": uuid4(), "DayConverter": date(2026, 5, 12)}


def address_of(pattern: URLPattern) -> str:
    """The pattern's address."""
    given = {
        name: SAMPLES.get(name, KINDS.get(type(kind).__name__, "x1"))
        for name, kind in pattern.pattern.converters.items()
    }
    return reverse(pattern.name, kwargs=given)
