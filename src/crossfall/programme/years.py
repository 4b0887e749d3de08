"""The years ahead: which segments are kept how, what it takes, and how sure the answer is.

Segments under all strategies are simulated, one strategy each is chosen within the yearly limits,
the choice is certified by separate code, and what it means is laid out by year.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from crossfall.errors import InfeasibleError, InputError
from crossfall.model import (
    Condition,
    Network,
    Policy,
    ProgrammeItem,
    Progress,
    Segment,
    Strategy,
    quiet,
)
from crossfall.programme.certify import Certificate, certify
from crossfall.programme.choose import Choice, choose
from crossfall.programme.facts import Scenario, SegmentFacts, doubts, facts_of, table_of
from crossfall.programme.kernel import simulate
from crossfall.programme.limits import Limits, make_limits
from crossfall.programme.outcomes import Outcomes
from crossfall.programme.pits import GravelPlaced
from crossfall.programme.prune import drop_dominated
from crossfall.programme.simulate import Course, course
from crossfall.programme.table import SegmentTable, StrategySet, strategy_set
from crossfall.programme.trace import Trace, trace

Floats = npt.NDArray[np.float64]

_EXPECTED = Scenario()


@dataclass(frozen=True, eq=False)
class Prepared:
    """An agency's segments under all strategies, before any limit."""

    segments: tuple[Segment, ...]
    policy: Policy
    table: SegmentTable
    strategies: StrategySet
    years: Course
    outcomes: Outcomes
    facts: SegmentFacts
    doubts: tuple[str, ...] = ()
    """What of the input is hard to believe."""


@dataclass(frozen=True, eq=False)
class Programme:
    """A programme of years with what it rests on. Money in minor units, not discounted by year."""

    first_year: int
    n_years: int
    currency: str
    strategies: tuple[Strategy, ...]
    items: tuple[ProgrammeItem, ...]
    """One for each maintained segment, in the network's order."""
    limits: Limits
    use_minor: Floats
    """(year,) agency money."""
    use_h: Floats
    """(year,) grader hours."""
    use_m3: Floats
    """(pit, year) compacted gravel."""
    pit_names: tuple[str, ...]
    mean_iri: Floats
    """(year,) mean roughness, weighted by length [m/km]."""
    mean_gravel_mm: Floats
    """(year,) mean thickness at the year's end, weighted by length [mm]."""
    price_minor: Floats
    """(year,) present value that one more minor unit of that year's money would save."""
    upper: float
    """Cost of this programme, present value, users' included."""
    lower: float
    """No programme within the limits costs less."""
    least_done: float
    """Cost of doing only the least."""
    certificate: Certificate
    policy_version: str
    choice: Choice
    course_of: Trace
    """Each segment's years."""

    @property
    def gap_pct(self) -> float:
        """How much cheaper any programme could be at most [%]."""
        return self.choice.gap_pct

    @property
    def avoidable_gap_pct(self) -> float:
        """The same, of the cost that can be avoided at all [%]."""
        return self.choice.avoidable_gap_pct

    def summary(self) -> str:
        """The programme in a paragraph for a board."""
        n_gravel = sum(1 for item in self.items if item.regravel_years)
        first, last = float(self.mean_gravel_mm[0]), float(self.mean_gravel_mm[-1])
        return (
            f"{len(self.items)} segments over {self.n_years} years from {self.first_year}:"
            f" {self.use_minor.mean() / 100:,.0f} {self.currency} a year on average"
            f" (from {self.use_minor.min() / 100:,.0f} to {self.use_minor.max() / 100:,.0f}),"
            f" {self.use_m3.sum() / self.n_years:,.0f} m³ of compacted gravel a year,"
            f" {n_gravel} segments regravelled. Mean gravel goes from {first:.0f} to {last:.0f} mm,"
            f" mean roughness from {self.mean_iri[0]:.1f} to {self.mean_iri[-1]:.1f} m/km."
            f" No programme within these limits could be better by more than"
            f" {self.gap_pct:.2f} % of the whole cost ({self.avoidable_gap_pct:.2f} % of what"
            " can be avoided). Roughness and gravel loss rest on recalled coefficients until"
            " calibrated."
        )


def plan_years(
    network: Network,
    conditions: Sequence[Condition],
    policy: Policy,
    *,
    n_years: int,
    budget_minor: float | Sequence[float] | None,
    first_year: int = 1,
    grader_h: float | Sequence[float] | None = None,
    gravel_m3: float | Sequence[float] | Mapping[str, float | Sequence[float]] | None = None,
    gravel: Mapping[str, GravelPlaced] | None = None,
    scenario: Scenario = _EXPECTED,
    prepared: Prepared | None = None,
    progress: Progress = quiet,
) -> Programme:
    """Choose one strategy for each maintained segment within yearly limits.

    Parameters
    ----------
    budget_minor, grader_h, gravel_m3
        Upper limit of agency money [minor units], grader hours [h] and compacted gravel [m³] a
        year: one figure, one for each year, or None for no limit; gravel also by pit.
    gravel
        Pit and price of each segment's gravel, from :func:`~crossfall.programme.gravel_placed`;
        without it the policy's price holds, from no pit in particular.
    prepared
        What :func:`prepare` made of the same input, to ask several questions of it.

    Raises
    ------
    InputError
        If a figure is impossible; the message names it.
    InfeasibleError
        If nothing keeps the limits; the message says which is missed and by how much.
    """
    made = prepared or prepare(
        network,
        conditions,
        policy,
        n_years=n_years,
        gravel=gravel,
        scenario=scenario,
    )
    limits = make_limits(
        n_years,
        budget_minor=budget_minor,
        grader_h=grader_h,
        gravel_m3=gravel_m3,
        pit_names=made.table.pit_names,
    )
    progress(0.3, f"{made.table.n} segments are simulated under {made.strategies.n} strategies")
    return plan_prepared(
        made,
        limits,
        first_year=first_year,
        progress=lambda fraction, message: progress(0.3 + 0.7 * fraction, message),
    )


def prepare(
    network: Network,
    conditions: Sequence[Condition],
    policy: Policy,
    *,
    n_years: int,
    gravel: Mapping[str, GravelPlaced] | None = None,
    scenario: Scenario = _EXPECTED,
) -> Prepared:
    """Simulate all maintained segments under all strategies, ready for many questions."""
    segments, policy = network.maintained, scenario.policy(policy)
    check_currency(policy)
    facts = facts_of(segments, conditions, policy, gravel=gravel)
    table = table_of(facts, policy, traffic_factor=scenario.traffic_factor)
    strategies = strategy_set(policy.programme.strategies)
    years = course(policy.programme, n_years)
    outcomes = simulate(table, strategies, years)
    drop_dominated(outcomes, strategies)
    return Prepared(
        segments, policy, table, strategies, years, outcomes, facts, doubts(table, policy)
    )


def check_currency(policy: Policy) -> str:
    """The one currency that all rates are in.

    Raises
    ------
    InputError
        If rates are in several: years of money would add up different things.
    """
    rates = [getattr(policy.costs, each.name) for each in fields(policy.costs)]
    named = {each.likely.name: each.likely.currency for each in rates if hasattr(each, "likely")}
    if len(set(named.values())) > 1:
        told = ", ".join(f"{name} in {currency}" for name, currency in sorted(named.items()))
        raise InputError(f"rates are in different currencies ({told}); enter all in one")
    return policy.costs.grader.likely.currency


def plan_prepared(
    made: Prepared,
    limits: Limits,
    *,
    first_year: int = 1,
    start: Floats | None = None,
    progress: Progress = quiet,
) -> Programme:
    """Choose within ``limits`` and certify; ``start`` are prices of a programme much like it."""
    table, strategies, years, policy = made.table, made.strategies, made.years, made.policy
    choice = choose(
        made.outcomes,
        table,
        strategies,
        limits,
        policy.programme.solve,
        start=start,
        progress=lambda fraction, message: progress(0.9 * fraction, message),
    )
    proof = certify(
        choice.strategy, choice.prices, limits.stacked(), made.outcomes, table, strategies
    )
    if not proof.is_within_limits:
        raise InfeasibleError(
            f"the programme found breaks a limit ({proof.worst_limit}, {proof.worst_share:.4f}"
            " of it is used) and is not shown"
        )
    course_of = trace(choice.strategy, table, strategies, years)
    progress(1.0, "The programme is certified")
    return Programme(
        first_year=first_year,
        n_years=years.n_years,
        currency=policy.costs.grader.likely.currency,
        strategies=strategies.nouns(),
        items=_items(choice, table, strategies, course_of, first_year),
        limits=limits,
        use_minor=choice.use[0],
        use_h=choice.use[1],
        use_m3=choice.use[2:],
        pit_names=table.pit_names,
        mean_iri=_by_length(course_of.iri, made.segments),
        mean_gravel_mm=_by_length(course_of.gravel_mm, made.segments),
        price_minor=choice.prices[0],
        upper=proof.upper,
        lower=min(proof.lower, proof.upper),
        least_done=choice.least_done,
        certificate=proof,
        policy_version=policy.version,
        choice=choice,
        course_of=course_of,
    )


def _items(
    choice: Choice,
    table: SegmentTable,
    strategies: StrategySet,
    course_of: Trace,
    first_year: int,
) -> tuple[ProgrammeItem, ...]:
    names = [strategy.id for strategy in strategies.nouns()]
    _, _, gravel = strategies.parts(choice.strategy.astype(np.int64))
    lift = strategies.lift_mm[gravel].astype(float)
    area = table.column("lift_m3_mm").astype(float)
    items = []
    for row, segment_id in enumerate(table.ids):
        due = course_of.is_regravelled[:, row]
        items.append(
            ProgrammeItem(
                segment_id=segment_id,
                strategy_id=names[int(choice.strategy[row])],
                regravel_years=tuple((np.flatnonzero(due) + first_year).tolist()),
                cost_minor=tuple(round(float(each)) for each in course_of.money_minor[:, row]),
                gravel_m3=tuple((due * lift[row] * area[row]).round(1).tolist()),
                gravel_mm_end=round(float(course_of.gravel_mm[-1, row]), 1),
            )
        )
    return tuple(items)


def _by_length(values: Floats, segments: Sequence[Segment]) -> Floats:
    """Mean over segments, weighted by length (year,)."""
    length = np.array([segment.length_m for segment in segments])
    return values @ length / length.sum()
