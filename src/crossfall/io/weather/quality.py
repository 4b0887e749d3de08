"""Doubts about weather figures: impossible ones, the wrong unit, totals of several days.

An impossible figure becomes unknown and is reported, never corrected. When a
whole column reads like another unit the file is refused, for a plan made from
it would be wrong everywhere.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from crossfall.errors import InputError, Problem, UnitsError
from crossfall.io.weather.figures import SI, Floats
from crossfall.model.policy import WeatherPolicy

Where = Callable[[str, int], str]
"""From field and index to the words for where that figure stands."""


@dataclass(eq=False)
class Judged:
    """Figures after judgement, and what was found."""

    values: dict[str, Floats]
    n_impossible: int
    doubts: list[Problem]


_LIKELY = {
    "rain": "the file may be in tenths of a millimetre; say --unit rain='0.1 mm'",
    "hourly rain": "the file may be in tenths of a millimetre; say --unit rain='0.1 mm'",
    "tmin": "the file is probably in Fahrenheit; say --unit tmin=degF",
    "tmax": "the file is probably in Fahrenheit; say --unit tmax=degF",
    "temp": "the file is probably in Fahrenheit; say --unit temp=degF",
    "dewpoint": "the file is probably in Fahrenheit; say --unit dewpoint=degF",
    "wind": "the file may be in tenths; say --unit wind='0.1 m/s'",
    "solar": "the file may be a mean in W/m2; say --unit solar=W/m2",
    "vapour": "the file may be in hPa; say --unit vapour=hPa",
}


def judge_days(
    values: dict[str, Floats],
    first_day: date,
    *,
    file: str,
    policy: WeatherPolicy,
    units_said: bool = False,
    believe: bool = False,
    lat: float | None = None,
) -> Judged:
    """Judge daily figures in SI.

    Parameters
    ----------
    units_said
        A person said the units, so rain may be in another; an archive's are fixed.
    believe
        A person vouches for figures that are possible but unlikely: they are doubts, no refusal.
    lat
        Latitude of the station, which says how warm its winters can be.

    Raises
    ------
    UnitsError
        If a column holds so many impossible figures that its unit must be another, or rain is so
        little that inches were probably taken for millimetres.
    InputError
        If the lowest and the highest temperature stand in each other's column.
    """
    judged = Judged(dict(values), 0, [])

    def where(field: str, index: int) -> str:
        return f"{file}, {field} of {first_day + timedelta(days=index)}"

    for field in values:
        _believe(judged, field, field, where, file, policy)
    _swapped_temperatures(judged, file, policy)
    _minimum_above_maximum(judged, where)
    _mean_wind(judged, file, policy)
    if units_said:
        _too_little_rain(judged, file, policy, believe=believe)
        _warm_winter(judged, first_day, file, policy, lat, believe=believe)
    _wet_days(judged, file, policy)
    _much_rain(judged, file, policy)
    _temperatures(judged, file, policy)
    _several_days(judged, first_day, file)
    return judged


def judge_hours(
    values: dict[str, Floats], stamps: list[str], *, file: str, policy: WeatherPolicy
) -> Judged:
    """Judge hourly figures in SI; ``stamps`` say in words which hour each is."""
    judged = Judged(dict(values), 0, [])
    for field in values:
        limit = "hourly rain" if field == "rain" else field
        _believe(judged, field, limit, lambda f, i: f"{file}, {f} at {stamps[i]}", file, policy)
    return judged


def _limits(policy: WeatherPolicy) -> dict[str, tuple[float, float]]:
    temperature = (policy.temperature_min_c, policy.temperature_max_c)
    return {
        "rain": (0.0, policy.rain_max_mm),
        "hourly rain": (0.0, policy.hourly_rain_max_mm),
        "tmin": temperature,
        "tmax": temperature,
        "temp": temperature,
        "dewpoint": temperature,
        "wind": (0.0, policy.wind_max_m_s),
        "solar": (0.0, policy.solar_max_mj_m2),
        "vapour": (0.0, policy.vapour_max_kpa),
        "probability": (0.0, 100.0),
    }


def _believe(
    judged: Judged, field: str, limit: str, where: Where, file: str, policy: WeatherPolicy
) -> None:
    low, high = _limits(policy)[limit]
    values = judged.values[field]
    is_bad = (values < low) | (values > high)
    n_bad, n_known = int(is_bad.sum()), int(np.isfinite(values).sum())
    if not n_bad:
        return
    worst = int(np.nanargmax(np.where(is_bad, np.abs(values), np.nan)))
    said = f"{values[worst]:.5g} {SI[field]} is impossible (believed: {low:g} to {high:g})"
    if n_bad >= policy.unit_fault_count and n_bad > policy.unit_fault_share * n_known:
        raise UnitsError(
            f"{where(field, worst)}: {said}, and so are {n_bad} of {n_known};"
            f" {_LIKELY.get(limit, 'check the unit')}"
        )
    judged.values[field] = np.where(is_bad, np.nan, values)
    judged.n_impossible += n_bad
    judged.doubts += [
        Problem(
            where(field, int(index)), f"{values[index]:.5g} {SI[field]} is impossible; unknown now"
        )
        for index in np.flatnonzero(is_bad)[:5]
    ]
    if n_bad > 5:
        judged.doubts.append(Problem(f"{file}, {field}", f"{n_bad - 5} more impossible figures"))


def _swapped_temperatures(judged: Judged, file: str, policy: WeatherPolicy) -> None:
    if not {"tmin", "tmax"} <= judged.values.keys():
        return
    low, high = judged.values["tmin"], judged.values["tmax"]
    n_known = int((np.isfinite(low) & np.isfinite(high)).sum())
    n_above = int((low > high).sum())
    if n_above >= policy.unit_fault_count and n_above > policy.swapped_share * n_known:
        raise InputError(
            f"{file}: tmin is above tmax on {n_above} of {n_known} days; the two columns are"
            " swapped: exchange them, in the file or with --column tmin=... --column tmax=..."
        )


def _too_little_rain(judged: Judged, file: str, policy: WeatherPolicy, *, believe: bool) -> None:
    """Inches under the name of millimetres: hardly any gravel road sees so little."""
    known = judged.values["rain"][np.isfinite(judged.values["rain"])]
    if len(known) < policy.days_to_judge_rain:
        return
    wettest, a_year = float(known.max()), float(known.sum()) / len(known) * 365.25
    if wettest < policy.wettest_day_min_mm:
        what = (
            f"the wettest of {len(known)} days brings {wettest:.1f} mm, less than"
            f" {policy.wettest_day_min_mm:g}"
        )
    elif a_year < policy.year_rain_min_mm:
        what = f"a year would bring {a_year:.0f} mm, less than {policy.year_rain_min_mm:g}"
    else:
        return
    likely = "inches were probably read as millimetres: say --unit rain=in"
    if believe:
        judged.doubts.append(Problem(f"{file}, rain", f"{what}; believed because you said so"))
        return
    raise UnitsError(f"{file}, rain: {what}; {likely}, or --believe if it is really so dry")


def _minimum_above_maximum(judged: Judged, where: Where) -> None:
    if not {"tmin", "tmax"} <= judged.values.keys():
        return
    low, high = judged.values["tmin"], judged.values["tmax"]
    is_bad = low > high
    if not is_bad.any():
        return
    judged.values["tmin"] = np.where(is_bad, np.nan, low)
    judged.values["tmax"] = np.where(is_bad, np.nan, high)
    judged.n_impossible += 2 * int(is_bad.sum())
    index = int(np.flatnonzero(is_bad)[0])
    judged.doubts.append(
        Problem(
            where("tmin", index),
            f"{low[index]:g} is above tmax {high[index]:g}; both unknown now on {is_bad.sum()}"
            " days",
        )
    )


def _mean_wind(judged: Judged, file: str, policy: WeatherPolicy) -> None:
    wind = judged.values.get("wind")
    if wind is None or np.isfinite(wind).sum() < policy.wet_days_to_judge:
        return
    mean = float(np.nanmean(wind))
    if mean > policy.wind_mean_max_m_s:
        raise UnitsError(
            f"{file}, wind: blows at {mean:.0f} m/s on average, more than"
            f" {policy.wind_mean_max_m_s:g}; {_LIKELY['wind']}, or --unit wind=km/h"
        )


def _wet_days(judged: Judged, file: str, policy: WeatherPolicy) -> None:
    rain = judged.values.get("rain")
    if rain is None:
        return
    wet = rain[rain > 0]
    if len(wet) < policy.wet_days_to_judge:
        return
    mean = float(wet.mean())
    if mean > policy.wet_day_mean_max_mm:
        raise UnitsError(
            f"{file}, rain: wet days bring {mean:.0f} mm on average, more than"
            f" {policy.wet_day_mean_max_mm:g}; {_LIKELY['rain']}"
        )
    if mean > policy.wet_day_mean_doubt_mm:
        judged.doubts.append(
            Problem(
                f"{file}, rain",
                f"wet days bring {mean:.0f} mm on average, more than"
                f" {policy.wet_day_mean_doubt_mm:g}; {_LIKELY['rain']}",
            )
        )
    is_told = any(doubt.where == f"{file}, rain" for doubt in judged.doubts)
    if mean < policy.wet_day_mean_min_mm and not is_told:
        judged.doubts.append(
            Problem(
                f"{file}, rain",
                f"wet days bring {mean:.2f} mm on average, little for millimetres; if the file is"
                " in inches say --unit rain=in",
            )
        )


def _much_rain(judged: Judged, file: str, policy: WeatherPolicy) -> None:
    """Tenths under the name of millimetres, where each storm alone might still be believed."""
    rain = judged.values.get("rain")
    if rain is None:
        return
    known = rain[np.isfinite(rain)]
    if len(known) < policy.days_to_judge_rain:
        return
    a_year = float(known.sum()) / len(known) * 365.25
    if a_year > policy.year_rain_max_mm:
        judged.doubts.append(
            Problem(
                f"{file}, rain",
                f"a year would bring {a_year:.0f} mm, more than {policy.year_rain_max_mm:g};"
                f" {_LIKELY['rain']}",
            )
        )


def _warm_winter(
    judged: Judged,
    first_day: date,
    file: str,
    policy: WeatherPolicy,
    lat: float | None,
    *,
    believe: bool,
) -> None:
    """Fahrenheit under the name of Celsius in a cool season, where no figure is impossible."""
    if lat is None or abs(lat) < policy.cool_winter_from_deg:
        return
    if not {"tmin", "tmax"} <= judged.values.keys():
        return
    mean = (judged.values["tmin"] + judged.values["tmax"]) / 2
    months = np.array([(first_day + timedelta(days=n)).month for n in range(len(mean))])
    winter = np.isin(months, (12, 1, 2) if lat > 0 else (6, 7, 8)) & np.isfinite(mean)
    if winter.sum() < policy.wet_days_to_judge:
        return
    warm = float(mean[winter].mean())
    if warm <= policy.cool_winter_max_c:
        return
    what = f"winter days at latitude {lat:.0f} are {warm:.0f} °C on average"
    if believe:
        judged.doubts.append(Problem(f"{file}, tmin and tmax", f"{what}; believed as you said so"))
        return
    raise UnitsError(
        f"{file}, tmin and tmax: {what}, more than {policy.cool_winter_max_c:g}; the file is"
        " probably in Fahrenheit: say --unit tmin=degF --unit tmax=degF, or --believe if it is so"
    )


def _temperatures(judged: Judged, file: str, policy: WeatherPolicy) -> None:
    if not {"tmin", "tmax"} <= judged.values.keys():
        return
    low, high = judged.values["tmin"], judged.values["tmax"]
    known = np.isfinite(low) & np.isfinite(high)
    if known.sum() < policy.wet_days_to_judge:
        return
    median = float(np.median((high - low)[known]))
    if median > policy.daily_range_max_c:
        judged.doubts.append(
            Problem(
                f"{file}, tmin and tmax",
                f"are {median:.0f} degrees apart on most days; if they are in Fahrenheit say"
                " --unit tmin=degF --unit tmax=degF",
            )
        )
    warm = float(np.quantile(high[known], 0.9))
    if known.sum() >= 330 and warm < policy.warm_season_min_c:
        judged.doubts.append(
            Problem(
                f"{file}, tmax",
                f"even the warmest tenth of the days stays below {warm:.0f} °C; were Celsius"
                " figures read as Fahrenheit?",
            )
        )


def _several_days(judged: Judged, first_day: date, file: str) -> None:
    """Rain written down only every few days: after gaps, or never at the weekend."""
    rain = judged.values.get("rain")
    if rain is None or len(rain) < 2:
        return
    after_gap = np.flatnonzero(np.isnan(rain[:-1]) & (rain[1:] > 0)) + 1
    if len(after_gap):
        day = first_day + timedelta(days=int(after_gap[0]))
        judged.doubts.append(
            Problem(
                f"{file}, rain of {day}",
                f"{rain[after_gap[0]]:.1f} mm follows days without a reading and may be"
                f" their total; so on {len(after_gap)} days",
            )
        )
    weekday = (first_day.toordinal() + 6 + np.arange(len(rain))) % 7
    is_weekend, is_monday = weekday >= 5, weekday == 0
    n_weekend = int(np.isfinite(rain[is_weekend]).sum())
    if n_weekend < 52 or np.nansum(rain) == 0:
        return
    if np.nansum(rain[is_weekend]) == 0 and np.nanmean(rain[is_monday]) > 1.5 * np.nanmean(rain):
        judged.doubts.append(
            Problem(
                f"{file}, rain",
                "it never rained on a weekend and much on Mondays; Monday's figure is probably the"
                " total of three days, and the weekend unknown",
            )
        )
