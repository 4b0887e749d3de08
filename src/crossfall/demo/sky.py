"""Invented daily weather of a mid-latitude prairie, and a forecast as members.

Each calendar day has its own luck, drawn from the seed and the year, so the
weather of a past day does not depend on which day is today; only the cool wet
spell of the last days, with its storm two days ago, is put in for the demo.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter
from scipy.special import ndtr
from scipy.stats import gamma

from crossfall.demo.recipe import INVENTED
from crossfall.model import Forecast, Station, WeatherRecord

Floats = npt.NDArray[np.float64]

N_RECORD_DAYS, N_FORECAST_DAYS, N_MEMBERS = 730, 10, 20
_WARM_UP_DAYS = 60

# The invented climate, January to December; nobody measured it.
_MEAN_C = (-9.5, -7.0, -0.5, 7.5, 14.0, 19.5, 22.5, 21.0, 16.0, 8.5, -0.5, -7.5)
_WET_SHARE = (0.16, 0.17, 0.20, 0.25, 0.31, 0.33, 0.28, 0.25, 0.22, 0.20, 0.16, 0.16)
_WET_DAY_MM = (1.6, 1.8, 3.4, 5.6, 7.2, 8.0, 8.2, 7.2, 6.6, 5.6, 2.8, 1.8)
_RANGE_C = (10.5, 10.5, 11.0, 12.5, 13.0, 12.8, 13.2, 13.5, 13.8, 12.8, 10.5, 10.0)
_SPELL_MM = (4.5, 7.0, 1.2, 19.8, 0.0)
"""Rain of the last five days, give or take a fifth: a wet spell that ends in a storm."""
_SPELL_COOLER_C, _SPELL_CALMER, _SPELL_CLOUDIER = 4.0, 0.75, 0.75

_AMOUNT_SHAPE = 0.62
"""Gamma shape of the rain of a wet day: many small falls, a few storms."""


def past_weather(
    stations: tuple[Station, ...], *, seed: int, today: date
) -> tuple[WeatherRecord, ...]:
    """Two years of days up to yesterday for each station, with a storm two days before today."""
    days = [today - timedelta(days=n) for n in range(N_RECORD_DAYS + _WARM_UP_DAYS, 0, -1)]
    luck = _luck(days, seed, n_rows=5)
    level = _by_day(_MEAN_C, days) + 4.3 * _remember(luck[0], 0.72)
    wind = 3.9 * np.exp(0.32 * _remember(luck[3], 0.45))
    level[-len(_SPELL_MM) :] -= _SPELL_COOLER_C
    wind[-len(_SPELL_MM) :] *= _SPELL_CALMER
    still = np.ones(len(days))
    still[-len(_SPELL_MM) :] = _SPELL_CLOUDIER
    sky = _remember(luck[1], 0.38)
    records = []
    for number, station in enumerate(stations):
        own = _luck(days, seed + 1000 * (number + 1), n_rows=3)
        rain = _rain(0.93 * sky + 0.37 * own[0], luck[2] * 0.8 + own[1] * 0.6, days)
        spell = 1 + 0.09 * np.clip(own[2][-len(_SPELL_MM) :], -2, 2)
        rain[-len(_SPELL_MM) :] = np.array(_SPELL_MM) * spell
        is_wet = rain > 0.2
        half = _by_day(_RANGE_C, days) * np.where(is_wet, 0.36, 0.52) * np.exp(0.12 * luck[4])
        half = half * still
        mean = level - np.where(is_wet, 1.2, 0.0) + 0.2 * own[2]
        used = slice(_WARM_UP_DAYS, None)
        records.append(
            WeatherRecord(
                station=station,
                first_day=days[_WARM_UP_DAYS],
                rain_mm=np.round(rain[used], 1),
                tmin_c=np.round((mean - half)[used], 1),
                tmax_c=np.round((mean + half)[used], 1),
                wind_m_s=np.round(wind[used], 1),
                source=INVENTED,
                is_invented=True,
            )
        )
    return tuple(records)


def forecasts(
    stations: tuple[Station, ...], records: tuple[WeatherRecord, ...], *, seed: int, today: date
) -> tuple[Forecast, ...]:
    """Twenty members for ten days from today: dry at first, a front about the fourth day."""
    days = [today + timedelta(days=n) for n in range(N_FORECAST_DAYS)]
    rng = np.random.default_rng([seed, today.toordinal(), 7])
    shape = (N_MEMBERS, N_FORECAST_DAYS)
    front = rng.normal(3.9, 0.9, N_MEMBERS)[:, None]
    lead = np.arange(N_FORECAST_DAYS)[None, :]
    share = 0.55 * _by_day(_WET_SHARE, days) + 0.55 * np.exp(-(((lead - front) / 0.9) ** 2))
    share *= np.array([0.15, 0.35, 0.8, *[1.0] * (N_FORECAST_DAYS - 3)])
    wet = _remember(rng.normal(size=shape), 0.3)
    amount = rng.normal(size=shape)
    drift = _remember(rng.normal(size=shape), 0.85) * np.linspace(0.35, 1.0, N_FORECAST_DAYS)
    half_luck = np.exp(0.08 * rng.normal(size=shape))
    made = []
    for station, record in zip(stations, records, strict=True):
        last = float(record.tmin_c[-3:].mean() + record.tmax_c[-3:].mean()) / 2
        normal = _by_day(_MEAN_C, days)
        mean = normal + (last - float(_by_day(_MEAN_C, [today])[0])) * 0.72 ** (lead + 1)
        own = rng.normal(size=shape)
        is_wet = ndtr(0.95 * wet + 0.31 * own) < share
        mm: Floats = np.where(
            is_wet, _amounts(0.8 * amount + 0.6 * rng.normal(size=shape), days), 0.0
        )
        half = _by_day(_RANGE_C, days) * np.where(is_wet, 0.36, 0.52) * half_luck
        half = half * (1 - (1 - _SPELL_CLOUDIER) * 0.6**lead)
        mean = mean + 3.4 * drift - np.where(is_wet, 1.2, 0.0)
        made.append(
            Forecast(
                station=station,
                issued_on=today,
                first_day=today,
                rain_mm=np.round(mm, 1),
                tmin_c=np.round(mean - half, 1),
                tmax_c=np.round(mean + half, 1),
                source=INVENTED,
                is_invented=True,
            )
        )
    return tuple(made)


def _rain(sky: Floats, amount: Floats, days: list[date]) -> Floats:
    is_wet = ndtr(sky) < _by_day(_WET_SHARE, days)
    return np.where(is_wet, _amounts(amount, days), 0.0)


def _amounts(luck: Floats, days: list[date]) -> Floats:
    mean = _by_day(_WET_DAY_MM, days)
    share = np.clip(ndtr(luck), 1e-6, 1 - 1e-6)
    amount: Floats = gamma.ppf(share, _AMOUNT_SHAPE) * mean / _AMOUNT_SHAPE
    return np.maximum(amount, 0.1)


def _by_day(monthly: tuple[float, ...], days: list[date]) -> Floats:
    """Monthly figures, taken as those of mid-month and drawn smoothly over the year."""
    middle = (np.arange(-1, 13) + 0.5) * 365.25 / 12
    figures = np.array([monthly[-1], *monthly, monthly[0]])
    return np.interp([day.timetuple().tm_yday - 0.5 for day in days], middle, figures)


def _luck(days: list[date], seed: int, *, n_rows: int) -> Floats:
    """Standard normal values, shape (row, day); a day's values depend on seed and date alone."""
    parts = []
    for year in range(days[0].year, days[-1].year + 1):
        drawn = np.random.default_rng([seed, year]).normal(size=(n_rows, 366))
        which = [day.timetuple().tm_yday - 1 for day in days if day.year == year]
        parts.append(drawn[:, which])
    return np.concatenate(parts, axis=1)


def _remember(luck: Floats, memory: float) -> Floats:
    """Give each day a share of the day before; the spread stays 1."""
    fresh = np.sqrt(1 - memory**2) * luck
    fresh[..., 0] = luck[..., 0]
    return np.asarray(lfilter([1.0], [1.0, -memory], fresh, axis=-1))
