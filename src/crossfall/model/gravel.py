"""What is known of gravel and of cutting edges: tests, piles, and what is fitted where."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from crossfall.errors import InputError
from crossfall.formulas.gradation import check_grading


@dataclass(frozen=True, slots=True)
class MaterialTest:
    """A laboratory's sheet for one sample of one pit's gravel.

    Raises
    ------
    InputError
        If the gradation is not possible, or an index is below 0.
    """

    id: str
    pit_id: str
    taken_on: date
    passing_pct: tuple[tuple[float, float], ...]
    """Sieve opening and percent by mass passing it, coarsest first [mm, %]."""
    plasticity: float | None = None
    """Plasticity index; None is not tested, 0 with ``is_non_plastic`` is tested and non-plastic."""
    is_non_plastic: bool = False
    liquid_limit: float | None = None
    linear_shrinkage_pct: float | None = None
    loose_t_m3: float | None = None
    """Bulk density in the truck [t/m³]."""
    laboratory: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        check_grading(self.grading, name=f"test {self.id}")
        if len(self.grading) < len(self.passing_pct):
            raise InputError(f"test {self.id} names a sieve twice; each stands once")
        for name in ("plasticity", "liquid_limit", "linear_shrinkage_pct", "loose_t_m3"):
            value = getattr(self, name)
            if value is not None and not value >= 0:
                raise InputError(f"test {self.id} has {name} {value:g}; expected 0 or more")
        if self.is_non_plastic and self.plasticity not in (None, 0.0):
            raise InputError(
                f"test {self.id} is non-plastic and has a plasticity of {self.plasticity:g};"
                " give one of the two"
            )

    @property
    def grading(self) -> dict[float, float]:
        """Sieve opening [mm] to percent passing [%]."""
        return dict(self.passing_pct)


@dataclass(frozen=True, slots=True)
class PileEntry:
    """Loose gravel put on a pile (above 0), taken from it (below 0), or found by a count."""

    pit_id: str
    day: date
    loose_m3: float
    """Added or taken; for a count, what lies there [m³]."""
    reason: str
    id: str = ""
    is_count: bool = False
    """The pile was measured: what was reckoned before no longer matters."""
    supersedes: str | None = None
    """Entry that this one takes back."""


@dataclass(frozen=True, slots=True)
class FittedEdge:
    """A cutting edge as it was put on a machine; the last one fitted is on it now."""

    machine_id: str
    name: str
    fitted_on: date
    life_km: float
    """Pass-kilometres it is expected to last [km]."""
    id: str = ""
    note: str = ""
