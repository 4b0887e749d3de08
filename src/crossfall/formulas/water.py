"""What water would cost: litres for a kilometre, tank loads, and the rain that would do the same.

Water brings the *worked depth* (not the whole layer that the balance follows) from where it is to
where it shapes and packs, and replaces what the sun takes while the work goes on. Full-depth
wetting is a rain's work: some 118,000 L for a kilometre of 7 m road and 150 mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from crossfall.formulas.given import at_least, positive, within
from crossfall.formulas.sun import evaporation_share


@dataclass(frozen=True, slots=True)
class WaterDemand:
    """Water for one kilometre of road."""

    wetting_mm: float
    """To lift the worked depth to its target [mm]."""
    evaporation_mm: float
    """Lost to the sun during the work [mm]."""
    applied_mm: float
    """To be sprayed, losses included; so much rain would do the same [mm]."""
    litres_per_km: float

    def loads_per_km(self, tank_l: float) -> int:
        """Tank loads for a kilometre, the last one begun counted whole.

        Examples
        --------
        >>> WaterDemand(0.0, 2.56, 2.85, 19_941.0).loads_per_km(15_000.0)
        2
        """
        return math.ceil(self.litres_per_km / positive("tank_l", tank_l) - 1e-9)


def water_demand(
    moisture_pct: float,
    target_pct: float,
    worked_depth_m: float,
    dry_density_kg_m3: float,
    width_m: float,
    et0_mm: float,
    from_h: float,
    to_h: float,
    daylight_h: float,
    *,
    loss: float,
    kc: float,
) -> WaterDemand:
    """Water to work a kilometre of road between two clock times.

    L/km = 1000 B [ (target - w)+ / 100 rho z + kc f ET0 ] / (1 - loss), with f the share of the
    day's evaporation between ``from_h`` and ``to_h``. Moisture above the target needs no wetting
    and never gives water back.

    Parameters
    ----------
    moisture_pct, target_pct
        By dry mass [%].
    worked_depth_m
        Depth that is cut and mixed [m], 0.02 to 0.4.
    width_m
        Width that is worked [m].
    et0_mm
        Reference evapotranspiration of the day [mm].
    loss
        Share of the sprayed water that never arrives, 0 to 0.6.
    kc
        Evaporation of the wet surface over the reference.

    Raises
    ------
    InputError
        If a figure is out of range or the work ends before it begins.

    Examples
    --------
    >>> demand = water_demand(3, 5, 0.10, 2100, 7, 6, 8, 12, 15, loss=0.10, kc=1.15)
    >>> print(f"{demand.litres_per_km:.0f} L/km, {demand.applied_mm:.2f} mm")
    52608 L/km, 7.52 mm
    """
    within("moisture_pct", moisture_pct, 0.0, 40.0)
    within("target_pct", target_pct, 1.0, 40.0)
    within("worked_depth_m", worked_depth_m, 0.005, 0.4, hint="it may be in mm")
    within("dry_density_kg_m3", dry_density_kg_m3, 1200.0, 2600.0, hint="it may be in t/m³")
    within("width_m", width_m, 1.0, 40.0)
    at_least("et0_mm", et0_mm, 0.0)
    within("loss", loss, 0.0, 0.6)
    positive("kc", kc)
    within("from_h", from_h, 0.0, 24.0)
    within("to_h", to_h, from_h, 24.0, hint="the work ends before it begins")
    wetting = max(target_pct - moisture_pct, 0.0) / 100 * dry_density_kg_m3 * worked_depth_m
    evaporation = kc * float(evaporation_share(from_h, to_h, daylight_h)) * et0_mm
    applied = (wetting + evaporation) / (1 - loss)
    return WaterDemand(wetting, evaporation, applied, 1000 * width_m * applied)
