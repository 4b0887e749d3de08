"""What people say of the surface: a look, a gauge, a signed load limit, and fitting to them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time
from typing import TYPE_CHECKING, Annotated, Any
from zoneinfo import ZoneInfo

import typer

from crossfall.errors import InputError
from crossfall_app.cli.moisture import limit_rows, the_district
from crossfall_app.cli.places import (
    AcceptOption,
    DirArgument,
    JsonOption,
    WorkspaceOption,
    a_day,
    a_place,
    the_person,
    the_workspace,
    usual_first_day,
)
from crossfall_app.cli.speak import new_table, remark, say, say_json, say_table

if TYPE_CHECKING:
    from crossfall.judgement import SurfaceDifference
    from crossfall.model import District
    from crossfall.workflow import MorningSheet
    from crossfall_app.workspace import Workspace

_SHOWN_DAYS = 10
_MOST_ROWS = 15


def observe(
    folder: DirArgument = None,
    road: Annotated[
        str | None, typer.Option(help="The road by name, or one segment by its id.")
    ] = None,
    km: Annotated[
        float | None, typer.Option(help="Where along it; a look without it is of all of it.")
    ] = None,
    at: Annotated[
        str | None, typer.Option(metavar="LON,LAT", help="Or a place beside the roads.")
    ] = None,
    felt: Annotated[
        str | None, typer.Option(help="How the surface is: too_wet, just_right or dust.")
    ] = None,
    rain_mm: Annotated[
        float | None, typer.Option(min=0, help="What the gauge caught since yesterday morning.")
    ] = None,
    rain_in: Annotated[float | None, typer.Option(min=0, help="The same in inches.")] = None,
    day: Annotated[
        str | None, typer.Option(metavar="DAY", help="When; today when left out.")
    ] = None,
    by: Annotated[
        str | None, typer.Option(metavar="NAME", help="Who saw it; you when left out.")
    ] = None,
    note: Annotated[str, typer.Option(help="Anything else.")] = "",
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Keep what somebody saw of a surface or read from a gauge.

    It outweighs what is worked out, there and on the roads around, and fades with distance and
    time. Says what it changed. Kept for good: a later look answers an earlier one.
    """
    opened = the_workspace(folder, workspace)
    from uuid import uuid4

    from crossfall.judgement import FieldReport, observations_of
    from crossfall.units import convert
    from crossfall_app.store import repository

    if rain_mm is not None and rain_in is not None:
        raise InputError("rain is given in millimetres and in inches; give one of the two")
    district, today = the_district(), usual_first_day(opened)
    report = FieldReport(
        observed_on=a_day(day, "day") or today,
        felt=felt,
        rain_mm=convert(rain_in, "in", "mm") if rain_in is not None else rain_mm,
        road=road or "",
        at_m=None if km is None else convert(km, "km", "m"),
        place=a_place(at, "at"),
        observer=by or the_person(),
        note=note,
    )
    told = observations_of(
        report, district.network, district.policy, key=f"told-{uuid4().hex[:12]}", today=today
    )
    repository.add_observations(told, by=the_person())
    district = replace(district, observations=(*district.observations, *told))
    ids = [each.id for each in told]
    difference = _difference(district, ids, today)
    if as_json:
        say_json({"kept": ids, **_difference_json(district, difference)})
        return
    say(f"Kept: {len(told)} observation{'' if len(told) == 1 else 's'} of {report.observed_on}.")
    if difference is None:
        remark("the surface is not known without weather, so nothing is said of what it changed")
        return
    _say_difference(district, difference)


def load_limit(
    folder: DirArgument = None,
    axle_t: Annotated[
        float | None, typer.Option(help="Post this limit: the heaviest axle let on, in t.")
    ] = None,
    authority: Annotated[str, typer.Option(help="The body that may post.")] = "",
    signed_by: Annotated[str, typer.Option(help="Who signs for it.")] = "",
    station: Annotated[
        str | None, typer.Option(help="Only the roads around this station; else all.")
    ] = None,
    start: Annotated[
        str | None, typer.Option(metavar="DAY", help="First day; the advised one, or today.")
    ] = None,
    down: Annotated[
        str | None, typer.Option(metavar="ID", help="Take this posted limit down, from now on.")
    ] = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """What the thaw advises of load limits, and what is posted.

    With --axle-t one is posted, with --down one is taken down. Advice binds nobody. A limit holds
    once a named person of the posting authority has signed it; then the agency's own trucks obey
    it.
    """
    opened = the_workspace(folder, workspace)
    from crossfall.workflow import morning
    from crossfall_app.store import repository

    today = usual_first_day(opened)
    if down is not None:
        repository.take_down_posting(down, _now(opened, today), by=the_person())
    sheet = morning(the_district(), today=today, n_days=_SHOWN_DAYS)
    if axle_t is not None:
        first = a_day(start, "start")
        _post(opened, sheet, axle_t, authority, signed_by, station, first)
    posted = [each for each in repository.load_district().postings if each.down_at is None]
    rows = [
        {
            "id": each.id,
            "axle_t": each.axle_t,
            "segments": len(each.segment_ids),
            "authority": each.authority,
            "signed_by": each.signed_by,
            "up_at": each.up_at.isoformat(),
        }
        for each in posted
    ]
    if as_json:
        say_json({"advice": limit_rows(sheet), "posted": rows})
        return
    for advice in limit_rows(sheet):
        say(f"{advice['station']}, {advice['segments']} stretches: {advice['reason']}")
    for row in rows:
        say(
            f"Posted ({row['id']}): {row['axle_t']:g} t an axle on {row['segments']} stretches"
            f" since {row['up_at']}, signed by {row['signed_by']} for {row['authority']}."
        )
    if not rows:
        say("No load limit is posted.")


def calibrate(
    folder: DirArgument = None,
    until: Annotated[
        str | None, typer.Option(metavar="DAY", help="Last day of looks; today when left out.")
    ] = None,
    accept: AcceptOption = False,
    version: Annotated[
        str | None, typer.Option(help="Name of the new policy version; else one is made up.")
    ] = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Fit how roads dry and drain to the looks that were logged.

    How fast they dry, how fast they drain, and how wet workable is. Half of the looks are kept out
    of the fit and judge it. Nothing changes without --accept, which puts a new policy version in
    force.
    """
    opened = the_workspace(folder, workspace)
    from crossfall.judgement.calibrate import calibrate_moisture
    from crossfall_app.store import repository

    district = the_district()
    day = a_day(until, "until") or usual_first_day(opened)
    found = calibrate_moisture(district, until=day)
    name = version or f"{district.policy.version}, moisture of {day}"
    if accept:
        policy = replace(district.policy, moisture=found.policy, version=name)
        repository.save_policy(policy, by=the_person(), note=found.summary())
    if as_json:
        say_json(
            {
                "settings": [
                    {"setting": row.setting, "before": row.before, "after": row.after}
                    for row in found.rows
                ],
                "looks_fitted": found.n_fitted,
                "looks_kept_out": found.n_kept_out,
                "right_before": round(found.hits_before, 4),
                "right_after": round(found.hits_after, 4),
                "is_better": found.is_better,
                "policy": name if accept else None,
            }
        )
        return
    table = new_table("Setting", "Now", "Proposed", "Unit", right=("Now", "Proposed"))
    for row in found.rows:
        table.add_row(row.setting, f"{row.before:.3g}", f"{row.after:.3g}", row.unit)
    say_table(table)
    say(found.summary())
    if accept:
        say(f"Policy version {name!r} is in force.")
    else:
        remark("nothing was changed; add --accept to put it in force")


def _post(
    opened: Workspace,
    sheet: MorningSheet,
    axle_t: float,
    authority: str,
    signed_by: str,
    station: str | None,
    start: date | None,
) -> None:
    from uuid import uuid4

    from crossfall.judgement import sign_posting
    from crossfall_app.store import repository

    if sheet.state is None:
        raise InputError(sheet.trouble)
    chosen = [each for each in sheet.limits if station in (None, each.station)]
    if not chosen:
        known = ", ".join(each.station for each in sheet.limits)
        raise InputError(f"station {station!r} is unknown; expected one of {known}")
    postings = [
        sign_posting(
            each,
            posting_id=f"limit-{uuid4().hex[:12]}",
            axle_t=axle_t,
            authority=authority,
            signed_by=signed_by,
            up_at=_at(opened, start or each.on or sheet.today, time()),
        )
        for each in chosen
    ]
    repository.add_postings(postings, by=the_person())


def _difference(district: District, ids: list[str], today: date) -> SurfaceDifference | None:
    from crossfall.workflow import what_changed

    try:
        return what_changed(district, ids, today=today, n_days=_SHOWN_DAYS)
    except InputError:
        return None


def _difference_json(district: District, difference: SurfaceDifference | None) -> dict[str, Any]:
    if difference is None:
        return {"heard_by": [], "changes": [], "summary": ""}
    return {
        "heard_by": list(difference.touched_ids),
        "changes": [
            {
                "segment": each.segment_id,
                "road": district.network.segment_by_id[each.segment_id].route,
                "day": each.day.isoformat(),
                "was": each.was.label,
                "now": each.now.label,
                "p_workable_was": round(each.p_workable_was, 4),
                "p_workable_now": round(each.p_workable_now, 4),
            }
            for each in difference.changes
        ],
        "summary": difference.summary(),
    }


def _say_difference(district: District, difference: SurfaceDifference) -> None:
    shown = difference.changes[:_MOST_ROWS]
    if shown:
        table = new_table("Road", "Segment", "Before", "Now", "Workable", right=("Workable",))
        for each in shown:
            table.add_row(
                district.network.segment_by_id[each.segment_id].route,
                each.segment_id,
                each.was.label,
                each.now.label,
                f"{100 * each.p_workable_was:.0f} to {100 * each.p_workable_now:.0f} %",
            )
        say_table(table)
    say(difference.summary())


def _now(opened: Workspace, today: date) -> datetime:
    """This moment, or its hour on the morning of an invented district."""
    return _at(opened, today, opened.now().time())


def _at(opened: Workspace, day: date, clock: time) -> datetime:
    return datetime.combine(day, clock, ZoneInfo(opened.config.time_zone))


COMMANDS = (
    ("observe", observe, False),
    ("load-limit", load_limit, False),
    ("calibrate", calibrate, False),
)
