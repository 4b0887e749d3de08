"""The gravel page: pits and what their gravel costs on a road, tests, blends, piles, edges."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Any

from crossfall.design.calculator import (
    Edge,
    Pile,
    blend_lp,
    edge_cost,
    foretell,
    gravel_check,
)
from crossfall.design.calculator.gravel import Forecast
from crossfall.design.ledger import edge_forecast, pile_balances, standing
from crossfall.design.source import Delivered
from crossfall.errors import InfeasibleError, InputError
from crossfall.formulas.edge_wear import edge_life_km
from crossfall.formulas.gradation import Grading, is_same_sieve
from crossfall.model import (
    District,
    DustApplication,
    FittedEdge,
    Fleet,
    GravelPit,
    MaterialTest,
    Money,
    PileEntry,
    Rate,
)
from crossfall.model.policy.specifications import SieveBand, Specification
from crossfall.report.figures import shown_unit
from crossfall.units import convert
from crossfall_app.web.present.measures import Measures, day_name, money, percent


def pit_rows(
    district: District,
    opening: Fleet,
    delivered: Mapping[str, Delivered],
    specification: Specification,
    units: Measures,
) -> list[dict[str, Any]]:
    """Each pit in a line: stock, price, cost on the chosen road, and how its gravel tests.

    ``opening`` is the fleet with its stocks before the ledger.
    """
    balances = {each.pit_id: each for each in pile_balances(opening.pits, district.pile_entries)}
    cheapest = min((each.minor_m3 for each in delivered.values()), default=None)
    rows = []
    for pit in district.fleet.pits:
        newest = tests_of(district, pit)[:1]
        there = delivered.get(pit.place.id)
        short_on = balances[pit.place.id].short_on
        rows.append(
            {
                "id": pit.place.id,
                "name": pit.place.name,
                "material": pit.material,
                "stock": units.show(pit.stock_m3, "m3"),
                "short": f"ran out on {day_name(short_on)}" if short_on else "",
                "price": price_words(pit.price, units),
                "haul": units.show(there.haul_km, "km") if there else "",
                "delivered": per_volume(there.minor_m3, pit.price, units) if there else "",
                "is_cheapest": there is not None and there.minor_m3 == cheapest,
                "verdict": verdict_of(newest[0], specification) if newest else "",
                "tested": f"{newest[0].taken_on.day} {newest[0].taken_on:%b %Y}" if newest else "",
            }
        )
    return rows


def tests_of(district: District, pit: GravelPit) -> list[MaterialTest]:
    """Tests of one pit, the newest first."""
    found = [test for test in district.material_tests if test.pit_id == pit.place.id]
    return sorted(found, key=lambda test: test.taken_on, reverse=True)


def verdict_of(test: MaterialTest, specification: Specification) -> str:
    """``met``, ``out`` or ``not judged``."""
    try:
        result = _check(test, specification)
    except InputError:
        return "not judged"
    if result.is_met:
        return "met"
    return "out" if any(row.is_met is False for row in result.rows) else "not judged"


@dataclass(frozen=True)
class Sheet:
    """One test as it is read."""

    test: MaterialTest
    verdict: str
    rows: list[dict[str, Any]]
    summary: str
    foretells: str


def test_sheet(test: MaterialTest, specification: Specification) -> Sheet:
    """Every sieve with its limits, and what the gravel foretells where that was tested."""
    bands = {band.sieve_mm: band for band in specification.bands}
    rows = [_sieve_row(sieve, value, _band(bands, sieve)) for sieve, value in test.passing_pct]
    have = test.grading
    rows += [
        _row(f"{sieve:g} mm", None, band.low_pct, band.high_pct)
        for sieve, band in bands.items()
        if not any(is_same_sieve(each, sieve) for each in have)
    ]
    low, high = specification.plasticity_low, specification.plasticity_high
    index = 0.0 if test.is_non_plastic else test.plasticity
    if index is not None or low is not None or high is not None:
        rows.append(_row("plasticity index", index, low, high))
    if test.liquid_limit is not None or specification.liquid_limit_high is not None:
        rows.append(_row("liquid limit", test.liquid_limit, None, specification.liquid_limit_high))
    try:
        summary = _check(test, specification).summary()
    except InputError as error:
        summary = f"cannot be judged: {error}"
    return Sheet(test, verdict_of(test, specification), rows, summary, _foretold(test))


def csv_rows(test: MaterialTest, specification: Specification) -> list[list[Any]]:
    """The table behind the chart, for a spreadsheet."""
    return [
        [row["what"], row["value"], row["low"], row["high"], row["verdict"]]
        for row in test_sheet(test, specification).rows
    ]


def ledger_rows(
    district: District, opening: Fleet, pit: GravelPit, units: Measures
) -> list[dict[str, Any]]:
    """Entries of one pile with what was left after each, the newest first."""
    entries = [each for each in district.pile_entries if each.pit_id == pit.place.id]
    counting = {each.id for each in standing(entries)}
    left = next(each.stock_m3 for each in opening.pits if each.place.id == pit.place.id)
    rows = []
    for entry in sorted(entries, key=lambda each: each.day):
        if entry.id in counting:
            left = entry.loose_m3 + (0.0 if entry.is_count else left)
        rows.append(
            {
                "id": entry.id,
                "day": day_name(entry.day),
                "what": _entry_word(entry),
                "amount": units.show(abs(entry.loose_m3), "m3"),
                "reason": entry.reason,
                "left": units.show(left, "m3"),
                "is_counting": entry.id in counting,
            }
        )
    return rows[::-1]


def edge_rows(
    district: District, machine_of: Mapping[str, str], today: date, units: Measures
) -> list[dict[str, Any]]:
    """The edge on each grader: how worn, when to change; and how far those before it went."""
    graders = [machine for machine in district.fleet.machines if machine.kind == "grader"]
    practice = district.policy.design.edge
    length_km = {segment.id: segment.length_m / 1000 for segment in district.network.segments}
    by_name = {machine.name: machine.id for machine in district.fleet.machines}
    named = {card: by_name.get(name, "") for card, name in machine_of.items()}
    people = {each.name: each.machine_id for each in district.fleet.operators}

    def forecast(edge: FittedEdge, until: date | None) -> Any:
        return edge_forecast(
            edge,
            district.records,
            length_km=length_km,
            machine_of=named,
            today=today,
            until=until,
            machine_by=people,
            machine_days=district.machine_days,
        )

    rows = []
    for machine in graders:
        fitted = [edge for edge in district.edges if edge.machine_id == machine.id]
        now = forecast(fitted[-1], None) if fitted else None
        past = [(old, forecast(old, new.fitted_on)) for old, new in pairwise(fitted)]
        rows.append(
            {
                "id": machine.id,
                "name": machine.name,
                "edge": fitted[-1].name if fitted else "",
                "fitted": day_name(fitted[-1].fitted_on) if fitted else "",
                "worn": percent(now.worn_share) if now else "",
                "is_due": now is not None and now.worn_share >= practice.order_share,
                "went": units.show(now.worn_km, "km") if now else "",
                "life": units.show(now.life_km, "km") if now else "",
                "change": day_name(now.change_on) if now and now.change_on else "",
                "past": [
                    f"{edge.name} from {day_name(edge.fitted_on)}: {units.show(was.worn_km, 'km')}"
                    for edge, was in past
                ][::-1],
            }
        )
    return rows


def edge_choices(district: District, units: Measures) -> list[tuple[str, str]]:
    """Lives to begin with, as passes at the usual speed; recalled, until measured."""
    grader, speed = district.policy.design.grader, usual_speed(district)
    return [
        (name, units.show(edge_life_km(life_h, speed, grader.efficiency), "km"))
        for name, life_h in edge_lives(district)
    ]


def edge_lives(district: District) -> tuple[tuple[str, float], ...]:
    """Kinds of edges with the hours they usually last [h]."""
    edge = district.policy.design.edge
    return (
        ("plain", edge.carbon_life_h),
        ("hardened", edge.hardened_life_h),
        ("carbide", edge.carbide_life_h),
        ("replaceable bits", edge.bits_life_h),
    )


def usual_speed(district: District) -> float:
    """Midway in the usual blading speeds [km/h]."""
    grader = district.policy.design.grader
    return (grader.speed_low_km_h + grader.speed_high_km_h) / 2


@dataclass(frozen=True)
class Compared:
    """Edges side by side, or why they cannot be."""

    rows: tuple[dict[str, Any], ...] = ()
    summary: str = ""
    trouble: str = ""


def compared(edges: Sequence[Edge], district: District, units: Measures) -> Compared:
    """What each edge costs for a kilometre or mile of pass; the first is the one to beat."""
    policy = district.policy
    speed = usual_speed(district)
    rate = policy.costs.operator.likely
    try:
        made = edge_cost(
            edges,
            speed_km_h=speed,
            efficiency=policy.design.grader.efficiency,
            change_rate_h=rate.cost(1.0).major,
        )
    except InputError as error:
        return Compared(trouble=str(error))
    far = convert(1.0, shown_unit("km", units.system), "km")
    best = min(made.rows, key=lambda row: row.cost_per_km_saved)
    rows = tuple(
        {
            "name": row.name,
            "life": units.show(row.life_km, "km"),
            "cost": f"{row.cost_per_km * far:.2f}",
            "saved": f"{row.cost_per_km_saved * far:.2f}",
            "even": f"{row.break_even_h:,.0f} h",
            "is_best": row is best,
        }
        for row in made.rows
    )
    measured = any(each.bladings_ratio != 1.0 for each in edges)
    told = "with the bladings you measured" if measured else "no saving in bladings is assumed"
    return Compared(rows, f"Cheapest by the kilometre or mile: {best.name}; {told}")


def dust_rows(
    applications: Sequence[DustApplication], district: District, today: date, units: Measures
) -> list[dict[str, Any]]:
    """Roads under dust control: until when no blade, and who paid."""
    segments = district.network.segment_by_id
    return [
        {
            "id": each.id,
            "segment_id": each.segment_id,
            "road": segments[each.segment_id].route,
            "product": each.product,
            "rate": units.show(each.rate_l_m2, "L/m2"),
            "applied": day_name(each.applied_on),
            "until": day_name(each.no_blade_until),
            "rests": each.rests(today),
            "paid_by": each.paid_by,
        }
        for each in sorted(applications, key=lambda each: each.no_blade_until, reverse=True)
    ]


@dataclass(frozen=True)
class Mixed:
    """What a blend came to, or why there is none."""

    trouble: str = ""
    missed: tuple[str, ...] = ()
    shares: tuple[tuple[str, str, str], ...] = ()
    price: str = ""
    held_by: tuple[str, ...] = ()
    plasticity: str = ""
    passing: tuple[tuple[str, str, str], ...] = ()
    grading: Grading | None = None


def mixed(piles: Sequence[Pile], specification: Specification, units: Measures) -> Mixed:
    """Blend at least cost; infeasible limits and unfit tests are told, not raised."""
    try:
        mix = blend_lp(piles, specification)
    except InfeasibleError as error:
        what, _, names = str(error).partition(": ")
        return Mixed(trouble=what, missed=tuple(names.split(", ")) if names else ())
    except InputError as error:
        return Mixed(trouble=str(error))
    bands = {band.sieve_mm: band for band in specification.bands}
    price = Money(round(100 * mix.price), mix.currency, 0)
    return Mixed(
        shares=tuple(
            (name, percent(share), f"{pile.price * _a_tonne(units):,.2f}")
            for (name, share), pile in zip(mix.shares, piles, strict=True)
        ),
        price=f"{price.currency} {mix.price * _a_tonne(units):,.2f} a {units.sign('t')}".replace(
            "tons", "ton"
        ),
        held_by=mix.binding,
        plasticity="" if mix.plasticity is None else f"{mix.plasticity:.1f}",
        passing=tuple(
            (f"{sieve:g}", f"{value:.1f}", _limits(_band(bands, sieve)))
            for sieve, value in mix.passing_pct.items()
        ),
        grading=mix.passing_pct,
    )


def per_volume(minor_m3: float, rate: Rate, units: Measures) -> str:
    """Money for a loose cubic metre or yard.

    Examples
    --------
    >>> rate = Rate("gravel", 900, "m3", "USD", 2026, "invented")
    >>> per_volume(1308.0, rate, Measures("us")).split()
    ['$10.00', 'a', 'yd³', 'loose']
    """
    volume = convert(1.0, shown_unit("m3", units.system), "m3")
    sign = money(Money(0, rate.currency, rate.year)).replace("0", "").strip()
    return f"{sign}{_major(minor_m3 * volume, rate):,.2f} a {units.sign('m3')} loose"


def price_words(rate: Rate, units: Measures) -> str:
    """A price at the gate with its year."""
    if rate.per == "m3":
        return f"{per_volume(rate.minor, rate, units)} ({rate.year})"
    return f"{money(rate.cost(1.0))} a {rate.per} ({rate.year})"


def a_tonne(pit: GravelPit, test: MaterialTest, loose_t_m3: float) -> float:
    """The pit's price for a tonne, with the test's bulk density or else the policy's."""
    if pit.price.per == "t":
        return pit.price.cost(1.0).major
    return pit.price.cost(1.0).major / (test.loose_t_m3 or loose_t_m3)


def _major(minor: float, rate: Rate) -> float:
    """Minor units as whole ones, to the nearest of the smaller."""
    return Money(round(minor), rate.currency, rate.year).major


def _a_tonne(units: Measures) -> float:
    """Tonnes in the agency's unit of mass."""
    return convert(1.0, shown_unit("t", units.system), "t")


def _check(test: MaterialTest, specification: Specification) -> Any:
    plasticity: Any = "NP" if test.is_non_plastic else test.plasticity
    return gravel_check(
        test.grading, specification, plasticity=plasticity, liquid_limit=test.liquid_limit
    )


def foretold(test: MaterialTest, *, is_near_homes: bool = False) -> Forecast | None:
    """What a test's gravel foretells; None where a sieve or the shrinkage was not tested.

    Raises
    ------
    InputError
        If its figures contradict each other.
    """
    near = {sieve: _at(test, sieve) for sieve in (26.5, 4.75, 2.0, 0.425)}
    if test.linear_shrinkage_pct is None or None in near.values():
        return None
    return foretell(
        passing_26_5=near[26.5] or 0.0,
        passing_4_75=near[4.75] or 0.0,
        passing_2=near[2.0] or 0.0,
        passing_425=near[0.425] or 0.0,
        passing_37_5=_at(test, 37.5),
        linear_shrinkage_pct=test.linear_shrinkage_pct,
        is_near_homes=is_near_homes,
    )


def _foretold(test: MaterialTest) -> str:
    try:
        found = foretold(test)
    except InputError as error:
        return f"cannot be told: {error}"
    return found.summary() if found else ""


def _at(test: MaterialTest, sieve_mm: float) -> float | None:
    return next((p for s, p in test.passing_pct if is_same_sieve(s, sieve_mm)), None)


def _band(bands: Mapping[float, SieveBand], sieve_mm: float) -> SieveBand | None:
    return next((b for s, b in bands.items() if is_same_sieve(s, sieve_mm)), None)


def _sieve_row(sieve: float, value: float, band: SieveBand | None) -> dict[str, Any]:
    low, high = (band.low_pct, band.high_pct) if band else (None, None)
    return _row(f"{sieve:g} mm", value, low, high)


def _row(what: str, value: float | None, low: float | None, high: float | None) -> dict[str, Any]:
    if low is None and high is None:
        verdict = ""
    elif value is None:
        verdict = "not tested"
    else:
        is_met = (low is None or value >= low) and (high is None or value <= high)
        verdict = "met" if is_met else "out"
    return {"what": what, "value": value, "low": low, "high": high, "verdict": verdict}


def _limits(band: SieveBand | None) -> str:
    return f"{band.low_pct:g} to {band.high_pct:g}" if band else ""


def _entry_word(entry: PileEntry) -> str:
    if entry.is_count:
        return "counted"
    if entry.supersedes and entry.loose_m3 == 0:
        return "taken back"
    return "brought in" if entry.loose_m3 >= 0 else "taken"
