"""The one table that the pages keep for themselves: links to come in with."""

# mypy: disallow-subclassing-any=False

from __future__ import annotations

from django.conf import settings
from django.db import models


class SignInLink(models.Model):
    """A one-time link, by the SHA-256 of its secret; the secret itself is never stored."""

    secret_sha256 = models.CharField(max_length=64, unique=True)
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True)
