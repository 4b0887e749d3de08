"""Daily weather of one station, and forecasts as members. NaN is unknown, never zero.

Rain may be known by the hour besides; everything else is a figure of the day.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError

Floats = npt.NDArray[np.float64]

HOURS = 24
"""Civil hours; on the day clocks are set back one of them lasts two, on the other one has none."""


@dataclass(frozen=True, slots=True)
class Station:
    """A rain gauge or weather station."""

    id: str
    name: str
    lon: float
    lat: float
    elevation_m: float = 0.0


@dataclass(frozen=True, eq=False)
class WeatherRecord:
    """Observed daily weather: arrays of shape (day,), one value for each civil day."""

    station: Station
    first_day: date
    rain_mm: Floats
    """Water equivalent of everything that fell [mm]."""
    tmin_c: Floats
    tmax_c: Floats
    wind_m_s: Floats | None = None
    """Mean wind at 10 m [m/s]."""
    solar_mj_m2: Floats | None = None
    """Incoming short-wave radiation [MJ/m²]."""
    vapour_kpa: Floats | None = None
    source: str = ""
    is_invented: bool = False
    rain_hour_mm: Floats | None = None
    """What each civil hour brought, shape (day, 24), where it was recorded by the hour; a day that
    was not is NaN throughout, and a known day's hours add up to its ``rain_mm`` [mm]."""

    def __post_init__(self) -> None:
        shape = self.rain_mm.shape
        if len(shape) != 1:
            raise InputError(f"rain_mm has shape {shape}; expected one value for each day")
        _check_hours(self.rain_hour_mm, shape)
        for name in ("tmin_c", "tmax_c", "wind_m_s", "solar_mj_m2", "vapour_kpa"):
            values = getattr(self, name)
            if values is not None and values.shape != shape:
                raise InputError(f"{name} has shape {values.shape}; expected {shape} as rain_mm")

    @property
    def n_days(self) -> int:
        return int(self.rain_mm.shape[0])

    @property
    def last_day(self) -> date:
        return self.first_day + timedelta(days=self.n_days - 1)


@dataclass(frozen=True, eq=False)
class Forecast:
    """Forecast members of one station: arrays of shape (member, day)."""

    station: Station
    issued_on: date
    first_day: date
    rain_mm: Floats
    tmin_c: Floats
    tmax_c: Floats
    source: str = ""
    is_invented: bool = False
    pop: Floats | None = None
    """Probability of rain, 0 to 1, shape (day,), where the source gives one beside the amount;
    members are then drawn from it."""
    rain_hour_mm: Floats | None = None
    """The rain of each civil hour, shape (member, day, 24), as in :class:`WeatherRecord` [mm]."""

    def __post_init__(self) -> None:
        if self.rain_mm.ndim != 2:
            raise InputError(f"rain_mm has shape {self.rain_mm.shape}; expected (member, day)")
        _check_hours(self.rain_hour_mm, self.rain_mm.shape)
        for name in ("tmin_c", "tmax_c"):
            if getattr(self, name).shape != self.rain_mm.shape:
                raise InputError(f"{name} and rain_mm differ in shape")
        if self.pop is not None and self.pop.shape != self.rain_mm.shape[1:]:
            raise InputError(
                f"pop has shape {self.pop.shape}; expected {self.rain_mm.shape[1:]}, one a day"
            )

    @property
    def n_members(self) -> int:
        return int(self.rain_mm.shape[0])

    @property
    def n_days(self) -> int:
        return int(self.rain_mm.shape[1])


def _check_hours(rain_hour_mm: Floats | None, shape: tuple[int, ...]) -> None:
    if rain_hour_mm is not None and rain_hour_mm.shape != (*shape, HOURS):
        raise InputError(
            f"rain_hour_mm has shape {rain_hour_mm.shape}; expected {(*shape, HOURS)}, the hours"
            " of each day"
        )
