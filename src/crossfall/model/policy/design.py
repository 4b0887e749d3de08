"""How work is laid out: passes, speeds, lifts, water, compaction.

Each group below is one thing a foreman decides. Speeds are the blade-down speeds of common
practice; nothing here is read from a maker's chart.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from crossfall.formulas.gravel import hauled_density
from crossfall.model.policy.passes import PassRule, default_pass_rules
from crossfall.model.policy.permission import PermissionPractice
from crossfall.model.policy.setting import setting
from crossfall.model.policy.specifications import (
    ContractPractice,
    EdgePractice,
    MaterialPractice,
)
from crossfall.model.policy.work_zone import ZonePractice


@dataclass(frozen=True, slots=True)
class GraderPractice:
    """How the grader is run."""

    efficiency: float = setting(
        0.83,
        unit="-",
        doc="Share of an hour that the blade moves: a 50-minute hour.",
        evidence="published",
        source="manufacturer's performance handbook, ed. 47, p. 856 (job efficiency examples)",
        low=0.3,
        high=1.0,
    )
    overlap_m: float = setting(
        0.3, unit="m", doc="Overlap of neighbouring passes.", evidence="recalled", low=0.0, high=1.0
    )
    cover_angle_deg: float = setting(
        30.0,
        unit="degrees",
        doc="Moldboard angle used to count the passes that cover the width.",
        evidence="published",
        source="US Army correspondence text on road maintenance, p. 254: about 30 for mixing",
        low=0.0,
        high=60.0,
    )
    default_blade_m: float = setting(
        3.7, unit="m", doc="Moldboard length when no grader is known.", low=2.0, high=7.5
    )
    speed_low_km_h: float = setting(
        5.0,
        unit="km/h",
        doc="Slow end of the usual blading speed.",
        evidence="common practice",
        low=1.0,
        high=10.0,
    )
    speed_high_km_h: float = setting(
        8.0,
        unit="km/h",
        doc="Fast end of the usual blading speed; faster tends to leave washboard.",
        evidence="common practice",
        low=4.0,
        high=16.0,
    )
    speed_warn_km_h: float = setting(
        10.0, unit="km/h", doc="A blading speed above this is questioned.", low=5.0, high=16.0
    )
    pass_rules: tuple[PassRule, ...] = setting(
        unit="passes",
        doc="Passes of each treatment, in order, with speed and moldboard angle.",
        evidence="common practice",
        factory=default_pass_rules,
    )


@dataclass(frozen=True, slots=True)
class ShapePractice:
    """The cross-section that is wanted."""

    crossfall_pct: float = setting(
        4.0,
        unit="%",
        doc="Transverse slope to build.",
        evidence="published",
        source="Ethiopian Roads Authority manual (2002): 4 %; half an inch a foot is 4.17 %",
        low=2.0,
        high=7.0,
    )
    worn_crossfall_pct: float = setting(
        2.0, unit="%", doc="Transverse slope assumed where nobody measured it.", low=0.0, high=7.0
    )
    superelevation_max_pct: float = setting(
        6.0, unit="%", doc="Steepest single plane on a curve.", evidence="recalled", low=2, high=8
    )
    curve_radius_m: float = setting(
        250.0, unit="m", doc="Wider curves are shaped like straight road.", low=50.0, high=1000.0
    )
    curve_turn_deg: float = setting(
        20.0, unit="degrees", doc="Curves that turn less are left out.", low=5.0, high=90.0
    )
    curve_step_m: float = setting(
        10.0, unit="m", doc="A drawn line is looked at in such steps.", low=2.0, high=50.0
    )
    runout_m: float = setting(
        30.0,
        unit="m",
        doc="Length over which the crown is run out to meet another profile.",
        evidence="recalled",
        low=5.0,
        high=100.0,
    )
    washboard_extra_mm: float = setting(
        10.0, unit="mm", doc="Cut this far below the bottom of the washboard.", low=0.0, high=50.0
    )
    default_cut_mm: float = setting(
        50.0, unit="mm", doc="Cut depth where no washboard depth is known.", low=10.0, high=150.0
    )
    light_cut_mm: float = setting(
        15.0, unit="mm", doc="Depth that light blading moves.", low=5.0, high=40.0
    )
    windrow_base_m: float = setting(
        0.8, unit="m", doc="Width of a windrow that was left, where nobody measured.", low=0.2
    )
    windrow_height_m: float = setting(0.25, unit="m", doc="Its height.", low=0.05, high=1.0)
    sift_gap_mm: float = setting(
        0.0,
        unit="mm",
        doc="Gap between the teeth of a scarifying blade that screens the road while it remixes;"
        " 0 screens nothing.",
        low=0.0,
        high=150.0,
    )
    light_cut_least_mm: float = setting(
        5.0, unit="mm", doc="The same where hardly any gravel is left.", low=1.0, high=15.0
    )
    least_rise_pct: float = setting(
        0.5, unit="%", doc="A crown that would rise less than this is left.", low=0.1, high=2.0
    )
    keep_uncut_mm: float = setting(
        20.0,
        unit="mm",
        doc="Gravel left untouched below a cut or the scarifier's teeth.",
        low=0.0,
        high=100.0,
    )


@dataclass(frozen=True, slots=True)
class GravelPractice:
    """How a lift of gravel is measured out and placed."""

    target_mm: float = setting(
        200.0,
        unit="mm",
        doc="Compacted gravel wanted after regravelling; what is missing sets the depth.",
        low=75.0,
        high=400.0,
    )
    least_mm: float = setting(
        50.0,
        unit="mm",
        doc="Thinnest regravel worth hauling.",
        evidence="recalled",
        low=25,
        high=150,
    )
    lift_max_mm: float = setting(
        100.0,
        unit="mm",
        doc="Thickest lift placed at once, compacted; about 80 mm in two lifts is usual.",
        evidence="common practice",
        low=50.0,
        high=150.0,
    )
    lift_limit_mm: float = setting(
        150.0,
        unit="mm",
        doc="No lift is ever thicker, compacted.",
        evidence="published",
        source="draft gravel road guideline (compaction in lifts of at most 150 mm)",
        low=75.0,
        high=200.0,
    )
    bulking: float = setting(
        1.25,
        unit="-",
        doc="Loose over compacted volume. Measure it for each pit.",
        evidence="published",
        source="gravel supplier's question page (crushed gravel, 1.25)",
        low=1.15,
        high=1.35,
    )
    loose_t_m3: float = setting(
        1.6, unit="t/m3", doc="Bulk density in the truck.", evidence="recalled", low=1.2, high=2.0
    )
    dry_t_m3: float = setting(
        2.1, unit="t/m3", doc="Compacted dry density.", evidence="recalled", low=1.7, high=2.4
    )
    edge_slope: float = setting(
        2.0, unit="-", doc="Run-out of each edge, horizontal to vertical.", low=0.0, high=6.0
    )
    scarify_mm: float = setting(
        40.0,
        unit="mm",
        doc="Old surface loosened to bond the first lift; never deeper than the gravel there.",
        evidence="recalled",
        low=25.0,
        high=50.0,
    )
    windrow_slope: float = setting(
        1.4, unit="-", doc="Side of a loose windrow, horizontal to vertical.", low=1.0, high=2.5
    )
    ramp_m: float = setting(
        15.0, unit="m", doc="Ramp at the open end of a lift overnight.", low=5.0, high=60.0
    )
    deck_m: float = setting(
        12.0,
        unit="m",
        doc="Bridge deck that gets no gravel, where its length is not known.",
        low=2.0,
        high=200.0,
    )
    rails_m: float = setting(
        6.0, unit="m", doc="Length at a rail crossing that gets no gravel.", low=3.0, high=30.0
    )
    spot_share: float = setting(
        0.10, unit="-", doc="Share of the length that spot gravel covers.", low=0.01, high=0.5
    )
    spot_mm: float = setting(
        75.0, unit="mm", doc="Compacted thickness of a gravel spot.", low=40.0, high=150.0
    )
    least_load_m3: float = setting(
        0.5, unit="m3", doc="One bucket: less is no load, loose.", low=0.1, high=3.0
    )


@dataclass(frozen=True, slots=True)
class WaterPractice:
    """Water to bring a layer to where it shapes and packs."""

    target_pct: float = setting(
        7.0, unit="%", doc="Moisture to work at, of dry mass.", low=3.0, high=14.0
    )
    pit_pct: float = setting(
        3.5, unit="%", doc="Moisture of gravel as it comes from the pit.", low=0.5, high=10.0
    )
    allowance: float = setting(
        0.10,
        unit="-",
        doc="Extra for evaporation and waste.",
        evidence="published",
        source="US Army engineer text on compaction water (10 %)",
        low=0.0,
        high=0.5,
    )
    fill_min: float = setting(12.0, unit="min", doc="To fill a tank.", low=2.0, high=60.0)
    spray_min: float = setting(10.0, unit="min", doc="To empty a tank.", low=2.0, high=60.0)
    default_tank_l: float = setting(
        10_000.0, unit="L", doc="Tank where no water truck is known.", low=1000.0, high=40_000.0
    )
    default_haul_km: float = setting(
        8.0, unit="km", doc="Distance to water where no water point is known.", low=0.0, high=100.0
    )


@dataclass(frozen=True, slots=True)
class RollingPractice:
    """How a lift is packed."""

    n_passes: int = setting(6, unit="passes", doc="Roller passes over each strip.", low=2, high=16)
    drum_m: float = setting(2.0, unit="m", doc="Drum width.", low=0.8, high=2.5)
    overlap_m: float = setting(
        0.15,
        unit="m",
        doc="Overlap of neighbouring strips.",
        evidence="published",
        source="manufacturer's performance handbook, ed. 47, p. 957 (150 mm typical)",
        low=0.0,
        high=0.5,
    )
    speed_km_h: float = setting(4.0, unit="km/h", doc="Rolling speed.", low=1.5, high=10.0)


@dataclass(frozen=True, slots=True)
class HaulPractice:
    """How trucks turn around."""

    loaded_km_h: float = setting(40.0, unit="km/h", doc="Speed loaded.", low=10.0, high=90.0)
    empty_km_h: float = setting(50.0, unit="km/h", doc="Speed empty.", low=10.0, high=100.0)
    dump_min: float = setting(3.0, unit="min", doc="To dump, tailgate spread.", low=0.5, high=15.0)
    spot_min: float = setting(4.0, unit="min", doc="To back in, both ends.", low=0.0, high=20.0)
    default_body_m3: float = setting(
        10.0, unit="m3", doc="Loose volume of a truck body where none is known.", low=3.0, high=30.0
    )
    default_payload_t: float = setting(
        14.0, unit="t", doc="Legal payload where none is known.", low=4.0, high=45.0
    )
    default_truck_t: float = setting(
        11.0, unit="t", doc="Empty truck where none is known.", low=3.0, high=25.0
    )
    default_n_trucks: int = setting(
        3, unit="trucks", doc="Trucks asked for where the fleet has none.", low=1, high=30
    )
    default_haul_km: float = setting(
        15.0, unit="km", doc="Haul where no pit is known.", low=1.0, high=200.0
    )
    default_loading_m3_h: float = setting(
        90.0, unit="m3/h", doc="Loading rate where no pit is known, loose.", low=20.0, high=500.0
    )


@dataclass(frozen=True, slots=True)
class StagePractice:
    """What fits a shift."""

    overhead_h: float = setting(
        2.0,
        unit="h",
        doc="Of each shift for checks, breaks, signs and travel, before any blade is down.",
        low=0.5,
        high=5.0,
    )
    default_shift_h: float = setting(
        8.0, unit="h", doc="Shift where no operator is known.", low=2.0, high=14.0
    )
    signs_min: float = setting(
        15.0, unit="min", doc="To set and lift the signs of one stage.", low=0.0, high=90.0
    )


@dataclass(frozen=True, slots=True)
class DrainPractice:
    """Ditches, culverts and the spoil that comes out."""

    spoil_m3_per_m: float = setting(
        0.15, unit="m3/m", doc="Spoil from one side, loose.", low=0.0, high=1.0
    )
    reclaim_m3_per_m: float = setting(
        0.03,
        unit="m3/m",
        doc="Clean gravel that both shoulders give back, loose, where nobody measured.",
        low=0.0,
        high=0.3,
    )
    spoil_haul_km: float = setting(
        2.0, unit="km", doc="From the ditch to where spoil may go, one way.", low=0.1, high=50.0
    )
    hauled_share: float = setting(
        0.5, unit="-", doc="Share of the spoil that must be hauled away.", low=0.0, high=1.0
    )
    culvert_min: float = setting(
        50.0, unit="min", doc="To clear one culvert's ends by hand.", low=10.0, high=480.0
    )
    n_hands: int = setting(2, unit="people", doc="Crew that clears culverts.", low=2, high=6)
    bottom_below_m: float = setting(
        0.3,
        unit="m",
        doc="Ditch bottom below the edge of the subgrade.",
        evidence="recalled",
        low=0.15,
        high=1.0,
    )


@dataclass(frozen=True, slots=True)
class DustPractice:
    """Dust control by spraying."""

    rate_l_m2: float = setting(
        1.36,
        unit="L/m2",
        doc="Magnesium chloride solution; 0.30 US gallon a square yard.",
        evidence="published",
        source="Minnesota county trial reported in OPERA project 2008-02",
        low=0.5,
        high=2.5,
    )
    again_share: float = setting(
        0.5,
        unit="-",
        doc="Of the first rate, where the road was treated not long ago.",
        evidence="published",
        source="dust control supplier's application page (about half the first rate)",
        low=0.2,
        high=1.0,
    )
    again_days: int = setting(
        400, unit="d", doc="A road treated within so many days is treated again.", low=30, high=1000
    )
    dry_hours: float = setting(
        36.0,
        unit="h",
        doc="No rain for so long after spraying.",
        evidence="published",
        source="dust control supplier's application page (36 h)",
        low=6.0,
        high=72.0,
    )
    rain_mm: float = setting(
        2.0, unit="mm", doc="Rain on a day that would wash it off.", low=0.2, high=20.0
    )
    rain_chance: float = setting(
        0.4,
        unit="-",
        doc="No spraying from this chance of such rain within the dry hours.",
        low=0.05,
        high=1.0,
    )
    keep_off_m: float = setting(
        30.0, unit="m", doc="No spraying this near to a well or a stream.", low=5.0, high=200.0
    )


@dataclass(frozen=True, slots=True)
class DesignPolicy:
    """How work is laid out: passes, speeds, lifts, water, compaction."""

    grader: GraderPractice = field(default_factory=GraderPractice)
    shape: ShapePractice = field(default_factory=ShapePractice)
    gravel: GravelPractice = field(default_factory=GravelPractice)
    water: WaterPractice = field(default_factory=WaterPractice)
    rolling: RollingPractice = field(default_factory=RollingPractice)
    haul: HaulPractice = field(default_factory=HaulPractice)
    stage: StagePractice = field(default_factory=StagePractice)
    drain: DrainPractice = field(default_factory=DrainPractice)
    dust: DustPractice = field(default_factory=DustPractice)
    material: MaterialPractice = field(default_factory=MaterialPractice)
    zone: ZonePractice = field(default_factory=ZonePractice)
    edge: EdgePractice = field(default_factory=EdgePractice)
    permission: PermissionPractice = field(default_factory=PermissionPractice)
    contract: ContractPractice = field(default_factory=ContractPractice)

    @property
    def hauled_t_m3(self) -> float:
        """Mass of a loose cubic metre on the truck, moist as it comes from the pit [t/m³]."""
        gravel = self.gravel
        return hauled_density(
            gravel.loose_t_m3, gravel.dry_t_m3, gravel.bulking, self.water.pit_pct
        )
