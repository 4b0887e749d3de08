"""Surface moisture: layer materials, class bands, drainage, weather, members and frost.

Every figure here is a starting point. No open data set of measured road moisture was found to
prove them on, so an agency's own observations are expected to move them
(:mod:`crossfall.judgement.calibrate`).
"""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.model.policy.setting import setting

_FAO = "FAO-56 ch. 7, Eqs 73-74, as coded in pyfao56 1.4.3"
_PROCTOR = "ranges of NAVFAC DM-7.02 Table 1"
_MNDOT = "MnDOT thaw definitions page (Tref 29 °F on 1 Feb to 24 °F on 15 Mar; CTI 25 °F·d)"


@dataclass(frozen=True, slots=True)
class LayerMaterial:
    """What the top of the road is made of. Moisture is percent by dry mass."""

    dry_density_kg_m3: float = setting(
        2100.0, unit="kg/m3", doc="Dry density in place", low=1400.0, high=2500.0
    )
    specific_gravity: float = setting(2.68, unit="1", doc="Solids", low=2.4, high=3.2)
    optimum_pct: float = setting(
        7.0,
        unit="%",
        doc="Optimum moisture for compaction (standard Proctor)",
        evidence="recalled",
        source=_PROCTOR,
        low=3.0,
        high=25.0,
    )
    field_capacity_pct: float = setting(
        8.0, unit="%", doc="Moisture left after free drainage", low=3.0, high=30.0
    )
    air_dry_pct: float = setting(1.5, unit="%", doc="Moisture that never leaves", low=0.0, high=8.0)
    readily_evaporable_mm: float = setting(
        7.0,
        unit="mm",
        doc="Water that evaporates at the full rate before drying slows (REW)",
        evidence="recalled",
        source="FAO-56 Table 19, sandy loam 6-10 mm; plastic fines raise it",
        low=1.0,
        high=15.0,
    )


def default_materials() -> dict[str, LayerMaterial]:
    """The materials a segment may name, by the key in ``Segment.material``."""
    return {
        "surface gravel": LayerMaterial(),
        "crushed rock": LayerMaterial(2150.0, 2.70, 6.0, 6.5, 1.0, 5.0),
        "sandy gravel": LayerMaterial(2050.0, 2.66, 7.5, 7.5, 1.0, 5.0),
        "clayey gravel": LayerMaterial(2050.0, 2.68, 9.0, 10.0, 2.5, 9.0),
        "earth": LayerMaterial(1750.0, 2.68, 14.0, 16.0, 5.0, 9.0),
    }


@dataclass(frozen=True, slots=True)
class MoisturePolicy:
    """How wetness of the top 100 to 150 mm is followed, classed and spread over members."""

    materials: dict[str, LayerMaterial] = setting(  # noqa: RUF009 - a factory, not a shared value
        factory=default_materials, unit="", doc="Materials of the top of the road, by name"
    )

    # The layer
    layer_min_mm: float = setting(
        100.0, unit="mm", doc="Thinnest layer that is followed", low=50.0, high=300.0
    )
    layer_max_mm: float = setting(
        150.0,
        unit="mm",
        doc="Thickest layer that is followed",
        source="ours; soils evaporate from 0.10-0.15 m (FAO-56, cited by pyfao56)",
        low=50.0,
        high=300.0,
    )
    layer_step_mm: float = setting(
        25.0, unit="mm", doc="Thickness is rounded to this, to group segments", low=5.0, high=50.0
    )
    rew_max_share: float = setting(
        0.6, unit="1", doc="REW is at most this share of all the water that can evaporate"
    )
    bare_road_kc: float = setting(
        1.15,
        unit="1",
        doc="Evaporation of a wet bare road over reference evapotranspiration",
        evidence="recalled",
        source="FAO-56 Annex 7",
        low=0.8,
        high=1.4,
    )
    drain_per_day_good: float = setting(
        0.6, unit="1/d", doc="Share of water above field capacity that leaves in a day, good"
    )
    drain_per_day_fair: float = setting(0.35, unit="1/d", doc="The same, fair drainage")
    drain_per_day_poor: float = setting(0.2, unit="1/d", doc="The same, poor drainage")
    shade_open: float = setting(1.0, unit="1", doc="Share of evaporation in the open")
    shade_partial: float = setting(0.8, unit="1", doc="Share of evaporation in part shade")
    shade_forest: float = setting(0.6, unit="1", doc="Share of evaporation in forest")
    curve_number: float = setting(
        91.0,
        unit="1",
        doc="Runoff curve number of the roadbed",
        evidence="published",
        source="TR-55 Table 2-2a, gravel road including right-of-way, soil group D",
        low=30.0,
        high=100.0,
    )
    storm_gap_h: float = setting(
        12.0, unit="h", doc="Dry hours that end a storm, hourly steps only", low=1.0, high=72.0
    )

    # Classes
    band_below_optimum_pct: float = setting(
        2.0,
        unit="%",
        doc="Workable down to this far below optimum",
        source="ours, informed by Ohio DOT Item 304 (2005), which asks it of compacted aggregate"
        " base, not of blading",
    )
    band_above_optimum_pct: float = setting(
        1.5, unit="%", doc="Workable up to this far above optimum"
    )
    band_saturation_share: float = setting(
        0.9, unit="1", doc="and never above this share of saturation"
    )
    dry_optimum_share: float = setting(0.5, unit="1", doc="Dry below this share of optimum")
    rain_limit_mm: float = setting(
        3.0, unit="mm", doc="More rain than this in the day makes it too wet to work"
    )
    sure_share: float = setting(
        0.5, unit="1", doc="Below this share of members no class is named: have a look", low=0.2
    )
    weak_share: float = setting(
        0.5,
        unit="1",
        doc="From this share of members on a road is said to be thaw-weak, and a load limit is"
        " advised",
        low=0.1,
        high=0.9,
    )
    weak_over_share: float = setting(
        0.2,
        unit="1",
        doc="A load limit may come down when the share of members with a weak road stays below"
        " this",
        low=0.0,
        high=0.5,
    )
    weak_warming_days: int = setting(
        3, unit="d", doc="and is put up when it still thaws so many days later", low=1, high=10
    )
    blame_share: float = setting(
        0.5, unit="1", doc="Rain of the day is named as the cause from this share of members on"
    )
    history_days: int = setting(45, unit="d", doc="Recorded days kept for charts", low=7, high=366)
    rain_high_share: float = setting(
        0.9, unit="1", doc="Height of rain shown for a zone: not exceeded with this chance",
        low=0.5, high=0.99,
    )  # fmt: skip
    early_h: float = setting(7.0, unit="h", doc="Clock time that stands for early in the day")
    midday_h: float = setting(12.0, unit="h", doc="Clock time that stands for midday")
    late_h: float = setting(16.0, unit="h", doc="Clock time that stands for late in the day")
    day_end_h: float = setting(19.0, unit="h", doc="Clock time at which late in the day ends")
    rain_settle_h: float = setting(
        3.0,
        unit="h",
        doc="Where rain is known by the hour, a part of the day answers for that of so many hours"
        " before it too; what fell earlier shows in the moisture",
        low=0.0,
        high=12.0,
    )

    # Snow and frost
    snow_below_c: float = setting(0.0, unit="degC", doc="Falls as snow at or below this mean")
    melt_mm_c_day: float = setting(3.0, unit="mm/(degC.d)", doc="Snow melt for each degree above")
    frost_decay: float = setting(
        0.97,
        unit="1",
        doc="Daily decay of the frost index, for whole soils, used here for a layer",
        source="ours; the figure for soils is Molnau and Bissell's, ec-jrc.github.io",
    )
    frost_cap_c_day: float = setting(
        6.5,
        unit="degC.d",
        doc="The most frost the layer holds, about twice what freezes it through",
        low=1.0,
    )
    frozen_conductivity_w_m_k: float = setting(
        2.0, unit="W/(m.K)", doc="Conductivity of the frozen layer"
    )
    thaw_ref_start_c: float = setting(
        -1.67,
        unit="degC",
        doc="Thaw reference on thaw_ref_start_day",
        evidence="published",
        source=_MNDOT,
    )
    thaw_ref_end_c: float = setting(
        -4.44,
        unit="degC",
        doc="Thaw reference on thaw_ref_end_day and after",
        evidence="published",
        source=_MNDOT,
    )
    thaw_ref_start_day: int = setting(
        32, unit="d", doc="Day of the year, northern", evidence="published", source=_MNDOT
    )
    thaw_ref_end_day: int = setting(
        74, unit="d", doc="Day of the year, northern", evidence="published", source=_MNDOT
    )
    thaw_onset_c_day: float = setting(
        13.9,
        unit="degC.d",
        doc="Cumulative thawing index at which the road grows weak",
        evidence="published",
        source=_MNDOT,
    )
    thaw_min_freeze_c_day: float = setting(
        55.0, unit="degC.d", doc="Freezing index below which no deep weakening is expected"
    )
    thaw_recovery_share: float = setting(
        0.3,
        unit="1",
        doc="Weak until this share of the freezing index has thawed",
        evidence="recalled",
        source="removal at a thaw index of about 0.3 of the freezing index",
    )
    thaw_refreeze_share: float = setting(
        0.5, unit="1", doc="A midwinter thaw is undone by this share of it in freezing degree-days"
    )
    thaw_max_days: int = setting(
        56,
        unit="d",
        doc="Longest weak spell; afterwards somebody must look",
        source="ours, informed by MnDOT: restrictions are intended for 8 weeks at most, which is a"
        " rule for signs and not for soils",
    )
    winter_strength_c_day: float = setting(
        155.6,
        unit="degC.d",
        doc="Freezing index at which frozen roads carry more",
        evidence="published",
        source="MnDOT and nrcc.cornell.edu: CFI 280 °F·d",
    )

    # Weather
    station_max_km: float = setting(
        60.0, unit="km", doc="A station farther than this says nothing about a road", low=1.0
    )
    warmup_days: int = setting(
        400, unit="d", doc="Days of weather run before the first day", low=60, high=4000
    )
    warmup_least_days: int = setting(60, unit="d", doc="Fewer days than this are said so")
    weather_gap_days: int = setting(
        3, unit="d", doc="Days between record and forecast that may be filled by past weather"
    )
    mild_c: float = setting(
        10.0,
        unit="degC",
        doc="Taken for frost and snow where a record holds no temperature at all; its moisture is"
        " unknown anyway",
    )
    unknown_above_pct: float = setting(
        0.5,
        unit="%",
        doc="Moisture is unknown while missing weather could change it by more than this",
    )
    missing_rain_mm: float = setting(
        50.0, unit="mm", doc="The most a day without a rain figure may have brought"
    )
    missing_et_mm: float = setting(
        8.0, unit="mm", doc="The most a day without temperatures may have dried"
    )
    wind_most_m_s: float = setting(
        40.0, unit="m/s", doc="A daily mean wind above this is an instrument fault", high=60.0
    )
    temperature_most_c: float = setting(
        57.0, unit="degC", doc="A daily maximum above this was read in another unit", high=60.0
    )
    is_coastal: bool = setting(
        False, unit="", doc="Radiation from the temperature range takes the coastal factor"
    )

    # Members
    n_members: int = setting(
        51, unit="1", doc="Members drawn when the forecast does not bring its own", low=1, high=200
    )
    analogue_window_days: int = setting(
        15, unit="d", doc="Past weather may start this far from the calendar day"
    )
    analogue_recent_days: int = setting(
        90, unit="d", doc="Without an earlier year, past weather is taken from so many last days"
    )
    start_spread_pct: float = setting(
        0.6,
        unit="%",
        doc="Standard deviation of the moisture we believe, where nobody looked",
        low=0.05,
        high=3.0,
    )
    factor_least: float = setting(
        0.5, unit="1", doc="A member's factor on evaporation or REW is never below this", low=0.1
    )
    factor_most: float = setting(
        1.5, unit="1", doc="A member's factor on evaporation or REW is never above this", high=3.0
    )
    et_spread: float = setting(0.15, unit="1", doc="Standard deviation of evaporation, as a share")
    rew_spread: float = setting(0.15, unit="1", doc="Standard deviation of REW, as a share")
    single_line_trust: tuple[float, ...] = setting(
        (0.95, 0.85, 0.75, 0.6, 0.45, 0.3, 0.2),
        unit="1",
        doc="Share of members that follow a one-line forecast, by days ahead; then past weather",
    )
    rain_persistence: float = setting(
        0.35, unit="1", doc="Day-to-day correlation of drawn wet days", low=0.0, high=0.95
    )
    rain_gamma_shape: float = setting(
        0.8, unit="1", doc="Shape of drawn rain amounts", low=0.2, high=5.0
    )

    # What people see and gauges catch
    observation_range_km: float = setting(
        3.0, unit="km", doc="Distance at which a look at a surface has lost most of its weight"
    )
    gauge_range_km: float = setting(
        6.0, unit="km", doc="Distance at which a rain gauge has lost most of its weight"
    )
    observer_trust: float = setting(
        1.0, unit="1", doc="Weight of a look at the very road", low=0.1, high=1.0
    )
    unlike_share: float = setting(
        0.5, unit="1", doc="Weight kept on a road of other material, drainage or shade"
    )
    weight_step: float = setting(
        0.05, unit="1", doc="Weights are rounded to this, so that neighbours share a group"
    )
    surprise_share: float = setting(
        0.5,
        unit="1",
        doc="A look outside what is believed widens the belief to this share of the distance",
        low=0.1,
        high=2.0,
    )
    settles_weight: float = setting(
        0.5,
        unit="1",
        doc="A look or reading settles what missing weather left open, and is quoted, from this"
        " weight on",
    )
    quoted_days: int = setting(1, unit="d", doc="and a look is quoted for so many days", low=0)
    reach_ranges: float = setting(
        3.0, unit="1", doc="Looks and gauges are not heard beyond so many ranges", low=1.0, high=5.0
    )
    observation_days: int = setting(
        10, unit="d", doc="Looks and readings older than this are left out"
    )
    observation_memory_days: float = setting(
        5.0, unit="d", doc="Time in which a look's certainty fades"
    )
    gauge_day_offset: int = setting(
        -1, unit="d", doc="A gauge is read in the morning: its rain belongs to the day before"
    )

    # Fitting to logged looks
    calibrate_least_looks: int = setting(
        20, unit="1", doc="Fewer looks say more about the lookers than about the roads", low=10
    )
    calibrate_slip: float = setting(
        0.02, unit="1", doc="Chance that a look was written down wrong", low=0.001, high=0.2
    )
    calibrate_pull: float = setting(
        1.0,
        unit="1",
        doc="Weight of a setting multiplied by e (2.7), against one look: settings move only for"
        " a reason",
        low=0.0,
    )
    calibrate_optimum_room_pct: float = setting(
        1.0,
        unit="%",
        doc="A fitted optimum stays this far above the band's lower width, and at most this far"
        " above field capacity",
        low=0.1,
        high=5.0,
    )
    calibrate_most_log: float = setting(
        1.2, unit="1", doc="Settings move by at most this much, as a natural logarithm", low=0.1
    )
    calibrate_least_days: int = setting(
        8, unit="d", doc="Looks of fewer different days are not fitted to", low=2
    )
    calibrate_least_gain: float = setting(
        0.02, unit="1", doc="Mean log-likelihood that a fit must gain before it is called better"
    )
    calibrate_least_errors: float = setting(
        1.0, unit="1", doc="and it must gain this many standard errors, taken over days"
    )

    # Water truck
    water_loss_share: float = setting(
        0.10,
        unit="1",
        doc="Sprayed water that never reaches the layer",
        evidence="published",
        source="10 % evaporation and waste in a compaction-water example, scribd 388244268",
        low=0.0,
        high=0.6,
    )
    water_warn_mm: float = setting(
        8.0, unit="mm", doc="More water than this is said to be a rain's work"
    )
    water_wait_chance: float = setting(
        0.5, unit="1", doc="Wait when the chance of a workable day without water reaches this"
    )
    water_rain_share: float = setting(
        0.5,
        unit="1",
        doc="It is said to wait for rain where rain makes at least this share of that chance",
        low=0.0,
        high=1.0,
    )
    water_wait_days: int = setting(3, unit="d", doc="Days one is willing to wait", low=1, high=10)
