"""Events that work is gathered under, and approvals of what stays open overnight."""

# mypy: disallow-subclassing-any=False
from __future__ import annotations

from django.db import models

from crossfall_app.store.models.base import Entered, key_field, word_field


class Event(Entered):
    """A storm, a flood, a fire: a code that labour, machines, materials and photos gather under."""

    code = key_field(unique=True)
    name = models.TextField()
    first_day = models.DateField()
    last_day = models.DateField(null=True)
    note = models.TextField(blank=True)


class EventItem(Entered):
    """One work record or danger under an event; taking it out again is a line of its own."""

    event = models.ForeignKey(Event, models.PROTECT, related_name="items")
    kind = word_field()
    key = key_field()
    is_in = models.BooleanField(default=True)

    class Meta:
        indexes = (models.Index(fields=["event", "kind", "key"], name="event_item"),)


class EndApproval(Entered):
    """A named person lets a windrow or open culvert stay overnight, and how it is marked."""

    record_key = key_field(db_index=True)
    kind = word_field()
    approved_by = models.TextField()
    until = models.DateField()
    is_delineated = models.BooleanField()
    is_height_limited = models.BooleanField()
    note = models.TextField(blank=True)
