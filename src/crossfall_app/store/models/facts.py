"""What was seen and what was done. Facts are added and superseded, never overwritten.

Only the course of a hazard, a request or a load limit (barricaded, repaired, closed, taken down)
moves on in its own row, and each move is in the audit.
"""

# mypy: disallow-subclassing-any=False
from __future__ import annotations

from django.db import models

from crossfall_app.store.models.base import Entered, key_field, word_field
from crossfall_app.store.models.network import Segment


class Condition(Entered):
    """One look at one segment."""

    segment = models.ForeignKey(Segment, models.PROTECT, related_name="conditions")
    observed_on = models.DateField()
    crown = models.FloatField()
    drainage = models.FloatField()
    gravel = models.FloatField()
    deformation = models.FloatField()
    defects = models.FloatField()
    method = word_field()
    observer = models.TextField(blank=True)
    last_bladed_on = models.DateField(null=True)
    crossfall_pct = models.FloatField(null=True)
    gravel_mm = models.FloatField(null=True)
    corrugation_mm = models.FloatField(null=True)
    corrugation_spacing_m = models.FloatField(null=True)
    pothole_mm = models.FloatField(null=True)
    pothole_count_per_km = models.FloatField(null=True)
    rut_mm = models.FloatField(null=True)
    loose_mm = models.FloatField(null=True)
    has_secondary_ditch = models.BooleanField()
    has_high_shoulder = models.BooleanField()
    is_ditch_blocked = models.BooleanField()
    is_culvert_blocked = models.BooleanField()
    windrow_side = word_field(null=True)
    note = models.TextField(blank=True)
    from_m = models.FloatField(null=True)
    to_m = models.FloatField(null=True)
    side = word_field(default="both")
    photos = models.JSONField(default=list)
    dust = word_field(null=True)
    pothole_width_mm = models.FloatField(null=True)
    ditch = word_field(null=True)
    shoulder = word_field(null=True)
    iri_m_km = models.FloatField(null=True)
    driven_km_h = models.FloatField(null=True)
    entry_source = models.TextField(blank=True, default="")
    superseded_by = models.ForeignKey(
        "self", models.PROTECT, null=True, related_name="supersedes_rows"
    )

    class Meta:
        indexes = (models.Index(fields=["segment", "observed_on"], name="condition_seg_day"),)


class Observation(Entered):
    """How a surface felt, or what a gauge caught."""

    key = key_field(unique=True)
    observed_on = models.DateField(db_index=True)
    lon = models.FloatField()
    lat = models.FloatField()
    felt = word_field(null=True)
    rain_mm = models.FloatField(null=True)
    segment = models.ForeignKey(Segment, models.PROTECT, null=True, related_name="observations")
    observer = models.TextField(blank=True)
    note = models.TextField(blank=True)
    supersedes = models.TextField(blank=True, default="")


class Hazard(Entered):
    """A danger that is secured or closed at once."""

    key = key_field(unique=True)
    segment = models.ForeignKey(Segment, models.PROTECT, related_name="hazards")
    at_m = models.FloatField()
    kind = word_field()
    noticed_at = models.DateTimeField()
    barricaded_at = models.DateTimeField(null=True)
    repaired_at = models.DateTimeField(null=True)
    note = models.TextField(blank=True)
    noticed_by = models.TextField(blank=True, default="")
    barricaded_by = models.TextField(blank=True, default="")
    repaired_by = models.TextField(blank=True, default="")


class Request(Entered):
    """A resident's complaint."""

    key = key_field(unique=True)
    received_on = models.DateField()
    text = models.TextField()
    lon = models.FloatField(null=True)
    lat = models.FloatField(null=True)
    segment = models.ForeignKey(Segment, models.PROTECT, null=True, related_name="requests")
    status = word_field()
    requested_at = models.DateTimeField(null=True)
    road = models.TextField(blank=True, default="")
    at_m = models.FloatField(null=True)
    distance_m = models.FloatField(null=True)
    merged_into = key_field(null=True)
    source = models.TextField(blank=True, default="")
    closed_on = models.DateField(null=True)
    record_id = key_field(null=True)
    reply = models.TextField(blank=True, default="")
    reply_approved_by = models.TextField(blank=True, default="")
    reply_approved_at = models.DateTimeField(null=True)


class LoadPosting(Entered):
    """A load limit that a named authority has signed."""

    key = key_field(unique=True)
    segment_ids = models.JSONField()
    axle_t = models.FloatField()
    authority = models.TextField()
    signed_by = models.TextField()
    up_at = models.DateTimeField()
    down_at = models.DateTimeField(null=True)
    reason = models.TextField(blank=True)


class HaulAgreement(Entered):
    """A company's haul over the agency's roads."""

    key = key_field(unique=True)
    company = models.TextField()
    segment_ids = models.JSONField()
    first_day = models.DateField()
    last_day = models.DateField()
    tonnes = models.FloatField()
    bond = models.JSONField(null=True)
    payload_t = models.FloatField(null=True)
    signed_by = models.TextField(blank=True)
    note = models.TextField(blank=True)


class LoadExemption(Entered):
    """Leave to pass a posted load limit."""

    key = key_field(unique=True)
    segment_ids = models.JSONField()
    holder = models.TextField()
    granted_by = models.TextField()
    granted_at = models.DateTimeField()
    first_day = models.DateField()
    last_day = models.DateField()
    axle_t = models.FloatField(null=True)
    agreement_key = key_field(null=True)
    reason = models.TextField(blank=True)


class Clearance(Entered):
    """Leave to dig, cut or work near something that is not the agency's."""

    key = key_field(unique=True)
    kind = word_field()
    segment = models.ForeignKey(Segment, models.PROTECT, related_name="clearances")
    reference = models.TextField()
    granted_by = models.TextField()
    valid_from = models.DateField()
    expires_on = models.DateField()
    from_m = models.FloatField()
    to_m = models.FloatField(null=True)
    note = models.TextField(blank=True)


class DesignSignature(Entered):
    """An engineer's word on the work of one segment."""

    key = key_field(unique=True)
    segment = models.ForeignKey(Segment, models.PROTECT, related_name="signatures")
    treatment = word_field()
    signed_by = models.TextField()
    capacity = models.TextField()
    signed_on = models.DateField()
    expires_on = models.DateField(null=True)
    limit_t = models.FloatField(null=True)
    note = models.TextField(blank=True)
    is_withdrawn = models.BooleanField()


class DustApplication(Entered):
    """Dust control on a stretch, who paid for it, and how long no blade may touch it."""

    key = key_field(unique=True)
    segment = models.ForeignKey(Segment, models.PROTECT, related_name="dust")
    applied_on = models.DateField()
    product = models.TextField()
    rate_l_m2 = models.FloatField()
    no_blade_until = models.DateField()
    paid_by = models.TextField()
    from_m = models.FloatField()
    to_m = models.FloatField(null=True)
    note = models.TextField(blank=True)


class WorkRecord(Entered):
    """Work on one segment on one day."""

    key = key_field(unique=True)
    segment = models.ForeignKey(Segment, models.PROTECT, related_name="records")
    done_on = models.DateField()
    treatment = word_field()
    n_passes = models.IntegerField()
    hours = models.FloatField()
    by = models.TextField(blank=True)
    card_key = key_field(null=True)
    from_m = models.FloatField(null=True)
    to_m = models.FloatField(null=True)
    is_finished = models.BooleanField()
    windrow_side = word_field(null=True)
    is_windrow_in_travelled_way = models.BooleanField()
    is_culvert_open = models.BooleanField()
    loose_gravel_m3 = models.FloatField()
    n_loads = models.IntegerField()
    water_l = models.FloatField()
    cost = models.JSONField(null=True)
    note = models.TextField(blank=True)
    supersedes = models.ForeignKey(
        "self", models.PROTECT, to_field="key", null=True, related_name="superseded_by"
    )
    agreement_key = key_field(null=True)
    entry_source = models.TextField(blank=True, default="")

    class Meta:
        indexes = (models.Index(fields=["segment", "done_on"], name="record_seg_day"),)
