"""The cab as a Django app."""

# mypy: disallow-subclassing-any=False

from __future__ import annotations

from django.apps import AppConfig


class FieldConfig(AppConfig):
    """Phones, facts and photos, under the label ``field``."""

    name = "crossfall_app.field"
    label = "field"
    verbose_name = "crossfall field page"
    default_auto_field = "django.db.models.BigAutoField"
