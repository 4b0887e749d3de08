"""Passes of each treatment as data: how many, how fast, at what moldboard angle."""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.model.need import Treatment


@dataclass(frozen=True, slots=True)
class PassRule:
    """One kind of grader pass in a treatment, in the order it is made."""

    treatment: Treatment
    name: str
    n_passes: int
    speed_km_h: float
    moldboard_deg: float
    """Angle from straight across [degrees]."""
    is_scaled: bool = False
    """Whether ``n_passes`` is for half the passes that cover the width, and grows with them."""
    note: str = ""


def default_pass_rules() -> tuple[PassRule, ...]:
    """Passes of common practice, at 5 to 8 km/h but for ditches."""
    blading, reshape = Treatment.BLADING, Treatment.RESHAPING
    remix, gravel = Treatment.SCARIFY_REMIX, Treatment.REGRAVELLING
    shoulder, secondary = Treatment.SHOULDER_PULLING, Treatment.SECONDARY_DITCH_REMOVAL
    ditch, windrow = Treatment.DITCH_CLEANING, Treatment.WINDROW_PICKUP
    spot, dust = Treatment.SPOT_GRAVEL, Treatment.DUST_CONTROL
    return (
        PassRule(blading, "trim the edge, carry to the centre", 1, 6.5, 35.0, True),
        PassRule(blading, "spread from the centre, close the windrow", 1, 7.5, 30.0, True),
        PassRule(reshape, "cut to below the washboard", 2, 5.0, 40.0, True),
        PassRule(reshape, "mix the windrow across", 2, 6.0, 35.0),
        PassRule(reshape, "spread to crown", 2, 6.0, 30.0),
        PassRule(reshape, "final shape", 2, 7.5, 25.0, True),
        PassRule(remix, "scarify", 2, 5.0, 0.0, True, "moldboard up, teeth down"),
        PassRule(remix, "cut and windrow", 2, 5.0, 40.0),
        PassRule(remix, "mix the windrow across", 4, 6.0, 35.0),
        PassRule(remix, "spread to crown", 2, 6.0, 30.0),
        PassRule(remix, "final shape", 2, 7.5, 25.0, True),
        PassRule(gravel, "even the windrow", 2, 5.0, 40.0),
        PassRule(gravel, "spread the lift", 4, 5.0, 30.0, True),
        PassRule(gravel, "shape to crown", 2, 7.0, 25.0, True),
        PassRule(shoulder, "cut the shoulder, both sides", 4, 5.0, 45.0),
        PassRule(shoulder, "break up sod, blend into the road", 2, 6.0, 35.0),
        PassRule(shoulder, "spread to crown", 2, 6.0, 30.0),
        PassRule(shoulder, "final shape", 2, 7.5, 25.0, True),
        PassRule(secondary, "cut the high edge, both sides", 4, 5.0, 45.0),
        PassRule(secondary, "carry to the foreslope and trim", 2, 5.0, 40.0),
        PassRule(secondary, "blend clean gravel back", 2, 6.0, 35.0),
        PassRule(secondary, "shape to crown, edge to edge", 2, 7.0, 30.0, True),
        PassRule(ditch, "cut the foreslope", 1, 4.0, 45.0),
        PassRule(ditch, "cut the ditch bottom", 1, 3.5, 50.0),
        PassRule(ditch, "carry spoil up the foreslope", 2, 4.0, 45.0),
        PassRule(ditch, "gather spoil, clean the shoulder", 2, 5.0, 40.0),
        PassRule(windrow, "spread the windrow", 2, 7.0, 30.0),
        PassRule(spot, "spread and blend the heaps", 4, 5.0, 30.0),
        PassRule(dust, "shape to crown", 2, 6.5, 30.0, True),
        PassRule(dust, "final shape, no loose left", 2, 7.0, 25.0),
    )
