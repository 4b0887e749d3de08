"""Permissions to dig and to cross, and the engineer's word, at the keyboard."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated, Any, get_args
from uuid import uuid4

import typer

from crossfall.errors import InputError
from crossfall_app.cli.places import (
    JsonOption,
    WorkspaceOption,
    a_day,
    the_person,
    the_workspace,
    usual_first_day,
)
from crossfall_app.cli.speak import new_table, say, say_json, say_table

if TYPE_CHECKING:
    from crossfall.model import Segment

CLEARANCE_HELP = "Permissions to dig, cross or cut, with the day they run out."
ENGINEER_HELP = "Designs that wait for an engineer's signature."

_RoadArgument = Annotated[str, typer.Argument(metavar="ROAD", help="Segment's id or road's name.")]


def file_clearance(
    road: _RoadArgument,
    kind: Annotated[str, typer.Option(help="utilities, stream, wetland, rail or right_of_way.")],
    reference: Annotated[str, typer.Option(help="Ticket or permit number.")],
    granted_by: Annotated[str, typer.Option(help="Who granted it.")],
    until: Annotated[str, typer.Option(metavar="DAY", help="Its last day.")],
    begins: Annotated[
        str | None, typer.Option("--from", metavar="DAY", help="Its first day; else today.")
    ] = None,
    from_m: Annotated[float, typer.Option(help="Where it begins on the segment.")] = 0.0,
    to_m: Annotated[float | None, typer.Option(help="Where it ends; else the end.")] = None,
    note: Annotated[str, typer.Option(help="Anything else.")] = "",
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Put a permission on file; the next plan may then use its days."""
    opened = the_workspace(None, workspace)
    from crossfall.model import Clearance, ClearanceKind
    from crossfall_app.store import repository

    kinds = get_args(ClearanceKind)
    if kind not in kinds:
        raise InputError(f"kind is {kind!r}; expected one of {', '.join(kinds)}")
    for name, text in (("reference", reference), ("granted_by", granted_by)):
        if not text.strip():
            raise InputError(f"{name} is empty; a crew reads it out")
    today = usual_first_day(opened)
    last = a_day(until, "until")
    assert last is not None
    made = [
        Clearance(
            id=f"clearance-{uuid4().hex[:12]}",
            kind=kind,  # type: ignore[arg-type]
            segment_id=segment.id,
            reference=reference.strip(),
            granted_by=granted_by.strip(),
            valid_from=a_day(begins, "from") or today,
            expires_on=last,
            from_m=from_m,
            to_m=to_m,
            note=note,
        )
        for segment in _segments(road)
    ]
    repository.add_clearances(made, by=the_person())
    if as_json:
        say_json({"clearances": [each.id for each in made]})
        return
    where = f"{made[0].segment_id}" if len(made) == 1 else f"{len(made)} segments of {road}"
    say(f"{kind.replace('_', ' ')} clearance {reference.strip()} for {where} holds until {last}")


def list_clearances(
    on: Annotated[
        str | None, typer.Option(metavar="DAY", help="Held on a day; else today.")
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help="What has run out too.")] = False,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Permissions on file, those that run out first at the top."""
    opened = the_workspace(None, workspace)
    from crossfall_app.store import repository

    day = a_day(on, "on") or usual_first_day(opened)
    found = sorted(
        (each for each in repository.load_district().clearances
         if everything or each.expires_on >= day),
        key=lambda each: (each.expires_on, each.segment_id),
    )  # fmt: skip
    if as_json:
        say_json({"day": day.isoformat(), "clearances": [_clearance_json(c, day) for c in found]})
        return
    if not found:
        say("No permission is on file; put one there with: crossfall clearance file ROAD ...")
        return
    table = new_table("Segment", "Kind", "Number", "From", "Until", "")
    for each in found:
        is_on = each.valid_from <= day <= each.expires_on
        state = "" if is_on else ("run out" if each.expires_on < day else "not yet")
        table.add_row(
            each.segment_id, each.kind.replace("_", " "), each.reference,
            each.valid_from.isoformat(), each.expires_on.isoformat(), state,
        )  # fmt: skip
    say_table(table)


def waiting(workspace: WorkspaceOption = None, as_json: JsonOption = False) -> None:
    """Designs of the latest plan that wait for a signature, and why."""
    the_workspace(None, workspace)
    from crossfall_app.store import repository

    week = repository.latest_week()
    jobs = [job for job in (week.jobs if week else ()) if job.needs_engineer]
    routes = {each.id: each.route for each in repository.load_network().segments}
    if as_json:
        say_json({"waiting": [
            {"segment": job.segment_id, "road": routes.get(job.segment_id, ""),
             "treatment": job.treatment.value, "stages": len(job.stages), "why": list(job.assumed)}
            for job in jobs]})  # fmt: skip
        return
    if not jobs:
        say("No design waits for an engineer." if week else "There is no plan yet.")
    for job in jobs:
        say(f"{routes.get(job.segment_id, '')} ({job.segment_id}): {job.treatment.label},"
            f" {len(job.stages)} stage{'s' * (len(job.stages) != 1)} laid out")  # fmt: skip
        for text in job.assumed:
            say(f"  {text}")


def sign(
    road: _RoadArgument,
    treatment: Annotated[str, typer.Option(help="The work that may be done.")],
    by: Annotated[str, typer.Option(help="Who signs, by name.")],
    capacity: Annotated[str, typer.Option(help="Licence and number, or office held.")],
    until: Annotated[
        str | None, typer.Option(metavar="DAY", help="Last day; until taken back when left out.")
    ] = None,
    limit_t: Annotated[
        float | None, typer.Option(help="Loaded truck let on, instead of the posted limit.")
    ] = None,
    note: Annotated[str, typer.Option(help="What the crew keeps to; it is on the card.")] = "",
    take_back: Annotated[
        bool, typer.Option("--take-back", help="Take back what was signed for this work.")
    ] = False,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Sign a design; it can then be planned and issued."""
    opened = the_workspace(None, workspace)
    from crossfall.design.alone import ALONE
    from crossfall.model import DesignSignature, Treatment
    from crossfall_app.store import repository

    if treatment not in {each.value for each in ALONE}:
        names = ", ".join(each.value for each in ALONE)
        raise InputError(f"treatment is {treatment!r}; expected {names}")
    made = [
        DesignSignature(
            id=f"signature-{uuid4().hex[:12]}",
            segment_id=segment.id,
            treatment=Treatment(treatment),
            signed_by=by.strip(),
            capacity=capacity.strip(),
            signed_on=usual_first_day(opened),
            expires_on=a_day(until, "until"),
            limit_t=limit_t,
            note=note.strip(),
            is_withdrawn=take_back,
        )
        for segment in _segments(road)
    ]
    repository.add_signatures(made, by=the_person())
    if as_json:
        say_json({"signatures": [each.id for each in made]})
        return
    done = "is taken back" if take_back else f"is signed by {made[0].words}"
    say(f"{Treatment(treatment).label} on {road} {done}; plan the week again to use it")


def _segments(road: str) -> list[Segment]:
    from crossfall_app.store import repository

    maintained = repository.load_network().maintained
    found = [each for each in maintained if road in (each.id, each.route)]
    if not found:
        raise InputError(f"road is {road!r}; expected a maintained segment's id or a road's name")
    return found


def _clearance_json(each: Any, day: date) -> dict[str, Any]:
    return {
        "id": each.id,
        "segment": each.segment_id,
        "kind": each.kind,
        "reference": each.reference,
        "granted_by": each.granted_by,
        "from": each.valid_from.isoformat(),
        "until": each.expires_on.isoformat(),
        "from_m": each.from_m,
        "to_m": each.to_m,
        "holds": each.valid_from <= day <= each.expires_on,
    }


COMMANDS = (
    ("clearance file", file_clearance, False),
    ("clearance list", list_clearances, False),
    ("engineer waiting", waiting, False),
    ("engineer sign", sign, False),
)
