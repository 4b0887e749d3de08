"""What a year may take: money, grader hours, gravel by pit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Limits:
    """Upper limits by year; inf where there is none."""

    money_minor: Floats
    """(year,) agency money, undiscounted minor units."""
    grader_h: Floats
    """(year,)."""
    gravel_m3: Floats
    """(pit, year) compacted."""

    @property
    def n_years(self) -> int:
        return int(self.money_minor.shape[0])

    def stacked(self) -> Floats:
        """(row, year): money, hours, then each pit's gravel."""
        return np.vstack((self.money_minor, self.grader_h, self.gravel_m3))

    def row_names(self, pit_names: Sequence[str]) -> tuple[str, ...]:
        """What each row of :meth:`stacked` is called."""
        return ("money", "grader hours", *(f"gravel from {name}" for name in pit_names))


def make_limits(
    n_years: int,
    *,
    budget_minor: float | Sequence[float] | None,
    grader_h: float | Sequence[float] | None = None,
    gravel_m3: float | Sequence[float] | Mapping[str, float | Sequence[float]] | None = None,
    pit_names: Sequence[str] = ("any pit",),
) -> Limits:
    """Limits for each year from one figure or one for each; None is no limit.

    Raises
    ------
    InputError
        If a figure is negative or not a number, the budget is zero, years are missing, or a pit
        is unknown.

    Examples
    --------
    >>> make_limits(3, budget_minor=5e6).money_minor
    array([5000000., 5000000., 5000000.])
    """
    money = _by_year("budget_minor", budget_minor, n_years)
    if np.any(money == 0):
        raise InputError("budget_minor is 0 in a year; expected more than 0, or None for no limit")
    hours = _by_year("grader_h", grader_h, n_years)
    if isinstance(gravel_m3, Mapping):
        unknown = set(gravel_m3) - set(pit_names)
        if unknown:
            raise InputError(f"gravel_m3 names pits {sorted(unknown)}; expected {list(pit_names)}")
        gravel = np.array(
            [_by_year(f"gravel_m3 of {name}", gravel_m3.get(name), n_years) for name in pit_names]
        )
    elif gravel_m3 is None:
        gravel = np.full((len(pit_names), n_years), np.inf)
    elif len(pit_names) == 1:
        gravel = _by_year("gravel_m3", gravel_m3, n_years)[None]
    else:
        raise InputError(f"gravel_m3 is one figure for {len(pit_names)} pits; give one for each")
    return Limits(money, hours, gravel)


def _by_year(name: str, given: float | Sequence[float] | None, n_years: int) -> Floats:
    if given is None:
        return np.full(n_years, np.inf)
    values = np.asarray(given, dtype=float)
    if values.ndim == 0:
        values = np.full(n_years, float(values))
    if values.shape != (n_years,):
        raise InputError(f"{name} has {values.shape[0]} years; expected {n_years}")
    if np.any(np.isnan(values)) or np.any(values < 0):
        bad = values[np.isnan(values) | (values < 0)][0]
        raise InputError(f"{name} is {bad:g} in a year; expected 0 or more")
    return values
