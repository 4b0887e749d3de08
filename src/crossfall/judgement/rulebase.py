"""The rule base: what calls for which work, and what the cause is, as data.

A *call* says that a fact about a road calls for a treatment. Every clause of a call gets truer as
the road gets worse, so a worse road is never called for less. A *cause* puts in a foreman's words
why the road is as it is; the first that fits names the need. Causes only explain: they never
decide what is done.

A clause reads ``(fact, relation, setting)``: the fact is one of
:data:`crossfall.judgement.facts.FACTS`, the setting a field of
:class:`crossfall.model.policy.needs.CallPolicy` or a plain figure for flags. Texts may quote facts
in braces. ``common practice`` means that graders' handbooks and foremen agree and no page was at
hand to cite; ``recalled`` that a page exists and was not seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from crossfall.model import Evidence, Treatment

Clause = tuple[str, Literal["<", ">"], str | float]


@dataclass(frozen=True, slots=True)
class Call:
    """When all clauses hold, the road is called for the treatment."""

    id: str
    treatment: Treatment
    when: tuple[Clause, ...]
    text: str
    evidence: Evidence
    source: str = ""


@dataclass(frozen=True, slots=True)
class Cause:
    """Why a road that is called for one of ``treatments`` is as it is."""

    id: str
    treatments: tuple[Treatment, ...]
    when: tuple[Clause, ...]
    cause: str
    advice: str
    evidence: Evidence
    source: str = ""


_SMOOTHING = (Treatment.BLADING,)
_SHAPING = (Treatment.RESHAPING, Treatment.SCARIFY_REMIX)
_SURFACE = _SMOOTHING + _SHAPING
_GRAVEL = (Treatment.SPOT_GRAVEL, Treatment.REGRAVELLING)
_RATING = "Gravel rating manual, Wisconsin Transportation Information Center 1989/2002"

CALLS: tuple[Call, ...] = (
    Call(
        "ride_worn",
        Treatment.BLADING,
        (("deformation", "<", "blade_deformation"),),
        "Washboard, potholes and ruts score {deformation:.1f} of 5: smooth them while they are"
        " shallow.",
        "common practice",
    ),
    Call(
        "surface_loose",
        Treatment.BLADING,
        (("looseness", "<", "blade_defects"),),
        "Loose stone and dust score {defects:.1f} of 5: bring the stone back and restore the"
        " crust.",
        "common practice",
    ),
    Call(
        "crown_fading",
        Treatment.BLADING,
        (("crown", "<", "blade_crown"),),
        "The crown scores {crown:.1f} of 5: carry material to the middle before it is lost.",
        "common practice",
    ),
    Call(
        "vehicles_since_blading",
        Treatment.BLADING,
        (
            ("vehicles_since_blading", ">", "blade_passes"),
            ("deformation", "<", "blade_due_deformation"),
        ),
        "About {vehicles_since_blading:,.0f} vehicles have passed since the last blading.",
        "recalled",
    ),
    Call(
        "potholes_patched",
        Treatment.BLADING,
        (("pothole_mm", ">", "reshape_pothole_mm"),),
        "Potholes are {pothole_mm:.0f} mm deep: square them, fill them with moist gravel and tamp"
        " it, then blade over; filled loose they open again.",
        "common practice",
    ),
    Call(
        "crown_lost",
        Treatment.RESHAPING,
        (("crown", "<", "reshape_crown"),),
        "The crown scores {crown:.1f} of 5: light blading cannot bring it back.",
        "common practice",
    ),
    Call(
        "crown_measured_flat",
        Treatment.RESHAPING,
        (("crossfall_pct", "<", "reshape_flat_pct"),),
        "The crossfall is {crossfall_pct:.1f} %: too flat to shed water.",
        "common practice",
    ),
    Call(
        "crown_measured_steep",
        Treatment.RESHAPING,
        (("crossfall_pct", ">", "reshape_steep_pct"),),
        "The crossfall is {crossfall_pct:.1f} %: everybody drives in the middle.",
        "common practice",
    ),
    Call(
        "rough_again_soon",
        Treatment.RESHAPING,
        (
            ("days_since_blading", "<", "back_days"),
            ("deformation", "<", "back_deformation"),
        ),
        "Rough again {days_since_blading:.0f} days after the blade: smoothing did not reach the"
        " bottom of it, so cut below and remix.",
        "common practice",
    ),
    Call(
        "ride_broken",
        Treatment.RESHAPING,
        (("deformation", "<", "reshape_deformation"),),
        "Washboard, potholes and ruts score {deformation:.1f} of 5: cut below them and remix, or"
        " they come back within days.",
        "common practice",
    ),
    Call(
        "washboard_deep",
        Treatment.RESHAPING,
        (("corrugation_mm", ">", "reshape_corrugation_mm"),),
        "Washboard is {corrugation_mm:.0f} mm deep: cut below it.",
        "recalled",
        _RATING,
    ),
    Call(
        "ruts_deep",
        Treatment.RESHAPING,
        (("rut_mm", ">", "reshape_rut_mm"),),
        "Ruts are {rut_mm:.0f} mm deep: cut, remix and reshape.",
        "recalled",
        _RATING,
    ),
    Call(
        "potholes_deep",
        Treatment.RESHAPING,
        (("pothole_mm", ">", "reshape_pothole_mm"), ("are_potholes_many", ">", 0.5)),
        "Potholes are {pothole_mm:.0f} mm deep: filled without cutting they open again.",
        "recalled",
        _RATING,
    ),
    Call(
        "loose_deep",
        Treatment.RESHAPING,
        (("loose_mm", ">", "reshape_loose_mm"),),
        "Loose stone lies {loose_mm:.0f} mm deep: remix it with fines from below.",
        "recalled",
        _RATING,
    ),
    Call(
        "crust_hard",
        Treatment.SCARIFY_REMIX,
        (("deformation", "<", "scarify_deformation"),),
        "The surface scores {deformation:.1f} of 5: the blade rides over it, scarify first, never"
        " deeper than the gravel.",
        "common practice",
    ),
    Call(
        "washboard_beyond_blade",
        Treatment.SCARIFY_REMIX,
        (("corrugation_mm", ">", "scarify_depth_mm"),),
        "Washboard of {corrugation_mm:.0f} mm is deeper than a blade cuts: scarify first, never"
        " deeper than the gravel.",
        "common practice",
    ),
    Call(
        "potholes_beyond_blade",
        Treatment.SCARIFY_REMIX,
        (
            ("pothole_mm", ">", "scarify_depth_mm"),
            ("are_potholes_many", ">", 0.5),
            ("deformation", "<", "scarify_deformation"),
        ),
        "Potholes of {pothole_mm:.0f} mm are deeper than a blade cuts.",
        "common practice",
    ),
    Call(
        "gravel_thin_in_places",
        Treatment.SPOT_GRAVEL,
        (("gravel", "<", "spot_gravel"),),
        "The gravel layer scores {gravel:.1f} of 5: it is gone in places.",
        "common practice",
    ),
    Call(
        "shoulder_eroded",
        Treatment.SPOT_GRAVEL,
        (("is_shoulder_eroded", ">", 0.5),),
        "The shoulder is washed out: fill it with coarse gravel before the edge goes.",
        "common practice",
    ),
    Call(
        "gravel_gone",
        Treatment.REGRAVELLING,
        (("gravel", "<", "regravel_gravel"), ("adt", ">", "regravel_adt")),
        "The gravel layer scores {gravel:.1f} of 5: there is too little left to shape.",
        "common practice",
    ),
    Call(
        "gravel_measured_gone",
        Treatment.REGRAVELLING,
        (("gravel_mm", "<", "regravel_gravel_mm"), ("adt", ">", "regravel_adt")),
        "{gravel_mm:.0f} mm of gravel were measured: as good as none.",
        "common practice",
    ),
    Call(
        "high_shoulder",
        Treatment.SHOULDER_PULLING,
        (("has_high_shoulder", ">", 0.5),),
        "A high shoulder keeps water on the road.",
        "common practice",
    ),
    Call(
        "secondary_ditch",
        Treatment.SECONDARY_DITCH_REMOVAL,
        (("has_secondary_ditch", ">", 0.5),),
        "A secondary ditch inside the real one keeps water on the road.",
        "common practice",
    ),
    Call(
        "drainage_poor",
        Treatment.DITCH_CLEANING,
        (("drainage", "<", "ditch_drainage"),),
        "Drainage scores {drainage:.1f} of 5: water cannot leave the road.",
        "common practice",
    ),
    Call(
        "ditch_blocked",
        Treatment.DITCH_CLEANING,
        (("is_ditch_blocked", ">", 0.5),),
        "A ditch is blocked.",
        "common practice",
    ),
    Call(
        "ditch_missing",
        Treatment.DITCH_CLEANING,
        (("is_ditch_missing", ">", 0.5),),
        "There is no ditch where the water needs one.",
        "common practice",
    ),
    Call(
        "culvert_blocked",
        Treatment.CULVERT_CLEARING,
        (("is_culvert_blocked", ">", 0.5),),
        "A culvert is blocked: the next storm goes over the road.",
        "common practice",
    ),
    Call(
        "dust_and_traffic",
        Treatment.DUST_CONTROL,
        (("dustiness", "<", "dust_defects"), ("adt", ">", "dust_adt")),
        "Dust and loose stone score {defects:.1f} of 5 under {adt:.0f} vehicles a day.",
        "common practice",
    ),
    Call(
        "dust_seen",
        Treatment.DUST_CONTROL,
        (("dust_level", ">", "dust_seen"), ("adt", ">", "dust_adt")),
        "A cloud of dust hangs behind each of {adt:.0f} vehicles a day.",
        "common practice",
    ),
    Call(
        "windrow_left",
        Treatment.WINDROW_PICKUP,
        (("has_windrow", ">", 0.5),),
        "A windrow was left along the road.",
        "common practice",
    ),
    Call(
        "base_failed",
        Treatment.ENGINEER,
        (("rut_mm", ">", "engineer_rut_mm"),),
        "Ruts of {rut_mm:.0f} mm say that what is under the gravel has failed.",
        "recalled",
        _RATING,
    ),
    Call(
        "water_from_below",
        Treatment.ENGINEER,
        (
            ("is_ditch_clear", ">", 0.5),
            ("drainage", "<", "ditch_drainage"),
            ("deformation", "<", "reshape_deformation"),
        ),
        "Broken and wet though the ditches are clear: the water comes from below, and an"
        " underdrain is the engineer's.",
        "common practice",
    ),
    Call(
        "all_failed",
        Treatment.ENGINEER,
        (
            ("deformation", "<", "engineer_score"),
            ("drainage", "<", "engineer_score"),
            ("gravel", "<", "engineer_score"),
        ),
        "Ride, drainage and gravel have all failed: this is rebuilding, not grading.",
        "recalled",
        _RATING,
    ),
)

CAUSES: tuple[Cause, ...] = (
    Cause(
        "blade_bounced",
        _SURFACE,
        (
            ("corrugation_spacing_m", ">", "fast_blade_spacing_m"),
            ("days_since_blading", "<", "fast_blade_days"),
        ),
        "long waves left by a grader that bounced because it worked too fast",
        "Work slower, and the waves do not come back.",
        "published",
        "usroads.com, Road Management & Engineering Journal, June 2000",
    ),
    Cause(
        "water_comes_from_below",
        (*_SURFACE, *_GRAVEL, Treatment.DITCH_CLEANING, Treatment.ENGINEER),
        (("is_ditch_clear", ">", 0.5), ("drainage", "<", "cause_drainage")),
        "water from below: the road is wet though the ditches are clear",
        "Look for a spring, a seep or a low outlet; until it is drained the road breaks again.",
        "common practice",
    ),
    Cause(
        "secondary_ditch_holds_water",
        (*_SHAPING, Treatment.SECONDARY_DITCH_REMOVAL),
        (("has_secondary_ditch", ">", 0.5),),
        "water held on the road by a secondary ditch",
        "Open the edge to the real ditch, or the water stays.",
        "common practice",
    ),
    Cause(
        "high_shoulder_holds_water",
        (*_SHAPING, Treatment.SHOULDER_PULLING),
        (("has_high_shoulder", ">", 0.5),),
        "water held on the road by a high shoulder",
        "Pull the shoulder first, or the water stays.",
        "common practice",
    ),
    Cause(
        "ditch_backs_up",
        (*_SHAPING, *_GRAVEL, Treatment.DITCH_CLEANING, Treatment.ENGINEER),
        (("is_ditch_blocked", ">", 0.5),),
        "a wet road beside a blocked ditch",
        "Unless the ditch is opened, the road will soften and break again.",
        "common practice",
    ),
    Cause(
        "ditch_is_missing",
        (*_SURFACE, *_GRAVEL, Treatment.DITCH_CLEANING, Treatment.ENGINEER),
        (("is_ditch_missing", ">", 0.5),),
        "no ditch where the water needs one",
        "Dig one with an outlet, once the right of way and the utilities are cleared; without it"
        " the road will soften and break again.",
        "common practice",
    ),
    Cause(
        "culvert_backs_up",
        (Treatment.CULVERT_CLEARING, *_SHAPING, *_GRAVEL),
        (("is_culvert_blocked", ">", 0.5),),
        "water that cannot get under the road at a blocked culvert",
        "Unless the culvert is opened, the next storm undoes the work.",
        "common practice",
    ),
    Cause(
        "drainage_weak",
        (*_SHAPING, *_GRAVEL, Treatment.DITCH_CLEANING, Treatment.ENGINEER),
        (("drainage", "<", "cause_drainage"),),
        "a wet road: ditches that do not carry the water away",
        "Unless the ditches work, the road will soften and break again.",
        "common practice",
    ),
    Cause(
        "wet_and_worn",
        _SMOOTHING,
        (
            ("drainage", "<", "cause_drainage"),
            ("deformation", "<", "blade_due_deformation"),
            ("is_washboard_seen", "<", 0.5),
        ),
        "a wet road: ditches that do not carry the water away",
        "Blading smooths it for a while; unless the ditches work, it will soften and break again.",
        "common practice",
    ),
    Cause(
        "crown_too_steep",
        _SHAPING,
        (("crossfall_pct", ">", "steep_crossfall_pct"),),
        "a crown so steep that everyone drives in the middle",
        "Bring it back to about four percent.",
        "common practice",
    ),
    Cause(
        "crown_holds_water",
        _SHAPING,
        (("crown", "<", "reshape_crown"),),
        "a flat crown that holds water in the wheel tracks",
        "Restore about four percent, the whole width to the ditch line.",
        "common practice",
    ),
    Cause(
        "crown_measured_flat_holds_water",
        _SHAPING,
        (("crossfall_pct", "<", "reshape_flat_pct"),),
        "a flat crown that holds water in the wheel tracks",
        "Restore about four percent, the whole width to the ditch line.",
        "common practice",
    ),
    Cause(
        "hauling_ruts",
        (*_SURFACE, Treatment.ENGINEER),
        (("rut_mm", ">", "blade_rut_mm"), ("heavy_adt", ">", "cause_heavy_adt")),
        "ruts from heavy hauling",
        "Agree load limits or an upgrade with whoever hauls; blading alone will not last.",
        "common practice",
    ),
    Cause(
        "cut_too_shallow",
        _SHAPING,
        (
            ("days_since_blading", "<", "back_days"),
            ("deformation", "<", "back_deformation"),
        ),
        "roughness that came straight back: cut too shallow or too dry, or gravel that never binds",
        "Cut below it while it is moist; if it comes back again, test the gravel for fines.",
        "common practice",
    ),
    Cause(
        "washboard_hill",
        _SURFACE,
        (
            ("may_be_washboard", ">", 0.5),
            ("deformation", "<", "blade_due_deformation"),
            ("grade_pct", ">", "cause_grade_pct"),
        ),
        "washboard where wheels pull and brake on the hill",
        "Better binding gravel on the hill holds longer than more blading.",
        "published",
        "usroads.com, Road Management & Engineering Journal, June 2000",
    ),
    Cause(
        "washboard_dry_loose",
        _SURFACE,
        (
            ("may_be_washboard", ">", 0.5),
            ("deformation", "<", "blade_due_deformation"),
            ("defects", "<", "cause_defects"),
        ),
        "washboard from dry, loose gravel short of binding fines",
        "Blade when it is moist; gravel with more plastic fines would hold longer.",
        "common practice",
    ),
    Cause(
        "washboard_traffic",
        _SURFACE,
        (
            ("may_be_washboard", ">", 0.5),
            ("deformation", "<", "blade_due_deformation"),
            ("adt", ">", "cause_adt"),
        ),
        "washboard from the speed and number of vehicles",
        "Slower traffic or a bound surface would last longer than more blading.",
        "common practice",
    ),
    Cause(
        "crown_thin",
        _SMOOTHING,
        (("crown", "<", "cause_crown"),),
        "a crown that is wearing flat",
        "Carry material to the middle; reshape before water stands.",
        "common practice",
    ),
    Cause(
        "stone_thrown_out",
        _SMOOTHING,
        (("defects", "<", "cause_defects"),),
        "loose stone thrown out of the wheel tracks",
        "Blade when it is moist so that the stone binds again.",
        "common practice",
    ),
    Cause(
        "shoulder_washed_out",
        (Treatment.SPOT_GRAVEL,),
        (("is_shoulder_eroded", ">", 0.5),),
        "a shoulder washed out by water that runs along the road",
        "Turn the water off the road above it, or it washes out again.",
        "common practice",
    ),
    Cause(
        "gravel_worn_by_trucks",
        _GRAVEL,
        (("heavy_adt", ">", "cause_heavy_adt"),),
        "gravel worn and pushed away by heavy traffic",
        "Ask whether the layer is thick enough for these trucks before the same is put back.",
        "common practice",
    ),
    Cause(
        "gravel_worn",
        _GRAVEL,
        (),
        "gravel lost to traffic, wind and water",
        "Shape and drain the road before gravel is hauled.",
        "common practice",
    ),
    Cause(
        "base_weak",
        (Treatment.ENGINEER,),
        (),
        "a road whose base has failed",
        "An engineer decides; until then hold it passable and post it.",
        "common practice",
    ),
    Cause(
        "holes_scattered",
        _SMOOTHING,
        (("pothole_mm", ">", "reshape_pothole_mm"),),
        "a few deep holes in a road that is otherwise sound",
        "Look for what keeps each of them wet: a flat spot, a bridge end, a soft place.",
        "common practice",
    ),
    Cause(
        "worn_by_traffic",
        _SURFACE,
        (),
        "ordinary wear by traffic and weather",
        "Little and in time costs least.",
        "common practice",
    ),
    Cause(
        "sod_at_edge",
        (Treatment.SHOULDER_PULLING, Treatment.SECONDARY_DITCH_REMOVAL),
        (),
        "sod and thrown-out gravel built up along the edge",
        "Pull it back and blend the clean part in.",
        "common practice",
    ),
    Cause(
        "silt_and_growth",
        (Treatment.DITCH_CLEANING, Treatment.CULVERT_CLEARING),
        (),
        "silt and growth in the way of the water",
        "Open the outlet too, not only the ditch.",
        "common practice",
    ),
    Cause(
        "dry_fines_blow_away",
        (Treatment.DUST_CONTROL,),
        (),
        "fines that leave as dust behind every vehicle",
        "Shape to a good crown first; blade as little as possible afterwards.",
        "common practice",
    ),
    Cause(
        "work_left_open",
        (Treatment.WINDROW_PICKUP,),
        (),
        "a windrow left from earlier work",
        "Pick it up before rain or dark.",
        "common practice",
    ),
    Cause(
        "nothing_wrong",
        (Treatment.NONE,),
        (),
        "nothing that work would better now",
        "Leave a good road alone.",
        "common practice",
    ),
)
