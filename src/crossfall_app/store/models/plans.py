"""Planned weeks: the plan, the needs and jobs it chose from, and the cards it gave.

Needs and jobs belong to the plan that was made from them; last week's stay as they were. The text
of a card is frozen and sealed with its SHA-256.
"""

# mypy: disallow-subclassing-any=False
from __future__ import annotations

from django.db import models

from crossfall_app.store.fields import PackedJSONField
from crossfall_app.store.models.base import Entered, key_field, word_field
from crossfall_app.store.models.network import Segment


class Plan(Entered):
    """Who does what on which day, with the conditions it believed in."""

    key = key_field(unique=True)
    made_at = models.DateTimeField()
    first_day = models.DateField(db_index=True)
    n_days = models.IntegerField()
    itineraries = PackedJSONField()
    bookings = PackedJSONField()
    served = PackedJSONField()
    unserved = PackedJSONField()
    benefit_h = models.FloatField()
    benefit_bound_h = models.FloatField()
    seed = models.BigIntegerField()
    policy_version = models.TextField(blank=True)
    note = models.TextField(blank=True)
    wishes = PackedJSONField(default=list)
    reserved = PackedJSONField(default=list)
    stays = PackedJSONField(default=list)
    n_served = models.IntegerField(default=0)
    n_unserved = models.IntegerField(default=0)
    violations = models.JSONField(default=list)
    conditions = PackedJSONField()
    """What each maintained segment was believed to be like; not facts, so not among them."""


class Need(models.Model):
    """What a segment needed when the plan was made, and why."""

    plan = models.ForeignKey(Plan, models.CASCADE, related_name="needs")
    key = key_field()
    segment = models.ForeignKey(Segment, models.PROTECT, related_name="+")
    treatment = word_field()
    cause = models.TextField()
    reasons = models.JSONField()
    urgency = models.FloatField()
    benefit = models.JSONField()
    prerequisites = models.JSONField()
    assumed = models.JSONField()
    policy_version = models.TextField(blank=True)
    follow_ups = models.JSONField()
    estimated_h = models.FloatField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["plan", "key"], name="one_need_of_a_key_in_a_plan"),
        )


class Job(models.Model):
    """A treatment of one segment, designed."""

    plan = models.ForeignKey(Plan, models.CASCADE, related_name="jobs")
    key = key_field()
    need_key = key_field()
    segment = models.ForeignKey(Segment, models.PROTECT, related_name="+")
    treatment = word_field()
    stages = PackedJSONField()
    benefit_h = models.FloatField()
    quantities = models.JSONField()
    cost = models.JSONField()
    assumed = models.JSONField()
    cautions = models.JSONField()
    needs_engineer = models.BooleanField()
    confirmed_by = models.TextField(blank=True, default="")

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["plan", "key"], name="one_job_of_a_key_in_a_plan"),
        )


class JobCard(Entered):
    """One order to a crew: frozen text, its seal, and columns to find it by."""

    key = key_field(db_index=True)
    number = models.IntegerField(db_index=True)
    version = models.IntegerField()
    status = word_field()
    plan = models.ForeignKey(Plan, models.PROTECT, related_name="cards")
    segment = models.ForeignKey(Segment, models.PROTECT, related_name="cards")
    day = models.DateField(db_index=True)
    machine = models.TextField()
    body = models.TextField()
    sha256 = models.CharField(max_length=64)
    approved_by = models.TextField(blank=True, default="")
    approved_at = models.DateTimeField(null=True)
    confirmed_by = models.TextField(blank=True, default="")
    withdrawn_because = models.TextField(blank=True, default="")

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["number", "version"], name="one_card_of_a_number_and_version"
            ),
        )
