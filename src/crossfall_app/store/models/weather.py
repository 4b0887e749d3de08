"""Weather by station: one packed array for each quantity, not one row for each day.

Twenty years of ten stations load in milliseconds this way, NaN stays NaN, and nothing ever asks the
database for a single day. What an import changed is in the audit.
"""

# mypy: disallow-subclassing-any=False
from __future__ import annotations

from django.db import models

from crossfall_app.store.fields import PackedArrayField
from crossfall_app.store.models.base import Entered, key_field


class AtStation(Entered):
    """Rows that belong to a gauge."""

    station_key = key_field()
    station_name = models.TextField(blank=True)
    lon = models.FloatField()
    lat = models.FloatField()
    elevation_m = models.FloatField()
    first_day = models.DateField()
    rain_mm = PackedArrayField()
    tmin_c = PackedArrayField()
    tmax_c = PackedArrayField()
    source = models.TextField(blank=True)
    is_invented = models.BooleanField()

    class Meta:
        abstract = True


class WeatherRecord(AtStation):
    """Observed daily weather of one station, arrays (day,)."""

    wind_m_s = PackedArrayField(null=True)
    solar_mj_m2 = PackedArrayField(null=True)
    vapour_kpa = PackedArrayField(null=True)
    rain_hour_mm = PackedArrayField(null=True)
    """Rain by the hour, array (day, 24)."""

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["station_key"], name="one_record_for_each_station"),
        )


class Forecast(AtStation):
    """Forecast members of one station as issued on one day, arrays (member, day)."""

    issued_on = models.DateField()
    pop = PackedArrayField(null=True)
    """Probability of rain, array (day,)."""
    rain_hour_mm = PackedArrayField(null=True)
    """Rain by the hour, array (member, day, 24)."""

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["station_key", "issued_on"], name="one_forecast_for_each_issue"
            ),
        )
