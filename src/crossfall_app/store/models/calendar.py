"""What the week is planned around: reserved hours, work that only takes hours, quiet hours."""

# mypy: disallow-subclassing-any=False
from __future__ import annotations

from django.db import models

from crossfall_app.store.models.base import Entered, key_field, word_field


class Reservation(Entered):
    """Hours of one day in which a machine or a person is spoken for."""

    key = key_field(unique=True)
    day = models.DateField(db_index=True)
    start_min = models.FloatField()
    end_min = models.FloatField()
    kind = word_field()
    machine_id = models.TextField(null=True)
    operator_id = models.TextField(null=True)
    note = models.TextField(blank=True)
    is_dropped = models.BooleanField(default=False)


class OtherWork(Entered):
    """Work that only takes hours, on whichever day suits."""

    key = key_field(unique=True)
    kind = word_field()
    hours = models.FloatField()
    who = models.JSONField()
    first_day = models.DateField()
    last_day = models.DateField()
    note = models.TextField(blank=True)
    is_dropped = models.BooleanField(default=False)


class RoadBan(Entered):
    """Hours in which no blade is down on some roads."""

    key = key_field(unique=True)
    segment_ids = models.JSONField()
    start_min = models.FloatField()
    end_min = models.FloatField()
    reason = models.TextField()
    weekdays = models.JSONField()
    first_day = models.DateField(null=True)
    last_day = models.DateField(null=True)
    is_dropped = models.BooleanField(default=False)
