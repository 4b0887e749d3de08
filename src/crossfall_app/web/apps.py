"""The pages as a Django app."""

# mypy: disallow-subclassing-any=False

from __future__ import annotations

from django.apps import AppConfig


class WebConfig(AppConfig):
    """Pages and sign-in links, under the label ``web``."""

    name = "crossfall_app.web"
    label = "web"
    verbose_name = "crossfall pages"
    default_auto_field = "django.db.models.BigAutoField"
