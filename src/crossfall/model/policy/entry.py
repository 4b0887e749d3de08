"""What is believed of figures that people enter: inspections and descriptions of machines.

A figure outside these limits is a slip of the pen or another unit, and is
refused with a question; none of them is a rule about roads.
"""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.model.policy.setting import setting


@dataclass(frozen=True, slots=True)
class EntryPolicy:
    """Limits of belief for what people enter. All are ours, wide on purpose."""

    crossfall_max_pct: float = setting(
        15.0, unit="%", doc="Steepest crossfall of a road that is believed", low=8.0, high=30.0
    )
    crossfall_fraction_below: float = setting(
        0.2,
        unit="%",
        doc="A crossfall above 0 and below this was meant as a fraction",
        low=0.05,
        high=1.0,
    )
    gravel_max_mm: float = setting(
        600.0, unit="mm", doc="Thickest surface gravel that is believed", low=200.0, high=2000.0
    )
    gravel_median_min_mm: float = setting(
        12.0,
        unit="mm",
        doc="Median thickness of a survey below which inches were meant",
        low=3.0,
        high=40.0,
    )
    distress_max_mm: float = setting(
        400.0,
        unit="mm",
        doc="Deepest washboard, pothole, rut or loose gravel that is believed",
        low=150.0,
        high=1000.0,
    )
    corrugation_spacing_max_m: float = setting(
        5.0, unit="m", doc="Widest spacing of washboard that is believed", low=1.0, high=20.0
    )
    potholes_max_per_km: float = setting(
        2000.0, unit="1/km", doc="Most potholes that are believed", low=200.0, high=20000.0
    )
    pothole_width_max_mm: float = setting(
        3000.0, unit="mm", doc="Widest pothole that is believed", low=500.0, high=10000.0
    )
    iri_max_m_km: float = setting(
        40.0, unit="m/km", doc="Roughest road that is believed", low=20.0, high=100.0
    )
    driven_max_km_h: float = setting(
        100.0, unit="km/h", doc="Fastest drive over washboard that is believed", low=40.0,
        high=130.0,
    )  # fmt: skip
    distress_median_min_mm: float = setting(
        4.0,
        unit="mm",
        doc="Median of the washboard, potholes or ruts that were measured, below which inches"
        " were meant",
        low=1.0,
        high=12.0,
    )
    score_contradicts: float = setting(
        3.0,
        unit="score",
        doc="A thickness that could be in inches, beside a gravel score this good, was",
        low=1.0,
        high=5.0,
    )
    depth_contradicts: float = setting(
        2.5,
        unit="score",
        doc="Depths that could be in inches, beside a deformation score this bad, were",
        low=1.0,
        high=4.0,
    )
    look_share: float = setting(
        0.5,
        unit="-",
        doc="Looks at parts of a segment that cover this share of it stand for the whole",
        low=0.1,
        high=1.0,
    )
    photo_max_mb: float = setting(
        15.0, unit="MB", doc="Largest photo that is taken in", low=1.0, high=100.0
    )
    photos_max: int = setting(
        12, unit="photos", doc="Most photos with one inspection", low=1, high=100
    )
    shift_max_h: float = setting(
        16.0, unit="h", doc="Longest shift with overtime that is believed", low=8.0, high=24.0
    )
    blade_min_m: float = setting(
        2.0, unit="m", doc="Shortest moldboard that is believed", low=1.0, high=3.0
    )
    blade_max_m: float = setting(
        8.0, unit="m", doc="Longest moldboard; more was meant in feet", low=5.0, high=10.0
    )
    travel_max_km_h: float = setting(
        110.0, unit="km/h", doc="Fastest travel of a machine that is believed", low=50.0, high=130.0
    )
    mass_max_t: float = setting(
        80.0, unit="t", doc="Heaviest machine or payload; more was meant in kg or lb", low=30.0,
        high=200.0,
    )  # fmt: skip
    tank_min_l: float = setting(
        200.0, unit="L", doc="Smallest tank of a water truck; less was meant in m³", low=0.0,
        high=2000.0,
    )  # fmt: skip
    tank_max_l: float = setting(
        80000.0, unit="L", doc="Largest tank of a water truck", low=20000.0, high=200000.0
    )
    body_max_m3: float = setting(
        60.0, unit="m3", doc="Largest body of a haul truck; more was meant in ft³ or litres",
        low=20.0, high=200.0,
    )  # fmt: skip
