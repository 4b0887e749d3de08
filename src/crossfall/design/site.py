"""One road as its designer sees it: segment, condition, surroundings and what is at hand."""

from __future__ import annotations

from dataclasses import dataclass, field

from crossfall.design.cost import PriceBook
from crossfall.design.curves import CurveFinder
from crossfall.design.outfit import Outfit
from crossfall.design.passes import PassBook
from crossfall.design.source import SourceFinder
from crossfall.design.water import layer_water_l
from crossfall.design.zone import WorkZone
from crossfall.model import Condition, PointFeature, Policy, Segment
from crossfall.model.policy.design import DesignPolicy


@dataclass(frozen=True, slots=True)
class Tools:
    """What all designs of one run share."""

    policy: Policy
    outfit: Outfit
    book: PriceBook
    passes: PassBook
    sources: SourceFinder
    curves: CurveFinder
    zones: dict[tuple[object, ...], WorkZone] = field(default_factory=dict)
    """Work zones by what decides them, each worked out once."""

    @property
    def design(self) -> DesignPolicy:
        return self.policy.design


@dataclass(frozen=True, slots=True)
class Site:
    """One segment with everything a designer looks at."""

    segment: Segment
    condition: Condition | None
    features: tuple[PointFeature, ...]
    """Along the segment, by chainage."""
    driest_pct: float | None
    """Moisture of the surface on the driest day of the window, middle of the members [%]."""
    meets_paved: tuple[bool, bool]
    """Whether a paved road joins at the start and at the end."""
    tools: Tools
    posted_t: float | None = None
    """Heaviest loaded truck that a seasonal posting lets on in the window; None for none [t]."""
    signed_t: float | None = None
    """Heaviest loaded truck that an engineer has signed for, in place of what is posted [t]."""
    is_treated: bool = False
    """Dust control was sprayed on it not long ago."""
    widenings: tuple[tuple[float, float, float], ...] = ()
    """From, to and width beyond the road's own, as at bends and pullouts [m]."""

    def width_at(self, from_m: float, to_m: float) -> float:
        """Width between two chainages that no widening begins or ends in [m]."""
        middle = (from_m + to_m) / 2
        extra = [w for low, high, w in self.widenings if low <= middle <= high]
        return self.segment.width_m + max(extra, default=0.0)

    @property
    def gravel_mm(self) -> float:
        """Gravel that is there: measured where it was, else the segment's figure [mm]."""
        if self.condition is not None and self.condition.gravel_mm is not None:
            return self.condition.gravel_mm
        return self.segment.gravel_mm

    @property
    def crossfall_pct(self) -> float:
        """Transverse slope that is there; the policy's worn one where nobody measured [%]."""
        if self.condition is not None and self.condition.crossfall_pct is not None:
            return self.condition.crossfall_pct
        return self.tools.design.shape.worn_crossfall_pct

    @property
    def cuttable_mm(self) -> float:
        """Deepest that any cut may go: it leaves the policy's gravel underneath [mm]."""
        return max(0.0, self.gravel_mm - self.tools.design.shape.keep_uncut_mm)

    @property
    def wanted_cut_mm(self) -> float:
        """Depth that would cut below everything worn into the surface [mm]."""
        shape, condition = self.tools.design.shape, self.condition
        if condition is not None:
            depths = (condition.corrugation_mm, condition.pothole_mm, condition.rut_mm)
            known = [depth for depth in depths if depth is not None]
            if known:
                return max(known) + shape.washboard_extra_mm
        return shape.default_cut_mm

    @property
    def cut_mm(self) -> float:
        """Depth to cut: below the washboard, but leaving gravel underneath [mm]."""
        return min(self.wanted_cut_mm, self.cuttable_mm)

    def water_l(self, length_m: float, depth_mm: float) -> float:
        """Water to bring a depth to working moisture on the driest day of the window [L].

        Zero where the surface is moist enough, and where its moisture is unknown.
        """
        if self.driest_pct is None:
            return 0.0
        return layer_water_l(self.tools.policy, self.segment, length_m, depth_mm, self.driest_pct)

    @property
    def assumed(self) -> tuple[str, ...]:
        """What this site rests on that nobody measured."""
        segment, found = self.segment, list(self.tools.outfit.assumed)
        if segment.width_method == "default":
            found.append(f"width {segment.width_m:g} m is a default")
        if segment.gravel_method == "default" and (
            self.condition is None or self.condition.gravel_mm is None
        ):
            found.append(f"gravel {segment.gravel_mm:.0f} mm is a default")
        if self.posted_t is not None:
            found.append(f"a posted load limit lets on {self.posted_t:.1f} t: part loads")
        if self.driest_pct is None:
            found.append("surface moisture is unknown; no water is reckoned")
        return tuple(found)
