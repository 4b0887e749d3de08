"""Rolling a lift, and the water that lets it pack.

A roller's output counts the compacted thickness, the drum less its overlap and every pass.
Water is reckoned on dry mass: the share that is missing, times dry density, times volume.
A layer that is already too wet needs time, never a negative number of litres.
"""

from __future__ import annotations

from crossfall.errors import InputError
from crossfall.formulas.given import (
    Num,
    at_least,
    count,
    density,
    percent,
    positive,
    share_of_hour,
    within,
)


def roller_rate(
    strip_m: Num, speed_km_h: Num, lift_mm: Num, n_passes: int, efficiency: float
) -> Num:
    """Compacted volume rolled in an hour: ``W S 1000 t E / P``. [m³/h]

    Parameters
    ----------
    strip_m : float or array, > 0
        Drum width less the overlap. [m]
    speed_km_h : float or array, > 0
        Rolling speed. [km/h]
    lift_mm : float or array, > 0
        *Compacted* thickness. [mm]
    n_passes : int, >= 1
        Passes over each strip, all counted.
    efficiency : float, above 0, at most 1
        Share of the hour that the roller moves.

    Notes
    -----
    Same as ``16.3 W S L E / P`` in feet, miles an hour and inches (published, a set problem
    on roller production). One handbook example prints a width of 1.5 m and then reckons with
    1.7: its 178 m³/h should read 152.6.

    Examples
    --------
    >>> round(roller_rate(2.0, 4.0, 75.0, 6, 0.83), 1)
    83.0
    """
    positive("strip_m", strip_m)
    positive("speed_km_h", speed_km_h)
    positive("lift_mm", lift_mm)
    share_of_hour("efficiency", efficiency)
    return strip_m * speed_km_h * lift_mm * (efficiency / count("n_passes", n_passes))


def water_volume(
    compacted_m3: Num,
    dry_t_m3: float,
    now_pct: float,
    target_pct: float,
    *,
    allowance: float = 0.0,
) -> Num:
    """Water to bring a layer from one moisture to another; nothing when it is wet enough. [m³]

    Parameters
    ----------
    compacted_m3 : float or array, >= 0
        Layer, compacted. [m³]
    dry_t_m3 : float, 1.2 to 2.45
        *Dry* density. A wet one counts water as stone. [t/m³]
    now_pct, target_pct : float, 0 to 30
        Water by dry mass. [%]
    allowance : float, 0 to 1
        Extra for evaporation and waste; 0.10 is published (US Army engineer text).

    Notes
    -----
    ``V ρ_dry (w_target − w_now) / 100 (1 + allowance)``. A published example leaves the
    density out and so understates the water by half.

    Examples
    --------
    >>> round(water_volume(840.0, 2.1, 3.0, 7.0), 1)
    70.6
    >>> water_volume(840.0, 2.1, 8.0, 7.0)
    0.0
    """
    at_least("compacted_m3", compacted_m3, 0.0)
    density("dry_t_m3", dry_t_m3, 1.2, 2.45, hint="a wet density counts water as stone")
    within("now_pct", now_pct, 0.0, 30.0)
    percent("target_pct", target_pct, 1.0, 30.0, called="moisture")
    within("allowance", allowance, 0.0, 1.0)
    missing = max(target_pct - now_pct, 0.0) / 100
    return compacted_m3 * (dry_t_m3 * missing * (1 + allowance))


def dry_density(wet_t_m3: Num, moisture_pct: Num) -> Num:
    """Dry density from a wet one: ``ρ / (1 + w / 100)``. [t/m³]

    Examples
    --------
    >>> round(dry_density(2.25, 7.0), 3)
    2.103
    """
    density("wet_t_m3", wet_t_m3, 1.2, 2.7)
    within("moisture_pct", moisture_pct, 0.0, 40.0)
    return wet_t_m3 / (1 + moisture_pct / 100)


def water_truck_rate(
    tank_m3: float,
    fill_min: float,
    haul_km: float,
    speed_km_h: float,
    spray_min: float,
    efficiency: float,
) -> float:
    """Water one truck brings in an hour: ``tank 60 / cycle E``. [m³/h]

    The cycle is filling, the way there, spraying and the way back.

    Examples
    --------
    >>> round(water_truck_rate(10.0, 12.0, 8.0, 40.0, 10.0, 0.83), 2)
    10.83
    """
    positive("tank_m3", tank_m3)
    at_least("fill_min", fill_min, 0.0)
    at_least("haul_km", haul_km, 0.0)
    positive("speed_km_h", speed_km_h)
    at_least("spray_min", spray_min, 0.0)
    share_of_hour("efficiency", efficiency)
    cycle_min = fill_min + 120 * haul_km / speed_km_h + spray_min
    if cycle_min <= 0:
        raise InputError("the water truck's cycle takes no time; give fill_min or spray_min")
    return tank_m3 * 60 / cycle_min * efficiency


def spray_speed(pump_l_min: Num, rate_l_m2: Num, bar_m: Num) -> Num:
    """Speed at which a bar lays a rate down: ``0.06 Q / (q b)``. [km/h]

    Examples
    --------
    >>> round(spray_speed(500.0, 1.5, 3.0), 2)
    6.67
    """
    positive("pump_l_min", pump_l_min)
    return 0.06 * pump_l_min / (positive("rate_l_m2", rate_l_m2) * positive("bar_m", bar_m))
