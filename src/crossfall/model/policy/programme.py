"""Years, strategies and deterioration factors."""

from __future__ import annotations

from dataclasses import dataclass, field

from crossfall.model.policy.setting import setting


@dataclass(frozen=True, slots=True)
class MaterialPolicy:
    """The surface gravel that is assumed where no test says."""

    p075_pct: float = setting(12.0, unit="%", doc="Passing 0.075 mm.", low=0.0, high=100.0)
    p425_pct: float = setting(24.0, unit="%", doc="Passing 0.425 mm.", low=0.0, high=100.0)
    p2_pct: float = setting(42.0, unit="%", doc="Passing 2.0 mm.", low=0.0, high=100.0)
    d95_mm: float = setting(20.0, unit="mm", doc="Size with 95 % passing.", low=1.0, high=100.0)
    plasticity_pct: float = setting(8.0, unit="%", doc="Plasticity index.", low=0.0, high=40.0)
    curvature_deg_km: float = setting(
        50.0, unit="deg/km", doc="Mean horizontal curvature.", low=0.0, high=2000.0
    )
    rain_mm_month: float = setting(
        70.0, unit="mm/month", doc="Mean monthly rain without a record.", low=1.0, high=1000.0
    )


@dataclass(frozen=True, slots=True)
class GravelLossPolicy:
    """Which relationship says how much gravel a year takes."""

    method: str = setting(
        "relationship",
        unit="-",
        doc=(
            "relationship: traffic, grade, curvature, rain and material (World Bank 1987);"
            " four inputs: traffic, rain, grade and a factor of the material (Kenya 1975);"
            " measured: only the agency's own rates."
        ),
        evidence="recalled",
        source="Paterson 1987; TRRL Laboratory Report 673, 1975; coefficients recalled",
    )
    four_inputs_material: float = setting(
        1.1,
        unit="-",
        doc="Factor of the material for four inputs: laterite 0.94 to 1.29, quartzite 1.1 to 1.51.",
        evidence="recalled",
        source="TRRL Laboratory Report 673, 1975",
        low=0.3,
        high=3.0,
    )
    measured_knots: tuple[tuple[float, float], ...] = setting(
        (),
        unit="veh/day, mm/year",
        doc="Own rates by traffic, joined by straight lines; needed for the method measured.",
    )
    doubtful_below_mm: float = setting(
        3.0, unit="mm/year", doc="Less loss is doubted aloud.", low=0.0, high=20.0
    )
    doubtful_above_mm: float = setting(
        50.0, unit="mm/year", doc="More loss is doubted aloud.", low=10.0, high=150.0
    )
    impossible_above_mm: float = setting(
        150.0, unit="mm/year", doc="More loss is refused.", low=50.0, high=1000.0
    )


@dataclass(frozen=True, slots=True)
class FactorPolicy:
    """Calibration of the published relationships; 1 leaves them as they are."""

    gravel_loss: float = setting(
        0.7,
        unit="-",
        doc="Factor on gravel loss; quiet temperate roads are expected at 0.4 to 1.",
        low=0.3,
        high=3.0,
    )
    roughness_rate: float = setting(
        1.0, unit="-", doc="Factor on the progression of roughness.", low=0.3, high=3.0
    )
    blading_effect: float = setting(
        1.0, unit="-", doc="Factor on what blading leaves of the roughness.", low=0.3, high=3.0
    )
    by_group: tuple[tuple[str, float, float, float], ...] = setting(
        (),
        unit="-",
        doc=(
            "Group of material and traffic with its own three factors, in the order above; other"
            " groups take the agency's."
        ),
    )


@dataclass(frozen=True, slots=True)
class SeasonPolicy:
    """Parts of the year in which roads roughen and thin at their own pace."""

    names: tuple[str, ...] = setting(
        ("thaw and rains", "rest of the year"), unit="-", doc="What the seasons are called."
    )
    starts_on_day: int = setting(
        60, unit="day", doc="Day of the year on which the first begins.", low=1, high=365
    )
    days: tuple[float, ...] = setting(
        (120.0, 245.0), unit="day", doc="How long each lasts, in the order they come; 365 in all."
    )
    roughness_factor: tuple[float, ...] = setting(
        (1.2, 0.9), unit="-", doc="Factor on the progression of roughness in each."
    )
    gravel_loss_factor: tuple[float, ...] = setting(
        (1.0, 1.0), unit="-", doc="Factor on gravel loss in each."
    )


@dataclass(frozen=True, slots=True)
class StrategyPolicy:
    """The ways a segment may be kept up: every blading, regravelling and care choice combined."""

    bladings_by_season: tuple[tuple[float, ...], ...] = setting(
        ((1.0, 0.0), (1.0, 1.0), (2.0, 2.0), (3.0, 1.0), (3.0, 5.0), (6.0, 8.0)),
        unit="1/season",
        doc=(
            "Light bladings in each season, one list for each choice, from the least a year to the"
            " most."
        ),
    )
    regravel_below_mm: tuple[float, ...] = setting(
        (0.0, 25.0, 40.0, 40.0, 60.0),
        unit="mm",
        doc="Regravel when thickness falls below; 0 never does.",
    )
    lift_mm: tuple[float, ...] = setting(
        (0.0, 75.0, 50.0, 100.0, 75.0),
        unit="mm",
        doc="Compacted gravel placed then, one for each trigger.",
    )
    with_dust_control: tuple[bool, ...] = setting(
        (False, True), unit="-", doc="Whether dust control is one of the choices."
    )
    with_drainage: tuple[bool, ...] = setting(
        (False, True), unit="-", doc="Whether keeping the ditches up is one of the choices."
    )
    dust_loss_share: float = setting(
        0.6, unit="-", doc="Gravel loss under dust control, share of without.", low=0.1, high=1.0
    )
    dust_rate_share: float = setting(
        0.7, unit="-", doc="Roughness rate under dust control, share of without.", low=0.1, high=1.0
    )
    drainage_loss_share: float = setting(
        0.75,
        unit="-",
        doc="Gravel loss once the ditches of a badly drained road are kept up, share of before.",
        low=0.1,
        high=1.0,
    )
    drainage_rate_share: float = setting(
        0.8,
        unit="-",
        doc="Roughness rate once the ditches of a badly drained road are kept up, share of before.",
        low=0.1,
        high=1.0,
    )
    drainage_short_by_score: tuple[tuple[float, float], ...] = setting(
        ((2.0, 1.0), (4.0, 0.0)),
        unit="score, -",
        doc=(
            "How much of that a road has to gain by its drainage score; a well-drained one gains"
            " nothing."
        ),
    )


@dataclass(frozen=True, slots=True)
class YearsCostPolicy:
    """What years of work and use cost; money in minor units of the costs' currency."""

    gravel_placed_minor_m3: float = setting(
        3500.0,
        unit="minor/m3",
        doc="Surface gravel placed, for a compacted cubic metre: pit, haul, spread, roll.",
        low=100.0,
        high=50000.0,
    )
    gravel_spread_minor_m3: float = setting(
        700.0,
        unit="minor/m3",
        doc="Spreading, shaping and rolling a compacted cubic metre, where pit and haul are known.",
        low=0.0,
        high=10000.0,
    )
    load_m3: float = setting(
        8.5, unit="m3", doc="Compacted gravel of one truck load.", low=1.0, high=40.0
    )
    regravel_grader_h_m3: float = setting(
        0.02, unit="h/m3", doc="Grader hours for a compacted cubic metre.", low=0.0, high=1.0
    )
    dust_minor_km: float = setting(
        250000.0, unit="minor/km", doc="Dust control of a kilometre for a year.", low=0.0, high=1e8
    )
    drainage_minor_km: float = setting(
        60000.0,
        unit="minor/km",
        doc="Keeping ditches up on a kilometre for a year: every ditch cleaned in its turn.",
        low=0.0,
        high=1e7,
    )
    voc_minor_km: float = setting(
        35.0, unit="minor/km", doc="Operating cost of a vehicle for a kilometre.", low=1.0, high=1e4
    )
    voc_share_per_iri: float = setting(
        0.03,
        unit="km/m",
        doc="Share by which that grows for each m/km of roughness; band 0.02 to 0.06.",
        evidence="recalled",
        low=0.0,
        high=0.2,
    )
    discount_pct: float = setting(4.0, unit="%", doc="Discount rate a year.", low=0.0, high=20.0)
    traffic_growth_pct: float = setting(
        1.0, unit="%", doc="Growth of traffic a year.", low=-10.0, high=20.0
    )
    thin_mm: float = setting(
        40.0, unit="mm", doc="Below so much gravel the road gets rougher.", low=1.0, high=100.0
    )
    thin_iri: float = setting(
        4.0,
        unit="m/km",
        doc="Added to the mean roughness when no gravel is left.",
        low=0.0,
        high=20,
    )
    bare_minor_km: float = setting(
        25.0,
        unit="minor/km",
        doc=(
            "What a vehicle-kilometre costs more where no gravel is left: slow and stuck when wet,"
            " detours, mud."
        ),
        low=0.0,
        high=1000.0,
    )
    fresh_iri: float = setting(
        4.0, unit="m/km", doc="Roughness after regravelling.", low=1.0, high=12.0
    )
    end_value_share: float = setting(
        0.8,
        unit="-",
        doc="Share of its price that gravel below the reference thickness owes at the end.",
        low=0.0,
        high=2.0,
    )
    reference_mm: float = setting(
        75.0, unit="mm", doc="Thickness below which gravel is owed at the end.", low=0.0, high=300.0
    )


@dataclass(frozen=True, slots=True)
class ServicePolicy:
    """Roughest yearly mean allowed by road class [m/km]; where nothing reaches it, the best is."""

    arterial_iri: float = setting(9.0, unit="m/km", doc="Arterials.", low=2.0, high=30.0)
    collector_iri: float = setting(11.0, unit="m/km", doc="Collectors.", low=2.0, high=30.0)
    local_iri: float = setting(16.0, unit="m/km", doc="Local roads.", low=2.0, high=30.0)
    minimum_iri: float = setting(30.0, unit="m/km", doc="Minimum roads.", low=2.0, high=40.0)


@dataclass(frozen=True, slots=True)
class SolvePolicy:
    """How hard the choice of strategies is worked at."""

    sample_above: int = setting(
        30000, unit="segments", doc="From so many on, prices come from a sample.", low=100
    )
    sample: int = setting(40000, unit="segments", doc="Size of that sample.", low=100)
    cut_groups: int = setting(
        24, unit="-", doc="Groups of segments that share a plane of cost.", low=1, high=64
    )
    large_passes: int = setting(
        12, unit="-", doc="Further passes over all segments of a large network.", low=1, high=200
    )
    dual_passes: int = setting(90, unit="-", doc="Most passes for prices.", low=5, high=1000)
    dual_tolerance: float = setting(
        2e-6, unit="-", doc="Bound and model as near as this end the search.", low=1e-9, high=1e-2
    )
    tighten_passes: int = setting(12, unit="-", doc="Most passes that tighten limits.", low=1)
    core: int = setting(800, unit="segments", doc="Segments in the closing exact step.", low=20)
    polish_below: int = setting(
        60, unit="segments", doc="Networks as small are polished by a general solver.", low=0
    )
    polish_nodes: int = setting(
        20, unit="-", doc="Most nodes of the polishing search.", low=0, high=1000000
    )
    polish_seconds: float = setting(20.0, unit="s", doc="At most so long for it.", low=0.1)


@dataclass(frozen=True, slots=True)
class ChancePolicy:
    """How far years may differ from the expected ones; common to all segments."""

    gravel_loss_sd: float = setting(
        0.2, unit="ln", doc="Scatter of the level of gravel loss.", low=0.0, high=1.0
    )
    rain_sd: float = setting(
        0.2, unit="ln", doc="Scatter of a year's gravel loss by its weather.", low=0.0, high=1.0
    )
    traffic_sd: float = setting(0.1, unit="ln", doc="Scatter of traffic.", low=0.0, high=1.0)


@dataclass(frozen=True, slots=True)
class ProgrammePolicy:
    """Years, strategies and deterioration factors."""

    material: MaterialPolicy = field(default_factory=MaterialPolicy)
    gravel_loss: GravelLossPolicy = field(default_factory=GravelLossPolicy)
    factors: FactorPolicy = field(default_factory=FactorPolicy)
    seasons: SeasonPolicy = field(default_factory=SeasonPolicy)
    strategies: StrategyPolicy = field(default_factory=StrategyPolicy)
    costs: YearsCostPolicy = field(default_factory=YearsCostPolicy)
    service: ServicePolicy = field(default_factory=ServicePolicy)
    solve: SolvePolicy = field(default_factory=SolvePolicy)
    chance: ChancePolicy = field(default_factory=ChancePolicy)
