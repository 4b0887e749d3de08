"""Screening the top of a road in place, reckoned at the keyboard."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from crossfall_app.cli.places import JsonOption
from crossfall_app.cli.speak import new_table, say, say_json, say_table


def sift(
    file: Annotated[
        Path, typer.Argument(metavar="CSV", help="Of the road's top: sieve_mm, passing_pct.")
    ],
    length_m: Annotated[float, typer.Option(help="Length of the road.")],
    gap_mm: Annotated[float, typer.Option(help="Gap between the teeth.")],
    width_m: Annotated[float, typer.Option(help="Width of the gravel.")] = 7.0,
    depth_mm: Annotated[float, typer.Option(help="Depth of the teeth.")] = 50.0,
    gravel_mm: Annotated[float, typer.Option(help="Gravel that is there.")] = 100.0,
    through_share: Annotated[
        float, typer.Option(help="Share of what could fall through that does.")
    ] = 0.9,
    hour_price: Annotated[
        float | None, typer.Option(help="Grader and operator an hour; else the default rates.")
    ] = None,
    haul_off_price_per_m3: Annotated[
        float, typer.Option(help="To carry off a loose cubic metre.")
    ] = 0.0,
    processed_price_per_t: Annotated[
        float | None, typer.Option(help="Processed gravel on the road, to compare with.")
    ] = None,
    spec: Annotated[str | None, typer.Option(help="Hold what stays against this.")] = None,
    specs: Annotated[
        Path | None, typer.Option(metavar="TOML", help="Your own specifications.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Screen a road in place with a scarifying blade.

    What stays, what comes off and where it may go, hours, and money against processed gravel.
    """
    from crossfall.design.calculator import gravel_check
    from crossfall.design.calculator import sift as screen
    from crossfall.design.passes import PassBook
    from crossfall.io.gravel import read_grading
    from crossfall.model import Policy, Treatment
    from crossfall_app.cli.gravel import chosen_specification

    policy = Policy()
    design, costs = policy.design, policy.costs
    book = PassBook(design, design.grader.default_blade_m)
    passes = book.of(Treatment.SCARIFY_REMIX, width_m)
    n_passes = sum(each.n_passes for each in passes.operations)
    # One speed that takes as long as the passes do together
    speed = n_passes * 0.06 / (passes.total_min_per_m * design.grader.efficiency)
    usual = costs.grader.likely.cost(1.0).major + costs.operator.likely.cost(1.0).major
    grading = read_grading(file)
    made = screen(
        grading,
        length_m=length_m,
        width_m=width_m,
        depth_mm=depth_mm,
        gap_mm=gap_mm,
        gravel_mm=gravel_mm,
        keep_mm=design.shape.keep_uncut_mm,
        n_passes=n_passes,
        speed_km_h=speed,
        efficiency=design.grader.efficiency,
        through_share=through_share,
        dry_t_m3=design.gravel.dry_t_m3,
        bulking=design.gravel.bulking,
        hour_price=usual if hour_price is None else hour_price,
        haul_off_m3_price=haul_off_price_per_m3,
        processed_t_price=processed_price_per_t,
    )
    wanted = None if spec is None and specs is None else chosen_specification(spec, specs)
    checked = None if wanted is None else gravel_check(made.passing_pct, wanted)
    if as_json:
        say_json(
            {
                "kept_t": made.kept_t,
                "oversize_t": made.oversize_t,
                "oversize_m3": made.oversize_m3,
                "yield_share": made.yield_share,
                "hours": made.hours,
                "n_passes": n_passes,
                "cost": made.cost,
                "cost_per_t": made.cost_per_t,
                "saved_per_t": made.saved_per_t,
                "passing_pct": {f"{sieve:g}": value for sieve, value in made.passing_pct.items()},
                "is_met": None if checked is None else checked.is_met,
            }
        )
        return
    heads = ("Sieve, mm", "Before, %", "After, %")
    table = new_table(*heads, right=heads)
    for sieve, value in made.passing_pct.items():
        before = grading.get(sieve)
        table.add_row(f"{sieve:g}", "-" if before is None else f"{before:.1f}", f"{value:.1f}")
    say_table(table)
    say(f"{made.summary()}.")
    for each in passes.operations:
        angle = each.note or f"moldboard {each.moldboard_deg:g}°"
        say(f"  {each.n_passes} passes: {each.name}, {angle}, {each.speed_km_h:g} km/h")
    if hour_price is None:
        rate = costs.grader.likely
        say(f"Assumed: {usual:.2f} {rate.currency} an hour ({rate.year}, {rate.source})")
    if checked is not None:
        say(f"{checked.summary()}.")


COMMANDS = (("gravel sift", sift, False),)
