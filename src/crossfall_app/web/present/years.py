"""A study of the years as the page shows it: levels of money, words, tables, the map."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from crossfall.errors import InputError
from crossfall.model import District, YearsLevel, YearsQuestion, YearsStudy
from crossfall.report.board import level_figures, level_row, levels_head
from crossfall.report.board_words import amount, answers, scenario_rows
from crossfall.report.charts import chart_names, measure, years_chart
from crossfall.report.figures import System, reword
from crossfall.report.years_map import live_years_map
from crossfall_app.web.present.measures import Measures

CSV_HEAD = (
    "year",
    "money_share",
    "budget",
    "spent",
    "spent_1_in_10_below",
    "spent_1_in_10_above",
    "chance_over_budget",
    "users_cost",
    "grader_h",
    "gravel_m3",
    "mean_iri_m_km",
    "mean_gravel_mm",
    "thin_km",
    "one_more_saves",
)
_CAPTIONS = {
    "money": ("Spent in each year", "dashed: the budget; band: eight in ten drawn courses"),
    "gravel": ("Mean gravel left", "dotted: below this roads get rougher"),
    "roughness": ("Mean roughness", "of all roads, by length"),
    "thin": ("Thin roads", "with less gravel than that"),
    "pits": ("Gravel by pit", "compacted"),
    "worth": ("What one more of money saves", "in each year, over all years together"),
}


@dataclass(frozen=True)
class YearsSheet:
    """Everything the page shows of a study before its script takes over."""

    levels: list[dict[str, Any]]
    at: int
    """Index of the level that is shown."""
    shown: dict[str, Any]
    year: int
    years: range
    heads: list[str]
    table_head: list[str]
    table: list[list[str]]
    left_out: list[tuple[str, str]]
    """Levels that nothing keeps, with why."""
    scenarios: list[list[str]]
    first_work: list[dict[str, str]]
    map: str
    captions: list[tuple[str, str, str]]
    assumed: list[str]
    doubts: list[str]


def years_sheet(
    study: YearsStudy, district: District, units: Measures, *, share: float, year: int
) -> YearsSheet:
    """The page's content for one level of money and one year."""
    system = units.system
    feasible = [each for each in study.levels if each.is_feasible]
    level = min(feasible, key=lambda each: abs(each.share - share))
    first = study.question.first_year
    years = range(first, first + study.question.n_years)
    levels = [level_data(study, each, system) for each in feasible]
    at = feasible.index(level)
    return YearsSheet(
        levels=levels,
        at=at,
        shown=levels[at],
        year=min(max(year, first), years[-1]),
        years=years,
        heads=year_heads(study, system),
        table_head=levels_head(study, system),
        table=[level_row(each, study, system) for each in study.levels],
        left_out=[
            (amount(each.budget_minor, study), each.why_not)
            for each in study.levels
            if not each.is_feasible
        ],
        scenarios=scenario_rows(study, system),
        first_work=_first_work(study, level, district, system),
        map=live_years_map(district.network, units=system),
        captions=[(name, *_CAPTIONS[name]) for name in chart_names() if name in _CAPTIONS],
        assumed=[reword(each, system) for each in study.assumed],
        doubts=[reword(each, system) for each in study.doubts],
    )


def study_data(study: YearsStudy, units: Measures) -> dict[str, Any]:
    """What the page's script needs: every level, and the charts."""
    system = units.system
    feasible = [each for each in study.levels if each.is_feasible]
    return {
        "first_year": study.question.first_year,
        "levels": [level_data(study, each, system) for each in feasible],
        "charts": {
            name: years_chart(study, name, units=system, height=240 if name == "curve" else 200)
            for name in chart_names()
        },
    }


def level_data(study: YearsStudy, level: YearsLevel, system: System) -> dict[str, Any]:
    """One level of money in figures, words, rows and regravelling years."""
    return {
        "share": level.share,
        "money": f"{amount(level.budget_minor, study)} a year",
        "figures": level_figures(study, level, system),
        "sentences": list(answers(study, level, system=system)),
        "rows": year_rows(study, level, system),
        "due": {
            each.segment_id: each.regravel_years for each in level.items if each.regravel_years
        },
    }


def year_heads(study: YearsStudy, system: System) -> list[str]:
    """Heads of the table by year."""
    return [
        "Year",
        f"Spent, {study.currency}",
        "1 in 10 above",
        "Over budget",
        "Drivers pay",
        "Grader h",
        f"Gravel, {measure('volume', system)[1]}",
        f"Roughness, {measure('roughness', system)[1]}",
        f"Gravel left, {measure('thickness', system)[1]}",
        f"Thin, {measure('length', system)[1]}",
        "One more saves",
    ]


def year_rows(study: YearsStudy, level: YearsLevel, system: System) -> list[list[str]]:
    """The table by year, as it is shown."""
    thick, long, rough, volume = (
        measure(name, system)[0] for name in ("thickness", "length", "roughness", "volume")
    )
    digits = 1 if system == "us" else 0
    return [
        [
            str(study.question.first_year + index),
            f"{level.agency_minor[index] / 100:,.0f}",
            f"{level.agency_high_minor[index] / 100:,.0f}",
            f"{100 * level.p_over_budget[index]:.0f} %",
            f"{level.users_minor[index] / 100:,.0f}",
            f"{level.grader_h[index]:,.0f}",
            f"{sum(pit[index] for pit in level.gravel_m3) * volume:,.0f}",
            f"{level.iri[index] * rough:.{0 if system == 'us' else 1}f}",
            f"{level.gravel_mm[index] * thick:.{digits}f}",
            f"{level.thin_km[index] * long:,.0f}",
            f"{level.money_worth[index]:.2f}",
        ]
        for index in range(study.question.n_years)
    ]


def csv_rows(study: YearsStudy, level: YearsLevel) -> list[list[float]]:
    """The table by year in SI units and whole units of money, see :data:`CSV_HEAD`."""
    return [
        [
            study.question.first_year + index,
            level.share,
            round(level.share * study.budgets_minor[index] / 100, 2),
            round(level.agency_minor[index] / 100, 2),
            round(level.agency_low_minor[index] / 100, 2),
            round(level.agency_high_minor[index] / 100, 2),
            level.p_over_budget[index],
            round(level.users_minor[index] / 100, 2),
            level.grader_h[index],
            round(sum(pit[index] for pit in level.gravel_m3), 2),
            level.iri[index],
            level.gravel_mm[index],
            level.thin_km[index],
            level.money_worth[index],
        ]
        for index in range(study.question.n_years)
    ]


def question_of(
    form: Mapping[str, str], pits: list[str], units: Measures, *, usual_year: int
) -> YearsQuestion:
    """The question that a form asks.

    Raises
    ------
    InputError
        If a field holds no figure, or one that cannot be.
    """

    def figure(name: str, label: str) -> float | None:
        return _figure(form.get(name, ""), label)

    def whole(name: str, label: str, usual: int) -> int:
        value = figure(name, label)
        if value is None:
            return usual
        if value != int(value):
            raise InputError(f"{label} is {value:g}; expected a whole number")
        return int(value)

    money = figure("budget", "money a year")
    if money is not None and money <= 0:
        raise InputError(
            f"money a year is {money:g}; expected more than 0, or nothing for no limit"
        )
    gravel = []
    for index, pit in enumerate(pits):
        limit = units.read(form.get(f"gravel-{index}", ""), "m3", f"gravel from {pit}")
        if limit is not None:
            gravel.append((pit, limit))
    n_years = whole("n_years", "years", 10)
    if not 2 <= n_years <= 30:
        raise InputError(f"years is {n_years}; expected 2 to 30")
    probability = figure("probability", "how surely the budget is to hold")
    return YearsQuestion(
        first_year=whole("first_year", "first year", usual_year),
        n_years=n_years,
        budget_minor=None if money is None else money * 100,
        grader_h=figure("grader_h", "grader hours"),
        gravel_m3=tuple(gravel),
        rain_factor=1 + (figure("rain", "rain") or 0) / 100,
        traffic_factor=1 + (figure("traffic", "traffic") or 0) / 100,
        probability=0.8 if probability is None else probability / 100,
        delay_years=min(whole("delay", "years of waiting", 2), n_years - 1),
    )


def _figure(text: str, label: str) -> float | None:
    said = text.strip().replace("\N{NO-BREAK SPACE}", "").replace(" ", "")
    if not said:
        return None
    # 1,500,000 is how people write money; a comma alone before one or two digits is a decimal one
    plain = (
        said.replace(",", ".") if re.fullmatch(r"-?\d+,\d{1,2}", said) else said.replace(",", "")
    )
    try:
        value = float(plain)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"{label} is {text.strip()!r}; expected a number")
    return value


def _first_work(
    study: YearsStudy, level: YearsLevel, district: District, system: System
) -> list[dict[str, str]]:
    volume, m3 = measure("volume", system)
    known, first = district.network.segment_by_id, study.question.first_year
    due = [each for each in level.items if first in each.regravel_years]
    return [
        {
            "segment_id": each.segment_id,
            "route": known[each.segment_id].route,
            "gravel": f"{each.gravel_m3[0] * volume:,.0f} {m3}",
            "money": f"{each.cost_minor[0] / 100:,.0f} {study.currency}",
        }
        for each in sorted(due, key=lambda item: -item.gravel_m3[0])
        if each.segment_id in known
    ]
