"""Segments and strategies as the simulation sees them: plain arrays, money in minor units.

Everything that does not change over the years is worked out once for each segment (see
:mod:`crossfall.programme.facts`): how fast it roughens and thins, with the part that grows with
traffic apart, and what a blading, a millimetre of gravel or a year of care takes in money, gravel
and hours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.model import Strategy
from crossfall.model.policy.programme import StrategyPolicy

Singles = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int32]

COLUMNS = (
    "top_iri",
    "bottom_iri",
    "blading_share",
    "rate_fixed",
    "rate_traffic",
    "loss_fixed_mm",
    "loss_traffic_mm",
    "user_minor_iri",
    "bare_minor",
    "blade_minor",
    "lift_minor_mm",
    "dust_minor",
    "blade_h",
    "lift_h_mm",
    "lift_m3_mm",
    "start_mm",
    "start_iri",
    "service_iri",
    "drain_minor",
    "drain_short",
)
"""Rows of :attr:`SegmentTable.values`; rates are positive, per day."""

MOST_YEARS = 30
"""Regravelling years are kept as bits of one 32-bit word, and priced in two halves."""


@dataclass(frozen=True, eq=False)
class SegmentTable:
    """Arrays of many segments."""

    ids: tuple[str, ...]
    """May be empty for made networks."""
    values: Singles
    """(column, segment), C-contiguous, in the order of :data:`COLUMNS`."""
    pit: Ints
    """Index of the pit that serves each segment (segment,)."""
    pit_names: tuple[str, ...]

    @property
    def n(self) -> int:
        return int(self.values.shape[1])

    def column(self, name: str) -> Singles:
        return self.values[COLUMNS.index(name)]

    def rows(self, chosen: npt.NDArray[np.int64]) -> SegmentTable:
        """The table of some of the segments."""
        return SegmentTable(
            tuple(self.ids[row] for row in chosen.tolist()) if self.ids else (),
            np.ascontiguousarray(self.values[:, chosen]),
            self.pit[chosen],
            self.pit_names,
        )


@dataclass(frozen=True, eq=False)
class StrategySet:
    """All combinations of care, blading and regravelling, in that order of index.

    A care is dust control or not, and ditches kept up or not.
    """

    bladings: Singles
    """(blading,) a year, rising; the first is the least."""
    by_season: Singles
    """(blading, season)."""
    trigger_mm: Singles
    """(gravel,) regravel below; 0 never."""
    lift_mm: Singles
    """(gravel,) placed then."""
    dust: Singles
    """(care,) 1 with dust control, 0 without."""
    drain: Singles
    """(care,) 1 with ditches kept up, 0 without."""

    @property
    def n_care(self) -> int:
        return int(self.dust.shape[0])

    @property
    def n(self) -> int:
        return int(self.bladings.shape[0] * self.trigger_mm.shape[0] * self.n_care)

    def parts(self, strategy: npt.NDArray[np.integer]) -> tuple[Ints, Ints, Ints]:
        """Indices (care, blading, gravel) of strategies."""
        n_gravel, n_blading = self.trigger_mm.shape[0], self.bladings.shape[0]
        gravel = strategy % n_gravel
        blading = strategy // n_gravel % n_blading
        return (
            (strategy // (n_gravel * n_blading)).astype(np.int32),
            blading.astype(np.int32),
            gravel.astype(np.int32),
        )

    def nouns(self) -> tuple[Strategy, ...]:
        """The strategies as they are shown."""
        made = []
        for index in range(self.n):
            care, blading, gravel = (int(part) for part in self.parts(np.array(index)))
            by_season = tuple(self.by_season[blading].tolist())
            trigger, lift = float(self.trigger_mm[gravel]), float(self.lift_mm[gravel])
            has_dust, has_drainage = bool(self.dust[care] > 0), bool(self.drain[care] > 0)
            words = ["blade " + " + ".join(f"{n:g}" for n in by_season) + " a year"]
            words.append(
                f"regravel {lift:g} mm below {trigger:g} mm" if trigger > 0 else "no regravelling"
            )
            words += ["dust control"] * has_dust + ["ditches kept up"] * has_drainage
            made.append(
                Strategy(
                    id="b"
                    + "+".join(f"{n:g}" for n in by_season)
                    + f"-g{trigger:g}+{lift:g}"
                    + "-d" * has_dust
                    + "-w" * has_drainage,
                    name=", ".join(words),
                    bladings_per_year=float(self.bladings[blading]),
                    regravel_below_mm=trigger if trigger > 0 else None,
                    lift_mm=lift,
                    has_dust_control=has_dust,
                    bladings_by_season=by_season,
                    has_drainage_care=has_drainage,
                )
            )
        return tuple(made)


def strategy_set(policy: StrategyPolicy) -> StrategySet:
    """The combinations a policy allows; the first is the least that can be done.

    Raises
    ------
    InputError
        If lists differ in length, a figure is negative, or the least is not first.

    Examples
    --------
    >>> strategies = strategy_set(StrategyPolicy())
    >>> strategies.n, strategies.nouns()[0].name
    (120, 'blade 1 + 0 a year, no regravelling')
    """
    if len({len(each) for each in policy.bladings_by_season}) != 1:
        raise InputError("bladings_by_season needs at least one list, all with as many seasons")
    by_season = np.array(policy.bladings_by_season, dtype=np.float32)
    bladings = by_season.sum(axis=1)
    trigger = np.array(policy.regravel_below_mm, dtype=np.float32)
    lift = np.array(policy.lift_mm, dtype=np.float32)
    cares = [(dust, drain) for drain in policy.with_drainage for dust in policy.with_dust_control]
    if trigger.shape != lift.shape:
        raise InputError(
            f"regravel_below_mm has {trigger.shape[0]} figures and lift_mm {lift.shape[0]};"
            " expected one lift for each trigger"
        )
    if by_season.size == 0 or np.any(by_season < 0) or np.any((by_season > 0) & (by_season < 1)):
        raise InputError("bladings_by_season must be 0, or 1 and more, in each season")
    if bladings[0] < 1 or np.any(np.diff(bladings) < 0):
        raise InputError(
            "bladings_by_season must rise, and begin with the least, at least one a year"
        )
    if trigger.size == 0 or trigger[0] != 0 or np.any(trigger < 0):
        raise InputError("regravel_below_mm must begin with 0 (never) and not be negative")
    if np.any((trigger > 0) & (lift <= 0)):
        raise InputError("lift_mm is 0 where a trigger is set; expected what is placed then")
    if not cares or any(cares[0]):
        raise InputError("with_dust_control and with_drainage must begin with False")
    dust, drain = np.array(cares, dtype=np.float32).T
    return StrategySet(
        bladings,
        by_season,
        trigger,
        lift,
        np.ascontiguousarray(dust),
        np.ascontiguousarray(drain),
    )
