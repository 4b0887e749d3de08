"""The agency itself, its policy versions, imports under review, runs, and the audit."""

# mypy: disallow-subclassing-any=False
from __future__ import annotations

import uuid

from django.db import models

from crossfall_app.store.fields import PackedJSONField
from crossfall_app.store.models.base import Entered, key_field, word_field


class PolicyVersion(Entered):
    """One version of every threshold and rate, whole; results name the version they used."""

    version = key_field(unique=True)
    body = PackedJSONField()
    note = models.TextField(blank=True)


class Agency(models.Model):
    """The one row that says whose workspace this is."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    name = models.TextField()
    is_invented = models.BooleanField(default=False)
    invented_today = models.DateField(null=True)
    """The morning an invented district was made for; real districts live in the present."""
    policy = models.ForeignKey(PolicyVersion, models.PROTECT, null=True, related_name="+")
    program_version = models.TextField(blank=True)

    class Meta:
        constraints = (
            models.CheckConstraint(condition=models.Q(id=1), name="there_is_one_agency"),
        )


class ImportStage(Entered):
    """A file that was read and compared, waiting for somebody to accept it."""

    kind = word_field()
    file_name = models.TextField()
    sha256 = models.CharField(max_length=64)
    status = word_field(default="staged")
    report = models.JSONField(default=dict)
    payload = PackedJSONField()
    settled_at = models.DateTimeField(null=True)


class Run(Entered):
    """Long work in a child process, as its row tells it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = word_field()
    arguments = models.JSONField(default=dict)
    status = word_field(default="queued")
    fraction = models.FloatField(default=0.0)
    message = models.TextField(blank=True)
    result = key_field(blank=True)
    """What came of it: a plan's key, or a file's name below ``out/``."""
    error = models.TextField(blank=True)
    pid = models.IntegerField(null=True)
    host = models.TextField(blank=True)
    """The computer whose process ``pid`` is."""
    is_cancel_wanted = models.BooleanField(default=False)
    started_at = models.DateTimeField(null=True)
    seen_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)

    class Meta:
        indexes = (models.Index(fields=["status"], name="run_status"),)


class Audit(models.Model):
    """Who changed what; each line is chained to the one before by SHA-256."""

    at = models.DateTimeField()
    who = models.CharField(max_length=150)
    action = word_field()
    table = word_field()
    row = key_field(blank=True)
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)
    previous_hash = models.CharField(max_length=64, blank=True)
    hash = models.CharField(max_length=64)
