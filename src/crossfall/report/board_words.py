"""A study of the years in words a council member can read: short sentences, bands, no jargon."""

from __future__ import annotations

import math
from collections.abc import Sequence

from crossfall.model import YearsLevel, YearsStudy
from crossfall.report.charts import measure
from crossfall.report.figures import System


def answers(study: YearsStudy, level: YearsLevel, *, system: System = "metric") -> tuple[str, ...]:
    """What was asked, a sentence or two each, for one level of money."""
    if not level.is_feasible:
        return (f"With {amount(level.budget_minor, study)} a year: {level.why_not}.",)
    return (
        what_it_does(study, level, system),
        what_less_costs(study, level),
        what_waiting_costs(study),
        what_more_is_worth(study, level, system),
        what_to_keep_back(study),
        how_sure(study, level),
    )


def what_it_does(study: YearsStudy, level: YearsLevel, system: System = "metric") -> str:
    """Gravel, roughness and thin roads, from the first year to the last."""
    thick, mm = measure("thickness", system)
    long, km = measure("length", system)
    rough, sign = measure("roughness", system)
    digits = 1 if system == "us" else 0
    last = study.question.first_year + study.question.n_years - 1
    n_gravel = sum(1 for item in level.items if item.regravel_years)
    return (
        f"With {amount(level.budget_minor, study)} a year, mean gravel goes from"
        f" {study.start_gravel_mm * thick:.{digits}f} {mm} today to"
        f" {level.gravel_mm[-1] * thick:.{digits}f} {mm} in {last}, mean roughness from"
        f" {study.start_iri * rough:.1f} to {level.iri[-1] * rough:.1f} {sign}."
        f" {level.thin_km[-1] * long:,.0f} of {study.km * long:,.0f} {km} are then thin: less than"
        f" {study.thin_mm * thick:.{digits}f} {mm} of gravel. {n_gravel:,} of"
        f" {study.n_segments:,} segments are regravelled."
    )


def what_less_costs(study: YearsStudy, level: YearsLevel) -> str:
    """The band between this level and the best one."""
    feasible = [each for each in study.levels if each.is_feasible]
    best = min(feasible, key=lambda each: each.upper)
    low, high = max(0.0, level.lower - best.upper), level.upper - best.lower
    if level is best or low <= 0:
        return (
            "Between this level and the best one asked about no difference can be proven: less"
            f" than {amount(max(high, 0.0), study)} over all years."
        )
    return (
        f"Over all years this costs roads and drivers {amount(low, study)} to"
        f" {amount(high, study)} more than {amount(best.budget_minor, study)} a year would."
    )


def what_waiting_costs(study: YearsStudy) -> str:
    """The cost of delay as a band."""
    if study.delay_lower is None or study.delay_upper is None:
        return study.delay_why_not
    years = study.question.delay_years
    return (
        f"Placing no gravel for {years} year{'' if years == 1 else 's'}, then going on with the"
        f" budget, costs {amount(study.delay_lower, study)} to {amount(study.delay_upper, study)}"
        " more in the end."
    )


def what_more_is_worth(study: YearsStudy, level: YearsLevel, system: System = "metric") -> str:
    """The year in which one more of money, and one more load, saves most."""
    first = study.question.first_year
    best = max(range(len(level.money_worth)), key=lambda year: level.money_worth[year])
    worth = level.money_worth[best]
    if worth <= 0.005:
        said = "More money in any year would save nothing that can be seen."
    else:
        said = (
            f"One more {study.currency} in {first + best} would save"
            f" {worth:.2f} {study.currency} over all years; that year is the shortest of money."
        )
    loads = [
        (value * study.load_m3, pit, first + year)
        for pit, values in zip(study.pit_names, level.gravel_worth_minor, strict=True)
        for year, value in enumerate(values)
    ]
    value, pit, year = max(loads, default=(0.0, "", first))
    if value > 0.5:
        factor, sign = measure("volume", system)
        said += (
            f" One more load ({study.load_m3 * factor:.1f} {sign} compacted) from {pit} in {year}"
            f" would save {amount(value, study)}."
        )
    return said


def what_to_keep_back(study: YearsStudy) -> str:
    """The contingency, and how surely budgets then hold."""
    if not study.kept_back_minor:
        return study.contingency_why_not
    mean = sum(study.kept_back_minor) / len(study.kept_back_minor)
    worst = min(range(len(study.p_kept)), key=lambda year: study.p_kept[year])
    asked = study.question.probability
    if study.p_kept[worst] >= asked - 1e-9:
        return (
            f"So that each year's budget holds in at least {100 * asked:.0f} of 100 drawn cases,"
            f" {amount(mean, study)} a year on average should not be planned with."
        )
    year = study.question.first_year + worst
    return (
        f"No programme was found whose budget holds in {100 * asked:.0f} of 100 drawn cases in"
        f" every year. With {amount(mean, study)} a year on average not planned with, {year} is the"
        f" least sure: it holds in {100 * study.p_kept[worst]:.0f} of 100. Plan the years again"
        " each year."
    )


def how_sure(study: YearsStudy, level: YearsLevel) -> str:
    """The proven gap, and how often a filled budget is exceeded."""
    over = max(level.p_over_budget)
    return (
        "No other programme within these limits could be better by more than"
        f" {_at_most(level.gap_pct)} % of all costs ({_at_most(level.avoidable_gap_pct)} % of"
        " what can be avoided). In wet or dry years the plan moves: in its worst year it costs more"
        " than the budget in"
        f" {100 * over:.0f} of 100 cases if nothing is kept back and nobody plans again."
    )


def scenario_rows(study: YearsStudy, system: System = "metric") -> list[list[str]]:
    """Name, cost against what is expected, gravel at the end and roughness, as they are shown."""
    thick, mm = measure("thickness", system)
    rough, sign = measure("roughness", system)
    now = study.level(1.0)
    digits = 1 if system == "us" else 0
    rows = []
    if now.is_feasible:
        mean = sum(now.iri) / len(now.iri)
        rows.append(
            [
                "As expected",
                "",
                f"{now.gravel_mm[-1] * thick:.{digits}f} {mm}",
                f"{mean * rough:.1f} {sign}",
            ]
        )
    for each in study.scenarios:
        name = each.name.capitalize()
        if not each.is_feasible:
            rows.append([name, each.why_not, "", ""])
            continue
        low, high = each.lower - now.upper, each.upper - now.lower
        more = f"{signed(low, study)} to {signed(high, study)}" if now.is_feasible else ""
        rows.append(
            [
                name,
                more,
                f"{each.gravel_mm_end * thick:.{digits}f} {mm}",
                f"{each.iri * rough:.1f} {sign}",
            ]
        )
    return rows


def amount(minor: float, study: YearsStudy) -> str:
    """Money as it is spoken: three figures that mean something.

    Two more digits would promise what nobody knows.
    """
    major = minor / 100
    if abs(major) >= 1e6:
        return f"{major / 1e6:,.2f} million {study.currency}"
    if abs(major) >= 1e4:
        return f"{round(major, -3):,.0f} {study.currency}"
    return f"{round(major, -1 if abs(major) >= 1000 else 0):,.0f} {study.currency}"


def signed(minor: float, study: YearsStudy) -> str:
    """Money with its sign, for differences."""
    return ("+" if minor >= 0 else "−") + amount(abs(minor), study)


def list_of(words: Sequence[str]) -> str:
    """``a, b and c``."""
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1] if words else "")))


def _at_most(percent: float) -> str:
    """Rounded up: a proven bound that is rounded down is no longer proven."""
    return f"{math.ceil(round(percent * 100, 6)) / 100:.2f}"
