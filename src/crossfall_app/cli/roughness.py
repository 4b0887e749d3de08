"""A measured ride at the keyboard: a profile or a trace becomes a look at a road."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from crossfall.errors import InputError
from crossfall_app.cli.places import (
    AcceptOption,
    JsonOption,
    WorkspaceOption,
    a_day,
    the_person,
    the_workspace,
    usual_first_day,
)
from crossfall_app.cli.speak import in_units, remark, say, say_json


def roughness(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="CSV: distance_m and elevation_m, or time_s and acceleration_m_s2.",
        ),
    ],
    segment: Annotated[str, typer.Option(metavar="SEGMENT", help="The segment it was driven on.")],
    speed_km_h: Annotated[
        float | None, typer.Option(metavar="KM_H", help="Of a trace that did not log its speed.")
    ] = None,
    from_m: Annotated[
        float | None,
        typer.Option(metavar="M", help="Where it begins; a profile's own distance when left out."),
    ] = None,
    day: Annotated[
        str | None, typer.Option(metavar="DAY", help="When; today when left out.")
    ] = None,
    by: Annotated[
        str | None, typer.Option(metavar="NAME", help="Who drove; you when left out.")
    ] = None,
    accept: AcceptOption = False,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """IRI and washboard of a measured ride, kept as a look.

    A profile gives the IRI and the washboard in it; a wheel's accelerometer gives washboard, for
    the speed it was driven at. What a ride cannot say (crown, ditches, gravel) stays as believed.
    """
    opened = the_workspace(None, workspace)
    from crossfall.io.ride_trace import Profile, read_ride
    from crossfall.judgement import find_needs
    from crossfall.judgement.ride import look_of_ride, ride_of_profile, ride_of_trace
    from crossfall_app.store import repository
    from crossfall_app.store.inspections import inspection_doubts

    district, today = repository.load_district(), usual_first_day(opened)
    observed_on = a_day(day, "day") or today
    if observed_on > today:
        raise InputError(f"--day is {observed_on}, after today ({today})")
    road = district.network.segment_by_id.get(segment)
    if road is None or not road.is_maintained:
        raise InputError(f"--segment is {segment!r}; expected a segment that you maintain")
    given = read_ride(file, speed_km_h=speed_km_h)
    if isinstance(given, Profile):
        start = given.start_m if from_m is None else from_m
        ride = ride_of_profile(given.elevation_m, given.step_m, start_m=start)
    else:
        ride = ride_of_trace(
            given.acceleration_m_s2,
            sample_hz=given.sample_hz,
            speed_km_h=given.speed_km_h,
            start_m=from_m,
        )
    _, conditions = find_needs(district, today=observed_on)
    believed = next(each for each in conditions if each.segment_id == segment)
    look = look_of_ride(
        ride,
        road,
        believed,
        district.policy,
        observed_on=observed_on,
        observer=by or the_person(),
        source=file.name,
    )
    problems = inspection_doubts(
        look,
        network=district.network,
        policy=district.policy,
        earlier=district.conditions,
        today=today,
    )
    if problems:
        raise InputError("; ".join(str(each) for each in problems))
    if accept:
        repository.add_conditions([look], by=the_person(), source=file.name)
    if as_json:
        say_json({"accepted": accept, **_row(look, ride)})
        return
    say(in_units(f"{road.route}, {segment}: {ride.summary()}.", opened.config.units))
    say(
        f"Washboard, potholes and ruts: {believed.deformation:.1f} of 5 before,"
        f" {look.deformation:.1f} now."
    )
    if not accept:
        remark("nothing was written; add --accept to keep it as a measured look")


def _row(look: Any, ride: Any) -> dict[str, Any]:
    found = ride.washboard
    return {
        "segment": look.segment_id,
        "observed_on": look.observed_on.isoformat(),
        "length_m": round(ride.length_m, 1),
        "from_m": look.from_m,
        "to_m": look.to_m,
        "iri_m_km": look.iri_m_km,
        "is_washboard": None if found is None else found.is_washboard,
        "corrugation_mm": look.corrugation_mm if found is not None else None,
        "corrugation_spacing_m": look.corrugation_spacing_m if found is not None else None,
        "driven_km_h": look.driven_km_h,
        "deformation": look.deformation,
        "method": look.method,
    }


COMMANDS = (("roughness", roughness, False),)
