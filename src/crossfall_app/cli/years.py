"""The years ahead at the keyboard: what a yearly budget buys, and what it leaves."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crossfall.errors import InputError
from crossfall_app.cli.places import (
    DirArgument,
    JsonOption,
    WorkspaceOption,
    pairs,
    the_person,
    the_workspace,
    usual_first_day,
)
from crossfall_app.cli.speak import new_table, remark, say, say_json, say_table, shown_progress

if TYPE_CHECKING:
    from crossfall.model import YearsLevel, YearsStudy


def years(
    folder: DirArgument = None,
    n_years: Annotated[int, typer.Option("--years", help="Years ahead, 1 to 30.")] = 10,
    first_year: Annotated[
        int | None, typer.Option("--from", help="First year; the next one when left out.")
    ] = None,
    budget: Annotated[
        float | None,
        typer.Option(help="Money a year; what would be spent without a limit when left out."),
    ] = None,
    budgets: Annotated[
        Path | None, typer.Option(help="CSV file with year,budget for budgets that differ.")
    ] = None,
    grader_h: Annotated[
        float | None, typer.Option(help="Grader hours a year; no limit when left out.")
    ] = None,
    gravel_m3: Annotated[
        list[str] | None,
        typer.Option(
            help="Compacted gravel a year, from all pits alike or as PIT=M3; may be repeated."
        ),
    ] = None,
    rain_mm: Annotated[
        float | None, typer.Option(help="Monthly rain in millimetres; else the policy's.")
    ] = None,
    rain: Annotated[float, typer.Option(help="Change of rain in percent, as a scenario.")] = 0.0,
    traffic: Annotated[
        float, typer.Option(help="Change of traffic in percent, as a scenario.")
    ] = 0.0,
    growth: Annotated[
        float | None, typer.Option(help="Growth of traffic a year in percent; else the policy's.")
    ] = None,
    probability: Annotated[
        float, typer.Option(help="How surely the contingency keeps each budget, 0.5 to 0.99.")
    ] = 0.8,
    delay: Annotated[int, typer.Option(help="Years of waiting whose cost is asked for.")] = 2,
    report: Annotated[
        Path | None, typer.Option(help="Write the report for the board to this PDF file.")
    ] = None,
    adopt: Annotated[
        float | None,
        typer.Option(help="Work by the programme of this percentage of the money."),
    ] = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """What a yearly budget buys: gravel, roughness, money.

    Chooses one way of keeping up each road at several levels of money, and says how much better
    any other choice could be. The study is kept; the Years page shows it. Its coefficients are
    recalled: for comparing budgets, until your own readings replace them.
    """
    opened = the_workspace(folder, workspace)
    from crossfall.model import YearsQuestion
    from crossfall.workflow import ask_years
    from crossfall_app.store import repository
    from crossfall_app.store import years as kept

    if budget is not None and not budget > 0:
        raise InputError(
            f"--budget is {budget:g}; expected more than 0 a year, or leave it out for no limit"
        )
    for name, change in (("--rain", rain), ("--traffic", traffic)):
        if not change > -100:
            raise InputError(
                f"{name} is {change:g}; expected a change in percent above -100, such as -20"
            )
    today = usual_first_day(opened)
    first = first_year or today.year + 1
    district = repository.load_district()
    question = YearsQuestion(
        first_year=first,
        n_years=n_years,
        budget_minor=None if budget is None else budget * 100,
        budgets_minor=_budgets(budgets, first, n_years, district.policy.costs),
        grader_h=grader_h,
        gravel_m3=_by_pit(gravel_m3, [pit.place.name for pit in district.fleet.pits]),
        rain_factor=1 + rain / 100,
        traffic_factor=1 + traffic / 100,
        growth_pct=growth,
        rain_mm_month=rain_mm,
        probability=probability,
        delay_years=delay,
    )
    with shown_progress("Years ahead") as progress:
        study = ask_years(district, question, today=today, progress=progress)
    share = 1.0 if adopt is None else adopt / 100
    if adopt is not None and share not in question.shares:
        offered = ", ".join(f"{100 * each:g}" for each in question.shares)
        raise InputError(f"--adopt is {adopt:g}; expected one of {offered}")
    if report is not None:
        from crossfall.report.board import board_report_pdf

        paper = "letter" if opened.config.units == "us" else "a4"
        report.write_bytes(
            board_report_pdf(
                study,
                district,
                share=share,
                made_at=opened.now(),
                paper=paper,
                units=opened.config.units,
            )
        )
    key = kept.save_study(study, made_at=opened.now(), by=the_person())
    if adopt is not None:
        kept.adopt(key, share=share, today=today, by=the_person())
    if as_json:
        say_json(_told(study, study.level(share), key))
        return
    _show(study, study.level(share))
    if adopt is not None:
        remark(f"{key} is adopted; its gravel of the year is among the needs of the week")
    if report is not None:
        remark(f"the report for the board is in {report}")
    remark("coefficients are recalled, not verified; compare budgets with it, not absolute figures")


def _budgets(path: Path | None, first: int, n_years: int, costs: Any) -> tuple[float, ...]:
    if path is None:
        return ()
    from crossfall.io.budgets import read_budgets

    currency = costs.grader.likely.currency
    return read_budgets(path, first_year=first, n_years=n_years, currency=currency)


def _by_pit(given: list[str] | None, pits: list[str]) -> tuple[tuple[str, float], ...]:
    """One figure for each pit that is named, or for all of them."""
    if not given:
        return ()
    if len(given) == 1 and "=" not in given[0]:
        given = [f"{pit}={given[0]}" for pit in pits]
    found = []
    for pit, text in pairs(given, "gravel-m3").items():
        try:
            found.append((pit, float(text)))
        except ValueError:
            raise InputError(
                f"--gravel-m3 {pit}={text} has no figure; expected cubic metres"
            ) from None
    return tuple(found)


def _show(study: YearsStudy, level: YearsLevel) -> None:
    question, money = study.question, study.currency
    if not level.is_feasible:
        say(f"With {_money(level.budget_minor)} {money} a year: {level.why_not}.")
    else:
        table = new_table(
            "Year",
            f"Cost, {money}",
            "one year in ten above",
            "Grader h",
            "Gravel, m³",
            "Roughness",
            "Gravel left",
            "Thin, km",
            right=("Grader h",),
        )
        for index in range(question.n_years):
            table.add_row(
                str(question.first_year + index),
                _money(level.agency_minor[index]),
                _money(level.agency_high_minor[index]),
                f"{level.grader_h[index]:,.0f}",
                f"{sum(pit[index] for pit in level.gravel_m3):,.0f}",
                f"{level.iri[index]:.1f} m/km",
                f"{level.gravel_mm[index]:.0f} mm",
                f"{level.thin_km[index]:,.0f}",
            )
        say_table(table)
    curve = new_table(
        "Money",
        f"a year, {money}",
        "Dearer than most money by",
        "Gravel at the end",
        "Roughness",
        "Thin, km",
        "One more is worth",
        title="Levels of money",
    )
    feasible = [each for each in study.levels if each.is_feasible]
    best = min(feasible, key=lambda each: each.upper)
    for each in study.levels:
        if not each.is_feasible:
            curve.add_row(f"{100 * each.share:.0f} %", _money(each.budget_minor), each.why_not)
            continue
        low, high = max(0.0, each.lower - best.upper), each.upper - best.lower
        curve.add_row(
            f"{100 * each.share:.0f} %",
            _money(each.budget_minor),
            f"{_money(low)} to {_money(high)}",
            f"{each.gravel_mm[-1]:.0f} mm",
            f"{sum(each.iri) / len(each.iri):.1f} m/km",
            f"{each.thin_km[-1]:,.0f}",
            f"{sum(each.money_worth) / len(each.money_worth):.2f}",
        )
    say_table(curve)
    for line in sentences(study, level):
        say(line)


def sentences(study: YearsStudy, level: YearsLevel) -> tuple[str, ...]:
    """What else was asked, a sentence each."""
    from crossfall.report.board_words import answers

    return answers(study, level)


def _told(study: YearsStudy, level: YearsLevel, key: str) -> dict[str, Any]:
    from crossfall_app.store.convert import CONVERTER

    first = study.question.first_year
    by_year = range(study.question.n_years if level.is_feasible else 0)
    plain = CONVERTER.unstructure(study)
    return {
        "study": key,
        "years": [
            {
                "year": first + index,
                "cost": level.agency_minor[index] / 100,
                "cost_low": level.agency_low_minor[index] / 100,
                "cost_high": level.agency_high_minor[index] / 100,
                "p_over_budget": level.p_over_budget[index],
                "users_cost": level.users_minor[index] / 100,
                "grader_h": level.grader_h[index],
                "gravel_m3": sum(pit[index] for pit in level.gravel_m3),
                "mean_iri": level.iri[index],
                "mean_gravel_mm": level.gravel_mm[index],
                "thin_km": level.thin_km[index],
                "one_more_is_worth": level.money_worth[index],
            }
            for index in by_year
        ],
        "gravel_by_pit": {
            pit: list(level.gravel_m3[row]) if level.is_feasible else []
            for row, pit in enumerate(study.pit_names)
        },
        "load_is_worth": {
            pit: [study.load_m3 * each / 100 for each in level.gravel_worth_minor[row]]
            if level.is_feasible
            else []
            for row, pit in enumerate(study.pit_names)
        },
        "first_year_work": [
            {"segment": each.segment_id, "gravel_m3": each.gravel_m3[0]}
            for each in level.items
            if first in each.regravel_years
        ],
        "currency": study.currency,
        "budget": study.budget_minor / 100,
        "gap_pct": level.gap_pct,
        "avoidable_gap_pct": level.avoidable_gap_pct,
        "segments": study.n_segments,
        "levels": [
            {name: value for name, value in each.items() if name != "items"}
            for each in plain["levels"]
        ],
        "scenarios": plain["scenarios"],
        "delay": {
            "years": study.question.delay_years,
            "lower": _major(study.delay_lower),
            "upper": _major(study.delay_upper),
            "why_not": study.delay_why_not,
        },
        "contingency": {
            "probability": study.question.probability,
            "kept_back": [each / 100 for each in study.kept_back_minor],
            "p_kept": list(study.p_kept),
            "why_not": study.contingency_why_not,
        },
        "doubts": list(study.doubts),
        "assumed": list(study.assumed),
        "summary": " ".join(sentences(study, level)),
    }


def _money(minor: float) -> str:
    return f"{minor / 100:,.0f}"


def _major(minor: float | None) -> float | None:
    return None if minor is None else minor / 100


COMMANDS = (("years", years, False),)
