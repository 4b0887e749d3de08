"""Places, pits, machines and the people who run them."""

# mypy: disallow-subclassing-any=False
from __future__ import annotations

from django.db import models

from crossfall_app.store.models.base import Entered, key_field, word_field


class Kept(models.Model):
    """Rows of the fleet, in the order the agency lists them; ``is_current`` false is history."""

    id = key_field(primary_key=True)
    position = models.IntegerField(default=0)
    is_current = models.BooleanField(default=True)

    class Meta:
        abstract = True


class Place(Kept):
    """A yard, a camp, a pit or a water point."""

    name = models.TextField()
    kind = word_field()
    lon = models.FloatField()
    lat = models.FloatField()
    is_listed = models.BooleanField(default=True)
    """False for a pit's own place that the fleet does not list among its places."""


class Pit(models.Model):
    """Where gravel comes from."""

    place = models.OneToOneField(Place, models.PROTECT, primary_key=True, related_name="pit")
    position = models.IntegerField(default=0)
    is_current = models.BooleanField(default=True)
    material = models.TextField()
    price = models.JSONField()
    stock_m3 = models.FloatField()
    loading_m3_h = models.FloatField()


class Machine(Kept):
    """One machine."""

    name = models.TextField()
    kind = word_field()
    home = models.ForeignKey(Place, models.PROTECT, related_name="machines")
    blade_m = models.FloatField()
    travel_km_h = models.FloatField()
    capacity = models.FloatField()
    payload_t = models.FloatField()
    mass_t = models.FloatField()
    attachments = models.JSONField()
    is_available = models.BooleanField()
    note = models.TextField(blank=True)


class Operator(Kept):
    """A person on the crew."""

    name = models.TextField()
    machine = models.ForeignKey(Machine, models.PROTECT, related_name="operators")
    shift_h = models.FloatField()
    shift_start_h = models.FloatField()
    max_overtime_h = models.FloatField()
    skills = models.JSONField()
    is_trainee = models.BooleanField()
    off_days = models.JSONField()
    home_district = models.TextField(blank=True)


class CrewCall(Entered):
    """The word given to one operator for one day; the last one counts."""

    day = models.DateField(db_index=True)
    operator = models.ForeignKey(Operator, models.PROTECT, related_name="calls")
    call = word_field()
