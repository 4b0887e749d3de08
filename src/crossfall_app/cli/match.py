"""Tracks: laid on the roads and shown; written into the books only when a person accepts."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import typer

from crossfall.errors import InputError
from crossfall_app.cli.places import (
    AcceptOption,
    JsonOption,
    WorkspaceOption,
    a_day,
    pairs,
    the_person,
    the_workspace,
)
from crossfall_app.cli.speak import (
    count,
    in_units,
    new_table,
    remark,
    say,
    say_json,
    say_table,
    shown_progress,
)


def match(
    file: Annotated[
        Path | None,
        typer.Argument(
            metavar="[FILE]",
            help="A track: .gpx, .nmea, .csv or .geojson; or a fleet snapshot: .xml.",
            show_default=False,
        ),
    ] = None,
    machine: Annotated[
        str | None, typer.Option(metavar="ID", help="The machine the track is of.")
    ] = None,
    accept: AcceptOption = False,
    without: Annotated[
        list[str] | None,
        typer.Option(metavar="SEGMENT", help="Accept all but this segment; may be repeated."),
    ] = None,
    profile: Annotated[
        Path | None, typer.Option(metavar="TOML", help="Columns, zone and words of a device.")
    ] = None,
    column: Annotated[
        list[str] | None,
        typer.Option(metavar="OURS=THEIRS", help="time, date, lat, lon, blade or machine; repeat."),
    ] = None,
    zone: Annotated[
        str | None, typer.Option(metavar="ZONE", help="Of clocks that do not say: America/Denver.")
    ] = None,
    day: Annotated[
        str | None, typer.Option(metavar="DAY", help="NMEA without dates: its first day, UTC.")
    ] = None,
    only: Annotated[
        str | None, typer.Option(metavar="NAME", help="Of several machines in a file, this one.")
    ] = None,
    snapshots: Annotated[
        Path | None, typer.Option(metavar="XML", help="Hours and fuel of the same days.")
    ] = None,
    purge: Annotated[
        bool, typer.Option("--purge", help="Empty every kept proposal now, waiting or not.")
    ] = False,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Lay a machine's track on the roads and propose its work.

    Without --accept it only shows what the track tells. Accepting reports and closes cards, adds
    records and the sums of the day. Tracks are off until the policy turns them on, and then
    nothing but the proposal is kept, for as long as the policy says.
    """
    opened = the_workspace(None, workspace)
    from crossfall_app.store import tracks

    if purge:
        if file is not None:
            raise InputError("--purge empties what is kept; it takes no file")
        n_purged = tracks.purge_tracks(by=the_person(), all_of_them=True)
        if as_json:
            say_json({"purged": n_purged})
        else:
            say(f"{count(n_purged, 'proposal')} emptied.")
        return
    if file is None:
        raise InputError("there is nothing to match; name a file with a track")
    if machine is None:
        raise InputError("whose track is it? say --machine ID; the ids are in the fleet")
    if accept:
        tracks.refuse_when_off()
    from crossfall_app.store.track_intake import TrackIntake

    told = _told(profile, column, zone, day, only)
    with shown_progress("Reading") as progress:
        intake = TrackIntake.read(
            file,
            machine_id=machine,
            profile=told,
            snapshots=snapshots,
            only=only,
            zone=ZoneInfo(opened.config.time_zone),
            progress=progress,
        )
    left = intake.rows_of(without or ())
    done = intake.accept(by=the_person(), without=left) if accept else None
    if as_json:
        say_json({"accepted": accept, **intake.as_json()})
        return
    for line in intake.lines():
        say(in_units(line, opened.config.units))
    if intake.work:
        _table(intake, opened.config.units)
    if done is not None:
        say(f"Accepted: {done.summary()}.")
    else:
        remark("nothing was written; add --accept to write it")
    for doubt in intake.doubts():
        remark(in_units(doubt, opened.config.units))


def rates(
    accept: AcceptOption = False,
    version: Annotated[str | None, typer.Option(help="Name of the new policy version.")] = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare the planner's speeds with your records and tracks.

    Without --accept it only shows the old and the new figures. Accepting puts a new policy version
    in force and moves the roads that travel at their class's default speed.
    """
    the_workspace(None, workspace)
    from crossfall.learning import learn_rates
    from crossfall_app.store import repository
    from crossfall_app.store.learned import put_rates_in_force

    district = repository.load_district()
    found = learn_rates(
        district.records, district.machine_days, district.network, district.policy, version=version
    )
    n_moved = 0
    if accept:
        if not found.has_changes:
            raise InputError("there are too few records and tracks to change a rate")
        n_moved = put_rates_in_force(found, by=the_person())
    if as_json:
        say_json(
            {
                "accepted": accept,
                "version": found.policy.version,
                "rates": [
                    {
                        "setting": row.path, "unit": row.unit, "old": row.old, "new": row.new,
                        "raw": row.raw, "n": row.n, "is_prior": row.is_prior,
                    }
                    for row in found.rows
                ],
                "left_out": list(found.left_out),
                "roads_moved": n_moved,
            }
        )  # fmt: skip
        return
    say(found.summary())
    for line in found.left_out[:8]:
        remark(f"left out: {line}")
    if accept:
        say(f"Accepted as policy version {found.policy.version}; {count(n_moved, 'road')} moved.")
    else:
        remark("nothing was written; add --accept to write it")


def _told(
    profile: Path | None,
    column: list[str] | None,
    zone: str | None,
    day: str | None,
    only: str | None,
) -> Any:
    from crossfall.io.tracks import TrackProfile, read_profile
    from crossfall.io.tracks.profile import zone_named

    told = read_profile(profile) if profile is not None else TrackProfile()
    if column:
        told = replace(told, columns={**told.columns, **pairs(column, "column")})
    if zone is not None:
        told = replace(told, zone=zone_named(zone))
    if day is not None:
        told = replace(told, first_day=a_day(day, "day"))
    if only is not None:
        told = replace(told, machine=only)
    return told


def _table(intake: Any, units: str) -> None:
    table = new_table(
        "Day", "Road", "Segment", "Passes", "Ordered", "Worked", "Hours", "Speed", "Accepting it",
        right=("Passes", "Ordered", "Worked", "Hours", "Speed"),
    )  # fmt: skip
    for work in intake.work:
        speed = ""
        if work.speed_km_h is not None:
            mark = " !" if work.n_fast else ""
            speed = (
                f"{work.speed_km_h:.1f} ± {max(work.speed_error_km_h or 0.0, 0.1):.1f} km/h{mark}"
            )
        table.add_row(
            f"{work.day:%a %d %b}",
            work.road,
            work.segment_id,
            f"{work.n_forward}+{work.n_backward}",
            "" if work.planned_passes is None else str(work.planned_passes),
            in_units(f"{work.covered_m:.0f} m", units),
            f"{work.hours:.1f}",
            in_units(speed, units),
            work.would,
        )
    say_table(table)


COMMANDS = (("match", match, False), ("rates", rates, False))
