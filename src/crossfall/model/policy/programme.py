"""Years, strategies and deterioration factors."""

from __future__ import annotations

from dataclasses import dataclass, field

from crossfall.model.policy.setting import setting


@dataclass(frozen=True, slots=True)
class MaterialPolicy:
    """The surface gravel that is assumed where no test says."""

    p075_pct: float = setting(12.0, unit="%", doc="Passing 0.075 mm.", low=0.0, high=100.0)
    p425_pct: float = setting(24.0, unit="%", doc="Passing 0.425 mm.", low=0.0, high=100.0)
    p2_pct: float = setting(42.0, unit="%", doc="Passing 2.0 mm.", low=0.0, high=100.0)
    d95_mm: float = setting(20.0, unit="mm", doc="Size with 95 % passing.", low=1.0, high=100.0)
    plasticity_pct: float = setting(8.0, unit="%", doc="Plasticity index.", low=0.0, high=40.0)
    curvature_deg_km: float = setting(
        50.0, unit="deg/km", doc="Mean horizontal curvature.", low=0.0, high=2000.0
    )
    rain_mm_month: float = setting(
        70.0, unit="mm/month", doc="Mean monthly rain without a record.", low=1.0, high=1000.0
    )


@dataclass(frozen=True, slots=True)
class FactorPolicy:
    """Calibration of the published relationships; 1 leaves them as they are."""

    gravel_loss: float = setting(
        0.7,
        unit="-",
        doc="Factor on gravel loss; quiet temperate roads are expected at 0.4 to 1.",
        low=0.3,
        high=3.0,
    )
    roughness_rate: float = setting(
        1.0, unit="-", doc="Factor on the progression of roughness.", low=0.3, high=3.0
    )
    blading_effect: float = setting(
        1.0, unit="-", doc="Factor on what blading leaves of the roughness.", low=0.3, high=3.0
    )


@dataclass(frozen=True, slots=True)
class ProgrammePolicy:
    """Years, strategies and deterioration factors."""

    material: MaterialPolicy = field(default_factory=MaterialPolicy)
    factors: FactorPolicy = field(default_factory=FactorPolicy)
