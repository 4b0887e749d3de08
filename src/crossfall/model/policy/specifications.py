"""What gravel is held to, as data, and the edges that cut it.

``is_verified`` is False for every figure that was not read in the issuing document itself. A
specification that is not verified can be used, and says so wherever it is used.
"""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.model.policy.setting import setting


@dataclass(frozen=True, slots=True)
class SieveBand:
    """Percent passing that one sieve must lie within."""

    sieve_mm: float
    low_pct: float
    high_pct: float


@dataclass(frozen=True, slots=True)
class Specification:
    """What a surface gravel is held to."""

    name: str
    bands: tuple[SieveBand, ...]
    source: str
    is_verified: bool = False
    plasticity_low: float | None = None
    plasticity_high: float | None = None
    liquid_limit_high: float | None = None
    fines_to_425_high: float | None = None
    """Most that passes 0.075 mm, as a share of what passes 0.425 mm."""
    note: str = ""


def _bands(*rows: tuple[float, float, float]) -> tuple[SieveBand, ...]:
    return tuple(SieveBand(*row) for row in rows)


def default_specifications() -> tuple[Specification, ...]:
    """Those found so far; an agency adds its own."""
    return (
        Specification(
            "Iowa 11",
            _bands(
                (25.0, 100, 100),
                (19.0, 95, 100),
                (12.5, 70, 90),
                (4.75, 30, 55),
                (2.36, 15, 40),
                (0.075, 6, 16),
            ),
            "Iowa DOT Instructional Memorandum 209, gradation 11",
            is_verified=True,
            note="county road surfacing, crushed stone",
        ),
        Specification(
            "Iowa 10",
            _bands((19.0, 100, 100), (4.75, 50, 80), (2.36, 25, 60)),
            "Iowa DOT Instructional Memorandum 209, gradation 10",
            is_verified=True,
            note="gravel; fines by class",
        ),
        Specification(
            "Chloride surface, plastic",
            _bands((25.0, 100, 100), (4.75, 55, 70), (0.075, 8, 15)),
            "calcium chloride producer's guide to roads (acceptable range)",
            plasticity_low=2.0,
            plasticity_high=9.0,
            note="for treated surfaces; a producer's advice",
        ),
        Specification(
            "Surface rule M 147",
            _bands((0.075, 8, 100)),
            "AASHTO M 147-65 as remembered; the tables were not read",
            plasticity_low=4.0,
            plasticity_high=9.0,
            liquid_limit_high=35.0,
            fines_to_425_high=2 / 3,
        ),
        Specification(
            "Example state surface gravel",
            _bands(
                (19.0, 100, 100),
                (4.75, 50, 78),
                (2.36, 37, 67),
                (0.425, 13, 35),
                (0.075, 4, 15),
            ),
            "FHWA gravel roads manual, state example as remembered",
            plasticity_low=4.0,
            plasticity_high=12.0,
        ),
    )


@dataclass(frozen=True, slots=True)
class MaterialPractice:
    """What gravel is held to, and what its numbers foretell."""

    specifications: tuple[Specification, ...] = setting(
        unit="% passing",
        doc="Gravel specifications, each with its source and whether it was verified.",
        factory=default_specifications,
    )
    form_sieves_mm: tuple[float, ...] = setting(
        unit="mm",
        doc="Sieves that the form for a laboratory's sheet asks for, the coarsest first.",
        factory=lambda: (37.5, 26.5, 25.0, 19.0, 12.5, 9.5, 4.75, 2.36, 2.0, 0.425, 0.075),
    )
    coefficient_low: float = setting(
        16.0,
        unit="%",
        doc="Grading coefficient below which gravel erodes.",
        evidence="recalled",
        source="TRH 20 (1990); 16 corroborated by an abstract",
        low=0.0,
        high=50.0,
    )
    coefficient_high: float = setting(
        34.0,
        unit="%",
        doc="Grading coefficient above which gravel ravels.",
        evidence="recalled",
        source="TRH 20 (1990)",
        low=10.0,
        high=60.0,
    )
    shrinkage_low: float = setting(
        100.0,
        unit="%2",
        doc="Shrinkage product below which gravel ravels and corrugates.",
        evidence="recalled",
        source="TRH 20 (1990)",
        low=0.0,
        high=300.0,
    )
    shrinkage_high: float = setting(
        365.0,
        unit="%2",
        doc="Shrinkage product above which gravel is slippery when wet.",
        evidence="recalled",
        source="TRH 20 (1990); 365 corroborated by an abstract",
        low=100.0,
        high=600.0,
    )
    shrinkage_high_near_homes: float = setting(
        240.0,
        unit="%2",
        doc="The same near houses, where dust matters.",
        evidence="recalled",
        source="TRH 20 (1990)",
        low=100.0,
        high=600.0,
    )
    oversize_high_pct: float = setting(
        5.0,
        unit="%",
        doc="Most that may stay on the 37.5 mm sieve.",
        evidence="recalled",
        source="TRH 20 (1990)",
        low=0.0,
        high=30.0,
    )


@dataclass(frozen=True, slots=True)
class ContractPractice:
    """What is let pass when work that was let is taken over."""

    tolerance: float = setting(
        0.05, unit="-", doc="Share by which tonnes and depth may fall short.", low=0.0, high=0.3
    )
    least_holes: int = setting(
        3, unit="holes", doc="Depth holes dug before work is taken over.", low=1, high=50
    )


@dataclass(frozen=True, slots=True)
class EdgePractice:
    """Cutting edges to compare; prices and lives are the agency's to measure."""

    bladings_ratio: float = setting(
        1.0,
        unit="-",
        doc="Bladings needed with a scarifying edge over those with a plain one: no saving is"
        " assumed until it is measured.",
        low=0.2,
        high=1.5,
    )
    order_share: float = setting(
        0.9, unit="-", doc="Worn by this share of its life, a new edge is ordered.", low=0.3, high=1
    )
    change_h: float = setting(
        1.0, unit="h", doc="Hours of the shop to change a set.", low=0.0, high=8.0
    )
    carbon_life_h: float = setting(
        60.0, unit="h", doc="Plain carbon edge.", evidence="recalled", low=40, high=80
    )
    hardened_life_h: float = setting(
        110.0, unit="h", doc="Through-hardened edge.", evidence="recalled", low=80, high=150
    )
    carbide_life_h: float = setting(
        450.0, unit="h", doc="Carbide insert edge.", evidence="recalled", low=300, high=600
    )
    bits_life_h: float = setting(
        900.0,
        unit="h",
        doc="Scarifying edge with replaceable bits.",
        evidence="recalled",
        low=500,
        high=1500,
    )
