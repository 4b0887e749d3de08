"""The store as a Django app."""

# mypy: disallow-subclassing-any=False
from __future__ import annotations

from django.apps import AppConfig


class StoreConfig(AppConfig):
    """Tables for every noun, under the label ``store``."""

    name = "crossfall_app.store"
    label = "store"
    verbose_name = "crossfall store"
    default_auto_field = "django.db.models.BigAutoField"
