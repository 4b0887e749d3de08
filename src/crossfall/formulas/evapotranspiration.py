"""How much water the air could take: reference evapotranspiration, from whatever was measured.

With radiation, humidity and wind at hand the Penman-Monteith equation is used (FAO-56 Eq. 6 in
the ASCE standardised form, computed by ``refet``). What is missing is estimated the FAO-56 way:
radiation from the temperature range, vapour pressure from the night minimum, wind as 2 m/s. When
only temperatures are known, the Hargreaves equation takes over. The result says, day by day,
which of these it was.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import refet

from crossfall.errors import InputError, UnitsError
from crossfall.formulas.sun import extraterrestrial_radiation

Floats = npt.NDArray[np.float64]

KRS_INLAND = 0.16
"""FAO-56 Eq. 50, inland sites [recalled]."""
KRS_COAST = 0.19
"""FAO-56 Eq. 50, coastal sites [recalled]."""
WIND_DEFAULT_M_S = 2.0
"""FAO-56: world mean wind at 2 m, where none is known [recalled]."""

METHODS = (
    "Penman-Monteith from measurements",
    "Penman-Monteith with estimates",
    "Hargreaves from temperatures",
    "unknown, temperatures missing",
)
"""What the codes in :attr:`ReferenceET.method` mean."""


@dataclass(frozen=True, eq=False)
class ReferenceET:
    """Reference evapotranspiration and how each day's figure came about."""

    et_mm: Floats
    """NaN where temperatures are missing [mm/d]."""
    method: npt.NDArray[np.int8]
    """Index into :data:`METHODS`, same shape."""
    estimated: tuple[str, ...]
    """What was estimated on some day: ``radiation from the temperature range``..."""

    def summary(self) -> str:
        """One line for a person: the methods, and how many days each."""
        counts = np.bincount(self.method.ravel(), minlength=len(METHODS))
        parts = [f"{METHODS[i]} ({n} days)" for i, n in enumerate(counts) if n]
        return "; ".join(parts) + (
            f"; estimated: {', '.join(self.estimated)}" if self.estimated else ""
        )


def reference_et(
    tmin_c: Floats,
    tmax_c: Floats,
    lat_deg: float,
    elevation_m: float,
    day_of_year: npt.NDArray[np.int64],
    *,
    solar_mj_m2: Floats | None = None,
    vapour_kpa: Floats | None = None,
    wind_m_s: Floats | None = None,
    wind_height_m: float = 10.0,
    is_coastal: bool = False,
) -> ReferenceET:
    """Reference evapotranspiration of a short crop for each day.

    Parameters
    ----------
    tmin_c, tmax_c
        Daily extremes [degC], NaN where missing.
    lat_deg, elevation_m
        Latitude [degrees north] and height [m] of the station.
    day_of_year
        1 to 366, same shape as the temperatures.
    solar_mj_m2, vapour_kpa, wind_m_s
        Measured radiation [MJ/m²], vapour pressure [kPa], wind at ``wind_height_m`` [m/s];
        None or NaN where missing.
    is_coastal
        Whether radiation from the temperature range takes the coastal factor.

    Raises
    ------
    UnitsError
        If a maximum above 60 °C suggests Fahrenheit, or wind above 60 m/s.
    InputError
        If shapes differ, a minimum is above its maximum, or a value is negative.

    Examples
    --------
    Uccle, 6 July, the situation of FAO-56 Example 18 (3.88 mm/d in the refet test suite):

    >>> one = reference_et(
    ...     np.array([12.3]), np.array([21.5]), 50.80, 100.0, np.array([187]),
    ...     solar_mj_m2=np.array([22.07]), vapour_kpa=np.array([1.4086]),
    ...     wind_m_s=np.array([2.7778]),
    ... )
    >>> print(f"{one.et_mm[0]:.2f} mm; {METHODS[one.method[0]]}")
    3.88 mm; Penman-Monteith from measurements
    """
    tmin, tmax = np.asarray(tmin_c, float), np.asarray(tmax_c, float)
    solar = _optional("solar_mj_m2", solar_mj_m2, tmin)
    vapour = _optional("vapour_kpa", vapour_kpa, tmin)
    wind = _optional("wind_m_s", wind_m_s, tmin)
    _check(tmin, tmax, lat_deg, wind)

    ra = extraterrestrial_radiation(lat_deg, day_of_year)
    is_known = np.isfinite(tmin) & np.isfinite(tmax)
    no_solar, no_vapour, no_wind = ~np.isfinite(solar), ~np.isfinite(vapour), ~np.isfinite(wind)
    by_hargreaves = is_known & no_solar & no_wind
    by_penman = is_known & ~by_hargreaves
    has_guess = by_penman & (no_solar | no_vapour | no_wind)

    et = np.full(tmin.shape, np.nan)
    if by_penman.any():
        guess = solar_from_range(
            tmin, tmax, ra, elevation_m, krs=KRS_COAST if is_coastal else KRS_INLAND
        )
        height = np.where(no_wind, 2.0, wind_height_m)
        u2 = _wind_at_2m(np.where(no_wind, WIND_DEFAULT_M_S, wind), height)
        some = by_penman
        et[some] = refet.Daily(
            tmin=tmin[some],
            tmax=tmax[some],
            ea=np.where(no_vapour, saturation_vapour_kpa(tmin), vapour)[some],
            rs=np.where(no_solar, guess, solar)[some],
            uz=u2[some],
            zw=2,
            elev=elevation_m,
            lat=lat_deg,
            doy=np.asarray(day_of_year)[some],
            method="asce",
        ).eto()
    et[by_hargreaves] = hargreaves(tmin, tmax, ra)[by_hargreaves]

    method = np.full(tmin.shape, 3, dtype=np.int8)
    method[by_penman] = 0
    method[has_guess] = 1
    method[by_hargreaves] = 2
    estimated = tuple(
        text
        for missing, text in (
            (no_solar, "radiation from the temperature range"),
            (no_vapour, "vapour pressure from the night minimum"),
            (no_wind, f"wind as {WIND_DEFAULT_M_S:g} m/s"),
        )
        if (by_penman & missing).any()
    )
    return ReferenceET(np.maximum(et, 0.0), method, estimated)


def hargreaves(tmin_c: Floats, tmax_c: Floats, ra_mj_m2: Floats) -> Floats:
    """Reference evapotranspiration from temperatures alone [mm/d]; FAO-56 Eq. 52 [recalled].

    Examples
    --------
    >>> ra = extraterrestrial_radiation(45.72, np.array([196]))
    >>> print(f"{hargreaves(np.array([14.8]), np.array([26.6]), ra)[0]:.2f}")
    5.03
    """
    mean = (tmin_c + tmax_c) / 2
    spread = np.sqrt(np.maximum(tmax_c - tmin_c, 0.0))
    return np.asarray(np.maximum(0.0023 * (mean + 17.8) * spread * 0.408 * ra_mj_m2, 0.0))


def solar_from_range(
    tmin_c: Floats,
    tmax_c: Floats,
    ra_mj_m2: Floats,
    elevation_m: float,
    *,
    krs: float = KRS_INLAND,
) -> Floats:
    """Radiation at the ground from the temperature range [MJ/(m² d)]; FAO-56 Eq. 50 [recalled].

    Never more than on a clear day (FAO-56 Eq. 37).
    """
    spread = np.sqrt(np.maximum(tmax_c - tmin_c, 0.0))
    clear = (0.75 + 2e-5 * elevation_m) * ra_mj_m2
    return np.asarray(np.minimum(krs * spread * ra_mj_m2, clear))


def saturation_vapour_kpa(temperature_c: Floats) -> Floats:
    """Saturation vapour pressure [kPa]; FAO-56 Eq. 11 [recalled]."""
    return np.asarray(0.6108 * np.exp(17.27 * temperature_c / (temperature_c + 237.3)))


def _wind_at_2m(wind_m_s: Floats, height_m: Floats) -> Floats:
    # FAO-56 Eq. 47; at 2 m the factor is 1.0002, so a wind measured there is left alone
    factor = np.where(height_m == 2.0, 1.0, 4.87 / np.log(67.8 * height_m - 5.42))
    return np.asarray(wind_m_s * factor)


def _optional(name: str, values: Floats | None, like: Floats) -> Floats:
    if values is None:
        return np.full(like.shape, np.nan)
    found = np.asarray(values, float)
    if found.shape != like.shape:
        raise InputError(f"{name} has shape {found.shape}; expected {like.shape} as tmin_c")
    if np.any(found < 0):
        raise InputError(f"{name} has {np.nanmin(found):g}; expected >= 0, or NaN where missing")
    return found


def _check(tmin: Floats, tmax: Floats, lat_deg: float, wind: Floats) -> None:
    if tmin.shape != tmax.shape:
        raise InputError(f"tmin_c has shape {tmin.shape} and tmax_c {tmax.shape}; expected alike")
    if not -90 <= lat_deg <= 90:
        raise InputError(f"lat_deg is {lat_deg:g}; expected -90 to 90, maybe lon was given")
    if np.any(tmax > 60):
        raise UnitsError(f"tmax_c has {np.nanmax(tmax):g}; expected degC, maybe it is Fahrenheit")
    if np.any(tmin > tmax):
        at = int(np.flatnonzero(tmin.ravel() > tmax.ravel())[0])
        raise InputError(
            f"tmin_c {tmin.ravel()[at]:g} is above tmax_c {tmax.ravel()[at]:g} at index {at};"
            " maybe the columns are swapped"
        )
    if np.any(wind > 60):
        raise UnitsError(f"wind_m_s has {np.nanmax(wind):g}; expected a daily mean below 60 m/s")
