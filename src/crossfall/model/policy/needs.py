"""From condition to treatment, urgency and worth."""

from __future__ import annotations

from dataclasses import dataclass, field

from crossfall.model.policy.condition import (
    AgeingPolicy,
    AssumedPolicy,
    EffectPolicy,
    ScoringPolicy,
)
from crossfall.model.policy.setting import setting

_RATING = "Gravel rating manual, Wisconsin Transportation Information Center 1989/2002"


@dataclass(frozen=True, slots=True)
class CallPolicy:
    """Where a rule calls for work. A score *below* or a measure *above* the figure calls."""

    blade_deformation: float = setting(
        3.8, unit="score", doc="Light blading for washboard, potholes, ruts.", low=1.0, high=5.0
    )
    blade_defects: float = setting(
        2.9, unit="score", doc="Light blading for loose aggregate and dust.", low=1.0, high=5.0
    )
    blade_crown: float = setting(
        3.1, unit="score", doc="Light blading that brings the crown back.", low=1.0, high=5.0
    )
    blade_passes: float = setting(
        8000.0,
        unit="vehicles",
        doc="Vehicles since the last blading after which a road that is no longer good is due.",
        evidence="recalled",
        source="4,000 to 8,000 vehicle passes per blading, remembered practice",
        low=500.0,
        high=50000.0,
    )
    blade_due_deformation: float = setting(
        4.0, unit="score", doc="A road that rides better than this is never due.", low=1.0, high=5.0
    )
    reshape_crown: float = setting(
        2.65, unit="score", doc="Reshape for lost or excessive crown.", low=1.0, high=5.0
    )
    reshape_deformation: float = setting(
        2.3, unit="score", doc="Reshape: defects too deep for light blading.", low=1.0, high=5.0
    )
    reshape_corrugation_mm: float = setting(
        35.0, unit="mm", doc="Washboard too deep for light blading.", low=10.0, high=100.0
    )
    reshape_rut_mm: float = setting(
        35.0, unit="mm", doc="Ruts too deep for light blading.", low=10.0, high=100.0
    )
    reshape_pothole_mm: float = setting(
        60.0, unit="mm", doc="Potholes too deep for light blading.", low=10.0, high=150.0
    )
    reshape_loose_mm: float = setting(
        75.0,
        unit="mm",
        doc="Loose aggregate so deep that it must be remixed with fines.",
        evidence="recalled",
        source=_RATING,
        low=25.0,
        high=200.0,
    )
    reshape_flat_pct: float = setting(
        2.2, unit="%", doc="Measured crossfall too flat to shed water.", low=0.0, high=4.0
    )
    reshape_steep_pct: float = setting(
        7.5, unit="%", doc="Measured crossfall too steep to drive on safely.", low=5.0, high=15.0
    )
    back_deformation: float = setting(
        3.0,
        unit="score",
        doc="A ride this bad soon after blading was not cut deep enough.",
        low=1.0,
        high=5.0,
    )
    back_days: float = setting(
        14.0, unit="day", doc="How soon after blading that is.", low=1.0, high=90.0
    )
    scarify_deformation: float = setting(
        1.6, unit="score", doc="Scarify: the blade rides over the crust.", low=1.0, high=5.0
    )
    scarify_depth_mm: float = setting(
        70.0, unit="mm", doc="Washboard or potholes that need the scarifier.", low=25.0, high=150.0
    )
    spot_gravel: float = setting(
        2.65, unit="score", doc="Gravel at the thin places.", low=1.0, high=5.0
    )
    regravel_gravel: float = setting(
        2.05, unit="score", doc="Gravel over the whole length.", low=1.0, high=5.0
    )
    regravel_gravel_mm: float = setting(
        20.0, unit="mm", doc="Measured gravel that is as good as none.", low=5.0, high=75.0
    )
    regravel_adt: float = setting(
        15.0,
        unit="veh/day",
        doc="Least traffic for gravel over the whole length; below it the thin places get some.",
        low=0.0,
        high=500.0,
    )
    clear_days: float = setting(
        180.0,
        unit="day",
        doc="How long a ditch that was found clear is taken to be clear.",
        low=1.0,
        high=1000.0,
    )
    ditch_drainage: float = setting(
        2.1, unit="score", doc="Ditches that do not carry water.", low=1.0, high=5.0
    )
    dust_defects: float = setting(
        2.0, unit="score", doc="Dust that is worth a treatment.", low=1.0, high=5.0
    )
    dust_adt: float = setting(
        150.0, unit="veh/day", doc="Least traffic for a dust treatment.", low=0.0, high=2000.0
    )
    dust_seen: float = setting(
        2.5,
        unit="level",
        doc="Dust seen above this (0 none, 1 low, 2 medium, 3 high) is worth a treatment.",
        low=0.0,
        high=3.0,
    )
    dusty_level: float = setting(
        1.5,
        unit="level",
        doc="Dust seen above this is the fault where the stone is tight, below it never is.",
        low=0.0,
        high=3.0,
    )
    tight_loose_mm: float = setting(
        15.0, unit="mm", doc="Loose stone up to this is tight.", low=0.0, high=50.0
    )
    engineer_rut_mm: float = setting(
        75.0,
        unit="mm",
        doc="Ruts that say the base has failed.",
        evidence="recalled",
        source=_RATING,
        low=50.0,
        high=300.0,
    )
    engineer_score: float = setting(
        1.4,
        unit="score",
        doc="Ride, drainage and gravel all below this: more than a grader can do.",
        low=1.0,
        high=3.0,
    )
    cause_drainage: float = setting(
        2.75, unit="score", doc="Drainage poor enough to be the cause.", low=1.0, high=5.0
    )
    cause_crown: float = setting(
        3.1, unit="score", doc="Crown flat enough to be the cause.", low=1.0, high=5.0
    )
    cause_defects: float = setting(
        3.2, unit="score", doc="Surface loose enough to be the cause.", low=1.0, high=5.0
    )
    cause_gravel: float = setting(
        2.9, unit="score", doc="Gravel thin enough to be the cause.", low=1.0, high=5.0
    )
    cause_grade_pct: float = setting(
        4.0, unit="%", doc="Grade where wheels pull and brake.", low=0.0, high=15.0
    )
    cause_adt: float = setting(
        180.0, unit="veh/day", doc="Traffic that is itself the cause.", low=0.0, high=2000.0
    )
    cause_heavy_adt: float = setting(
        20.0, unit="veh/day", doc="Heavy traffic that is itself the cause.", low=0.0, high=500.0
    )
    washboard_mm: float = setting(
        10.0, unit="mm", doc="Measured waves above this are washboard.", low=2.0, high=50.0
    )
    blade_rut_mm: float = setting(
        15.0, unit="mm", doc="Ruts worth naming as a cause.", low=0.0, high=100.0
    )
    steep_crossfall_pct: float = setting(
        6.5, unit="%", doc="Crossfall above which the crown is too steep.", low=4.0, high=15.0
    )
    fast_blade_spacing_m: float = setting(
        1.3,
        unit="m",
        doc="Waves longer than this soon after blading: the grader worked too fast.",
        low=0.8,
        high=5.0,
    )
    fast_blade_days: float = setting(
        21.0, unit="day", doc="Soon after blading.", low=1.0, high=90.0
    )


@dataclass(frozen=True, slots=True)
class WorthPolicy:
    """What a need is worth, in hours of a grader with its operator that it would justify."""

    user_h_per_1000_veh_km_iri: float = setting(
        0.07,
        unit="h",
        doc=(
            "What 1,000 vehicle-kilometres are worth for each m/km of roughness saved: 0.35 of"
            " money per vehicle-km, 3 % for each m/km, over 150 of money for a grader hour."
        ),
        source="model form in docs/methods/condition.md; band 0.02 to 0.06 recalled for the 3 %",
        low=0.0,
        high=1.0,
    )
    iri_knots: tuple[tuple[float, float], ...] = setting(
        ((1.0, 18.0), (2.0, 13.0), (3.0, 9.0), (4.0, 6.0), (5.0, 4.0)),
        unit="(score, m/km)",
        doc="Roughness believed for a ride score.",
    )
    life_blading_days: float = setting(
        45.0, unit="day", doc="Days over which light blading keeps its gain.", low=1.0, high=365.0
    )
    life_reshaping_days: float = setting(
        90.0, unit="day", doc="Days over which reshaping keeps its gain.", low=1.0, high=730.0
    )
    life_gravel_days: float = setting(
        1095.0, unit="day", doc="Days over which new gravel keeps its gain.", low=30.0, high=7300.0
    )
    life_drainage_days: float = setting(
        365.0, unit="day", doc="Days over which open drainage keeps its gain.", low=30.0, high=3650
    )
    class_arterial_h_km: float = setting(
        1.2, unit="h/km", doc="Standing of an arterial, at full deficit.", low=0.0, high=20.0
    )
    class_collector_h_km: float = setting(
        0.8, unit="h/km", doc="Standing of a collector, at full deficit.", low=0.0, high=20.0
    )
    class_local_h_km: float = setting(
        0.4, unit="h/km", doc="Standing of a local road, at full deficit.", low=0.0, high=20.0
    )
    class_minimum_h_km: float = setting(
        0.1, unit="h/km", doc="Standing of a minimum road, at full deficit.", low=0.0, high=20.0
    )
    serves_school_h_km: float = setting(
        0.8,
        unit="h/km",
        doc="Who depends on it: a school bus, at full deficit.",
        low=0.0,
        high=20.0,
    )
    serves_milk_h_km: float = setting(
        0.6,
        unit="h/km",
        doc="Who depends on it: a milk truck, at full deficit.",
        low=0.0,
        high=20.0,
    )
    serves_logs_h_km: float = setting(
        0.4, unit="h/km", doc="Who depends on it: log trucks, at full deficit.", low=0.0, high=20.0
    )
    serves_mail_h_km: float = setting(
        0.2, unit="h/km", doc="Who depends on it: the mail, at full deficit.", low=0.0, high=20.0
    )
    serves_emergency_h_km: float = setting(
        0.8,
        unit="h/km",
        doc="Who depends on it: an ambulance or a fire station, at full deficit.",
        low=0.0,
        high=20.0,
    )
    deficit_share: float = setting(
        0.6,
        unit="-",
        doc="Worth of the deficit itself, as a share of the treatment's usual work hours.",
        low=0.0,
        high=3.0,
    )
    fault_lack: float = setting(
        0.5,
        unit="-",
        doc="Least deficit of a fault that was seen (a blocked culvert, a ridge), 0 to 1.",
        low=0.0,
        high=1.0,
    )
    delay_share: float = setting(
        1.0,
        unit="-",
        doc="Share of the dearer treatment's further hours that waiting would bring.",
        low=0.0,
        high=3.0,
    )
    request_h: float = setting(
        0.75, unit="h", doc="Worth of the first open request on the segment.", low=0.0, high=20.0
    )
    request_urgency: float = setting(
        0.12, unit="-", doc="Urgency of the first open request.", low=0.0, high=0.5
    )


@dataclass(frozen=True, slots=True)
class UsualWorkPolicy:
    """Usual grader hours, or their equivalent, for a kilometre: to weigh needs before design."""

    blading_h_km: float = setting(0.7, unit="h/km", doc="Light blading.", low=0.0, high=100.0)
    reshaping_h_km: float = setting(2.2, unit="h/km", doc="Reshaping.", low=0.0, high=100.0)
    scarify_remix_h_km: float = setting(
        3.2, unit="h/km", doc="Scarify and remix.", low=0.0, high=100.0
    )
    spot_gravel_h_km: float = setting(5.0, unit="h/km", doc="Spot gravel.", low=0.0, high=100.0)
    regravelling_h_km: float = setting(
        30.0, unit="h/km", doc="Regravelling, gravel and trucks included.", low=0.0, high=500.0
    )
    engineer_h_km: float = setting(
        60.0, unit="h/km", doc="Rebuilding, as far as can be guessed.", low=0.0, high=1000.0
    )
    shoulder_pulling_h_km: float = setting(
        1.5, unit="h/km", doc="Pulling shoulders.", low=0.0, high=100.0
    )
    secondary_ditch_removal_h_km: float = setting(
        1.5, unit="h/km", doc="Removing a secondary ditch.", low=0.0, high=100.0
    )
    ditch_cleaning_h_km: float = setting(
        4.0, unit="h/km", doc="Cleaning ditches.", low=0.0, high=100.0
    )
    culvert_clearing_h_km: float = setting(
        1.0, unit="h/km", doc="Clearing culverts.", low=0.0, high=100.0
    )
    dust_control_h_km: float = setting(8.0, unit="h/km", doc="Dust control.", low=0.0, high=200.0)
    windrow_pickup_h_km: float = setting(
        0.4, unit="h/km", doc="Picking up a windrow.", low=0.0, high=100.0
    )


@dataclass(frozen=True, slots=True)
class UrgencyPolicy:
    """How much each lack counts towards "this week"; lacks combine and never cancel."""

    deformation: float = setting(0.75, unit="-", doc="Ride, failed.", low=0.0, high=1.0)
    crown: float = setting(0.40, unit="-", doc="Crown, failed.", low=0.0, high=1.0)
    gravel: float = setting(0.45, unit="-", doc="Gravel, gone.", low=0.0, high=1.0)
    drainage: float = setting(0.45, unit="-", doc="Drainage, failed.", low=0.0, high=1.0)
    defects: float = setting(0.25, unit="-", doc="Dust and loose stone, worst.", low=0.0, high=1.0)
    culvert: float = setting(0.40, unit="-", doc="A blocked culvert.", low=0.0, high=1.0)
    ditch: float = setting(0.25, unit="-", doc="A blocked ditch.", low=0.0, high=1.0)
    windrow: float = setting(0.45, unit="-", doc="A windrow left.", low=0.0, high=1.0)
    edge: float = setting(
        0.12, unit="-", doc="A high shoulder or secondary ditch.", low=0.0, high=1.0
    )
    quiet_share: float = setting(
        0.55, unit="-", doc="Share of the urgency that an empty road keeps.", low=0.0, high=1.0
    )
    half_adt: float = setting(
        80.0, unit="veh/day", doc="Traffic at which half of the rest counts.", low=1.0, high=2000.0
    )
    power: float = setting(1.5, unit="-", doc="How late a lack begins to count.", low=1.0, high=4.0)


@dataclass(frozen=True, slots=True)
class LayerPolicy:
    """Screening of thickness: what is assumed of soil and trucks where nobody tested."""

    assumed_cbr_pct: float = setting(
        6.0, unit="%", doc="Bearing ratio of the soil where none was tested.", low=0.5, high=80.0
    )
    thaw_share: float = setting(
        0.5, unit="-", doc="Share of it that is left while the soil is soft.", low=0.1, high=1.0
    )
    soft_days: float = setting(
        40.0, unit="day", doc="Days a year on which the soil is soft.", low=0.0, high=365.0
    )
    axles_per_truck: float = setting(
        1.5, unit="-", doc="80 kN axles of a heavy truck.", low=0.1, high=6.0
    )
    rut_m: float = setting(0.075, unit="m", doc="Rut that is put up with.", low=0.02, high=0.2)
    regravel_years: float = setting(
        8.0,
        unit="year",
        doc="Years from today to the next regravel, where nobody says, for what will be left then.",
        source="150 mm last 8 to 12 years, 100 mm 7 to 20, in published guides; 8 is ours",
        low=1.0,
        high=40.0,
    )
    least_mm: float = setting(
        25.0, unit="mm", doc="Gravel below which a blade cuts the soil.", low=5.0, high=100.0
    )


@dataclass(frozen=True, slots=True)
class NeedsPolicy:
    """From condition to treatment, urgency and worth."""

    scoring: ScoringPolicy = field(default_factory=ScoringPolicy)
    ageing: AgeingPolicy = field(default_factory=AgeingPolicy)
    assumed: AssumedPolicy = field(default_factory=AssumedPolicy)
    call: CallPolicy = field(default_factory=CallPolicy)
    effect: EffectPolicy = field(default_factory=EffectPolicy)
    worth: WorthPolicy = field(default_factory=WorthPolicy)
    usual: UsualWorkPolicy = field(default_factory=UsualWorkPolicy)
    urgency: UrgencyPolicy = field(default_factory=UrgencyPolicy)
    layer: LayerPolicy = field(default_factory=LayerPolicy)
