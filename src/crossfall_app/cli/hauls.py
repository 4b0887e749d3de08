"""Haul agreements at the keyboard: agreed, exempted from a limit, and stated for the board."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any

import typer

from crossfall_app.cli.places import (
    JsonOption,
    WorkspaceOption,
    a_day,
    the_person,
    the_workspace,
    usual_first_day,
    usual_moment,
)
from crossfall_app.cli.speak import new_table, say, say_json, say_table

GROUP_HELP = "Heavy hauls by agreement: routes, surveys, costs."

_RoadsOption = Annotated[
    list[str], typer.Option("--road", help="Segment key or road name; repeat for the route.")
]
_FromOption = Annotated[str, typer.Option("--from", metavar="DAY", help="First day.")]
_ToOption = Annotated[str, typer.Option("--to", metavar="DAY", help="Last day.")]


def add(
    company: Annotated[str, typer.Argument(metavar="COMPANY", help="As people write it.")],
    roads: _RoadsOption,
    first: _FromOption,
    last: _ToOption,
    tonnes: Annotated[float, typer.Option(metavar="T", help="To be hauled over the route.")],
    bond: Annotated[
        float | None, typer.Option(metavar="MONEY", help="In the agency's currency.")
    ] = None,
    payload_t: Annotated[
        float | None, typer.Option(metavar="T", help="Of one truck; the policy's when left out.")
    ] = None,
    signed_by: Annotated[str, typer.Option(help="Who agreed for the agency.")] = "",
    note: Annotated[str, typer.Option(help="Anything else.")] = "",
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Agree a haul; its trucks then age the roads of its route."""
    opened = the_workspace(None, workspace)
    from crossfall.judgement.haul import trucks_a_day
    from crossfall_app.store import repository
    from crossfall_app.store.hauls import agree_haul

    begins = _day(first, "from")
    agreement = agree_haul(
        company,
        roads,
        first_day=begins,
        last_day=_day(last, "to"),
        tonnes=tonnes,
        bond=bond,
        currency=opened.config.currency,
        payload_t=payload_t,
        signed_by=signed_by,
        note=note,
        by=the_person(),
    )
    trucks = trucks_a_day(agreement, repository.load_policy().haul)
    if as_json:
        say_json(
            {
                "agreement": agreement.id,
                "segments": list(agreement.segment_ids),
                "trucks_a_day": round(trucks, 2),
            }
        )
        return
    say(
        f"{agreement.id}: {company}, {tonnes:,.0f} t over {len(agreement.segment_ids)} segments,"
        f" about {trucks:.0f} trucks a day. Survey the route before {begins}."
    )


def exempt(
    holder: Annotated[str, typer.Argument(metavar="HOLDER", help="Company or vehicle.")],
    roads: _RoadsOption,
    first: _FromOption,
    last: _ToOption,
    granted_by: Annotated[str, typer.Option(help="The person who gives leave.")],
    axle_t: Annotated[
        float | None, typer.Option(metavar="T", help="Heaviest axle; no limit when left out.")
    ] = None,
    agreement: Annotated[str | None, typer.Option(help="Key of the haul agreement.")] = None,
    reason: Annotated[str, typer.Option(help="Why.")] = "",
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Log leave to pass a posted load limit."""
    opened = the_workspace(None, workspace)
    from crossfall_app.store.hauls import give_leave

    made = give_leave(
        holder,
        roads,
        first_day=_day(first, "from"),
        last_day=_day(last, "to"),
        granted_by=granted_by,
        granted_at=usual_moment(opened),
        axle_t=axle_t,
        agreement_id=agreement,
        reason=reason,
        by=the_person(),
    )
    if as_json:
        say_json({"exemption": made.id, "segments": list(made.segment_ids)})
        return
    say(f"{made.id}: {holder} may pass, granted by {granted_by} and logged.")


def book(
    agreement: Annotated[str, typer.Argument(metavar="AGREEMENT", help="Its key.")],
    record: Annotated[str, typer.Argument(metavar="RECORD", help="Key of the work record.")],
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Book work on the route to its company."""
    the_workspace(None, workspace)
    from crossfall_app.store import repository

    booked = repository.book_record(record, agreement, by=the_person())
    if as_json:
        say_json({"record": booked.id, "agreement": agreement})
    else:
        say(f"Record {booked.id} of {booked.done_on} is booked to {agreement}.")


def end(
    agreement: Annotated[str, typer.Argument(metavar="AGREEMENT", help="Its key.")],
    on: Annotated[str, typer.Option(metavar="DAY", help="Its last day.")],
    because: Annotated[str, typer.Option(help="Why it ends before its time.")],
    tonnes: Annotated[
        float | None,
        typer.Option(metavar="T", help="Hauled until then; by its days when left out."),
    ] = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """End a haul before its time; survey its route after."""
    the_workspace(None, workspace)
    from crossfall_app.store.moves import end_agreement

    ended = end_agreement(
        agreement, _day(on, "on"), because=because, tonnes=tonnes, by=the_person()
    )
    if as_json:
        say_json(
            {
                "agreement": ended.id,
                "last_day": ended.last_day.isoformat(),
                "tonnes": round(ended.tonnes, 1),
            }
        )
        return
    say(f"{ended.id} ends on {ended.last_day} with {ended.tonnes:,.0f} t. Survey its route now.")


def list_(
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Agreements with surveys, costs and what is missing."""
    opened = the_workspace(None, workspace)
    from crossfall.judgement.haul import haul_statement
    from crossfall_app.store import repository

    district, today = repository.load_district(), usual_first_day(opened)
    told = [haul_statement(each, district, today=today) for each in district.haul_agreements]
    if as_json:
        say_json({"agreements": [_row(each) for each in told], "exemptions": _exemptions(district)})
        return
    table = new_table("Key", "Agreement", "Missing")
    for each in told:
        table.add_row(each.agreement.id, each.summary(), "; ".join(each.missing))
    say_table(table)
    for row in _exemptions(district):
        say(
            f"{row['exemption']}: {row['holder']}, {row['first_day']} to {row['last_day']}, granted"
            f" by {row['granted_by']}"
        )


def _row(told: Any) -> dict[str, Any]:
    each = told.agreement
    return {
        "agreement": each.id,
        "company": each.company,
        "segments": list(each.segment_ids),
        "first_day": each.first_day.isoformat(),
        "last_day": each.last_day.isoformat(),
        "tonnes": each.tonnes,
        "bond": None if each.bond is None else each.bond.major,
        "phase": told.phase,
        "trucks_a_day": round(told.trucks_a_day, 2),
        "booked": [{"currency": cost.currency, "amount": cost.major} for cost in told.costs],
        "records": [record.id for record in told.records],
        "missing": list(told.missing),
    }


def _exemptions(district: Any) -> list[dict[str, Any]]:
    return [
        {
            "exemption": each.id,
            "holder": each.holder,
            "segments": list(each.segment_ids),
            "first_day": each.first_day.isoformat(),
            "last_day": each.last_day.isoformat(),
            "axle_t": each.axle_t,
            "granted_by": each.granted_by,
            "granted_at": each.granted_at.isoformat(),
            "agreement": each.agreement_id,
            "reason": each.reason,
        }
        for each in district.load_exemptions
    ]


def _day(text: str, name: str) -> date:
    day = a_day(text, name)
    assert day is not None, "a text gives a day or is refused"
    return day


COMMANDS = (
    ("haul add", add, False),
    ("haul book", book, False),
    ("haul end", end, False),
    ("haul exempt", exempt, False),
    ("haul list", list_, False),
)
