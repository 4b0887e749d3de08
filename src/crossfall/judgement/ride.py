"""A measured ride as a look at the road: IRI of a profile, washboard of a profile or a trace.

An instrument says how a road rides and nothing of its crown, ditches or gravel: those scores stay
as they are believed on that day, and the note says so. The score of deformation follows from the
IRI by the same knots that put a figure to a ride elsewhere; a trace gives no IRI, only washboard.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas.corrugation import (
    LEAST_LENGTH_M,
    WIDEST_STEP_M,
    Corrugation,
    from_acceleration,
    from_profile,
)
from crossfall.formulas.profile_iri import iri
from crossfall.model import Condition, Policy, Segment

Floats = npt.NDArray[np.float64]

_WHOLE_SHARE = 0.95
"""A ride over so much of a segment stands for all of it; ours."""
_END_TOLERANCE_M = 5.0
"""By so much a ride may run beyond the end, as tyres measure it; ours."""


@dataclass(frozen=True, slots=True)
class Ride:
    """What an instrument found on a stretch."""

    length_m: float
    iri_m_km: float | None
    """None where a trace was driven."""
    washboard: Corrugation | None
    """None where the points lie too far apart to show any."""
    start_m: float | None = None
    """Where it begins on the segment; None is the segment's start [m]."""

    def summary(self) -> str:
        """One sentence.

        Examples
        --------
        >>> Ride(980.0, 6.42, Corrugation(24.0, 0.72, 9.0)).summary()
        'IRI 6.4 m/km over 980 m; washboard 24 mm deep every 0.72 m'
        """
        told = []
        if self.iri_m_km is not None:
            told.append(f"IRI {self.iri_m_km:.1f} m/km over {self.length_m:.0f} m")
        else:
            told.append(f"{self.length_m:.0f} m driven")
        found = self.washboard
        if found is None:
            told.append("points too far apart to show washboard")
        elif not found.is_washboard:
            told.append("no washboard stands out")
        else:
            words = f"washboard {found.depth_mm:.0f} mm deep every {found.spacing_m:.2f} m"
            if found.speed_km_h is not None:
                words += f" at {found.speed_km_h:.0f} km/h, at least"
            told.append(words)
        return "; ".join(told)


def ride_of_profile(elevation_m: Floats, step_m: float, *, start_m: float | None = None) -> Ride:
    """IRI and washboard of an elevation profile.

    Raises
    ------
    InputError
        If the profile is too short or its step out of range; UnitsError if it cannot be in metres.
    """
    length = step_m * (elevation_m.shape[0] - 1)
    is_fine = step_m <= WIDEST_STEP_M and length >= LEAST_LENGTH_M
    washboard = from_profile(elevation_m, step_m) if is_fine else None
    return Ride(length, iri(elevation_m, step_m), washboard, start_m)


def ride_of_trace(
    acceleration_m_s2: Floats, *, sample_hz: float, speed_km_h: float, start_m: float | None = None
) -> Ride:
    """Washboard of an accelerometer's trace, for the speed it was driven at.

    Raises
    ------
    InputError
        If the speed or the rate is out of range, or the trace is short.
    """
    washboard = from_acceleration(acceleration_m_s2, sample_hz=sample_hz, speed_km_h=speed_km_h)
    length = acceleration_m_s2.shape[0] / sample_hz * speed_km_h / 3.6
    return Ride(length, None, washboard, start_m)


def look_of_ride(
    ride: Ride,
    segment: Segment,
    believed: Condition,
    policy: Policy,
    *,
    observed_on: date,
    observer: str,
    source: str,
) -> Condition:
    """The ride as a measured look; what it cannot say stays as it is ``believed``.

    Raises
    ------
    InputError
        If the ride runs beyond the segment's end.
    """
    from_m, to_m = _stretch(ride, segment)
    changed: dict[str, float | None] = {}
    if ride.iri_m_km is not None:
        changed["iri_m_km"] = round(ride.iri_m_km, 2)
        changed["deformation"] = round(ride_score(ride.iri_m_km, policy), 2)
    found = ride.washboard
    if found is not None:
        # Smooth is a finding too: an earlier depth does not stand beside it
        is_there = found.is_washboard
        changed["corrugation_mm"] = round(found.depth_mm, 1) if is_there else 0.0
        changed["corrugation_spacing_m"] = round(found.spacing_m, 2) if is_there else None
        changed["driven_km_h"] = found.speed_km_h
    return replace(
        believed,
        segment_id=segment.id,
        observed_on=observed_on,
        method="measured",
        observer=observer,
        note=(
            f"{ride.summary()} ({source}). Crown, drainage, gravel and loose stone were not looked"
            " at and stay as believed."
        ),
        from_m=from_m,
        to_m=to_m,
        side="both",
        photos=(),
        **changed,  # type: ignore[arg-type]
    )


def ride_score(iri_m_km: float, policy: Policy) -> float:
    """Score of deformation for an IRI, 5 to 1, by the knots of ``needs.worth.iri_knots``.

    Examples
    --------
    >>> ride_score(9.0, Policy()), ride_score(2.0, Policy()), ride_score(30.0, Policy())
    (3.0, 5.0, 1.0)
    """
    scores, roughness = zip(*policy.needs.worth.iri_knots, strict=True)
    order = np.argsort(roughness)
    return float(np.interp(iri_m_km, np.array(roughness)[order], np.array(scores)[order]))


def _stretch(ride: Ride, segment: Segment) -> tuple[float | None, float | None]:
    start = ride.start_m or 0.0
    end = start + ride.length_m
    if start < 0 or end > segment.length_m + _END_TOLERANCE_M:
        raise InputError(
            f"the ride runs from {start:.0f} to {end:.0f} m, and segment {segment.id} is"
            f" {segment.length_m:.0f} m long; cut it, or say where it begins"
        )
    if ride.length_m >= _WHOLE_SHARE * segment.length_m:
        return None, None
    return round(start, 1), round(min(end, segment.length_m), 1)
