"""The years of one district: its roads as they are believed today, its pits, its adopted programme.

What the hall calls: everything comes in as the district's nouns, and dates are arguments.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from crossfall.judgement import find_needs
from crossfall.model import (
    District,
    Need,
    Progress,
    Treatment,
    YearsQuestion,
    YearsStudy,
    quiet,
)
from crossfall.model.partitions import Columns
from crossfall.network import build_graph
from crossfall.programme.facts import Scenario, check_segments, facts_of
from crossfall.programme.parted import facts_columns
from crossfall.programme.pits import GravelPlaced, gravel_placed
from crossfall.programme.questions import needs_of_year
from crossfall.programme.study import study_years
from crossfall.programme.years import Programme
from crossfall.programme.years import plan_years as choose_years


def plan_years(
    district: District,
    *,
    today: date,
    n_years: int,
    budget_minor: float | Sequence[float] | None = None,
    grader_h: float | Sequence[float] | None = None,
    gravel_m3: float | Sequence[float] | Mapping[str, float] | None = None,
    scenario: Scenario | None = None,
    first_year: int | None = None,
    progress: Progress = quiet,
) -> Programme:
    """Plan the years: today's believed condition and yearly limits in, a certified programme out.

    ``budget_minor`` is money a year in minor units, ``grader_h`` hours a year and ``gravel_m3``
    compacted gravel a year, by pit where there are several; None is no limit. Gravel comes from
    the pit that is cheapest once it is on the road. Years are counted from the one after ``today``.

    Raises
    ------
    InputError
        If a figure is impossible.
    InfeasibleError
        If nothing keeps the limits; the message says which is missed and by how much.
    """
    check_segments(district.network.maintained, district.policy)
    _, conditions = find_needs(district, today=today)
    return choose_years(
        district.network,
        conditions,
        district.policy,
        n_years=n_years,
        first_year=first_year or today.year + 1,
        budget_minor=budget_minor,
        grader_h=grader_h,
        gravel_m3=gravel_m3,
        gravel=_gravel_on_the_road(district),
        scenario=scenario or Scenario(),
        progress=progress,
    )


def ask_years(
    district: District, question: YearsQuestion, *, today: date, progress: Progress = quiet
) -> YearsStudy:
    """Answer a board's questions on the years, starting from today's believed condition.

    Raises
    ------
    InputError
        If a figure is impossible.
    InfeasibleError
        If nothing keeps the limits at any level of money.
    """
    check_segments(district.network.maintained, district.policy)
    _, conditions = find_needs(district, today=today)
    return study_years(
        district.network,
        conditions,
        district.policy,
        question,
        gravel=_gravel_on_the_road(district),
        progress=progress,
    )


def segment_facts_of(district: District, *, today: date) -> Columns:
    """The maintained segments as the columns of a file for a larger study."""
    _, conditions = find_needs(district, today=today)
    facts = facts_of(
        district.network.maintained,
        conditions,
        district.policy,
        gravel=_gravel_on_the_road(district),
    )
    return facts_columns(facts)


def _gravel_on_the_road(district: District) -> dict[str, GravelPlaced]:
    """Pit and price of each maintained segment that a pit can reach."""
    graph = build_graph(district.network)
    return gravel_placed(district.network.maintained, district.fleet, graph, district.policy)


def needs_with_years(
    needs: tuple[Need, ...], district: District, *, today: date
) -> tuple[Need, ...]:
    """The needs found on the roads, and the gravel that the adopted programme places this year.

    Gravel placed since the year began, and a regravelling that the roads ask for anyway, stand for
    the programme's. Roads out for a crew's orders or for an engineer stay out.
    """
    adopted = district.years
    if adopted is None:
        return needs
    due = needs_of_year(
        adopted.items,
        district.network.maintained,
        district.policy,
        first_year=adopted.first_year,
        year=today.year,
    )
    done = {
        each.segment_id
        for each in district.records
        if each.treatment is Treatment.REGRAVELLING
        and each.is_finished
        and each.done_on.year == today.year
    }
    has_heavy = {
        need.segment_id
        for need in needs
        if need.treatment in {Treatment.REGRAVELLING, Treatment.ENGINEER}
    }
    out = done | has_heavy | set(district.ordered_ids)
    return needs + tuple(each for each in due if each.segment_id not in out)
