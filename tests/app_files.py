"""Files as people hand them in: a small map, a fleet, a survey, a month of weather."""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path

LON, LAT = -104.0, 45.0


def roads_geojson(path: Path, *, n_roads: int = 4, **changes: object) -> Path:
    """Gravel roads in a row from west to east, each about 790 m; ``changes`` to properties."""
    features = [
        {
            "type": "Feature",
            "properties": {
                "id": f"R{n}",
                "route": f"Road {n}",
                "surface": "gravel",
                "width_m": 7.0,
                **changes,
            },
            "geometry": {
                "type": "LineString",
                "coordinates": [[LON + n / 100, LAT], [LON + (n + 1) / 100, LAT]],
            },
        }
        for n in range(n_roads)
    ]
    return write_geojson(path, features)


def write_geojson(path: Path, features: list[dict]) -> Path:
    """A feature collection."""
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def fleet_toml(path: Path, *, shift_h: float = 8.0, kind: str = "grader") -> Path:
    """One yard, one machine, one operator."""
    path.write_text(
        f"""
[[place]]
id = "yard"
name = "Yard"
kind = "yard"
lon = {LON}
lat = {LAT}

[[machine]]
id = "g1"
name = "Grader 1"
kind = "{kind}"
home_id = "yard"

[[operator]]
id = "o1"
name = "First operator"
machine_id = "g1"
shift_h = {shift_h}
"""
    )
    return path


def survey_csv(path: Path, *, n_roads: int = 4, deformation: float = 3.2) -> Path:
    """Roads that want blading, looked at on the last day of May."""
    rows = ["segment_id,observed_on,crown,drainage,gravel,deformation,defects"]
    rows += [f"R{n},2026-05-31,4,4,4,{deformation},3" for n in range(n_roads)]
    path.write_text("\n".join(rows) + "\n")
    return path


def weather_csv(
    path: Path, *, first_day: date = date(2026, 4, 1), n_days: int = 61, gap: range = range(0)
) -> Path:
    """Mild days, a shower every fourth and rain on the last two; ``gap`` days have no row."""
    rows = ["date,rain_mm,tmin_c,tmax_c"]
    for n in range(n_days):
        if n not in gap:
            rain = 12.0 if n >= n_days - 2 else 6.0 if n % 4 == 3 else 0.0
            rows.append(f"{first_day + timedelta(days=n)},{rain},8.0,20.0")
    path.write_text("\n".join(rows) + "\n")
    return path


WEATHER_COLUMNS = (
    "--column", "date=date",
    "--column", "rain=rain_mm",
    "--column", "tmin=tmin_c",
    "--column", "tmax=tmax_c",
    "--unit", "rain=mm",
    "--unit", "tmin=degC",
    "--unit", "tmax=degC",
)  # fmt: skip


def forecast_json(
    path: Path, *, first_day: date = date(2026, 6, 1), n_days: int = 6, rain_unit: str = "mm"
) -> Path:
    """Three members of cool days with little rain."""
    days = [(first_day + timedelta(days=n)).isoformat() for n in range(n_days)]
    daily: dict[str, list] = {"time": days}
    units = {"time": "iso8601"}
    for member in ("", "_member01", "_member02"):
        daily[f"precipitation_sum{member}"] = [0.5] * n_days
        daily[f"temperature_2m_min{member}"] = [8.0] * n_days
        daily[f"temperature_2m_max{member}"] = [13.0] * n_days
        units[f"precipitation_sum{member}"] = rain_unit
        units[f"temperature_2m_min{member}"] = "°C"
        units[f"temperature_2m_max{member}"] = "°C"
    content = {
        "latitude": LAT,
        "longitude": LON,
        "timezone": "America/Denver",
        "utc_offset_seconds": -21600,
        "daily_units": units,
        "daily": daily,
    }
    path.write_text(json.dumps(content))
    return path
