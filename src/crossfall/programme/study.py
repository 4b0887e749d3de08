"""A board's questions, answered together: levels of money, delay, scenarios, contingency.

One simulation serves all levels; each level is planned, certified and followed through drawn years
on its own, so that every curve is a band. Where nothing keeps the limits, the answer says so and
the other answers stand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from crossfall.errors import InfeasibleError, InputError
from crossfall.model import (
    Condition,
    Network,
    Policy,
    Progress,
    YearsLevel,
    YearsQuestion,
    YearsScenario,
    YearsStudy,
    quiet,
)
from crossfall.programme.chance import Chance, chances, with_contingency
from crossfall.programme.facts import Scenario
from crossfall.programme.limits import Limits, make_limits
from crossfall.programme.pits import GravelPlaced
from crossfall.programme.questions import cost_of_delay
from crossfall.programme.years import Prepared, Programme, plan_prepared, prepare

Floats = npt.NDArray[np.float64]

_OTHER = (
    Scenario(rain_factor=1.2, name="a fifth more rain"),
    Scenario(rain_factor=0.8, name="a fifth less rain"),
    Scenario(traffic_factor=1.25, name="a quarter more traffic"),
)


def study_years(
    network: Network,
    conditions: Sequence[Condition],
    policy: Policy,
    question: YearsQuestion,
    *,
    gravel: Mapping[str, GravelPlaced] | None = None,
    progress: Progress = quiet,
) -> YearsStudy:
    """Answer ``question``.

    Raises
    ------
    InputError
        If a figure is impossible; names it.
    InfeasibleError
        If nothing keeps the limits at any level of money; says which is missed and by how much.
    """
    check_question(question)
    if question.rain_mm_month is not None:
        material = replace(policy.programme.material, rain_mm_month=question.rain_mm_month)
        policy = replace(policy, programme=replace(policy.programme, material=material))
    expected = Scenario(question.rain_factor, question.traffic_factor, question.growth_pct)
    made = prepare(
        network,
        conditions,
        policy,
        n_years=question.n_years,
        gravel=gravel,
        scenario=expected,
    )
    progress(0.05, f"{made.table.n} segments are simulated under {made.strategies.n} strategies")
    base = limits_of(question, made, _budget(question, made))
    levels, programmes = [], {}
    shares = sorted(question.shares)
    start: Floats | None = None
    for index, share in enumerate(reversed(shares)):
        level, found = _level(made, base, share, question, start)
        levels.append(level)
        if found is not None:
            programmes[share], start = found, found.choice.prices
        progress(0.05 + 0.6 * (index + 1) / len(shares), f"{100 * share:.0f} % of the money")
    levels.reverse()
    if not programmes:
        raise InfeasibleError(levels[-1].why_not)
    scenarios = []
    for each in _OTHER:
        scenarios.append(_scenario(network, conditions, policy, question, base, each, gravel))
        progress(0.65 + 0.05 * len(scenarios), each.name.capitalize())
    length = np.array([segment.length_m for segment in made.segments])
    rates = policy.costs.grader.likely
    truck_m3 = policy.programme.costs.load_m3
    study = YearsStudy(
        question=question,
        currency=rates.currency,
        price_year=rates.year,
        policy_version=policy.version,
        n_segments=made.table.n,
        km=float(length.sum() / 1000),
        thin_mm=made.years.thin_mm,
        pit_names=made.table.pit_names,
        load_m3=truck_m3,
        budget_minor=float(base.money_minor.mean()),
        budgets_minor=_listed(base.money_minor),
        is_budget_given=question.budget_minor is not None or bool(question.budgets_minor),
        start_iri=_mean(made.table.column("start_iri"), length),
        start_gravel_mm=_mean(made.table.column("start_mm"), length),
        levels=tuple(levels),
        scenarios=tuple(scenarios),
        doubts=made.doubts,
        assumed=_assumed(made, policy),
    )
    study = _with_delay(study, made, base, programmes.get(1.0))
    progress(0.85, "The cost of waiting is known")
    study = _with_contingency(study, made, base)
    progress(1.0, "All questions are answered")
    return study


def check_question(question: YearsQuestion) -> None:
    """Refuse what cannot be asked.

    Raises
    ------
    InputError
        Names the argument, its value and what is expected.
    """
    if 1.0 not in question.shares or any(not 0 < share <= 5 for share in question.shares):
        raise InputError(f"shares are {question.shares}; expected above 0 to 5, 1 among them")
    if not 1900 <= question.first_year <= 2200:
        raise InputError(f"first_year is {question.first_year}; expected a year such as 2027")
    if question.n_draws < 10:
        raise InputError(f"n_draws is {question.n_draws}; expected at least 10")
    if not 0.5 <= question.probability <= 0.99:
        raise InputError(f"probability is {question.probability:g}; expected 0.5 to 0.99")
    if question.delay_years < 0:
        raise InputError(f"delay_years is {question.delay_years}; expected 0 or more")


def limits_of(
    question: YearsQuestion, made: Prepared, budget_minor: float | Sequence[float] | None
) -> Limits:
    """The question's limits for each year."""
    return make_limits(
        question.n_years,
        budget_minor=budget_minor,
        grader_h=question.grader_h,
        gravel_m3=dict(question.gravel_m3) or None,
        pit_names=made.table.pit_names,
    )


def _budget(question: YearsQuestion, made: Prepared) -> float | Sequence[float]:
    if question.budgets_minor:
        return question.budgets_minor
    if question.budget_minor is not None:
        return question.budget_minor
    free = plan_prepared(made, limits_of(question, made, None), first_year=question.first_year)
    return float(free.use_minor.mean())


def _level(
    made: Prepared,
    base: Limits,
    share: float,
    question: YearsQuestion,
    start: Floats | None,
) -> tuple[YearsLevel, Programme | None]:
    limits = Limits(base.money_minor * share, base.grader_h, base.gravel_m3)
    money = float(limits.money_minor.mean())
    try:
        found = plan_prepared(made, limits, first_year=question.first_year, start=start)
    except InfeasibleError as error:
        return YearsLevel(share, money, is_feasible=False, why_not=str(error)), None
    seen = chances(found, made, n_draws=question.n_draws)
    return level_of(found, made, share, money, seen), found


def level_of(
    found: Programme, made: Prepared, share: float, budget_minor: float, seen: Chance
) -> YearsLevel:
    """A programme as a level of money."""
    length_km = np.array([segment.length_m for segment in made.segments]) / 1000
    thin = (found.course_of.gravel_mm < made.years.thin_mm) @ length_km
    prices = found.choice.prices
    return YearsLevel(
        share=share,
        budget_minor=budget_minor,
        is_feasible=True,
        upper=found.upper,
        lower=found.lower,
        gap_pct=found.gap_pct,
        avoidable_gap_pct=found.avoidable_gap_pct,
        agency_minor=_listed(found.use_minor),
        agency_low_minor=_listed(seen.money_minor[0]),
        agency_high_minor=_listed(seen.money_minor[-1]),
        p_over_budget=_listed(seen.p_over_budget),
        users_minor=_listed(found.course_of.users_minor.sum(axis=1)),
        grader_h=_listed(found.use_h),
        gravel_m3=tuple(_listed(each) for each in found.use_m3),
        iri=_listed(found.mean_iri),
        iri_low=_listed(seen.iri[0]),
        iri_high=_listed(seen.iri[-1]),
        gravel_mm=_listed(found.mean_gravel_mm),
        gravel_low_mm=_listed(seen.gravel_mm[0]),
        gravel_high_mm=_listed(seen.gravel_mm[-1]),
        thin_km=_listed(thin),
        money_worth=_listed(prices[0]),
        hour_worth_minor=_listed(prices[1]),
        gravel_worth_minor=tuple(_listed(each) for each in prices[2:]),
        items=found.items,
    )


def _with_delay(
    study: YearsStudy, made: Prepared, base: Limits, now: Programme | None
) -> YearsStudy:
    question = study.question
    if now is None or not 1 <= question.delay_years < question.n_years:
        why = "Waiting was not asked about, or the budget cannot be kept."
        return replace(study, delay_why_not=why)
    try:
        found = cost_of_delay(made, base, question.delay_years, now=now)
    except InfeasibleError as error:
        return replace(study, delay_why_not=f"After waiting nothing keeps the limits: {error}.")
    return replace(study, delay_lower=found.lower, delay_upper=found.upper)


def _with_contingency(study: YearsStudy, made: Prepared, base: Limits) -> YearsStudy:
    question = study.question
    try:
        found = with_contingency(
            made,
            base,
            probability=question.probability,
            n_draws=question.n_draws,
            first_year=question.first_year,
        )
    except InfeasibleError as error:
        why = f"With money kept back nothing keeps the limits: {error}."
        return replace(study, contingency_why_not=why)
    return replace(
        study,
        kept_back_minor=_listed(found.kept_back * base.money_minor),
        p_kept=_listed(1 - found.chance.p_over_budget),
    )


def _scenario(
    network: Network,
    conditions: Sequence[Condition],
    policy: Policy,
    question: YearsQuestion,
    base: Limits,
    other: Scenario,
    gravel: Mapping[str, GravelPlaced] | None,
) -> YearsScenario:
    both = Scenario(
        question.rain_factor * other.rain_factor,
        question.traffic_factor * other.traffic_factor,
        question.growth_pct,
    )
    made = prepare(
        network, conditions, policy, n_years=question.n_years, gravel=gravel, scenario=both
    )
    try:
        found = plan_prepared(made, base, first_year=question.first_year)
    except InfeasibleError as error:
        return YearsScenario(other.name, is_feasible=False, why_not=str(error))
    return YearsScenario(
        other.name,
        is_feasible=True,
        upper=found.upper,
        lower=found.lower,
        agency_minor=float(found.use_minor.mean()),
        gravel_mm_end=float(found.mean_gravel_mm[-1]),
        iri=float(found.mean_iri.mean()),
    )


def _assumed(made: Prepared, policy: Policy) -> tuple[str, ...]:
    """What nobody has measured here, in plain sentences."""
    programme, n = policy.programme, len(made.segments)
    measured = sum(1 for each in made.segments if each.gravel_method == "measured")
    counted = sum(1 for each in made.segments if each.adt_method == "measured")
    said = [
        {
            "relationship": (
                "Gravel loss follows a relationship found in Brazil, without frost, published in"
                " 1987; its coefficients are recalled, not verified."
            ),
            "four inputs": (
                "Gravel loss follows a relationship found in Kenya in 1975; its coefficients are"
                " recalled, not verified."
            ),
            "measured": "Gravel loss follows the agency's own measured rates.",
        }[programme.gravel_loss.method],
        "Roughness follows a relationship found in Brazil; its coefficients are recalled.",
    ]
    if programme.factors.by_group:
        said.append("Loss and roughness are fitted to the agency's own readings, by group.")
    else:
        said.append(
            f"Gravel loss is taken at {programme.factors.gravel_loss:g} of that relationship; no"
            " fit to own readings is in force."
        )
    said.append(f"Gravel was measured on {measured} of {n} segments; the others are assumed.")
    said.append(f"Traffic was counted on {counted} of {n} segments; the others are assumed.")
    share = programme.costs.voc_share_per_iri
    said.append(
        f"What roughness costs drivers is {100 * share:g} % of running a vehicle for each m/km"
        " above 3, a figure from smoother roads; 2 to 6 % is thought possible."
    )
    return tuple(said)


def _listed(values: Floats) -> tuple[float, ...]:
    return tuple(float(f"{value:.6g}") for value in np.asarray(values).tolist())


def _mean(values: npt.NDArray[np.float32], length: Floats) -> float:
    return float(values.astype(float) @ length / length.sum())
