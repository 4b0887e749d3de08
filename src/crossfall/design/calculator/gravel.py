"""Gravel held against a specification, blended at least cost, screened, and foretold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import linprog

from crossfall.errors import InfeasibleError, InputError
from crossfall.formulas.given import Floats, at_least, positive, within
from crossfall.formulas.gradation import (
    Grading,
    blend_passing,
    blend_plasticity,
    check_grading,
    grading_coefficient,
    oversize_index,
    passing,
    scalped,
    shrinkage_product,
)
from crossfall.model.policy.specifications import MaterialPractice, Specification

Plasticity = float | Literal["NP"] | None
"""Plasticity index; ``NP`` is tested and non-plastic, None is not tested."""


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One figure against its limits."""

    what: str
    value: float | None
    low: float | None
    high: float | None
    is_met: bool | None
    """None where the figure is unknown."""


@dataclass(frozen=True, slots=True)
class GravelCheck:
    """A gravel held against a specification."""

    specification: str
    rows: tuple[CheckRow, ...]
    warnings: tuple[str, ...]

    @property
    def is_met(self) -> bool:
        """Whether every known figure is within its limits and none is unknown."""
        return all(row.is_met is True for row in self.rows)

    def summary(self) -> str:
        """Lines to read out."""
        failed = [
            f"{row.what} {row.value:g} (wants {_limits(row)})"
            for row in self.rows
            if row.is_met is False and row.value is not None
        ]
        unknown = [row.what for row in self.rows if row.is_met is None]
        parts = [f"{self.specification}: " + ("meets it" if self.is_met else "does not meet it")]
        if failed:
            parts.append("out: " + ", ".join(failed))
        if unknown:
            parts.append("not tested: " + ", ".join(unknown))
        return "; ".join((*parts, *self.warnings))


def gravel_check(
    grading: Grading,
    specification: Specification,
    *,
    plasticity: Plasticity = None,
    liquid_limit: float | None = None,
) -> GravelCheck:
    """Hold a gravel against a specification, sieve by sieve.

    Raises
    ------
    InputError
        If the gradation is not possible, or a sieve that the specification asks for is missing.

    Examples
    --------
    >>> from crossfall.model.policy.specifications import default_specifications
    >>> spec = default_specifications()[0]
    >>> pile = {25.0: 100, 19.0: 98, 12.5: 80, 4.75: 60, 2.36: 30, 0.075: 10}
    >>> gravel_check(pile, spec).summary()
    'Iowa 11: does not meet it; out: 4.75 mm 60 (wants 30 to 55)'
    """
    ordered = check_grading(grading)
    index = _index(plasticity)
    # Said wrongly is an error also where this specification does not ask for it
    if liquid_limit is not None:
        within("liquid_limit", liquid_limit, 0.0, 100.0)
    rows = [
        _row(f"{band.sieve_mm:g} mm", passing(ordered, band.sieve_mm), band.low_pct, band.high_pct)
        for band in specification.bands
    ]
    low, high = specification.plasticity_low, specification.plasticity_high
    if low is not None or high is not None:
        rows.append(_row("plasticity index", index, low, high))
    if specification.liquid_limit_high is not None:
        rows.append(_row("liquid limit", liquid_limit, None, specification.liquid_limit_high))
    if specification.fines_to_425_high is not None:
        share = passing(ordered, 0.075) / max(passing(ordered, 0.425), 1e-9)
        rows.append(
            _row("0.075 over 0.425 mm", round(share, 4), None, specification.fines_to_425_high)
        )
    warnings = (
        ()
        if specification.is_verified
        else ("this specification was not verified in the issuing document",)
    )
    return GravelCheck(specification.name, tuple(rows), warnings)


@dataclass(frozen=True, slots=True)
class Forecast:
    """What a gravel's numbers foretell of the road."""

    coefficient: float
    product: float
    oversize_pct: float | None
    words: tuple[str, ...]

    def summary(self) -> str:
        """One line to read out."""
        return f"Gc {self.coefficient:.1f}, Sp {self.product:.0f}: " + ", ".join(self.words)


def foretell(
    *,
    passing_26_5: float,
    passing_4_75: float,
    passing_2: float,
    passing_425: float,
    linear_shrinkage_pct: float,
    passing_37_5: float | None = None,
    is_near_homes: bool = False,
    practice: MaterialPractice | None = None,
) -> Forecast:
    """Zone of grading coefficient and shrinkage product, and what it foretells.

    Where the 37.5 mm sieve was used, the gradation is first taken as 100 % there (recalled).
    Formulas published (TRH 20, 1990, and ERA, 2002); the limits are recalled.

    Raises
    ------
    InputError
        If a finer sieve passes more than a coarser one, or a figure is out of range.

    Examples
    --------
    >>> foretell(passing_26_5=96, passing_2=42, passing_4_75=56, linear_shrinkage_pct=5,
    ...          passing_425=35).summary()
    'Gc 30.2, Sp 175: good'
    """
    practice = practice or MaterialPractice()
    over = None if passing_37_5 is None else oversize_index(passing_37_5)
    whole = 100.0 if passing_37_5 is None else positive("passing_37_5", passing_37_5)
    if passing_26_5 > whole:
        raise InputError(
            f"passing is {whole:g} and {passing_26_5:g} % at 37.5 and 26.5 mm; a finer sieve"
            " cannot pass more"
        )
    share = 100.0 / whole
    coefficient = grading_coefficient(passing_26_5 * share, passing_2 * share, passing_4_75 * share)
    product = shrinkage_product(linear_shrinkage_pct, passing_425 * share)
    wet = practice.shrinkage_high_near_homes if is_near_homes else practice.shrinkage_high
    words = []
    if product < practice.shrinkage_low:
        words.append("ravels and corrugates")
    if product > wet:
        words.append("dusty" if product <= practice.shrinkage_high else "slippery when wet")
    if coefficient < practice.coefficient_low:
        words.append("erodes")
    if coefficient > practice.coefficient_high:
        words.append("ravels")
    if over is not None and over > practice.oversize_high_pct:
        words.append("rough from oversize")
    return Forecast(coefficient, product, over, tuple(words) or ("good",))


@dataclass(frozen=True, slots=True)
class Pile:
    """A stockpile that a mix may draw on."""

    name: str
    grading: Grading
    price: float
    """Money for a tonne."""
    currency: str = "USD"
    plasticity: Plasticity = None
    available_share: float = 1.0
    """Largest share of the mix that the pile can give, 0 to 1."""


@dataclass(frozen=True, slots=True)
class Blend:
    """The cheapest mix that meets a specification."""

    shares: tuple[tuple[str, float], ...]
    price: float
    """Money for a tonne of the mix."""
    currency: str
    passing_pct: dict[float, float]
    plasticity: float | None
    """An estimate; the laboratory confirms."""
    binding: tuple[str, ...]
    """Limits that the mix stands right at."""

    def summary(self) -> str:
        """One line to read out."""
        mix = ", ".join(
            f"{100 * share:.1f} % {name}" for name, share in self.shares if share > 1e-6
        )
        at = f"; held by {', '.join(self.binding)}" if self.binding else ""
        return f"{mix} at {self.currency} {self.price:.2f} a tonne{at}"


def blend_lp(piles: Sequence[Pile], specification: Specification) -> Blend:
    """Mix piles at least cost so that every sieve, and the plasticity if known, is met.

    A linear programme, solved by HiGHS.

    Raises
    ------
    InfeasibleError
        If no mix meets the specification; the message names the sieves that cannot be met
        together and by how much they miss.
    InputError
        If a pile lacks a sieve that the specification asks for, or prices differ in currency.

    Examples
    --------
    >>> from crossfall.model.policy.specifications import SieveBand, Specification
    >>> spec = Specification("half", (SieveBand(19.0, 100, 100), SieveBand(4.75, 40, 60)), "ours")
    >>> coarse = Pile("rock", {19.0: 100, 4.75: 10}, 12.0)
    >>> fine = Pile("sand", {19.0: 100, 4.75: 90}, 5.0)
    >>> blend_lp([coarse, fine], spec).summary()
    '37.5 % rock, 62.5 % sand at USD 7.62 a tonne; held by 4.75 mm at most 60'
    """
    _check_piles(piles)
    names, rows, limits = _rows(piles, specification)
    price = np.array([pile.price for pile in piles])
    result = linprog(
        price,
        A_ub=rows,
        b_ub=limits,
        A_eq=np.ones((1, len(piles))),
        b_eq=[1.0],
        bounds=[(0.0, pile.available_share) for pile in piles],
        method="highs",
    )
    if result.status != 0:
        raise InfeasibleError(_why(piles, specification, names, rows, limits))
    share = np.clip(result.x, 0.0, 1.0)
    slack = limits - rows @ share
    mix = blend_passing((share / share.sum()).tolist(), [pile.grading for pile in piles])
    return Blend(
        shares=tuple((pile.name, float(f)) for pile, f in zip(piles, share, strict=True)),
        price=float(price @ share),
        currency=piles[0].currency,
        passing_pct=mix,
        plasticity=_mixed_plasticity(piles, share.tolist()),
        binding=tuple(
            # A limit that all piles meet in the same way holds nothing back
            name
            for name, gap, row in zip(names, slack, rows, strict=True)
            if abs(gap) < 1e-6 and np.ptp(row) > 0
        ),
    )


@dataclass(frozen=True, slots=True)
class Scalp:
    """What a screen, or a scarifying blade, leaves of a gravel."""

    passing_pct: dict[float, float]
    yield_share: float
    feed_per_product: float
    """Tonnes of feed for one tonne of product."""
    cost_per_t: float
    oversize_note: str = "oversize goes only where it is approved, never into a ridge"

    def summary(self) -> str:
        """One line to read out."""
        return (
            f"{100 * self.yield_share:.0f} % is left, {self.feed_per_product:.2f} t of feed for a"
            f" tonne, {self.cost_per_t:.2f} a tonne; {self.oversize_note}"
        )


def scalp(
    grading: Grading,
    *,
    top_mm: float,
    efficiency: float = 1.0,
    feed_price: float = 0.0,
    screening_price: float = 0.0,
) -> Scalp:
    """Screen a pit-run gravel, or the top of a road, at one opening.

    Parameters
    ----------
    top_mm : float
        Opening of the screen, or gap between the teeth. [mm]
    feed_price, screening_price : float
        Money for a tonne of feed: at the pit, and to screen it.

    Examples
    --------
    >>> pit_run = {75.0: 100, 19.0: 60, 4.75: 30}
    >>> scalp(pit_run, top_mm=19.0, feed_price=3, screening_price=1.2).summary()
    '60 % is left, 1.67 t of feed for a tonne, 7.00 a tonne; oversize goes only where it is \
approved, never into a ridge'
    """
    at_least("feed_price", feed_price, 0.0)
    at_least("screening_price", screening_price, 0.0)
    finer, share = scalped(grading, top_mm, efficiency)
    return Scalp(finer, share, 1 / share, (feed_price + screening_price) / share)


def _index(plasticity: Plasticity) -> float | None:
    if plasticity == "NP":
        return 0.0
    if plasticity is None:
        return None
    if isinstance(plasticity, str):
        raise InputError(f"plasticity is {plasticity!r}; expected a figure, 'NP' or nothing")
    return within("plasticity", float(plasticity), 0.0, 60.0)


def _row(what: str, value: float | None, low: float | None, high: float | None) -> CheckRow:
    if value is None:
        return CheckRow(what, None, low, high, None)
    is_met = (low is None or value >= low) and (high is None or value <= high)
    return CheckRow(what, value, low, high, is_met)


def _limits(row: CheckRow) -> str:
    if row.low is None:
        return f"at most {row.high:g}"
    if row.high is None:
        return f"at least {row.low:g}"
    return f"{row.low:g} to {row.high:g}"


def _check_piles(piles: Sequence[Pile]) -> None:
    if not piles:
        raise InputError("piles is empty; expected at least one to blend")
    if len({pile.name for pile in piles}) < len(piles):
        raise InputError("two piles have the same name; names must be unique")
    for pile in piles:
        at_least(f"price of {pile.name}", pile.price, 0.0)
        within(f"available_share of {pile.name}", pile.available_share, 0.0, 1.0)
        if pile.currency != piles[0].currency:
            raise InputError(
                f"{pile.name} is priced in {pile.currency} and {piles[0].name} in"
                f" {piles[0].currency}; give all prices in one currency"
            )


def _rows(piles: Sequence[Pile], specification: Specification) -> tuple[list[str], Floats, Floats]:
    """Limits as rows of ``A f <= b``, with a name for each."""
    gradings = [check_grading(pile.grading, name=pile.name) for pile in piles]
    names: list[str] = []
    rows: list[Floats] = []
    limits: list[float] = []
    for band in specification.bands:
        row = np.array(
            [passing(g, band.sieve_mm, name=p.name) for g, p in zip(gradings, piles, strict=True)]
        )
        names.extend(
            (
                f"{band.sieve_mm:g} mm at least {band.low_pct:g}",
                f"{band.sieve_mm:g} mm at most {band.high_pct:g}",
            )
        )
        rows.extend((-row, row))
        limits.extend((-band.low_pct, band.high_pct))
    asks = (
        (specification.plasticity_low, -1.0, "least"),
        (specification.plasticity_high, 1.0, "most"),
    )
    known = [each for each in (_index(pile.plasticity) for pile in piles) if each is not None]
    if len(known) == len(piles) and any(limit is not None for limit, _, _ in asks):
        pairs = zip(gradings, piles, strict=True)
        fines = np.array([passing(g, 0.425, name=p.name) for g, p in pairs])
        for limit, sign, word in asks:
            if limit is not None:
                # Weighted by fines; linear in the shares once the fines are multiplied out
                rows.append(sign * fines * (np.array(known) - limit))
                limits.append(0.0)
                names.append(f"plasticity at {word} {limit:g}")
    return names, np.array(rows), np.array(limits)


def _why(
    piles: Sequence[Pile],
    specification: Specification,
    names: Sequence[str],
    rows: Floats,
    limits: Floats,
) -> str:
    """The limits that even the best mix misses, found by letting each give a little."""
    n, m = len(piles), len(names)
    cost = np.concatenate([np.zeros(n), np.ones(m)])
    bounds = [(0.0, pile.available_share) for pile in piles] + [(0.0, None)] * m
    sums = np.concatenate([np.ones(n), np.zeros(m)])[None, :]
    result = linprog(
        cost,
        A_ub=np.hstack([rows, -np.eye(m)]),
        b_ub=limits,
        A_eq=sums,
        b_eq=[1.0],
        bounds=bounds,
        method="highs",
    )
    if result.status != 0:
        return f"the piles together give less than a whole mix for {specification.name}"
    missed = [
        f"{name} (misses by {gap:.1f})"
        for name, gap in zip(names, result.x[n:], strict=True)
        if gap > 1e-6
    ]
    return f"no mix of these piles meets {specification.name}: {', '.join(missed)}"


def _mixed_plasticity(piles: Sequence[Pile], shares: Sequence[float]) -> float | None:
    index = [_index(pile.plasticity) for pile in piles]
    known = [each for each in index if each is not None]
    if len(known) < len(piles) or not all(0.425 in pile.grading for pile in piles):
        return None
    total = sum(shares)
    return blend_plasticity(
        [share / total for share in shares], [pile.grading[0.425] for pile in piles], known
    )
