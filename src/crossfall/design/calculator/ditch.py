"""A ditch and its culvert screened: enough, tight or too small. An engineer confirms."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from crossfall.errors import InputError
from crossfall.formulas.drainage import (
    bed_shear,
    manning_velocity,
    pipe_full_flow,
    rational_flow,
    v_normal_depth,
    v_section,
)
from crossfall.formulas.given import positive, within

TO_CONFIRM = "screening only: engineer to confirm"


@dataclass(frozen=True, slots=True)
class Ditch:
    """What a V ditch takes, what comes, and how they compare."""

    flow_m3_s: float
    """What comes [m³/s]."""
    depth_m: float
    """How deep it runs [m]."""
    velocity_m_s: float
    shear_pa: float
    capacity_m3_s: float
    """What it takes when full [m³/s]."""
    freeboard_m: float
    verdict: str
    needs_engineer: bool = True

    def summary(self) -> str:
        """One line to read out."""
        return (
            f"{self.flow_m3_s:.3f} m3/s comes, {self.capacity_m3_s:.3f} fits; runs"
            f" {self.depth_m:.2f} m deep at {self.velocity_m_s:.2f} m/s: {self.verdict}"
            f" ({TO_CONFIRM})"
        )


def ditch(
    *,
    left_z: float,
    right_z: float,
    depth_m: float,
    slope: float,
    roughness_n: float,
    runoff_c: float,
    intensity_mm_h: float,
    area_ha: float,
    over_h: float,
    erodes_above_m_s: float = 0.9,
    clears_above_m_s: float = 0.9,
) -> Ditch:
    """Screen a V ditch against the rational flow.

    Parameters
    ----------
    left_z, right_z : float
        Side slopes, horizontal to 1 vertical.
    depth_m : float
        From the bottom to where water would leave the ditch. [m]
    slope : float, above 0
        Along the ditch, as a ratio.
    erodes_above_m_s, clears_above_m_s : float
        3 ft/s is self-cleaning and calls for an erosion check (published, US Army engineer
        text EN5465, p. 81). [m/s]

    Examples
    --------
    >>> ditch(left_z=4, right_z=2, depth_m=0.5, slope=0.01, roughness_n=0.03, runoff_c=0.5,
    ...       intensity_mm_h=60, area_ha=3, over_h=0.5).verdict
    'enough; runs fast, check for erosion'
    """
    flow = rational_flow(runoff_c, intensity_mm_h, area_ha, over_h=over_h)
    runs_m = v_normal_depth(flow, slope, roughness_n, left_z, right_z)
    area, perimeter = v_section(runs_m, left_z, right_z)
    full_area, full_perimeter = v_section(positive("depth_m", depth_m), left_z, right_z)
    capacity = full_area * manning_velocity(full_area / full_perimeter, slope, roughness_n)
    velocity = manning_velocity(area / perimeter, slope, roughness_n)
    size = "enough" if runs_m <= depth_m else "too small"
    if velocity > erodes_above_m_s:
        size += "; runs fast, check for erosion"
    elif velocity < clears_above_m_s:
        size += "; runs slow, may silt up"
    return Ditch(
        flow,
        runs_m,
        velocity,
        bed_shear(area / perimeter, slope),
        capacity,
        depth_m - runs_m,
        size,
    )


@dataclass(frozen=True, slots=True)
class Culvert:
    """A round pipe against a flow."""

    flow_m3_s: float
    full_m3_s: float
    is_obviously_small: bool
    needs_engineer: bool = True

    def summary(self) -> str:
        """One line to read out."""
        word = "obviously too small" if self.is_obviously_small else "not obviously too small"
        return (
            f"{self.flow_m3_s:.3f} m3/s comes, a full pipe takes {self.full_m3_s:.3f}: {word}"
            f" ({TO_CONFIRM})"
        )


def culvert(*, diameter_m: float, slope: float, flow_m3_s: float, n: float = 0.024) -> Culvert:
    """Warn of a culvert that is obviously too small; never say that one is large enough.

    Examples
    --------
    >>> culvert(diameter_m=0.45, slope=0.01, flow_m3_s=0.4).is_obviously_small
    True
    """
    full = pipe_full_flow(diameter_m, slope, n)
    return Culvert(flow_m3_s, full, positive("flow_m3_s", flow_m3_s) > full)


@dataclass(frozen=True, slots=True)
class Reach:
    """Ditch bottom between two surveyed points."""

    from_m: float
    to_m: float
    slope: float
    """Fall towards the higher chainage as a ratio; below 0 the water runs back."""


@dataclass(frozen=True, slots=True)
class DitchGrade:
    """Fall of a ditch from a survey, reach by reach."""

    reaches: tuple[Reach, ...]
    overall: float
    """From the first point to the last, as a ratio."""
    ponds: tuple[Reach, ...]
    """Reaches that do not fall the way the whole does, or hardly."""
    needs_engineer: bool = True

    @property
    def flattest(self) -> float:
        """Least fall in the way of the whole, as a ratio; 0 where water stands."""
        sign = 1.0 if self.overall >= 0 else -1.0
        return max(0.0, min(sign * reach.slope for reach in self.reaches))

    def summary(self) -> str:
        """One line to read out."""
        where = ", ".join(f"{each.from_m:g} to {each.to_m:g} m" for each in self.ponds)
        stands = f"; water stands or runs back at {where}" if where else "; no reach stands"
        return (
            f"falls {100 * abs(self.overall):.2f} % in all, {100 * self.flattest:.2f} % at the"
            f" flattest{stands} ({TO_CONFIRM})"
        )


def ditch_grade(levels: Sequence[tuple[float, float]], *, least_slope: float = 0.005) -> DitchGrade:
    """Fall of a ditch bottom from surveyed points.

    Parameters
    ----------
    levels : sequence of (chainage, level)
        At least two points, chainages rising. [m, m]
    least_slope : float
        A fall below this silts up (default, ours), as a ratio.

    Raises
    ------
    InputError
        If there are fewer than two points, chainages do not rise, or the ends are level.

    Examples
    --------
    >>> ditch_grade([(0, 10.0), (50, 9.5), (100, 9.6), (150, 8.9)]).summary()
    'falls 0.73 % in all, 0.00 % at the flattest; water stands or runs back at 50 to 100 m \
(screening only: engineer to confirm)'
    """
    if len(levels) < 2:
        raise InputError(f"levels has {len(levels)} point(s); expected at least two")
    within("least_slope", least_slope, 0.0, 0.1, hint="a ratio: 0.5 percent is 0.005")
    reaches = []
    for (from_m, high_m), (to_m, low_m) in pairwise(levels):
        if not (math.isfinite(high_m) and math.isfinite(low_m) and to_m > from_m):
            raise InputError(
                f"levels go from {from_m:g} m at {high_m:g} to {to_m:g} m at {low_m:g}; expected"
                " chainages that rise and levels that are known"
            )
        reaches.append(Reach(from_m, to_m, (high_m - low_m) / (to_m - from_m)))
    overall = (levels[0][1] - levels[-1][1]) / (levels[-1][0] - levels[0][0])
    if overall == 0:
        raise InputError(f"levels are {levels[0][1]:g} at both ends; a level ditch carries nothing")
    sign = 1.0 if overall > 0 else -1.0
    ponds = tuple(reach for reach in reaches if sign * reach.slope < least_slope)
    return DitchGrade(tuple(reaches), overall, ponds)
