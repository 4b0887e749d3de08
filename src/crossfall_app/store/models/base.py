"""What every fact carries: when it was entered, by whom, and from where."""

# mypy: disallow-subclassing-any=False
from __future__ import annotations

from typing import Any

from django.db import models
from django.utils import timezone

KEY_LENGTH = 160


def key_field(**options: Any) -> models.CharField:
    """A noun's own id, as text."""
    return models.CharField(max_length=KEY_LENGTH, **options)


def word_field(**options: Any) -> models.CharField:
    """One word out of a short list that the noun's type defines."""
    return models.CharField(max_length=40, **options)


class Entered(models.Model):
    """Rows that say who entered them and when."""

    created_at = models.DateTimeField(default=timezone.now, editable=False)
    created_by = models.CharField(max_length=150, default="", blank=True)

    class Meta:
        abstract = True
