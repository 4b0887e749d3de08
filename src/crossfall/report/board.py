"""The report for the board: a few pages that a council member can read, and may keep.

What the gravel is doing, what money buys, what waiting costs, where gravel goes in the next five
years, how sure that is, and what nobody has measured. Every figure comes from one study; charts are
the same specifications as the page's, drawn to SVG.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from crossfall.errors import InputError
from crossfall.model import District, YearsLevel, YearsStudy
from crossfall.report.board_words import (
    amount,
    how_sure,
    scenario_rows,
    what_it_does,
    what_less_costs,
    what_more_is_worth,
    what_to_keep_back,
    what_waiting_costs,
)
from crossfall.report.charts import measure, to_svg, years_chart
from crossfall.report.figures import System, check_system, reword
from crossfall.report.typesetting import paper_name, typeset
from crossfall.report.years_map import years_key, years_map

_MOST_ROADS = 34
_WIDE, _HALF = 620, 300


def board_report_pdf(
    study: YearsStudy,
    district: District,
    *,
    share: float = 1.0,
    made_at: datetime,
    paper: str = "a4",
    units: str = "metric",
) -> bytes:
    """Typeset the report.

    Parameters
    ----------
    study : YearsStudy
    district : District
        For the map and the names of roads.
    share : float
        Level of money that the report is about, as a share of the study's budget.
    made_at : datetime
        Stamped on the paper, and the only clock it knows.
    paper : {'a4', 'letter'}
    units : {'metric', 'us'}

    Returns
    -------
    bytes
        One PDF of four to six pages.

    Raises
    ------
    InputError
        If nothing keeps the limits at that level, or ``paper`` or ``units`` is unknown.
    """
    name = paper_name(paper)
    book = board_report_data(study, district, share=share, units=units)
    book |= {"paper": name, "made": f"{made_at:%Y-%m-%d %H:%M}"}
    return typeset("board.typ", book, made_at=made_at)


def board_report_data(
    study: YearsStudy, district: District, *, share: float = 1.0, units: str = "metric"
) -> dict[str, Any]:
    """Everything on the paper in the words and figures it is shown in.

    Raises
    ------
    InputError
        If nothing keeps the limits at that level, or ``units`` is unknown.
    """
    system = check_system(units)
    level = study.level(share)
    if not level.is_feasible:
        raise InputError(
            f"{100 * level.share:.0f} % of the money cannot be reported on: {level.why_not}"
        )
    first, n_years = study.question.first_year, study.question.n_years

    def chart(name: str, width: int, height: int) -> str:
        spec = years_chart(study, name, share=level.share, units=system, width=width, height=height)
        return to_svg(spec)

    due = {item.segment_id: item.regravel_years for item in level.items}
    return {
        "name": district.name,
        "invented": district.is_invented,
        "years": f"{first} to {first + n_years - 1}",
        "figures": level_figures(study, level, system),
        "does": what_it_does(study, level, system),
        "less": what_less_costs(study, level),
        "waiting": what_waiting_costs(study),
        "worth": what_more_is_worth(study, level, system),
        "back": what_to_keep_back(study),
        "sure": how_sure(study, level),
        "charts": {
            "curve": chart("curve", _WIDE, 220),
            "money": chart("money", _WIDE, 190),
            "gravel": chart("gravel", _HALF, 190),
            "roughness": chart("roughness", _HALF, 190),
            "thin": chart("thin", _HALF, 170),
            "worth": chart("worth", _HALF, 170),
            "pits": chart("pits", _WIDE, 190),
        },
        "levels_head": levels_head(study, system),
        "levels": [level_row(each, study, system) for each in study.levels],
        "this": f"{100 * level.share:.0f} %",
        "scenarios": scenario_rows(study, system),
        "map": years_map(district.network, due, first_year=first, units=system),
        "key": years_key(first, n_years),
        "first_year": str(first),
        "roads": _roads(level, district, first, system),
        "n_more": max(sum(first in each.regravel_years for each in level.items) - _MOST_ROADS, 0),
        "assumed": [reword(each, system) for each in study.assumed],
        "doubts": [reword(each, system) for each in study.doubts],
        "limits": _limits(study, system),
        "price_year": str(study.price_year),
        "policy": study.policy_version,
        "draws": str(study.question.n_draws),
    }


def level_figures(study: YearsStudy, level: YearsLevel, system: System) -> list[dict[str, str]]:
    """The four figures that a level of money is known by."""
    thick, mm = measure("thickness", system)
    long, km = measure("length", system)
    volume, m3 = measure("volume", system)
    digits = 1 if system == "us" else 0
    n_years = study.question.n_years
    gravel = sum(sum(pit) for pit in level.gravel_m3) / n_years * volume
    return [
        {
            "label": "Money a year",
            "value": amount(level.budget_minor, study),
            "note": f"{100 * level.share:.0f} % of "
            + ("the budget asked about" if study.is_budget_given else "what would be enough"),
        },
        {
            "label": "Gravel left",
            "value": f"{level.gravel_mm[-1] * thick:.{digits}f} {mm}",
            "note": f"mean in the last year, {study.start_gravel_mm * thick:.{digits}f} {mm} today",
        },
        {
            "label": "Thin roads",
            "value": f"{level.thin_km[-1] * long:,.0f} {km}",
            "note": f"of {study.km * long:,.0f} {km} in the last year",
        },
        {"label": "Gravel a year", "value": f"{gravel:,.0f} {m3}", "note": "compacted, on average"},
    ]


def levels_head(study: YearsStudy, system: System) -> list[str]:
    """Heads of the table of levels."""
    last = study.question.first_year + study.question.n_years - 1
    return [
        "Money",
        f"A year, {study.currency}",
        "Costs more than the best, over all years",
        f"Gravel {last}",
        "Roughness",
        f"Thin roads {last}",
    ]


def level_row(each: YearsLevel, study: YearsStudy, system: System) -> list[str]:
    """One level of money in that table."""
    share, money = f"{100 * each.share:.0f} %", f"{each.budget_minor / 100:,.0f}"
    if not each.is_feasible:
        return [share, money, "Not possible: " + each.why_not, "", "", ""]
    thick, mm = measure("thickness", system)
    long, km = measure("length", system)
    rough, sign = measure("roughness", system)
    best = min((one for one in study.levels if one.is_feasible), key=lambda one: one.upper)
    low, high = max(0.0, each.lower - best.upper), each.upper - best.lower
    more = "the best level" if each is best else f"{amount(low, study)} to {amount(high, study)}"
    return [
        share,
        money,
        more,
        f"{each.gravel_mm[-1] * thick:.{1 if system == 'us' else 0}f} {mm}",
        f"{sum(each.iri) / len(each.iri) * rough:.1f} {sign}",
        f"{each.thin_km[-1] * long:,.0f} {km}",
    ]


def _roads(level: YearsLevel, district: District, first: int, system: System) -> list[list[str]]:
    volume, m3 = measure("volume", system)
    long, km = measure("length", system)
    known = district.network.segment_by_id
    due = [item for item in level.items if first in item.regravel_years]
    due.sort(key=lambda item: -item.gravel_m3[0])
    return [
        [
            known[item.segment_id].route,
            item.segment_id,
            f"{known[item.segment_id].length_m / 1000 * long:.1f} {km}",
            f"{item.gravel_m3[0] * volume:,.0f} {m3}",
        ]
        for item in due[:_MOST_ROADS]
        if item.segment_id in known
    ]


def _limits(study: YearsStudy, system: System) -> list[str]:
    """What was held fixed, in sentences."""
    question = study.question
    volume, m3 = measure("volume", system)
    said = []
    if question.grader_h is not None:
        said.append(f"Graders work at most {question.grader_h:,.0f} hours a year.")
    said += [
        f"{pit} gives at most {limit * volume:,.0f} {m3} of compacted gravel a year."
        for pit, limit in question.gravel_m3
    ]
    if question.rain_factor != 1:
        said.append(f"Rain is taken at {100 * question.rain_factor:.0f} % of the usual.")
    if question.traffic_factor != 1:
        said.append(f"Traffic is taken at {100 * question.traffic_factor:.0f} % of today's.")
    if question.growth_pct is not None:
        said.append(f"Traffic grows by {question.growth_pct:g} % a year.")
    return said or ["Nothing but money was limited."]
