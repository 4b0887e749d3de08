"""Beginning: an empty workspace, or the invented district to look at."""

from __future__ import annotations

import time
from datetime import date, timedelta
from pathlib import Path
from typing import Annotated, Any

import typer

from crossfall.errors import WorkspaceError
from crossfall_app.cli.places import JsonOption, a_day, the_person
from crossfall_app.cli.speak import remark, say, say_json, shown_progress
from crossfall_app.workspace import (
    Config,
    Workspace,
    create_workspace,
    is_workspace,
    open_workspace,
)

_DAYS = 5
_SEASON = (6, 8)
"""The demo's morning is a Monday in the blading season, from this month and day on."""


def init(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A new or empty folder.")],
    name: Annotated[str, typer.Option(help="The agency's or district's name.")] = "Road district",
    time_zone: Annotated[str, typer.Option(help="Where the roads are.")] = "UTC",
    units: Annotated[str, typer.Option(help="metric or us, for screens and paper.")] = "metric",
    currency: Annotated[str, typer.Option(help="Three letters.")] = "USD",
    language: Annotated[str, typer.Option(help="Of screens; en for now.")] = "en",
    as_json: JsonOption = False,
) -> None:
    """Make an empty workspace.

    Then import a network, a fleet and weather.
    """
    config = Config(name, time_zone, units, currency, language)  # type: ignore[arg-type]
    create_workspace(folder, config)
    workspace = open_workspace(folder)
    if as_json:
        say_json({"workspace": str(workspace.path), "name": config.name})
        return
    say(f"{workspace.path} is ready. Next:")
    say(f"  crossfall import ROADS --fleet FLEET.toml --accept -w {folder}")
    say(f"  crossfall weather FILE -w {folder}")
    say(f"  crossfall plan {folder}")


def demo(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A new folder, or an old demo's.")],
    no_serve: Annotated[
        bool, typer.Option("--no-serve", help="Plan, print and leave; open no pages.")
    ] = False,
    seed: Annotated[int, typer.Option(min=0, help="Another seed draws another valley.")] = 1,
    seconds: Annotated[float, typer.Option(min=0, help="Time to search for the plan.")] = 20.0,
    today: Annotated[
        str | None,
        typer.Option(help="The morning it is; a Monday in June when left out.", metavar="DAY"),
    ] = None,
    units: Annotated[str, typer.Option(help="metric or us.")] = "metric",
    port: Annotated[int, typer.Option(min=0, max=65535, help="For the pages.")] = 8765,
    as_json: JsonOption = False,
) -> None:
    """Plan a week in an invented district and open its pages."""
    from crossfall_app.cli.week import make_cards_file, plan_the_week, refuse_empty, show_week

    workspace = _demo_workspace(folder, seed, a_day(today, "today"), units)
    shown = plan_the_week(workspace, days=_DAYS, seconds=seconds, seed=seed)
    refuse_empty(shown)
    cards_file = make_cards_file(workspace, shown.cards)
    if as_json:
        say_json(_demo_result(shown, cards_file))
    else:
        show_week(shown)
        say(f"{len(shown.cards)} job cards are in {cards_file}")
        say("The district and everything in it is invented.")
        say(f"See it on the map:  crossfall serve {folder}")
    if not no_serve:
        from crossfall_app.cli.keep import open_pages

        open_pages(workspace, port=port)


def _demo_workspace(folder: Path, seed: int, today: date | None, units: str) -> Workspace:
    from crossfall.demo import osier_valley

    if is_workspace(folder):
        return _earlier_demo(folder)
    # In English and in UTC, for the valley lies nowhere
    workspace = create_workspace(folder, Config("Osier Valley", "UTC", units))  # type: ignore[arg-type]
    with shown_progress("Drawing the valley") as progress:
        workspace = open_workspace(folder)
        from crossfall_app.store import repository

        today = today or _june_monday(workspace.today())
        progress(0.3, "Drawing the valley")
        district = osier_valley(seed=seed, today=today)
        progress(0.7, "Storing the valley")
        repository.store_district(district, by=the_person(), invented_today=today)
    return workspace


def _earlier_demo(folder: Path) -> Workspace:
    workspace = open_workspace(folder)
    from crossfall_app.store import repository

    if not repository.agency().is_invented:
        raise WorkspaceError(f"{folder} is a workspace of real roads; name another for the demo")
    if not repository.has_network():
        raise WorkspaceError(f"{folder} is a demo that was not finished; remove it")
    remark(f"{folder} holds the demo already; planning its week again")
    return workspace


def _june_monday(now: date) -> date:
    day = date(now.year, *_SEASON)
    return day + timedelta(days=-day.weekday() % 7)


def _demo_result(shown: Any, cards_file: Path) -> dict[str, Any]:
    from crossfall_app.cli import STARTED

    week = shown.result
    return {
        "segments": len(shown.district.network.maintained),
        "graders": len(shown.district.fleet.graders),
        "days": shown.plan.n_days,
        "jobs_served": week["jobs_served"],
        "jobs_unserved": week["jobs_unserved"],
        "cards": len(shown.cards),
        "checker_violations": week["checker_violations"],
        "benefit": week["benefit"],
        "benefit_bound": week["benefit_bound"],
        "gap_pct": week["gap_pct"],
        "cards_file": str(cards_file),
        "is_invented": shown.district.is_invented,
        "wall_s": round(time.perf_counter() - STARTED, 3),
    }


COMMANDS = (("demo", demo, False), ("init", init, False))
