"""Water that brings the worked depth of a road to where it shapes and packs."""

from __future__ import annotations

from crossfall.design.words import NBSP, percent
from crossfall.formulas.compaction import water_volume
from crossfall.formulas.gravel import compacted_volume
from crossfall.model import Policy, Quantity, Segment

IF_DRY = "water, if dry"
"""Name of the quantity that is needed only when the gate asks for water."""
DEPTH = "depth worked"
"""Name of the quantity that says how deep a stage stirs the road."""


def layer_water_l(
    policy: Policy, segment: Segment, length_m: float, depth_mm: float, now_pct: float
) -> float:
    """Litres for one length and depth at today's moisture; none where it is wet enough. [L]

    Dry density and optimum come from the segment's material, with the policy's allowance for
    evaporation and waste.
    """
    if depth_mm <= 0:
        return 0.0
    design, layer = policy.design, policy.moisture.materials.get(segment.material)
    return 1000 * water_volume(
        compacted_volume(length_m, segment.width_m, depth_mm),
        layer.dry_density_kg_m3 / 1000 if layer else design.gravel.dry_t_m3,
        min(now_pct, 30.0),
        layer.optimum_pct if layer else design.water.target_pct,
        allowance=design.water.allowance,
    )


def water_row(
    water_l: float, *, tank_l: float, now_pct: float, area_m2: float, name: str = IF_DRY
) -> Quantity:
    """The card's line for water: litres, tanks, and the rain that would do the same.

    Examples
    --------
    >>> water_row(22_100.0, tank_l=11_000.0, now_pct=4.7, area_m2=9_000.0).note.replace(NBSP, " ")
    '2.0 tanks at 4.7 %, or 2.5 mm of rain'
    """
    rain = f"{water_l / area_m2:.1f}{NBSP}mm of rain"
    return Quantity(
        name, water_l, "L", f"{water_l / tank_l:.1f} tanks at {percent(now_pct)}, or {rain}"
    )
