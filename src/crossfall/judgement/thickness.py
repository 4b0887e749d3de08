"""How thick the gravel should be, how thick it is, and how long it lasts: screening only.

The table's thickness for the heavy traffic and the soil stands beside a second opinion for soft
soil. Neither is a design; where they ask for more than is there, an engineer confirms before
money is spent on thickness.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from crossfall.errors import InputError
from crossfall.formulas.thickness import (
    MOST_PASSAGES,
    soft_soil_thickness_m,
    soil_class,
    table_thickness_mm,
    years_left,
)
from crossfall.judgement.forecast import believe
from crossfall.model import District
from crossfall.model.policy.needs import LayerPolicy


@dataclass(frozen=True, slots=True)
class LayerCheck:
    """Thickness of one segment's surface gravel against what its traffic asks for."""

    segment_id: str
    there_mm: float
    needed_mm: float | None
    """By the table; None when the traffic is beyond it."""
    second_opinion_mm: float
    loss_mm_year: float
    years_to_least: float
    """Years until gravel is down to the least that can still be bladed."""
    left_mm: float
    """What will be left at the next regravel [mm]."""
    regravel_years: float
    """Years from today until then [year]."""
    is_enough: bool
    assumed: tuple[str, ...]
    text: str
    """For a foreman; ends with who has to confirm."""


def check_layers(
    district: District, *, today: date, years: float | None = None
) -> tuple[LayerCheck, ...]:
    """One check for each maintained segment, thinnest against its need first.

    ``years`` are those from today to the next regravel; the policy's when None.

    Raises
    ------
    InputError
        If ``years`` is not above 0.
    """
    if years is not None and not years > 0:
        raise InputError(f"years is {years:g}; expected more than 0")
    policy = district.policy
    belief = believe(district, today)
    layer = policy.needs.layer
    ahead = layer.regravel_years if years is None else years
    measured = belief.measures["gravel_mm"].tolist()
    found = [
        _check(
            segment.id,
            segment.gravel_mm if thickness != thickness else thickness,
            thickness == thickness,
            segment.adt * segment.heavy_share,
            max(loss, 0.1),
            ahead,
            layer,
        )
        for segment, thickness, loss in zip(
            belief.segments, measured, belief.gravel_loss_mm.tolist(), strict=True
        )
    ]
    return tuple(sorted(found, key=lambda each: each.there_mm - (each.needed_mm or 1e4)))


def _check(
    segment_id: str,
    there_mm: float,
    is_known: bool,
    heavy_trucks_day: float,
    loss_mm_year: float,
    years: float,
    layer: LayerPolicy,
) -> LayerCheck:
    soil = soil_class(layer.assumed_cbr_pct)
    needed = table_thickness_mm(heavy_trucks_day, soil)
    passages = heavy_trucks_day * layer.soft_days * layer.axles_per_truck
    counted = min(max(passages, 1.0), MOST_PASSAGES)
    soft_cbr = layer.assumed_cbr_pct * layer.thaw_share
    second = soft_soil_thickness_m(counted, cbr_pct=soft_cbr, rut_m=layer.rut_m) * 1000
    left = years_left(there_mm, layer.least_mm, loss_mm_year)
    left_mm = max(there_mm - loss_mm_year * years, 0.0)
    is_enough = needed is not None and there_mm >= needed
    assumed = [f"Soil: CBR {layer.assumed_cbr_pct:g} %, not tested."]
    if not is_known:
        assumed.append(f"Gravel: {there_mm:.0f} mm, not measured.")
    if passages > counted:
        assumed.append(
            f"Second opinion: {passages:,.0f} axles are beyond its model; {counted:,.0f} counted,"
            " so that it is too thin."
        )
    wanted = "more than the table knows" if needed is None else f"about {needed:.0f} mm"
    text = (
        f"{there_mm:.0f} mm of gravel is there; for {heavy_trucks_day:.0f} heavy trucks a day the"
        f" table asks for {wanted} of gravel and base over the soil ({second:.0f} mm by the second"
        f" opinion, while soft). At {loss_mm_year:.0f} mm a year it is down to"
        f" {layer.least_mm:.0f} mm in {left:.0f} years; at the next regravel, {years:g} years from"
        f" now, {left_mm:.0f} mm will be left. Screening only: engineer to confirm."
    )
    return LayerCheck(
        segment_id,
        round(there_mm, 1),
        needed,
        round(second, 1),
        round(loss_mm_year, 2),
        round(left, 1),
        round(left_mm, 1),
        years,
        is_enough,
        tuple(assumed),
        text,
    )
