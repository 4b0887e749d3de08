"""The tables that the pages keep for themselves: who may come in, by which link, and from where."""

# mypy: disallow-subclassing-any=False

from __future__ import annotations

from django.conf import settings
from django.db import models


class Member(models.Model):
    """What an account may do, and the name that stands under what it approves."""

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, models.CASCADE, primary_key=True, related_name="member"
    )
    name = models.CharField(max_length=120, blank=True)
    role = models.CharField(max_length=40)


class SignInLink(models.Model):
    """A one-time link, by the SHA-256 of its secret; the secret itself is never stored."""

    secret_sha256 = models.CharField(max_length=64, unique=True)
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    purpose = models.CharField(max_length=40, default="enter")
    """``enter`` opens the office at once; ``password`` first asks for a password."""
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True)


class SignIn(models.Model):
    """One browser that has come in; ending it takes its session away."""

    session_key = models.CharField(max_length=40, unique=True)
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    at = models.DateTimeField()
    seen_at = models.DateTimeField()
    browser = models.CharField(max_length=120, blank=True)
    address = models.CharField(max_length=64, blank=True)
