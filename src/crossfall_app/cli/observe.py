"""What people say of the surface: a look, a gauge, a signed load limit, and fitting to them."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Annotated, Any
from zoneinfo import ZoneInfo

import typer

from crossfall.errors import InfeasibleError, InputError
from crossfall_app.cli.moisture import difference_json, limit_rows, the_district
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
    from crossfall.judgement import SurfaceDifference, ToldReport
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
    corrects: Annotated[
        str,
        typer.Option(metavar="ID", help="Puts that report right; alone it takes it back."),
    ] = "",
    list_: Annotated[
        bool, typer.Option("--list", help="List what was told lately, and write nothing.")
    ] = False,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Keep what somebody saw of a surface or read from a gauge.

    It outweighs what is worked out, there and on the roads around, and fades with distance and
    time. Says what it changed. Kept for good: a later look answers an earlier one, and --corrects
    puts a wrong one right, or takes it back when nothing else is said.
    """
    opened = the_workspace(folder, workspace)
    if list_:
        _list(opened, as_json)
        return
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
        corrects=corrects,
    )
    told = observations_of(
        report,
        district.network,
        district.policy,
        key=f"told-{uuid4().hex[:12]}",
        today=today,
        told=district.observations,
    )
    repository.add_observations(told, by=the_person())
    district = replace(district, observations=(*district.observations, *told))
    ids = [each.id for each in told]
    difference = _difference(district, ids, today)
    if as_json:
        say_json({"kept": ids, **difference_json(district, difference)})
        return
    if told[0].felt is None and told[0].rain_mm is None:
        say(f"Taken back: the report {corrects} of {told[0].observed_on}.")
    else:
        right = f", which puts {corrects} right" if corrects else ""
        n_told = f"{len(told)} observation{'' if len(told) == 1 else 's'}"
        say(f"Kept: {n_told} of {report.observed_on}{right}.")
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
    for each in posted:
        say(
            f"Posted ({each.id}): {each.axle_t:g} t an axle on {len(each.segment_ids)} stretches"
            f" since {each.up_at:%Y-%m-%d %H:%M}, signed by {each.signed_by} for {each.authority}."
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
    force where those looks say that it is better; else it is refused (exit 3).
    """
    opened = the_workspace(folder, workspace)
    from crossfall.judgement.calibrate import calibrate_moisture
    from crossfall_app.store import repository

    district = the_district()
    day = a_day(until, "until") or usual_first_day(opened)
    found = calibrate_moisture(district, until=day)
    name = version or f"{district.policy.version}, moisture of {day}"
    if accept and not found.is_better:
        raise InfeasibleError(
            f"the looks kept out of the fit say {found.verdict!r}, so nothing was changed; log more"
            " looks and fit again, or move a setting by hand with a policy file"
        )
    if accept:
        policy = replace(district.policy, moisture=found.policy, version=name)
        repository.save_policy(policy, by=the_person(), note=found.summary())
    if as_json:
        say_json(
            {
                "settings": [
                    {
                        "setting": row.setting,
                        "before": row.before,
                        "after": row.after,
                        "unit": row.unit,
                    }
                    for row in found.rows
                ],
                "looks_fitted": found.n_fitted,
                "looks_kept_out": found.n_kept_out,
                "right_before": round(found.hits_before, 4),
                "right_after": round(found.hits_after, 4),
                "verdict": found.verdict,
                "is_better": found.is_better,
                "likelihood_before": round(found.likelihood_before, 5),
                "likelihood_after": round(found.likelihood_after, 5),
                "least_gain": _finite(found.least_gain),
                "days_of_looks": found.n_days,
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
    elif found.is_better:
        remark("nothing was changed; add --accept to put it in force")
    else:
        remark("nothing was changed, and --accept would be refused")


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
            policy=sheet.gates.policy if sheet.gates else None,
        )
        for each in chosen
    ]
    repository.add_postings(postings, by=the_person())
    for each in chosen:
        if each.advice == "none":
            remark(
                f"around {each.station} the thaw asks for no limit; it is posted all the same, and"
                " says so"
            )


def _difference(district: District, ids: list[str], today: date) -> SurfaceDifference | None:
    from crossfall.workflow import what_changed

    try:
        return what_changed(district, ids, today=today, n_days=_SHOWN_DAYS)
    except InputError:
        return None


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


def _finite(value: float) -> float | None:
    return round(value, 5) if math.isfinite(value) else None


def _list(opened: Workspace, as_json: bool) -> None:
    """What was told within the days that still count, the last first."""
    from crossfall.judgement import told_reports

    district, today = the_district(), usual_first_day(opened)
    oldest = today - timedelta(days=district.policy.moisture.observation_days)
    told = [each for each in district.observations if each.observed_on >= oldest]
    rows = [_report_row(each, district) for each in told_reports(told)]
    if as_json:
        say_json({"reports": rows})
        return
    if not rows:
        say(f"Nobody has told anything since {oldest}.")
        return
    table = new_table("Report", "Day", "Where", "Said", "By", "")
    for row in rows:
        rain = None if row["rain_mm"] is None else f"{row['rain_mm']:g} mm in the gauge"
        felt = row["felt"] and row["felt"].replace("_", " ")
        said = ", ".join(each for each in (felt, rain) if each)
        note = f"corrects {row['corrects']}" if row["corrects"] else ""
        table.add_row(
            row["report"], row["day"], row["where"], said or "taken back", row["observer"],
            note if row["stands"] else "corrected by a later one",
        )  # fmt: skip
    say_table(table)


def _report_row(told: ToldReport, district: District) -> dict[str, Any]:
    segments = district.network.segment_by_id
    roads = [
        segments[each.segment_id].route if each.segment_id in segments else
        f"{each.lon:.4f},{each.lat:.4f}"
        for each in told.observations
    ]  # fmt: skip
    return {
        "report": told.key,
        "day": told.first.observed_on.isoformat(),
        "where": ", ".join(dict.fromkeys(roads)),
        "felt": told.first.felt,
        "rain_mm": told.first.rain_mm,
        "observer": told.first.observer,
        "note": told.first.note,
        "observations": len(told.observations),
        "stands": told.is_standing,
        "corrects": told.corrects,
    }


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
