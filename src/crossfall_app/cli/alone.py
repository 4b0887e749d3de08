"""A job laid out from a foreman's own figures, without a network, and said in full."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from crossfall.errors import InputError
from crossfall_app.cli.speak import new_table, say, say_json, say_table

if TYPE_CHECKING:
    from crossfall.model import Job, Stage
    from crossfall.report.figures import System

_OTHER_UNITS = (
    ("length_m", "length_ft", "ft", 1.0),
    ("length_m", "length_mi", "mi", 1.0),
    ("length_m", "length_km", "km", 1.0),
    ("width_m", "width_ft", "ft", 1.0),
    ("depth_mm", "depth_in", "in", 1000.0),
    ("haul_km", "haul_mi", "mi", 0.001),
)
"""Our figure, theirs, its unit, and how many of ours are in a metre."""


def is_treatment(word: str) -> bool:
    """Whether a word names a treatment that can be designed."""
    from crossfall.design.alone import ALONE

    return word in {each.value for each in ALONE}


def lay_out_alone(
    treatment: str, given: dict[str, Any], *, units: str, with_stakes: bool, as_json: bool
) -> None:
    """Design one treatment of one piece of road and say it.

    Raises
    ------
    InputError
        If the length is missing, a figure comes in two units, or one is not possible.
    """
    from crossfall.design.alone import Piece, design_alone
    from crossfall.model import Treatment
    from crossfall.report.figures import check_system

    system = check_system(units)
    figures = _in_our_units(given)
    if "length_m" not in figures:
        raise InputError(f"{treatment} needs a length; add --length-m, --length-km or --length-mi")
    job = design_alone(Treatment(treatment), Piece(**figures))
    if as_json:
        say_json(
            {
                "treatment": treatment,
                "piece": figures,
                "job": job_json(job),
                "rates": rates_of(job),
            }
        )
        return
    say_alone(job, system, with_stakes)


def job_json(job: Job) -> dict[str, Any]:
    """A job as plain values."""
    # Not the store's own converter: without a workspace there is no store to load
    from cattrs.preconf.json import make_converter

    plain: dict[str, Any] = make_converter().unstructure(job)
    return plain | {"work_h": job.work_h}


def say_alone(job: Job, system: System, with_stakes: bool) -> None:
    """The whole job: sums first, then each stage with its passes, machines and steps."""
    cost = job.cost
    say(
        f"{job.treatment.label}: {len(job.stages)} stage{'s' * (len(job.stages) != 1)},"
        f" {job.work_h:.1f} h of the grader, about {cost.likely.currency}"
        f" {cost.likely.major:,.0f} ({cost.low.major:,.0f} to {cost.high.major:,.0f},"
        f" {cost.likely.year} prices)"
    )
    for row in job.quantities:
        say(f"  {row.name}: {_amount(row.value, row.unit, system)}")
    told: dict[object, int] = {}
    for stage in job.stages:
        alike = (stage.name.partition(",")[0], stage.operations, stage.support, len(stage.steps))
        _say_stage(stage, system, with_stakes, told.get(alike))
        told.setdefault(alike, stage.number)
    say()
    for text in job.assumed:
        if not text.startswith("rates: "):
            say(f"Assumed: {_words(text, system)}")
    _say_rates(job, system)
    if job.needs_engineer:
        say("An engineer has to confirm this before it is issued.")
    say("Local codes, your agency's rules and licensed practice govern.")


def rates_of(job: Job) -> list[dict[str, Any]]:
    """Every rate that the cost of a job laid out alone rests on, in minor units."""
    from crossfall.model import Policy

    costs = Policy().costs
    names = {"grader", "operator", *(each.kind for stage in job.stages for each in stage.support)}
    used = {row.name for row in job.quantities}
    bought = {
        "loose gravel": "gravel", "dust control solution": "dust_solution", "water": "water"
    }  # fmt: skip
    names |= {name for row, name in bought.items() if row in used}
    found = []
    for name in sorted(names):
        each = getattr(costs, name)
        likely = each.likely
        found.append(
            {
                "name": likely.name,
                "per": likely.per,
                "low_minor": each.low_minor,
                "likely_minor": likely.minor,
                "high_minor": each.high_minor,
                "currency": likely.currency,
                "year": likely.year,
                "source": likely.source,
            }
        )
    return found


def _say_rates(job: Job, system: System) -> None:
    from crossfall.model import Money
    from crossfall.report.figures import shown_unit
    from crossfall.units import convert

    table = new_table("Rate", "Low", "Likely", "High", "For a", right=("Low", "Likely", "High"))
    rates = rates_of(job)
    for each in rates:
        per = each["per"]
        unit = per if per == "h" else shown_unit(per, system)
        share = 1.0 if per == "h" else convert(1.0, unit, per)
        figures = (each["low_minor"], each["likely_minor"], each["high_minor"])
        shown = (Money(f, each["currency"], each["year"]).times(share).major for f in figures)
        table.add_row(each["name"], *(f"{f:,.2f}" for f in shown), unit)
    say_table(table)
    told = {(each["currency"], each["year"], each["source"]): None for each in rates}
    for currency, year, source in told:
        say(f"Rates: {currency} {year}, {source}")


def _say_stage(stage: Stage, system: System, with_stakes: bool, like: int | None) -> None:
    start, end = (_amount(each, "m", system) for each in (stage.from_m, stage.to_m))
    say()
    hours = (stage.work_min + stage.wait_min) / 60
    told = f"{stage.number}. {stage.name}, {start} to {end}: {hours:.1f} h on the job"
    if like is not None:
        loads = [row for row in stage.quantities if row.name == "loads"]
        say(f"{told}, as stage {like}" + "".join(f", {row.value:.0f} loads" for row in loads))
        if with_stakes and stage.stakes:
            _say_stakes(stage, system, with_stakes)
        return
    say(told)
    table = new_table("Passes", "Do", "Moldboard", "Speed", right=("Passes", "Moldboard", "Speed"))
    for each in stage.operations:
        angle = each.note or ("-" if each.moldboard_deg is None else f"{each.moldboard_deg:g}°")
        speed = _amount(each.speed_km_h, "km/h", system) if each.speed_km_h else "-"
        table.add_row(str(each.n_passes), each.name, angle, speed)
    say_table(table)
    for machine in stage.support:
        name = machine.kind.replace("_", " ")
        many = "s" * (machine.n_machines > 1)
        say(f"  With {machine.n_machines} {name}{many}, {machine.hours:.1f} h each")
    for row in stage.quantities:
        note = f" ({_words(row.note, system)})" if row.note else ""
        say(f"  {row.name}: {_amount(row.value, row.unit, system)}{note}")
    for step in stage.steps:
        say(f"  [ ] {_words(step, system)}")
    for check in stage.checks:
        say(f"  Check: {_words(check, system)}")
    say(f"  At shift end: {_words(stage.end_state, system)}")
    if stage.stakes:
        _say_stakes(stage, system, with_stakes)


def _say_stakes(stage: Stage, system: System, with_stakes: bool) -> None:
    places = [stage.from_m + stake.at_m for stake in stage.stakes]
    apart = (stage.to_m - stage.from_m) / len(places)
    say(f"  {len(places)} stakes, about {_amount(apart, 'm', system, fine=True)} apart")
    if with_stakes:
        shown = [f"{n}: {_amount(at, 'm', system)}" for n, at in enumerate(places, start=1)]
        for first in range(0, len(shown), 8):
            say("    " + "  ".join(shown[first : first + 8]))


def _in_our_units(given: dict[str, Any]) -> dict[str, Any]:
    from crossfall.units import convert

    figures = {name: value for name, value in given.items() if value not in (None, [])}
    for ours, theirs, unit, per_m in _OTHER_UNITS:
        if theirs not in figures:
            continue
        if ours in figures:
            raise InputError(f"{ours} is given twice, once as {theirs}; give it once")
        figures[ours] = convert(figures.pop(theirs), unit, "m") * per_m
    return figures


def _amount(value: float, unit: str, system: System, *, fine: bool = False) -> str:
    from crossfall.report.figures import figure
    from crossfall.units import convert

    if fine:
        far = value if system == "metric" else convert(value, "m", "ft")
        return f"{far:.1f} {'m' if system == 'metric' else 'ft'}"
    digits, sign = figure(value, unit, system)
    return f"{digits} {sign}".strip()


def _words(text: str, system: System) -> str:
    from crossfall.report.figures import reword

    return reword(text, system).replace("\N{NO-BREAK SPACE}", " ")
