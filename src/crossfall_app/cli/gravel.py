"""Gravel on paper: held against a specification, blended, screened; and the edges that cut it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crossfall.errors import InputError
from crossfall_app.cli.places import JsonOption, pairs
from crossfall_app.cli.speak import new_table, remark, say, say_json, say_table

if TYPE_CHECKING:
    from crossfall.design.calculator.gravel import Forecast, GravelCheck, Plasticity
    from crossfall.model.policy.specifications import Specification

_FILE_HELP = "CSV with columns sieve_mm and passing_pct."
SpecOption = Annotated[
    str | None, typer.Option(help="Name of the specification; the names when it is unknown.")
]
SpecsOption = Annotated[
    Path | None, typer.Option(metavar="TOML", help="Your own specifications beside ours.")
]


def check(
    file: Annotated[Path, typer.Argument(metavar="CSV", help=_FILE_HELP)],
    spec: SpecOption = None,
    specs: SpecsOption = None,
    plasticity: Annotated[
        str | None, typer.Option(help="Plasticity index, or NP; not tested when left out.")
    ] = None,
    liquid_limit: Annotated[float | None, typer.Option(help="Liquid limit.")] = None,
    linear_shrinkage_pct: Annotated[
        float | None, typer.Option(help="For what the gravel foretells of the road.")
    ] = None,
    near_homes: Annotated[
        bool, typer.Option("--near-homes", help="Dust matters: the narrower limit.")
    ] = False,
    chart: Annotated[
        Path | None, typer.Option(metavar="SVG", help="Draw it within its envelope.")
    ] = None,
    zones: Annotated[
        Path | None, typer.Option(metavar="SVG", help="Draw what it foretells, with its zone.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Hold a gravel against a specification, sieve by sieve.

    With the linear shrinkage it also says what the gravel foretells of the road. A gravel that
    does not meet the specification is a result like any other: the exit code is 0.
    """
    from crossfall.design.calculator import foretell, gravel_check
    from crossfall.formulas.gradation import passing
    from crossfall.io.gravel import read_grading

    grading = read_grading(file)
    wanted = chosen_specification(spec, specs)
    result = gravel_check(
        grading, wanted, plasticity=_plasticity(plasticity), liquid_limit=liquid_limit
    )
    told = None
    if linear_shrinkage_pct is not None:
        told = foretell(
            passing_26_5=passing(grading, 26.5),
            passing_4_75=passing(grading, 4.75),
            passing_2=passing(grading, 2.0),
            passing_425=passing(grading, 0.425),
            passing_37_5=_where_tested(grading, 37.5),
            linear_shrinkage_pct=linear_shrinkage_pct,
            is_near_homes=near_homes,
        )
    if chart is not None:
        _draw(chart, file.stem, grading, wanted)
    if zones is not None:
        _draw_zones(zones, file.stem, told, is_near_homes=near_homes)
    if as_json:
        say_json(
            {
                "specification": wanted.name,
                "source": wanted.source,
                "is_verified": wanted.is_verified,
                "is_met": result.is_met,
                "rows": [_row_json(row) for row in result.rows],
                "warnings": list(result.warnings),
                "foretells": None if told is None else told.summary(),
            }
        )
        return
    _say_check(result, wanted)
    if told is not None:
        say(f"Foretells: {told.summary()} (limits recalled, to be verified)")


def blend(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="TOML with [[pile]] tables, or CSV with NAME_passing_pct columns."
        ),
    ],
    spec: SpecOption = None,
    specs: SpecsOption = None,
    price_per_t: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=X", help="For a CSV: each pile's price; repeat it."),
    ] = None,
    chart: Annotated[
        Path | None, typer.Option(metavar="SVG", help="Draw piles and mix in the envelope.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Mix piles at least cost so that a specification is met.

    When no mix meets it, the exit code is 3 and the sentence names the sieves that cannot be met
    together, and by how much they miss.
    """
    from crossfall.design.calculator import blend_lp
    from crossfall.io.gravel import read_piles

    prices = {
        name: _a_figure(value, f"price of {name}")
        for name, value in pairs(price_per_t, "price-per-t").items()
    }
    piles = read_piles(file, prices=prices)
    wanted = chosen_specification(spec, specs)
    mix = blend_lp(piles, wanted)
    if chart is not None:
        from crossfall.io.toml import write_text
        from crossfall.report import gradation_svg

        curves = {pile.name: pile.grading for pile in piles[:4]} | {"mix": mix.passing_pct}
        write_text(chart, gradation_svg(curves, wanted))
    if as_json:
        say_json(
            {
                "specification": wanted.name,
                "is_verified": wanted.is_verified,
                "shares": dict(mix.shares),
                "price_per_t": mix.price,
                "currency": mix.currency,
                "passing_pct": {f"{sieve:g}": value for sieve, value in mix.passing_pct.items()},
                "plasticity": mix.plasticity,
                "held_by": list(mix.binding),
            }
        )
        return
    table = new_table("Pile", "Share, %", f"{mix.currency} a tonne", right=("Share, %",))
    for (name, share), pile in zip(mix.shares, piles, strict=True):
        table.add_row(name, f"{100 * share:.1f}", f"{pile.price:.2f}")
    say_table(table)
    say(f"{mix.summary()}.")
    if mix.plasticity is not None:
        say(f"Plasticity about {mix.plasticity:.1f}, an estimate: the laboratory confirms.")
    _say_unverified(wanted)


def scalp(
    file: Annotated[Path, typer.Argument(metavar="CSV", help=_FILE_HELP)],
    top_mm: Annotated[
        float, typer.Option(help="Opening of the screen, or gap between the teeth of a blade.")
    ],
    efficiency: Annotated[
        float, typer.Option(help="Share of what could pass that does pass, above 0 to 1.")
    ] = 1.0,
    feed_price_per_t: Annotated[float, typer.Option(help="Feed at the pit; 0 in place.")] = 0.0,
    screening_price_per_t: Annotated[float, typer.Option(help="To screen a tonne of feed.")] = 0.0,
    processed_price_per_t: Annotated[
        float | None, typer.Option(help="Processed gravel to compare with.")
    ] = None,
    spec: SpecOption = None,
    specs: SpecsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Screen pit-run gravel, or the top of a road in place.

    What is left, how much of it, what a tonne costs, and whether processed gravel is cheaper.
    """
    from crossfall.design.calculator import gravel_check
    from crossfall.design.calculator import scalp as screen
    from crossfall.io.gravel import read_grading

    left = screen(
        read_grading(file),
        top_mm=top_mm,
        efficiency=efficiency,
        feed_price=feed_price_per_t,
        screening_price=screening_price_per_t,
    )
    wanted = None if spec is None and specs is None else chosen_specification(spec, specs)
    checked = None if wanted is None else gravel_check(left.passing_pct, wanted)
    saved = None if processed_price_per_t is None else processed_price_per_t - left.cost_per_t
    if as_json:
        say_json(
            {
                "passing_pct": {f"{sieve:g}": value for sieve, value in left.passing_pct.items()},
                "yield_share": left.yield_share,
                "feed_per_product": left.feed_per_product,
                "cost_per_t": left.cost_per_t,
                "saved_per_t": saved,
                "is_met": None if checked is None else checked.is_met,
                "oversize": left.oversize_note,
            }
        )
        return
    table = new_table("Sieve, mm", "Passing, %", right=("Sieve, mm", "Passing, %"))
    for sieve, value in left.passing_pct.items():
        table.add_row(f"{sieve:g}", f"{value:.1f}")
    say_table(table)
    say(f"{left.summary()}.")
    if saved is not None:
        word = "cheaper" if saved > 0 else "dearer"
        say(f"{abs(saved):.2f} a tonne {word} than processed gravel at {processed_price_per_t:g}.")
    if checked is not None and wanted is not None:
        say(f"{checked.summary()}.")


def edges(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="[TOML]", help="[[edge]] tables: name, set_price, life_h, ..."),
    ] = None,
    edge: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=PRICE/HOURS", help="A set and its life; repeat it."),
    ] = None,
    bladings_ratio: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME=X", help="Bladings with it over those with the first, as you measured."
        ),
    ] = None,
    speed_km_h: Annotated[float, typer.Option(help="Blading speed.")] = 6.5,
    efficiency: Annotated[float, typer.Option(help="Share of an hour with the blade down.")] = 0.83,
    change_price_per_h: Annotated[float, typer.Option(help="An hour of changing edges.")] = 0.0,
    as_json: JsonOption = False,
) -> None:
    """Compare cutting edges by what a kilometre of pass costs.

    The first is the one to beat. No saving in bladings is assumed: the ratio is 1 until you have
    measured one.
    """
    from crossfall.design.calculator import edge_cost

    sets = _edges(file, edge, bladings_ratio)
    result = edge_cost(
        sets, speed_km_h=speed_km_h, efficiency=efficiency, change_rate_h=change_price_per_h
    )
    if as_json:
        say_json(
            {
                "currency": result.currency,
                "edges": [
                    {
                        "name": row.name,
                        "life_km": row.life_km,
                        "cost_per_km": row.cost_per_km,
                        "cost_per_km_with_saving": row.cost_per_km_saved,
                        "break_even_h": row.break_even_h,
                    }
                    for row in result.rows
                ],
            }
        )
        return
    heads = ("Life, km", "Cost a km", "With your ratio", "Breaks even at, h")
    table = new_table("Edge", *heads, right=heads)
    for row in result.rows:
        table.add_row(
            row.name,
            f"{row.life_km:,.0f}",
            f"{row.cost_per_km:.3f}",
            f"{row.cost_per_km_saved:.3f}",
            f"{row.break_even_h:.0f}",
        )
    say_table(table)
    say(f"{result.summary()}.")
    if all(each.bladings_ratio == 1.0 for each in sets):
        remark("no saving in bladings is counted; give --bladings-ratio once you have measured one")


def chosen_specification(name: str | None, file: Path | None) -> Specification:
    """A specification by its name, of ours or of a file."""
    from crossfall.io.gravel import read_specifications
    from crossfall.model.policy.specifications import default_specifications

    own = read_specifications(file) if file is not None else ()
    known = {each.name: each for each in (*default_specifications(), *own)}
    if name is None and len(own) == 1:
        return own[0]
    names = ", ".join(repr(each) for each in known)
    if name is None:
        raise InputError(f"spec is missing; say --spec with one of {names}")
    found = {key.lower(): each for key, each in known.items()}.get(name.lower())
    if found is None:
        raise InputError(f"spec is {name!r}; expected one of {names}")
    return found


def _plasticity(text: str | None) -> Plasticity:
    if text is None:
        return None
    return "NP" if text.strip().upper() == "NP" else _a_figure(text, "plasticity")


def _a_figure(text: str, name: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise InputError(f"{name} is {text!r}; expected a figure") from None


def _where_tested(grading: dict[float, float], sieve_mm: float) -> float | None:
    near = [each for each in grading if abs(each - sieve_mm) <= 0.005 * sieve_mm]
    return grading[near[0]] if near else None


def _draw(path: Path, name: str, grading: dict[float, float], wanted: Specification) -> None:
    from crossfall.io.toml import write_text
    from crossfall.report import gradation_svg

    if path.suffix.lower() != ".svg":
        raise InputError(f"{path.name} does not end in .svg, as a drawing does")
    write_text(path, gradation_svg({name: grading}, wanted))


def _draw_zones(path: Path, name: str, told: Forecast | None, *, is_near_homes: bool) -> None:
    from crossfall.io.toml import write_text
    from crossfall.report import zones_svg

    if path.suffix.lower() != ".svg":
        raise InputError(f"{path.name} does not end in .svg, as a drawing does")
    if told is None:
        raise InputError("zones needs the linear shrinkage; add --linear-shrinkage-pct")
    point = (told.product, told.coefficient)
    write_text(path, zones_svg({name: point}, is_near_homes=is_near_homes))


def _row_json(row: Any) -> dict[str, Any]:
    return {
        "what": row.what,
        "value": row.value,
        "low": row.low,
        "high": row.high,
        "is_met": row.is_met,
    }


def _say_check(result: GravelCheck, wanted: Specification) -> None:
    table = new_table("What", "Is", "At least", "At most", "", right=("Is", "At least", "At most"))
    for row in result.rows:
        verdict = {True: "met", False: "OUT", None: "not tested"}[row.is_met]
        figures = (row.value, row.low, row.high)
        table.add_row(
            row.what, *("-" if each is None else f"{each:g}" for each in figures), verdict
        )
    say_table(table)
    say(f"{result.summary()}.")
    _say_unverified(wanted)


def _say_unverified(wanted: Specification) -> None:
    say(f"Limits: {wanted.source}{'' if wanted.is_verified else ' (not verified)'}.")


def _edges(file: Path | None, told: list[str] | None, ratios: list[str] | None) -> tuple[Any, ...]:
    from dataclasses import replace

    from crossfall.design.calculator import Edge
    from crossfall.io.gravel import read_edges

    sets = list(read_edges(file)) if file is not None else []
    for name, text in pairs(told, "edge").items():
        price, sign, life = text.partition("/")
        if not sign:
            raise InputError(f"edge {name} is {text!r}; expected PRICE/HOURS such as 300/60")
        sets.append(
            Edge(name, _a_figure(price, f"price of {name}"), _a_figure(life, f"hours of {name}"))
        )
    if not sets:
        raise InputError("there is no edge; name a TOML file, or say --edge plain=300/60")
    measured = pairs(ratios, "bladings-ratio")
    unknown = sorted(set(measured) - {each.name for each in sets})
    if unknown:
        raise InputError(f"bladings-ratio is for unknown edge {unknown[0]!r}")
    return tuple(
        replace(each, bladings_ratio=_a_figure(measured[each.name], f"ratio of {each.name}"))
        if each.name in measured
        else each
        for each in sets
    )


COMMANDS = (
    ("gravel check", check, False),
    ("gravel blend", blend, False),
    ("gravel scalp", scalp, False),
    ("gravel edges", edges, False),
)
GROUP_HELP = "Gravel on paper: check, blend, scalp; and cutting edges."
