"""The main job: plan the week, and put its cards on paper."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crossfall.errors import Cancelled, InfeasibleError, InputError
from crossfall_app.cli.places import (
    DirArgument,
    JsonOption,
    WorkspaceOption,
    a_day,
    the_person,
    the_workspace,
    usual_first_day,
)
from crossfall_app.cli.speak import complain, count, say, say_json, shown_progress
from crossfall_app.workspace import Workspace

if TYPE_CHECKING:
    from crossfall.model import District, JobCard, Plan, Violation
    from crossfall_app.store.repository import StoredWeek


@dataclass(frozen=True)
class ShownWeek:
    """A planned week with what is said about it."""

    district: District
    plan: Plan
    kept: StoredWeek
    result: dict[str, Any]
    """What ``--json`` prints."""
    units: str = "metric"

    @property
    def cards(self) -> tuple[JobCard, ...]:
        return self.kept.cards


def plan(
    folder: DirArgument = None,
    days: Annotated[int, typer.Option(min=1, max=14, help="Days to plan.")] = 5,
    seconds: Annotated[float, typer.Option(min=0, help="Time to search for the plan.")] = 20.0,
    seed: Annotated[int, typer.Option(min=0, help="Where the search begins.")] = 1,
    iterations: Annotated[
        int | None,
        typer.Option(min=0, help="Rounds, not seconds: the same plan again."),
    ] = None,
    start: Annotated[
        str | None, typer.Option(metavar="DAY", help="First day; today when left out.")
    ] = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Plan the week: who goes where, what is left out and why.

    The plan is checked by separate code and kept; its cards are drafts until somebody issues them.
    """
    with _no_plan_when_stopped():
        opened = the_workspace(folder, workspace)
    first_day = a_day(start, "start")
    shown = plan_the_week(
        opened,
        days=days,
        seconds=seconds,
        seed=seed,
        iterations=iterations,
        first_day=first_day,
        as_json=as_json,
    )
    if as_json:
        say_json(shown.result)
    else:
        show_week(shown)
    refuse_empty(shown)


def cards(
    folder: DirArgument = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The PDF; else one in the folder out/.")
    ] = None,
    day: Annotated[str | None, typer.Option(metavar="DAY", help="Only this day's.")] = None,
    paper: Annotated[
        str | None, typer.Option(help="a4 or letter; letter with US units when left out.")
    ] = None,
    units: Annotated[
        str | None, typer.Option(help="metric or us; else the workspace's own.")
    ] = None,
    day_sheets: Annotated[
        bool, typer.Option("--day-sheets", help="A sheet for each person and day instead.")
    ] = False,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the latest plan's job cards as a PDF."""
    opened = the_workspace(folder, workspace)
    from crossfall_app.store import repository

    week = repository.latest_week()
    if week is None:
        raise InputError("there is no plan yet; make one with: crossfall plan")
    only = a_day(day, "day")
    if day_sheets:
        from crossfall_app.cli.day_sheets import write_day_sheets

        write_day_sheets(opened, week, only, out=out, paper=paper, units=units, as_json=as_json)
        return
    chosen = tuple(card for card in week.cards if only is None or card.day == only)
    if not chosen:
        raise InputError(f"plan {week.plan.id} has no card" + (f" for {only}" if only else ""))
    file = make_cards_file(opened, chosen, out=out, paper=paper, units=units)
    if as_json:
        say_json({"file": str(file), "cards": len(chosen), "plan": week.plan.id})
    else:
        is_are = "is" if len(chosen) == 1 else "are"
        say(f"{count(len(chosen), 'job card')} of plan {week.plan.id} {is_are} in {file}")


def plan_the_week(
    workspace: Workspace,
    *,
    days: int,
    seconds: float,
    seed: int,
    iterations: int | None = None,
    first_day: date | None = None,
    as_json: bool = False,
) -> ShownWeek:
    """Plan, check and keep a week.

    Raises
    ------
    typer.Exit
        With 1 if the plan breaks a rule; it is not kept then, and ``as_json`` prints what was
        broken.
    Cancelled
        If the person stops the search; no plan is made then.
    """
    with _no_plan_when_stopped():
        from crossfall_app.runs.planning import plan_from_store
        from crossfall_app.store import repository

        _refuse_without_network()
    with _no_plan_when_stopped(), shown_progress("Planning") as progress:
        planned = plan_from_store(
            first_day=first_day or usual_first_day(workspace),
            n_days=days,
            seconds=seconds,
            seed=seed,
            iterations=iterations,
            made_at=workspace.now(),
            progress=progress,
        )
    week = planned.week
    if week.violations:
        if as_json:
            say_json(_broken(week.violations))
        first = week.violations[0]
        complain(
            "crossfall's own mistake: the plan broke its own rules and is not shown"
            f" ({len(week.violations)} found; the first: {first.message}, {first.where})"
        )
        raise typer.Exit(1)
    kept = repository.save_week(week, by=the_person())
    # Counted on the week that was checked: what is kept says nothing of the checker
    told = _result(planned.district, kept, n_violations=len(week.violations))
    return ShownWeek(planned.district, kept.plan, kept, told, workspace.config.units)


def show_week(shown: ShownWeek) -> None:
    """The plan as a foreman reads it."""
    from crossfall_app.cli.week_table import say_week

    say_week(shown.district, shown.kept, units=shown.units)


def refuse_empty(shown: ShownWeek) -> None:
    """Say so when there is work and none of it can be done; called after the plan is shown.

    Raises
    ------
    InfeasibleError
        If no machine has anything to do.
    """
    if shown.kept.jobs and not shown.plan.itineraries:
        raise InfeasibleError(
            f"not one of {len(shown.kept.jobs)} jobs can be done in these days:"
            f" {_commonest_reason(shown.plan)}"
        )


def make_cards_file(
    workspace: Workspace,
    chosen: tuple[JobCard, ...],
    *,
    out: Path | None = None,
    paper: str | None = None,
    units: str | None = None,
) -> Path:
    """Write the cards as one PDF and return where it is; a half-written one never bears its name.

    Raises
    ------
    InputError
        If paper or units are unknown, or the folder of ``out`` is not there.
    """
    from crossfall.report import cards_pdf

    wanted, paper = paper_and_units(workspace, out=out, paper=paper, units=units)
    if not chosen:
        raise InputError("there is no card to write")
    days = [card.day for card in chosen]
    span = f"{min(days)}" + (f"-to-{max(days)}" if max(days) > min(days) else "")
    file = out or workspace.out / f"cards-{span}.pdf"
    address = workspace.config.address.rstrip("/")
    link = f"{address}/cards/" if address else ""
    write_whole(file, cards_pdf(chosen, paper=paper, units=wanted, link=link))
    return file


def paper_and_units(
    workspace: Workspace, *, out: Path | None, paper: str | None, units: str | None
) -> tuple[str, str]:
    """Units and paper that are meant, when they and the file can be.

    Raises
    ------
    InputError
        If paper or units are unknown, or the folder of ``out`` is not there.
    """
    wanted = units or workspace.config.units
    if wanted not in {"metric", "us"}:
        raise InputError(f"--units is {wanted!r}; expected metric or us")
    paper = paper or ("letter" if wanted == "us" else "a4")
    if paper not in {"a4", "letter"}:
        raise InputError(f"--paper is {paper!r}; expected a4 or letter")
    if out is not None and not out.parent.is_dir():
        raise InputError(f"--out {out}: the folder {out.parent} is not there; make it first")
    if out is not None and out.is_dir():
        raise InputError(f"--out {out} is a folder; name a file in it, like {out / 'cards.pdf'}")
    return wanted, paper


def write_whole(file: Path, content: bytes) -> None:
    """Write a file under its name only once it is whole."""
    file.parent.mkdir(parents=True, exist_ok=True)
    part = file.with_name(file.name + ".part")
    part.write_bytes(content)
    part.replace(file)


@contextmanager
def _no_plan_when_stopped() -> Iterator[None]:
    """Whoever stops before a plan is kept is told that there is none."""
    try:
        yield
    except (KeyboardInterrupt, Cancelled):
        raise Cancelled("no plan was made, and the one before stands") from None


def _refuse_without_network() -> None:
    from crossfall_app.store import repository

    if not repository.has_network():
        raise InputError("the workspace has no network; bring one in with: crossfall import")


def _commonest_reason(plan: Plan) -> str:
    counts: dict[str, int] = {}
    for each in plan.unserved:
        counts[each.reason] = counts.get(each.reason, 0) + 1
    return max(counts, key=lambda reason: counts[reason]) if counts else "no reason was found"


def _broken(violations: tuple[Violation, ...]) -> dict[str, Any]:
    return {
        "plan": None,
        "checker_violations": len(violations),
        "violations": [
            {"rule": each.rule, "where": each.where, "message": each.message} for each in violations
        ],
    }


def _result(district: District, week: StoredWeek, *, n_violations: int) -> dict[str, Any]:
    from crossfall.dispatch.figures import figures_of
    from crossfall_app.cli import STARTED
    from crossfall_app.cli.week_table import cost_json, itinerary_rows, unserved_rows, week_cost

    plan = week.plan
    figures = figures_of(plan, week.jobs, district.network)

    def rounded(of: dict[str, float]) -> dict[str, float]:
        return {name: round(hours, 3) for name, hours in of.items()}

    return {
        "plan": plan.id,
        "first_day": plan.first_day.isoformat(),
        "last_day": (plan.first_day + timedelta(days=plan.n_days - 1)).isoformat(),
        "jobs_served": len(plan.served),
        "jobs_unserved": len(plan.unserved),
        "benefit": plan.benefit_h,
        "benefit_bound": plan.benefit_bound_h,
        "gap_pct": plan.gap_pct,
        "unserved": unserved_rows(district, plan),
        "itineraries": itinerary_rows(district, week),
        "checker_violations": n_violations,
        "cost": cost_json(week_cost(week)),
        "cards": len(week.cards),
        "figures": {
            "hours": rounded(figures.hours),
            "deadhead_pct": round(figures.deadhead_pct, 2),
            "travel_km": round(figures.travel_km, 1),
            "hours_by_machine": rounded(figures.machine_hours),
            "hours_by_district": rounded(figures.district_hours),
            "worth_by_road_class": rounded(figures.class_worth_h),
        },
        "reserved": [
            {
                "day": each.day.isoformat(),
                "start_min": each.start_min,
                "end_min": each.end_min,
                "kind": each.kind,
                "machine": each.machine_id,
                "operator": each.operator_id,
                "note": each.note,
            }
            for each in plan.reserved
        ],
        "nights_out": [
            {
                "machine": each.machine_id,
                "night_of": each.night_of.isoformat(),
                "node": each.node,
                "camp": each.place_id,
                "ride_min": round(each.shuttle_min, 2),
            }
            for each in plan.stays
        ],
        "note": plan.note,
        "is_invented": district.is_invented,
        "wall_s": round(time.perf_counter() - STARTED, 3),
    }


COMMANDS = (("plan", plan, False), ("cards", cards, False))
