"""Signs, tapers and lane widths of a work zone, as a published manual gives them."""

from __future__ import annotations

from dataclasses import dataclass

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
