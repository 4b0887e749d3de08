"""Loads, trucks and water for gravel: how much one truck brings, and who sets the pace."""

from __future__ import annotations

from crossfall.design.site import Site
from crossfall.design.source import GravelSource
from crossfall.design.words import NBSP
from crossfall.errors import InfeasibleError, InputError
from crossfall.formulas.compaction import roller_rate, water_truck_rate, water_volume
from crossfall.formulas.gravel import load_volume
from crossfall.formulas.hauling import Pace, slowest, truck_cycle, truck_rate, trucks_to_match
from crossfall.model import Treatment


def load_for(site: Site, source: GravelSource) -> float:
    """Loose gravel in one load, after body, legal payload and posted limits [m³].

    What is posted on the road, its bridges and the way there counts; where an engineer has signed
    for a heavier or a lighter truck, that counts instead.

    Raises
    ------
    InputError
        If the trucks carry less than a bucket though nothing is posted.
    InfeasibleError
        If the limit lets no loaded truck in.
    """
    outfit, gravel = site.tools.outfit, site.tools.design.gravel
    limits = [
        site.posted_t,
        site.segment.max_mass_t,
        *(feature.max_mass_t for feature in site.features),
        source.limit_t,
    ]
    posted = min((limit for limit in limits if limit is not None), default=None)
    if site.signed_t is not None:
        posted = site.signed_t
    payload = outfit.payload_t
    if posted is not None:
        payload = min(payload, posted - outfit.truck_mass_t)
    if payload < gravel.least_load_m3 * site.tools.design.hauled_t_m3:
        if posted is None:
            raise InputError(
                f"payload_t is {payload:g}; expected at least one bucket of"
                f" {gravel.least_load_m3:g} m3, which weighs"
                f" {gravel.least_load_m3 * site.tools.design.hauled_t_m3:.2g} t"
            )
        raise InfeasibleError(
            f"a limit of {posted:g} t on the road or on the way lets no loaded truck in; an empty"
            f" one weighs {outfit.truck_mass_t:g} t"
        )
    return load_volume(
        outfit.body_m3, payload, site.tools.design.hauled_t_m3, least_m3=gravel.least_load_m3
    )


def match_fleet(
    site: Site, lift_mm: float, area_m2: float, load_m3: float, source: GravelSource
) -> tuple[int, int, int, Pace]:
    """Trucks at hand, trucks that would keep up, water trucks, and the pace of the slowest."""
    design, outfit, segment = site.tools.design, site.tools.outfit, site.segment
    efficiency, bulking = design.grader.efficiency, design.gravel.bulking
    rolling = design.rolling
    passes = site.tools.passes.of(Treatment.REGRAVELLING, segment.width_m)
    rates = {
        "loader": source.loading_m3_h * efficiency / bulking,
        "grader": 60 * area_m2 / passes.total_min_per_m,
        "roller": roller_rate(
            rolling.drum_m - rolling.overlap_m,
            rolling.speed_km_h,
            lift_mm,
            rolling.n_passes,
            efficiency,
        ),
    }
    cycle = haul_cycle(site, load_m3, source)
    wanted = min(rates.values())
    n_wanted = trucks_to_match(wanted * bulking, load_m3, cycle, efficiency)
    n_trucks = min(outfit.n_trucks, n_wanted)
    rates["trucks"] = truck_rate(n_trucks, load_m3, cycle, efficiency) / bulking
    water_share = mixing_water_m3(site, 1.0)
    n_water = 1
    if water_share > 0:
        one = water_truck_rate(
            outfit.tank_l / 1000,
            design.water.fill_min,
            site.tools.sources.water_km(segment),
            design.haul.loaded_km_h,
            design.water.spray_min,
            efficiency,
        )
        wanted = min(rates.values())
        n_water = min(outfit.n_water_trucks, max(1, -int(-wanted * water_share // one)))
        rates["water truck"] = n_water * one / water_share
    return n_trucks, n_wanted, n_water, slowest(rates)


def haul_cycle(site: Site, load_m3: float, source: GravelSource) -> float:
    """Minutes of a truck from load to load [min]."""
    haul = site.tools.design.haul
    loading = 60 * load_m3 / source.loading_m3_h
    return truck_cycle(
        loading, source.haul_km, haul.loaded_km_h, haul.empty_km_h, haul.dump_min, haul.spot_min
    )


def mixing_water_m3(site: Site, compacted_m3: float) -> float:
    """Water that brings gravel from the pit to where it packs [m³]."""
    design = site.tools.design
    return water_volume(
        compacted_m3,
        design.gravel.dry_t_m3,
        design.water.pit_pct,
        design.water.target_pct,
        allowance=design.water.allowance,
    )


def source_words(source: GravelSource) -> str:
    """Pit, way and what is posted on it, as a card says it."""
    limit = "" if source.limit_t is None else f", {source.limit_t:g}{NBSP}t posted on the way"
    return f"{source.name}, {source.haul_km:.1f}{NBSP}km{limit}"
