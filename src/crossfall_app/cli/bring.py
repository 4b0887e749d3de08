"""Bringing in: roads, fleet, conditions, policy and weather; shown first, written on --accept."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from crossfall.errors import InputError
from crossfall_app.cli.bring_tables import bring_tables, is_package_of_tables
from crossfall_app.cli.places import (
    AcceptOption,
    JsonOption,
    WorkspaceOption,
    a_day,
    a_place,
    pairs,
    the_person,
    the_workspace,
    usual_first_day,
)
from crossfall_app.cli.speak import in_units, remark, say, say_json, shown_progress
from crossfall_app.workspace import Workspace

_MOST_LISTED = 12


def import_(
    file: Annotated[
        Path | None,
        typer.Argument(
            metavar="[FILE]",
            help="Roads: .osm, .osm.pbf, .gpkg, .geojson, .csv with WKT, .shp, .fgb, .gdb, .zip.",
            show_default=False,
        ),
    ] = None,
    accept: AcceptOption = False,
    column: Annotated[
        list[str] | None,
        typer.Option(metavar="OURS=THEIRS", help="A column's other name; may be repeated."),
    ] = None,
    surface: Annotated[
        list[str] | None,
        typer.Option(metavar="THEIRS=OURS", help="A surface code, such as AGG=gravel; repeat."),
    ] = None,
    layer: Annotated[str | None, typer.Option(help="Of a GeoPackage with several.")] = None,
    crs: Annotated[
        str | None, typer.Option(help="Coordinate system when the file is silent: EPSG:26913.")
    ] = None,
    near: Annotated[
        str | None, typer.Option(metavar="LON,LAT", help="A place the roads should be near.")
    ] = None,
    width_unit: Annotated[str | None, typer.Option(help="Of the width column: m or ft.")] = None,
    length_unit: Annotated[
        str | None, typer.Option(help="Of the length column: m, ft, km or mi.")
    ] = None,
    maintained_by: Annotated[
        list[str] | None, typer.Option(help="Only this jurisdiction's roads; may be repeated.")
    ] = None,
    include_unknown: Annotated[
        bool, typer.Option("--include-unknown", help="Also roads whose surface nobody knows.")
    ] = False,
    join_crossings: Annotated[
        bool, typer.Option("--join-crossings", help="Make junctions where lines cross.")
    ] = False,
    skip_bad: Annotated[
        bool, typer.Option("--skip-bad", help="Leave out lines of no length, and list them.")
    ] = False,
    merge: Annotated[
        bool, typer.Option("--merge", help="Keep roads that the file does not mention.")
    ] = False,
    events: Annotated[
        Path | None, typer.Option(metavar="CSV", help="Facts on stretches of road, by metres.")
    ] = None,
    features: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Culverts, bridges, gates and the like.")
    ] = None,
    calibration: Annotated[
        Path | None, typer.Option(metavar="CSV", help="Where the metres of the events lie.")
    ] = None,
    report: Annotated[
        Path | None, typer.Option(metavar="HTML", help="Write a map of what to look at here.")
    ] = None,
    fleet: Annotated[
        Path | None, typer.Option(metavar="TOML", help="Places, machines, operators, pits.")
    ] = None,
    graders: Annotated[
        int | None, typer.Option(min=1, help="No fleet file yet: assume so many graders.")
    ] = None,
    yard: Annotated[
        str | None, typer.Option(metavar="LON,LAT", help="Where assumed graders stand.")
    ] = None,
    conditions: Annotated[
        Path | None, typer.Option(metavar="CSV", help="A survey, one row for each look.")
    ] = None,
    keep_good: Annotated[
        bool,
        typer.Option(
            "--keep-good", help="Of a survey, take the rows that can be used; list the others."
        ),
    ] = False,
    policy: Annotated[
        Path | None, typer.Option(metavar="TOML", help="Settings to change, with a version.")
    ] = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Bring in roads, fleet, survey or policy.

    Without --accept it only shows what would change, and writes nothing.
    """
    file, fleet, conditions = _where_it_belongs(file, fleet, conditions)
    given = (file, events, features, fleet, graders, conditions, policy)
    if all(each is None for each in given):
        raise InputError("there is nothing to import; name a file of roads, or --fleet and others")
    opened = the_workspace(None, workspace)
    if is_package_of_tables(file):
        if any(each is not None for each in (events, features, fleet, graders, conditions, policy)):
            raise InputError(f"{file} holds a whole district; bring it in alone")
        assert file is not None, "a package is a file"
        bring_tables(file, accept=accept, by=the_person(), as_json=as_json)
        return
    from crossfall_app.cli.intake import Intake
    from crossfall_app.store.incoming_roads import RoadFiles

    options = {
        "columns": pairs(column, "column"),
        "surface_words": pairs(surface, "surface"),
        "layer": layer,
        "crs": crs,
        "near": a_place(near, "near"),
        "width_unit": width_unit,
        "length_unit": length_unit,
        "maintained_by": tuple(maintained_by or ()),
        "include_unknown": include_unknown,
        "join_crossings": join_crossings,
        "skip_bad": skip_bad,
    }
    with shown_progress("Reading"):
        intake = Intake.read(
            opened,
            roads=RoadFiles(file, events, features, calibration, options),
            fleet=fleet,
            n_graders=graders,
            yard=a_place(yard, "yard"),
            conditions=conditions,
            keep_good=keep_good,
            policy=policy,
            is_merge=merge,
        )
    if report is not None:
        if intake.roads is None:
            raise InputError("--report draws roads; name a file of roads, events or features")
        report.write_text(intake.roads.page(units=opened.config.units), encoding="utf-8")
    if accept:
        intake.accept(by=the_person())
    if as_json:
        say_json({"accepted": accept, **intake.as_json()})
        return
    for line in intake.lines(most=_MOST_LISTED):
        say(in_units(line, opened.config.units))
    if accept:
        say("Accepted.")
    else:
        remark("nothing was written; add --accept to write it")


def _where_it_belongs(
    file: Path | None, fleet: Path | None, conditions: Path | None
) -> tuple[Path | None, Path | None, Path | None]:
    """A fleet file given as FILE is taken as --fleet; a survey or a policy is told where it goes.

    Raises
    ------
    InputError
        If the file is something else than roads and its option is to be named.
    """
    if file is None or not file.is_file():
        return file, fleet, conditions
    if file.suffix.lower() == ".toml":
        text = file.read_text(encoding="utf-8", errors="replace")
        if "[[" not in text:
            raise InputError(f"{file.name} has no roads; if it changes settings, say --policy FILE")
        if fleet is not None:
            raise InputError(f"{file.name} and {fleet.name} are both fleet files; name one")
        remark(f"{file.name} is read as the fleet, as with --fleet")
        return None, file, conditions
    if file.suffix.lower() == ".csv":
        with file.open(encoding="utf-8", errors="replace") as lines:
            header = {name.strip() for name in lines.readline().split(",")}
        if {"segment_id", "observed_on"} <= header:
            raise InputError(f"{file.name} is a survey, not roads; say --conditions {file}")
    return file, fleet, conditions


def weather(
    files: Annotated[
        list[Path],
        typer.Argument(
            metavar="FILE...",
            help="GHCN-Daily .dly or .csv, any other CSV, or forecast JSON.",
        ),
    ],
    forecast: Annotated[
        bool, typer.Option("--forecast", help="The files are forecasts (JSON, with members).")
    ] = False,
    station: Annotated[
        str | None, typer.Option(help="The station's id; the file's name when left out.")
    ] = None,
    at: Annotated[
        str | None,
        typer.Option(metavar="LON,LAT", help="Where it stands; the middle of the roads if unsaid."),
    ] = None,
    elevation_m: Annotated[float, typer.Option(help="Above the sea, in metres.")] = 0.0,
    column: Annotated[
        list[str] | None,
        typer.Option(metavar="OURS=THEIRS", help="rain=Rain; not for date, rain_mm, tmin_c, ..."),
    ] = None,
    unit: Annotated[
        list[str] | None,
        typer.Option(metavar="OURS=UNIT", help="rain=in or tmin=degF; may be repeated."),
    ] = None,
    where: Annotated[
        list[str] | None,
        typer.Option(metavar="COLUMN=WORD", help="Only rows with this word; may be repeated."),
    ] = None,
    date_format: Annotated[str | None, typer.Option(help="Such as %d.%m.%Y.")] = None,
    time_zone: Annotated[str | None, typer.Option(help="Of hourly rows.")] = None,
    read_in_the_morning: Annotated[
        bool,
        typer.Option("--read-in-the-morning", help="The gauge's rain fell on the day before."),
    ] = False,
    keep_gaps: Annotated[
        bool, typer.Option("--keep-gaps", help="Take a file with days of unknown rain as it is.")
    ] = False,
    believe: Annotated[
        bool, typer.Option("--believe", help="Take figures that are possible but unlikely.")
    ] = False,
    issued: Annotated[
        str | None, typer.Option(metavar="DAY", help="When the forecast was made.")
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Read and tell, write nothing.")
    ] = False,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Bring in observed weather or a forecast, written at once.

    Days that nobody knows are never filled in. Columns named date, rain_mm, tmin_c, tmax_c,
    wind_m_s and so on, or with _in, _f, _mph, need no --column and no --unit.
    """
    opened = the_workspace(None, workspace)
    from crossfall_app.cli.intake import (
        read_forecasts,
        read_observed,
        store_weather,
        with_place_and_day,
    )

    place = a_place(at, "at") or _middle_of_the_roads(opened)
    found: list[Any]
    if forecast:
        mapped = any((column, unit, where, date_format, read_in_the_morning, believe))
        if mapped:
            raise InputError(
                "--column, --unit and the like are for observed files; a forecast has them"
            )
        found = read_forecasts(
            files,
            station=station,
            place=a_place(at, "at"),
            elevation_m=elevation_m,
            issued_on=a_day(issued, "issued"),
            time_zone=time_zone,
        )
    else:
        if issued is not None:
            raise InputError("--issued is for forecasts; add --forecast")
        found = read_observed(
            files,
            station=station,
            place=place,
            elevation_m=elevation_m,
            shape={
                "columns": pairs(column, "column"),
                "units": pairs(unit, "unit"),
                "where": pairs(where, "where"),
                "date_format": date_format,
                "time_zone": time_zone,
                "home_zone": opened.config.time_zone,
                "reading": "day_before" if read_in_the_morning else "same_day",
                "believe": believe,
            },
            keep_gaps=keep_gaps,
        )
    found = with_place_and_day(found, today=usual_first_day(opened))
    if not dry_run:
        store_weather(found, by=the_person())
    if as_json:
        say_json({"written": not dry_run, "files": [_weather_row(each) for each in found]})
        return
    for each in found:
        say(in_units(each.report.summary(), opened.config.units))
    if at is None and not forecast:
        remark(f"the station is taken to stand at {place[0]:.4f},{place[1]:.4f}; say where: --at")
    if dry_run:
        remark("nothing was written")


def _middle_of_the_roads(workspace: Workspace) -> tuple[float, float]:
    from crossfall_app.cli.assumed import middle_of
    from crossfall_app.store import repository

    if not repository.has_network():
        raise InputError(
            f"{workspace.path.name} has no roads yet, so where the station stands is not known;"
            " say where with --at LON,LAT"
        )
    return middle_of(repository.load_network())


def _weather_row(found: Any) -> dict[str, Any]:
    report = found.report
    return {
        "file": report.file,
        "format": report.format,
        "first_day": report.first_day.isoformat(),
        "last_day": report.last_day.isoformat(),
        "days_unknown": report.n_unknown,
        "doubts": [str(doubt) for doubt in report.doubts],
    }


COMMANDS = (("import", import_, False), ("weather", weather, False))
