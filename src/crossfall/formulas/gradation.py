"""Gravel by the sieve: what passes, what it predicts, and what a mix of piles will be.

A gradation is a list of sieves, the coarsest first, with the percent by mass that passes
each. Everything here is percent by mass.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from crossfall.errors import InputError
from crossfall.formulas.given import Floats, at_least, percent, positive, within

Grading = Mapping[float, float]
"""Sieve opening [mm] to percent passing [%]."""


def check_grading(grading: Grading, *, name: str = "grading") -> Grading:
    """A gradation in order, coarsest sieve first.

    Raises
    ------
    InputError
        If there are fewer than two sieves, a percentage is outside 0 to 100, or a finer sieve
        lets more pass than a coarser one.

    Examples
    --------
    >>> check_grading({4.75: 55.0, 19.0: 60.0, 0.075: 70.0})
    Traceback (most recent call last):
    ...
    crossfall.errors.InputError: grading passes 70 % at 0.075 mm but only 55 % at 4.75 mm; a \
finer sieve cannot pass more
    """
    if len(grading) < 2:
        raise InputError(f"{name} has {len(grading)} sieve(s); expected at least two")
    ordered = dict(sorted(grading.items(), reverse=True))
    last_mm, last = np.inf, 100.0
    for sieve_mm, passing in ordered.items():
        positive(f"{name} sieve_mm", float(sieve_mm))
        within(f"{name} passing at {sieve_mm:g} mm", float(passing), 0.0, 100.0)
        if passing > last + 1e-9:
            raise InputError(
                f"{name} passes {passing:g} % at {sieve_mm:g} mm but only {last:g} % at"
                f" {last_mm:g} mm; a finer sieve cannot pass more"
            )
        last_mm, last = sieve_mm, passing
    if max(ordered.values()) <= 1.0:
        raise InputError(f"{name} passes at most 1 %; percentages are wanted, not shares")
    return ordered


def is_same_sieve(one_mm: float, other_mm: float) -> bool:
    """Whether two openings name the same sieve: to a half of a percent.

    Examples
    --------
    >>> is_same_sieve(4.75, 4.76), is_same_sieve(25.0, 26.5)
    (True, False)
    """
    return abs(one_mm - other_mm) <= 0.005 * other_mm


def passing(grading: Grading, sieve_mm: float, *, name: str = "grading") -> float:
    """Percent passing one sieve, which must have been measured. [%]

    Raises
    ------
    InputError
        If the sieve is missing; it is never guessed from its neighbours.

    Examples
    --------
    >>> passing({19.0: 100.0, 4.75: 55.0}, 4.75)
    55.0
    """
    for each_mm, value in grading.items():
        if is_same_sieve(each_mm, sieve_mm):
            return float(value)
    have = ", ".join(f"{each:g}" for each in sorted(grading, reverse=True))
    raise InputError(f"{name} has no {sieve_mm:g} mm sieve; it has {have} mm")


def passing_between(grading: Grading, sieve_mm: float) -> float:
    """Percent passing by straight lines on a log axis, for drawing and scalping only. [%]

    Examples
    --------
    >>> round(passing_between({10.0: 100.0, 1.0: 50.0}, 10**0.5), 6)
    75.0
    """
    ordered = check_grading(grading)
    sizes = np.log(np.array(list(ordered), dtype=np.float64)[::-1])
    values = np.array(list(ordered.values()), dtype=np.float64)[::-1]
    return float(np.interp(np.log(positive("sieve_mm", sieve_mm)), sizes, values))


def blend_passing(fractions: Sequence[float], gradings: Sequence[Grading]) -> dict[float, float]:
    """Gradation of a mix: ``P = Σ f P`` on every sieve that all piles share. [%]

    Source: US Army engineer text EN5459, p. 67 (published).

    Raises
    ------
    InputError
        If fractions do not sum to 1, are negative, or the piles share no sieve.

    Examples
    --------
    >>> blend_passing([0.5, 0.5], [{19.0: 100.0, 4.75: 40.0}, {19.0: 90.0, 4.75: 60.0}])
    {19.0: 95.0, 4.75: 50.0}
    """
    _check_fractions(fractions, len(gradings))
    ordered = [check_grading(g, name=f"pile {n}") for n, g in enumerate(gradings, start=1)]
    shared = [sieve for sieve in ordered[0] if all(sieve in other for other in ordered[1:])]
    if not shared:
        raise InputError("the piles share no sieve; test them on the same ones")
    return {
        sieve: float(sum(f * g[sieve] for f, g in zip(fractions, ordered, strict=True)))
        for sieve in shared
    }


def blend_plasticity(
    fractions: Sequence[float], passing_425_pct: Sequence[float], plasticity: Sequence[float]
) -> float:
    """Plasticity index of a mix, weighted by what passes 0.425 mm (recalled; an estimate).

    ``Σ f P425 PI / Σ f P425``. Non-plastic counts as 0. The laboratory confirms.

    Examples
    --------
    >>> round(blend_plasticity([0.7, 0.3], [25.0, 60.0], [4.0, 16.0]), 2)
    10.08
    """
    _check_fractions(fractions, len(passing_425_pct))
    if len(plasticity) != len(passing_425_pct):
        raise InputError(
            f"plasticity has {len(plasticity)} values; expected {len(passing_425_pct)}; a pile that"
            " was not tested is not non-plastic"
        )
    fines: Floats = np.array(
        [
            f * within("passing_425_pct", float(p), 0.0, 100.0)
            for f, p in zip(fractions, passing_425_pct, strict=True)
        ]
    )
    index: Floats = np.array([at_least("plasticity", float(each), 0.0) for each in plasticity])
    return float((fines * index).sum() / positive("fines of the mix", float(fines.sum())))


def grading_coefficient(passing_26_5: float, passing_2: float, passing_4_75: float) -> float:
    """``Gc = (P26.5 - P2.0) P4.75 / 100``.

    Low gravel erodes, high ravels. Source: TRH 20 (1990), wearing course materials (published).

    Examples
    --------
    >>> round(grading_coefficient(96.0, 42.0, 56.0), 2)
    30.24
    """
    for name, value in (
        ("passing_26_5", passing_26_5),
        ("passing_4_75", passing_4_75),
        ("passing_2", passing_2),
    ):
        within(name, value, 0.0, 100.0)
    if not passing_26_5 >= passing_4_75 >= passing_2:
        raise InputError(
            f"passing is {passing_26_5:g}, {passing_4_75:g}, {passing_2:g} % at 26.5, 4.75 and"
            " 2 mm; a finer sieve cannot pass more"
        )
    return (passing_26_5 - passing_2) * passing_4_75 / 100


def shrinkage_product(linear_shrinkage_pct: float, passing_425_pct: float) -> float:
    """``Sp = LS P0.425``. Low ravels and corrugates, high is slippery when wet.

    Source: Ethiopian Roads Authority manual (2002), after TRH 20 (published).

    Examples
    --------
    >>> shrinkage_product(5.0, 35.0)
    175.0
    """
    within("linear_shrinkage_pct", linear_shrinkage_pct, 0.0, 30.0)
    if 0 < passing_425_pct <= 1:
        percent("passing_425_pct", passing_425_pct, 1.0001, 100.0, called="passing")
    within("passing_425_pct", passing_425_pct, 0.0, 100.0)
    return linear_shrinkage_pct * passing_425_pct


def oversize_index(passing_37_5: float) -> float:
    """Share that stays on the 37.5 mm sieve. [%]"""
    return 100.0 - within("passing_37_5", passing_37_5, 0.0, 100.0)


def normalised(grading: Grading, top_mm: float = 37.5) -> dict[float, float]:
    """The gradation of what passes ``top_mm``, scaled so that this sieve passes 100 %.

    Examples
    --------
    >>> normalised({53.0: 100.0, 37.5: 80.0, 4.75: 40.0})
    {37.5: 100.0, 4.75: 50.0}
    """
    ordered = check_grading(grading)
    whole = positive(f"passing at {top_mm:g} mm", passing(ordered, top_mm))
    return {
        sieve: 100.0 * value / whole for sieve, value in ordered.items() if sieve <= top_mm * 1.005
    }


def scalped(
    grading: Grading, top_mm: float, efficiency: float = 1.0
) -> tuple[dict[float, float], float]:
    """Screening off everything above ``top_mm``: the new gradation, and the share that is left.

    Parameters
    ----------
    top_mm : float
        Opening of the screen; need not be one of the sieves. [mm]
    efficiency : float, above 0, at most 1
        Share of what should pass that does.

    Returns
    -------
    (dict, float)
        Percent passing below and at the screen, and yield as a share of the feed.

    Examples
    --------
    >>> finer, yielded = scalped({75.0: 100.0, 19.0: 60.0, 4.75: 30.0}, 19.0, 0.9)
    >>> finer, round(yielded, 2)
    ({19.0: 100.0, 4.75: 50.0}, 0.54)
    """
    ordered = check_grading(grading)
    within("efficiency", efficiency, 1e-6, 1.0)
    whole = positive(f"passing at {top_mm:g} mm", passing_between(ordered, top_mm))
    finer = {sieve: value for sieve, value in ordered.items() if sieve < top_mm * 0.995}
    kept = {top_mm: 100.0, **{sieve: 100.0 * value / whole for sieve, value in finer.items()}}
    return kept, whole / 100 * efficiency


def _check_fractions(fractions: Sequence[float], n: int) -> None:
    if len(fractions) != n or n == 0:
        raise InputError(f"fractions has {len(fractions)} values; expected {n}, one for each pile")
    for each in fractions:
        within("fractions", float(each), 0.0, 1.0)
    total = sum(fractions)
    if abs(total - 1) > 1e-6:
        hint = "; percentages?" if abs(total - 100) < 1 else ""
        raise InputError(f"fractions sum to {total:g}; expected 1{hint}")
