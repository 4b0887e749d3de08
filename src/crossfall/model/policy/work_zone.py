"""Signs, tapers and lane widths of a work zone, as a published manual gives them."""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.model.network import RoadClass
from crossfall.model.policy.setting import setting


@dataclass(frozen=True, slots=True)
class SignSpacing:
    """Distances between advance warning signs on one kind of road [m]."""

    road: str
    a_m: float
    b_m: float
    c_m: float


def _sign_spacings() -> tuple[SignSpacing, ...]:
    foot = 0.3048
    return (
        SignSpacing("urban, low speed", 100 * foot, 100 * foot, 100 * foot),
        SignSpacing("urban, high speed", 350 * foot, 350 * foot, 350 * foot),
        SignSpacing("rural", 500 * foot, 500 * foot, 500 * foot),
        SignSpacing("freeway", 1000 * foot, 1500 * foot, 2640 * foot),
    )


@dataclass(frozen=True, slots=True)
class ZonePractice:
    """Signs and tapers of a work zone, to load the truck by; local codes govern."""

    sign_spacings: tuple[SignSpacing, ...] = setting(
        unit="m",
        doc="Distance A, B and C between advance warning signs.",
        evidence="published",
        source="MUTCD part 6 sign spacing table, as in a California county's plan set, p. 8",
        factory=_sign_spacings,
    )
    one_lane_taper_low_m: float = setting(
        15.24,
        unit="m",
        doc="Shortest taper where two-way traffic shares one lane (50 ft).",
        evidence="published",
        source="MUTCD section 6C, copies; to be confirmed in the manual itself",
    )
    one_lane_taper_high_m: float = setting(
        30.48,
        unit="m",
        doc="Longest of the same (100 ft).",
        evidence="published",
        source="MUTCD section 6C, copies; to be confirmed in the manual itself",
    )
    one_lane_spacing_m: float = setting(
        6.096,
        unit="m",
        doc="Devices in that taper, about 20 ft apart.",
        evidence="published",
        source="MUTCD section 6C, copies; to be confirmed in the manual itself",
    )
    mobile_min: float = setting(
        15.0,
        unit="min",
        doc="Work that stays in one place no longer is mobile.",
        evidence="published",
        source="Minnesota DOT state aid, field manual for low-volume roads (durations)",
        low=1.0,
        high=60.0,
    )
    short_duration_min: float = setting(
        60.0,
        unit="min",
        doc="Work that stays no longer is of short duration.",
        evidence="published",
        source="Minnesota DOT state aid, field manual for low-volume roads (durations)",
        low=15.0,
        high=120.0,
    )
    short_term_min: float = setting(
        720.0,
        unit="min",
        doc="Work that stays no longer is short term; longer is long term.",
        evidence="published",
        source="Minnesota DOT state aid, field manual for low-volume roads (durations)",
        low=60.0,
        high=1440.0,
    )
    posted_arterial_km_h: float = setting(
        88.51392,
        unit="km/h",
        doc="Speed taken as posted on an arterial (55 mph).",
        low=20.0,
        high=130.0,
    )
    posted_collector_km_h: float = setting(
        80.4672, unit="km/h", doc="The same on a collector (50 mph).", low=20.0, high=130.0
    )
    posted_local_km_h: float = setting(
        72.42048, unit="km/h", doc="The same on a local road (45 mph).", low=20.0, high=130.0
    )
    posted_minimum_km_h: float = setting(
        56.32704, unit="km/h", doc="The same on a minimum road (35 mph).", low=20.0, high=130.0
    )
    shadow_adt: float = setting(
        400.0, unit="vehicles/d", doc="From here on mobile work has a shadow vehicle.", low=0.0
    )
    flagger_adt: float = setting(
        100.0, unit="vehicles/d", doc="From here on a closed lane has flaggers.", low=0.0
    )
    shoulder_m: float = setting(
        1.2, unit="m", doc="Width that work beside the lane takes.", low=0.3, high=4.0
    )
    lane_least_m: float = setting(
        3.048,
        unit="m",
        doc="Narrowest lane kept open (10 ft).",
        evidence="published",
        source="California county plan set, p. 4",
    )
    berm_close_mm: float = setting(
        304.8,
        unit="mm",
        doc="A ridge as high as this, or no room to pass, closes the road or calls for a detour.",
        evidence="published",
        source="FHWA Gravel Roads Construction and Maintenance Guide (2015), errata, p. 137",
    )

    def posted_on(self, road_class: RoadClass) -> float:
        """Speed taken as posted on a class of road, where no sign is known [km/h]."""
        return {
            "arterial": self.posted_arterial_km_h,
            "collector": self.posted_collector_km_h,
            "local": self.posted_local_km_h,
            "minimum": self.posted_minimum_km_h,
        }[road_class]
