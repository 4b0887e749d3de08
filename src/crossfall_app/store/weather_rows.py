"""Laying a station's new days over those that are stored."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from crossfall import model as nouns

_SERIES = ("rain_mm", "tmin_c", "tmax_c", "wind_m_s", "solar_mj_m2", "vapour_kpa")


def overlay(old: nouns.WeatherRecord, new: nouns.WeatherRecord) -> tuple[nouns.WeatherRecord, int]:
    """The stored record with the new one's known days laid over it, and how many figures changed.

    A day the new record does not know leaves what was there; days that neither covers are unknown.
    """
    first = min(old.first_day, new.first_day)
    n_days = (max(old.last_day, new.last_day) - first).days + 1
    merged: dict[str, Any] = {}
    n_changed = 0
    for name in _SERIES:
        below, above = getattr(old, name), getattr(new, name)
        if below is None and above is None:
            merged[name] = None
            continue
        values = np.full(n_days, np.nan)
        if below is not None:
            start = (old.first_day - first).days
            values[start : start + old.n_days] = below
        if above is not None:
            start = (new.first_day - first).days
            part = values[start : start + new.n_days]
            is_known = ~np.isnan(above)
            n_changed += int(np.sum(is_known & ~np.isnan(part) & (part != above)))
            part[is_known] = above[is_known]
        merged[name] = values
    merged["rain_hour_mm"] = _overlay_hours(old, new, first, n_days)
    source = old.source if new.source in old.source else f"{old.source}; {new.source}"
    record = replace(new, first_day=first, source=source, **merged)
    return record, n_changed


def _overlay_hours(
    old: nouns.WeatherRecord, new: nouns.WeatherRecord, first: date, n_days: int
) -> Any:
    """Rain by the hour of the days above; a day whose rain is another one now loses its hours."""
    if old.rain_hour_mm is None and new.rain_hour_mm is None:
        return None
    hours = np.full((n_days, nouns.HOURS), np.nan)
    for record in (old, new):
        start = (record.first_day - first).days
        part = hours[start : start + record.n_days]
        is_known = ~np.isnan(record.rain_mm)
        part[is_known] = np.nan if record.rain_hour_mm is None else record.rain_hour_mm[is_known]
    return hours
