"""Nodes, segments and point features.

A segment that vanishes from the agency's map stays here with ``vanished_at`` set, because work was
recorded on it; what it was before each import is in the audit.
"""

# mypy: disallow-subclassing-any=False
from __future__ import annotations

from django.db import models

from crossfall_app.store.fields import PackedJSONField
from crossfall_app.store.models.base import Entered, key_field, word_field


class Mapped(models.Model):
    """Rows of the map: kept in the order of the source, never deleted."""

    id = key_field(primary_key=True)
    position = models.IntegerField(default=0)
    vanished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        abstract = True


class Node(Mapped):
    """A junction or a dead end."""

    lon = models.FloatField()
    lat = models.FloatField()
    turn_min = models.FloatField(null=True)


class Segment(Mapped):
    """One maintenance segment."""

    route = models.TextField()
    from_node = models.ForeignKey(Node, models.PROTECT, related_name="+")
    to_node = models.ForeignKey(Node, models.PROTECT, related_name="+")
    from_m = models.FloatField()
    length_m = models.FloatField()
    line = PackedJSONField()
    road_class = word_field()
    surface = word_field()
    surface_source = word_field()
    is_maintained = models.BooleanField()
    jurisdiction = models.TextField(blank=True)
    district = models.TextField(blank=True)
    width_m = models.FloatField()
    width_method = word_field()
    adt = models.FloatField()
    adt_method = word_field()
    heavy_share = models.FloatField()
    travel_km_h = models.FloatField()
    material = models.TextField()
    drainage = word_field()
    shade = word_field()
    gravel_mm = models.FloatField()
    gravel_method = word_field()
    grade_pct = models.FloatField()
    is_oneway = models.BooleanField()
    max_mass_t = models.FloatField(null=True)
    external_id = models.TextField(blank=True)
    source = models.TextField(blank=True)
    serves = models.TextField(blank=True, default="")

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=models.Q(length_m__gt=0), name="segment_length_is_positive"
            ),
        )


class Succession(Entered):
    """A stretch of a segment that vanished, and the stretch of another that it became."""

    parent = models.ForeignKey(Segment, models.PROTECT, related_name="successors")
    child = models.ForeignKey(Segment, models.PROTECT, related_name="+")
    from_m = models.FloatField()
    to_m = models.FloatField()
    child_from_m = models.FloatField()
    child_to_m = models.FloatField()


class PointFeature(Mapped):
    """Something at one place along a road."""

    kind = word_field()
    lon = models.FloatField()
    lat = models.FloatField()
    segment = models.ForeignKey(Segment, models.PROTECT, null=True, related_name="features")
    at_m = models.FloatField(null=True)
    side = word_field()
    name = models.TextField(blank=True)
    max_mass_t = models.FloatField(null=True)
    source = models.TextField(blank=True)


class Backdrop(models.Model):
    """A creek or a railway on the map; drawn anew with each map, and no fact hangs on it."""

    position = models.IntegerField(default=0)
    kind = word_field()
    line = PackedJSONField()
