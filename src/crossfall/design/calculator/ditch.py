"""A ditch and its culvert screened: enough, tight or too small. An engineer confirms."""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.formulas.drainage import (
    bed_shear,
    manning_velocity,
    pipe_full_flow,
    rational_flow,
    v_normal_depth,
    v_section,
)
from crossfall.formulas.given import positive

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
