"""Networks too large for one table: a folder of files in, a folder of results out."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crossfall.errors import InputError
from crossfall_app.cli.places import (
    JsonOption,
    WorkspaceOption,
    pairs,
    the_workspace,
    usual_first_day,
)
from crossfall_app.cli.speak import new_table, remark, say, say_json, say_table, shown_progress

if TYPE_CHECKING:
    from crossfall.programme.limits import Limits
    from crossfall.programme.parted import PartedProgramme

GROUP_HELP = "Years ahead of a state or a country, in parts."


def write(
    parts: Annotated[Path, typer.Argument(metavar="PARTS", help="The folder to write into.")],
    name: Annotated[str, typer.Option(help="What the files begin with.")] = "segments",
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write this agency's segments as files for a larger study.

    Put the files of many agencies into one folder, then plan them together.
    """
    opened = the_workspace(None, workspace)
    from crossfall.io.partitions import write_segments
    from crossfall.workflow import segment_facts_of
    from crossfall_app.store import repository

    columns = segment_facts_of(repository.load_district(), today=usual_first_day(opened))
    files = write_segments(columns, parts, name=name)
    n = len(columns["adt"])
    if as_json:
        say_json({"files": [str(each) for each in files], "segments": n})
        return
    say(f"{n:,} segments are in {parts}")


def plan(
    parts: Annotated[Path, typer.Argument(metavar="PARTS", help="The folder of segments.")],
    out: Annotated[Path, typer.Argument(metavar="OUT", help="A new folder for results.")],
    n_years: Annotated[int, typer.Option("--years", help="Years ahead, 1 to 30.")] = 20,
    first_year: Annotated[int, typer.Option("--from", help="The first year.")] = 1,
    budget: Annotated[
        float | None, typer.Option(help="Money a year; no limit when left out.")
    ] = None,
    grader_h: Annotated[
        float | None, typer.Option(help="Grader hours a year; no limit when left out.")
    ] = None,
    gravel_m3: Annotated[
        list[str] | None, typer.Option(help="Compacted gravel a year as PIT=M3; may be repeated.")
    ] = None,
    scheduler: Annotated[
        str, typer.Option(help="Address of a Dask scheduler; else workers on this computer.")
    ] = "",
    workers: Annotated[
        int, typer.Option(help="Workers on this computer; 0 plans in this process.")
    ] = 2,
    kept: Annotated[
        int, typer.Option(help="Parts of 50,000 segments that a worker keeps in memory.")
    ] = 64,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Plan the years of all segments in a folder of Parquet files.

    Thresholds and prices are those of the workspace. What comes out is the same on one process and
    on many; a worker that is lost is made good.
    """
    the_workspace(None, workspace)
    from crossfall.io.partitions import ParquetResults, ParquetSegments
    from crossfall.programme import make_limits
    from crossfall.programme.parted import plan_parted
    from crossfall.programme.years import check_currency
    from crossfall_app.store import repository

    policy = repository.load_policy()
    currency = check_currency(policy)
    source = ParquetSegments(parts)
    by_pit = _by_pit(gravel_m3)

    def limits(pit_names: tuple[str, ...]) -> Limits:
        return make_limits(
            n_years,
            budget_minor=None if budget is None else budget * 100,
            grader_h=grader_h,
            gravel_m3=by_pit,
            pit_names=pit_names,
        )

    limits(source.pit_names)  # what cannot be is named before any worker starts
    with shown_progress("Years ahead") as progress, _runner(scheduler, workers) as runner:
        found = plan_parted(
            source,
            policy,
            limits,
            n_years=n_years,
            runner=runner,
            sink=ParquetResults(out),
            first_year=first_year,
            kept_parts=kept,
            progress=progress,
        )
    _show(found, currency, first_year, out, as_json)


@contextmanager
def _runner(scheduler: str, workers: int) -> Iterator[Any]:
    from crossfall.programme.parted import InProcess, OnDask

    if not scheduler and workers == 0:
        yield InProcess()
        return
    try:
        import distributed
    except ImportError as error:
        raise InputError(
            "workers need: pip install 'crossfall[scale]'; or plan here with --workers 0"
        ) from error
    dask: Any = distributed
    if scheduler:
        try:
            client = dask.Client(scheduler, timeout="5s")
        except (OSError, ValueError) as error:
            raise InputError(f"no scheduler answers at {scheduler} ({error})") from error
        with client:
            yield OnDask(client)
        return
    with (
        dask.LocalCluster(
            n_workers=workers, threads_per_worker=1, dashboard_address=None
        ) as cluster,
        dask.Client(cluster) as client,
    ):
        yield OnDask(client)


def _by_pit(given: list[str] | None) -> dict[str, float] | None:
    if not given:
        return None
    found = {}
    for pit, text in pairs(given, "gravel-m3").items():
        try:
            found[pit] = float(text)
        except ValueError:
            raise InputError(
                f"--gravel-m3 {pit}={text} has no figure; expected cubic metres"
            ) from None
    return found


def _show(found: PartedProgramme, currency: str, first_year: int, out: Path, as_json: bool) -> None:
    n_years = found.use_minor.shape[0]
    if as_json:
        say_json(
            {
                "segments": found.n_segments,
                "currency": currency,
                "gap_pct": found.choice.gap_pct,
                "avoidable_gap_pct": found.choice.avoidable_gap_pct,
                "years": [
                    {
                        "year": first_year + year,
                        "cost": found.use_minor[year] / 100,
                        "grader_h": found.use_h[year],
                        "gravel_m3": float(found.use_m3[:, year].sum()),
                        "mean_iri": found.mean_iri[year],
                        "mean_gravel_mm": found.mean_gravel_mm[year],
                        "one_more_is_worth": found.choice.prices[0, year],
                    }
                    for year in range(n_years)
                ],
                "out": str(out),
                "summary": found.summary(),
            }
        )
        return
    table = new_table(
        "Year", f"Cost, {currency}", "Grader h", "Gravel, m³", "Roughness", "Gravel left"
    )
    for year in range(n_years):
        table.add_row(
            str(first_year + year),
            f"{found.use_minor[year] / 100:,.0f}",
            f"{found.use_h[year]:,.0f}",
            f"{found.use_m3[:, year].sum():,.0f}",
            f"{found.mean_iri[year]:.1f} m/km",
            f"{found.mean_gravel_mm[year]:.0f} mm",
        )
    say_table(table)
    say(found.summary())
    remark(f"every segment's strategy is in {out}")


COMMANDS = (("country write", write, False), ("country plan", plan, False))
