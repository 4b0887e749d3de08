"""How much surface gravel a year takes away.

Three ways, most informed first: a rate the agency has measured itself, the
1987 World Bank relationship (traffic, grade, curvature, rain, material), and
the four-input relationship from Kenya. The coefficients of both published
relationships are *recalled*: their units were cross-checked, their pages were
not seen. Monthly rain is in millimetres here; the 1987 book has metres, and
mixing the two is a thousandfold error, which is refused.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError, UnitsError

Floats = npt.NDArray[np.float64]
Number = float | Floats

# Coefficients of Paterson 1987, units: mm/yr, m/km, mm/month, veh/day (recalled)
_PER_100_DAYS = 3.65
_BASE = 3.46
_RISE_FALL_RAIN = 0.246
_KT = 0.022
_KT_CURVATURE = 0.969 / 57300.0
_KT_FINES = 0.00342
_KT_PLASTICITY = -0.0092
_KT_RAIN = -0.101


def traffic_coefficient(
    *, curvature_deg_km: Number, rain_mm_month: Number, p075_pct: Number, plasticity_pct: Number
) -> Floats:
    """Traffic coefficient KT of the 1987 gravel-loss relationship [-], never negative.

    Source: Paterson, Road Deterioration and Maintenance Effects, World Bank 1987 (recalled).

    Examples
    --------
    >>> round(float(traffic_coefficient(
    ...     curvature_deg_km=50, rain_mm_month=80, p075_pct=12, plasticity_pct=8)), 5)
    0.01216
    """
    _rain_guard(rain_mm_month)
    rain_m = np.asarray(rain_mm_month, dtype=float) / 1000
    kt = (
        _KT
        + _KT_CURVATURE * np.asarray(curvature_deg_km, dtype=float)
        + rain_m
        * (
            _KT_FINES * np.asarray(p075_pct, dtype=float)
            + _KT_PLASTICITY * np.asarray(plasticity_pct, dtype=float)
            + _KT_RAIN
        )
    )
    return np.maximum(kt, 0.0)


def yearly_loss(
    *,
    adt: Number,
    rise_fall_m_km: Number,
    curvature_deg_km: Number,
    rain_mm_month: Number,
    p075_pct: Number,
    plasticity_pct: Number,
    factor: Number = 1.0,
) -> Floats:
    """Gravel loss by the 1987 relationship, times the agency's own ``factor`` [mm/yr].

    Parameters
    ----------
    adt
        Vehicles a day, both directions, >= 0.
    rise_fall_m_km
        Rise plus fall: ten times the mean absolute grade in percent [m/km].
    curvature_deg_km
        Mean horizontal curvature [deg/km].
    rain_mm_month
        Mean monthly rain in **millimetres** [mm/month].
    p075_pct, plasticity_pct
        Share of fines below 0.075 mm [%] and plasticity index [%].
    factor
        Calibration, 0.3 to 3; 1 leaves the relationship as it is.

    Raises
    ------
    InputError
        If traffic is negative or a value is not finite.
    UnitsError
        If the monthly rain looks like metres.

    Notes
    -----
    Source: Paterson 1987 (recalled coefficients). Fitted in Brazil without frost; 12.6 mm/yr at
    zero traffic is high for quiet temperate roads, where factors of 0.4 to 1 are expected.

    Examples
    --------
    >>> round(float(yearly_loss(adt=100, rise_fall_m_km=20, curvature_deg_km=50, rain_mm_month=80,
    ...                         p075_pct=12, plasticity_pct=8)), 2)
    18.5
    """
    traffic = _not_negative("adt", adt)
    kt = traffic_coefficient(
        curvature_deg_km=curvature_deg_km,
        rain_mm_month=rain_mm_month,
        p075_pct=p075_pct,
        plasticity_pct=plasticity_pct,
    )
    rain_m = np.asarray(rain_mm_month, dtype=float) / 1000
    rise = _not_negative("rise_fall_m_km", rise_fall_m_km)
    scale = _not_negative("factor", factor)
    return scale * _PER_100_DAYS * (_BASE + _RISE_FALL_RAIN * rain_m * rise + kt * traffic)


def yearly_loss_four_inputs(
    *, adt: Number, rain_m_year: Number, grade_pct: Number, material_factor: Number = 1.0
) -> Floats:
    """Gravel loss from traffic, rain, grade and material alone [mm/yr].

    Source: TRRL Laboratory Report 673, Kenya 1975 (recalled). ``material_factor`` 0.94 to 1.29
    laterite, 1.1 to 1.51 quartzite, 0.7 to 0.96 volcanic, 1.5 coral, 1.38 sandstone (recalled).

    Raises
    ------
    InputError
        If an input is negative or not finite.
    UnitsError
        If yearly rain in metres looks like millimetres.

    Examples
    --------
    >>> round(float(yearly_loss_four_inputs(adt=100, rain_m_year=1.0, grade_pct=2)), 2)
    14.28
    """
    thousands = _not_negative("adt", adt) * 365.0 / 1000.0
    rain = _not_negative("rain_m_year", rain_m_year)
    if np.any(rain > 15.0):
        raise UnitsError(
            f"rain_m_year is {float(np.max(rain)):g}; expected metres a year, 0 to 15;"
            " the figure looks like millimetres"
        )
    grade = _not_negative("grade_pct", grade_pct)
    squared = thousands**2
    share = squared / (squared + 50.0)
    return (
        _not_negative("material_factor", material_factor)
        * share
        * (4.2 + 0.092 * thousands + 3.50 * rain**2 + 1.88 * grade)
    )


def volume_m3_km(loss_mm: Number, width_m: Number) -> Floats:
    """Compacted gravel that a loss over a width is worth, per kilometre [m³/km].

    Examples
    --------
    >>> round(float(volume_m3_km(18.5, 7.0)), 1)
    129.5
    """
    return _not_negative("loss_mm", loss_mm) * _not_negative("width_m", width_m)


def _not_negative(name: str, value: Number) -> Floats:
    values = np.asarray(value, dtype=float)
    if not np.all(np.isfinite(values)) or np.any(values < 0):
        bad = values[~(np.isfinite(values) & (values >= 0))].flat[0]
        raise InputError(f"{name} is {bad:g}; expected a finite number >= 0")
    return values


def _rain_guard(rain_mm_month: Number) -> None:
    rain = _not_negative("rain_mm_month", rain_mm_month)
    if np.any((rain > 0) & (rain < 1.0)):
        raise UnitsError(
            f"rain_mm_month is {float(rain[(rain > 0) & (rain < 1)].flat[0]):g}; expected"
            " millimetres a month, 1 or more; the figure looks like metres"
        )
    if np.any(rain > 2000.0):
        raise InputError(
            f"rain_mm_month is {float(np.max(rain)):g}; expected at most 2000 mm a month;"
            " the figure looks like a year's rain"
        )
