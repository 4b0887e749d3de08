"""Phones and their keys, facts as they came in, photos, and what the foreman decided.

Facts are added and never changed; what becomes of one is a row of its own.
"""

# mypy: disallow-subclassing-any=False
from __future__ import annotations

from django.db import models

from crossfall_app.store.models import Machine
from crossfall_app.store.models.base import key_field, word_field


class Device(models.Model):
    """A phone or tablet that was paired, under a person's name, with one machine."""

    key = models.CharField(max_length=36, unique=True)
    name = models.CharField(max_length=150)
    machine = models.ForeignKey(Machine, models.PROTECT, null=True, related_name="devices")
    """None for the office's own entries: radio reports and the foreman's edits."""
    paired_at = models.DateTimeField()
    paired_by = models.CharField(max_length=150)
    revoked_at = models.DateTimeField(null=True)
    revoked_by = models.CharField(max_length=150, default="", blank=True)
    seen_at = models.DateTimeField(null=True)
    release = models.CharField(max_length=40, default="", blank=True)
    skew_s = models.FloatField(default=0.0)
    skew_before_s = models.FloatField(null=True)
    """How far the clock was off before it was changed; None when it never was."""
    skew_since = models.DateTimeField(null=True)
    """When it was first heard to be off by what it is off now."""
    waiting = models.IntegerField(default=0)
    """Facts the phone still held when it was last heard."""


class DeviceMachine(models.Model):
    """Every machine a phone was ever paired with: facts told then may still arrive."""

    device = models.ForeignKey(Device, models.CASCADE, related_name="machines")
    machine = models.ForeignKey(Machine, models.PROTECT, related_name="+")
    from_at = models.DateTimeField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["device", "machine"], name="one_row_device_machine"),
        )


class DeviceKey(models.Model):
    """What a phone shows with every request, by its SHA-256; never in a backup."""

    device = models.ForeignKey(Device, models.CASCADE, related_name="keys")
    sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()


class PairingCode(models.Model):
    """A code that pairs one phone, once and soon; by its SHA-256, never in a backup."""

    sha256 = models.CharField(max_length=64, unique=True)
    machine = models.ForeignKey(Machine, models.CASCADE, related_name="+")
    name = models.CharField(max_length=150)
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True)


class PairingTry(models.Model):
    """A wrong code, so that guessing ends soon."""

    at = models.DateTimeField(db_index=True)
    address = models.CharField(max_length=60, default="", blank=True)


class Fact(models.Model):
    """One fact, as it came; the primary key is the office's running number."""

    number = models.BigAutoField(primary_key=True)
    key = models.CharField(max_length=36, unique=True)
    device = models.ForeignKey(Device, models.PROTECT, related_name="facts")
    sequence = models.BigIntegerField()
    kind = word_field(db_index=True)
    at = models.DateTimeField(db_index=True)
    """By the office's clock."""
    at_phone = models.DateTimeField()
    received_at = models.DateTimeField()
    day = models.DateField(db_index=True)
    """The day where the roads are."""
    seen = models.BigIntegerField(default=0)
    card_key = key_field(null=True, db_index=True)
    machine_key = key_field(db_index=True)
    payload = models.JSONField()
    fingerprint = models.CharField(max_length=64)
    by = models.CharField(max_length=150)
    doubts = models.JSONField(default=list)
    """Sentences for the foreman: a clock far off, a withdrawn card, an edit that clashes."""

    class Meta:
        indexes = (models.Index(fields=["machine_key", "day"], name="fact_machine_day"),)


class Photo(models.Model):
    """A picture that a fact announced: how much of it is there, and its name when it is whole."""

    key = models.CharField(max_length=36, unique=True)
    fact = models.OneToOneField(Fact, models.PROTECT, related_name="photo")
    n_bytes = models.BigIntegerField()
    sha256 = models.CharField(max_length=64)
    name = models.CharField(max_length=80, default="", blank=True)
    complete_at = models.DateTimeField(null=True)
    refused = models.TextField(default="", blank=True)


class Decision(models.Model):
    """What the foreman made of a fact: taken over, set aside, or an edit that lost to another."""

    fact = models.OneToOneField(Fact, models.PROTECT, related_name="decision")
    kind = word_field()
    at = models.DateTimeField()
    by = models.CharField(max_length=150)
    because = models.TextField(default="", blank=True)
    record_key = key_field(null=True)
    winner_key = models.CharField(max_length=36, null=True)
