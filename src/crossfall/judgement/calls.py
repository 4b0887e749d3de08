"""What calls for which work, as data: see :mod:`crossfall.judgement.rulebase` for how it reads."""

from __future__ import annotations

from crossfall.judgement.rulebase import Call
from crossfall.model import Treatment

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
        "shoulder_low",
        Treatment.SPOT_GRAVEL,
        (("is_shoulder_low", ">", 0.5),),
        "The shoulder lies lower than the edge, and a wheel that drops off is hard to bring back:"
        " fill it. Where it is deep or on a curve, report it as a danger and mark it now.",
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
