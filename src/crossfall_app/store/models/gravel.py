"""Tests of gravel, piles, cutting edges, and work that is let.

Tests, pile entries and edges are added and never changed. A contract takes its course in its own
row (tickets come in, holes are dug, people sign), and each step is in the audit.
"""

# mypy: disallow-subclassing-any=False
from __future__ import annotations

from django.db import models

from crossfall_app.store.models.base import Entered, key_field, word_field
from crossfall_app.store.models.fleet import Machine, Pit
from crossfall_app.store.models.network import Segment


class MaterialTest(Entered):
    """A laboratory's sheet."""

    key = key_field(unique=True)
    pit = models.ForeignKey(Pit, models.PROTECT, related_name="tests")
    taken_on = models.DateField()
    passing_pct = models.JSONField()
    plasticity = models.FloatField(null=True)
    is_non_plastic = models.BooleanField()
    liquid_limit = models.FloatField(null=True)
    linear_shrinkage_pct = models.FloatField(null=True)
    loose_t_m3 = models.FloatField(null=True)
    laboratory = models.TextField(blank=True)
    note = models.TextField(blank=True)


class PileEntry(Entered):
    """Loose gravel put on a pile, taken from it, or counted."""

    key = key_field(unique=True)
    pit = models.ForeignKey(Pit, models.PROTECT, related_name="entries")
    day = models.DateField()
    loose_m3 = models.FloatField()
    reason = models.TextField(blank=True)
    is_count = models.BooleanField()
    supersedes = models.ForeignKey(
        "self", models.PROTECT, to_field="key", null=True, related_name="superseded_by"
    )


class FittedEdge(Entered):
    """A cutting edge as it was put on a machine."""

    key = key_field(unique=True)
    machine = models.ForeignKey(Machine, models.PROTECT, related_name="edges")
    name = models.TextField()
    fitted_on = models.DateField()
    life_km = models.FloatField()
    note = models.TextField(blank=True)


class MachineDay(Entered):
    """Sums of a machine's day out of its track or its counters; no times and no places."""

    key = key_field(unique=True)
    machine = models.ForeignKey(Machine, models.PROTECT, related_name="days")
    day = models.DateField(db_index=True)
    work_h = models.FloatField()
    travel_h = models.FloatField()
    standing_h = models.FloatField()
    work_km = models.FloatField()
    travel_km = models.FloatField()
    travel = models.JSONField()
    blade = word_field()
    engine_h = models.FloatField(null=True)
    fuel_l = models.FloatField(null=True)
    source = models.TextField(blank=True)


class Contract(Entered):
    """A job that somebody else does."""

    key = key_field(unique=True)
    segment = models.ForeignKey(Segment, models.PROTECT, related_name="contracts")
    title = models.TextField()
    contractor = models.TextField()
    ordered_loads = models.IntegerField()
    ordered_dry_t = models.FloatField()
    wanted_mm = models.FloatField()
    items = models.JSONField()
    hold_points = models.JSONField()
    moisture_pct = models.FloatField()
    tickets = models.JSONField()
    depths_mm = models.JSONField()
    accepted_by = models.TextField(blank=True)
    accepted_on = models.DateField(null=True)
    note = models.TextField(blank=True)
