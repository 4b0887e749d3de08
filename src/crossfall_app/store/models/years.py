"""Studies of the years ahead, and which of their programmes an agency works by."""

# mypy: disallow-subclassing-any=False
from __future__ import annotations

from django.db import models

from crossfall_app.store.fields import PackedJSONField
from crossfall_app.store.models.base import Entered, key_field


class YearsStudy(Entered):
    """Answers to a board's questions, whole; adopted ones are never changed, only followed."""

    key = key_field(unique=True)
    made_at = models.DateTimeField()
    first_year = models.IntegerField()
    body = PackedJSONField()
    adopted_on = models.DateField(null=True)
    adopted_at = models.DateTimeField(null=True)
    adopted_by = models.TextField(blank=True, default="")
    adopted_share = models.FloatField(null=True)
    """Level of money of the programme that was adopted."""
