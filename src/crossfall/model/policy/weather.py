"""What weather figures are believed, and how many hours make a day.

The limits are world records, rounded outwards: a figure beyond them is a fault of
the instrument, the file or the unit, wherever the station is.
"""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.model.policy.setting import setting

_RECORDS = "World Meteorological Organization archive of weather and climate extremes"


@dataclass(frozen=True, slots=True)
class WeatherPolicy:
    """Limits of belief for weather input. Beyond them a figure becomes unknown, and is reported."""

    rain_max_mm: float = setting(
        1825.0, unit="mm", doc="Most rain in 24 hours anywhere", evidence="recalled",
        source=_RECORDS, low=100.0, high=3000.0,
    )  # fmt: skip
    hourly_rain_max_mm: float = setting(
        401.0, unit="mm", doc="Most rain in one hour anywhere", evidence="recalled",
        source=_RECORDS, low=50.0, high=1000.0,
    )  # fmt: skip
    temperature_max_c: float = setting(
        56.7, unit="degC", doc="Hottest air anywhere", evidence="recalled", source=_RECORDS,
        low=40.0, high=60.0,
    )  # fmt: skip
    temperature_min_c: float = setting(
        -89.2, unit="degC", doc="Coldest air anywhere", evidence="recalled", source=_RECORDS,
        low=-95.0, high=-20.0,
    )  # fmt: skip
    wind_max_m_s: float = setting(
        75.0, unit="m/s", doc="Strongest mean wind of an hour or a day that is believed",
        low=30.0, high=120.0,
    )  # fmt: skip
    wind_mean_max_m_s: float = setting(
        15.0,
        unit="m/s",
        doc="Mean wind of a record above which its unit is doubted",
        low=8.0,
        high=30.0,
    )
    solar_max_mj_m2: float = setting(
        45.0, unit="MJ/m2", doc="Most sunshine of a day at the surface", low=30.0, high=50.0
    )
    vapour_max_kpa: float = setting(
        6.0, unit="kPa", doc="Highest vapour pressure near the ground", low=3.0, high=10.0
    )
    unit_fault_share: float = setting(
        0.02, unit="-", doc="Share of impossible figures from which the unit itself is doubted",
        low=0.0, high=0.5,
    )  # fmt: skip
    unit_fault_count: int = setting(
        3, unit="each", doc="... and at least this many of them", low=1, high=100
    )
    wet_day_mean_max_mm: float = setting(
        60.0, unit="mm", doc="Mean rain of a wet day above which tenths were read as whole units",
        low=20.0, high=200.0,
    )  # fmt: skip
    wet_day_mean_doubt_mm: float = setting(
        25.0, unit="mm", doc="Mean rain of a wet day above which tenths are suspected; told, not"
        " refused", low=10.0, high=200.0,
    )  # fmt: skip
    typed_rain_max_mm: float = setting(
        500.0, unit="mm", doc="Most rain of a day that is believed when a person types it; more is"
        " taken for a slip of the point", low=50.0, high=2000.0,
    )  # fmt: skip
    wet_day_mean_min_mm: float = setting(
        0.9, unit="mm", doc="Mean rain of a wet day below which inches were read as millimetres",
        low=0.1, high=3.0,
    )  # fmt: skip
    wet_days_to_judge: int = setting(
        15, unit="days", doc="Wet days needed before their mean says anything of the unit",
        low=5, high=200,
    )  # fmt: skip
    days_to_judge_rain: int = setting(
        60, unit="days", doc="Days of known rain before so little of it is doubted",
        low=20, high=400,
    )  # fmt: skip
    wettest_day_min_mm: float = setting(
        8.0, unit="mm", doc="Wettest day below which inches were probably read as millimetres",
        low=1.0, high=20.0,
    )  # fmt: skip
    year_rain_min_mm: float = setting(
        60.0, unit="mm", doc="Rain of a year below which inches were probably read as millimetres",
        low=5.0, high=200.0,
    )  # fmt: skip
    year_rain_max_mm: float = setting(
        3000.0, unit="mm", doc="Rain of a year above which tenths were probably read as whole"
        " millimetres; told, not refused", low=1000.0, high=12000.0,
    )  # fmt: skip
    cool_winter_from_deg: float = setting(
        38.0, unit="deg", doc="Latitude from which a warm winter is doubted", low=30.0, high=60.0
    )
    cool_winter_max_c: float = setting(
        18.0, unit="degC", doc="Mean of winter days there above which Fahrenheit was read as"
        " Celsius", low=10.0, high=30.0,
    )  # fmt: skip
    swapped_share: float = setting(
        0.5, unit="-", doc="Share of days with tmin above tmax from which the two were exchanged",
        low=0.1, high=1.0,
    )  # fmt: skip
    daily_range_max_c: float = setting(
        23.0, unit="degC", doc="Median daily range above which Fahrenheit was read as Celsius",
        low=15.0, high=40.0,
    )  # fmt: skip
    warm_season_min_c: float = setting(
        8.0, unit="degC", doc="Warmest tenth of a year's days below which Celsius was read as"
        " Fahrenheit", low=-10.0, high=20.0,
    )  # fmt: skip
    hours_for_rain: int = setting(
        22, unit="h", doc="Hours known for a day's rain to count as known", low=12, high=24
    )
    hours_for_temperature: int = setting(
        20, unit="h", doc="Hours known for a day's extremes to count as known", low=8, high=24
    )
    hours_for_mean: int = setting(
        18, unit="h", doc="Hours known for a day's mean wind or total sunshine", low=8, high=24
    )
    morning_until_h: float = setting(
        10.0, unit="h", doc="A gauge read by this hour caught mostly the day before", low=0, high=12
    )
