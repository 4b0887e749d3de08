"""From plan to road and back: a card is issued by name, and what was done is typed in."""

from __future__ import annotations

from typing import Annotated

import typer

from crossfall.errors import InputError
from crossfall_app.cli.places import JsonOption, WorkspaceOption, a_day, the_person, the_workspace
from crossfall_app.cli.speak import remark, say, say_json

Number = Annotated[int, typer.Argument(metavar="CARD", help="The card's number.")]


def issue(
    numbers: Annotated[list[int], typer.Argument(metavar="CARD...", help="The cards' numbers.")],
    approved_by: Annotated[str, typer.Option(metavar="NAME", help="Who answers for the order.")],
    confirmed_by: Annotated[
        str, typer.Option(metavar="NAME", help="The engineer, where one has to confirm.")
    ] = "",
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Issue job cards in somebody's name; their text is frozen."""
    the_workspace(None, workspace)
    from crossfall_app.store import repository

    issued = [
        repository.issue_card(
            number, approved_by=approved_by, confirmed_by=confirmed_by, by=the_person()
        )
        for number in dict.fromkeys(numbers)
    ]
    if as_json:
        say_json({"issued": [card.number for card in issued], "approved_by": approved_by})
        return
    for card in issued:
        say(f"card {card.number} is issued: {card.title}, {card.day}, {card.machine}")


def record(
    number: Number,
    hours: Annotated[float, typer.Option(help="Hours on the job, travel left out.")],
    by: Annotated[
        str | None, typer.Option(metavar="NAME", help="Who did it; the card's operator if unsaid.")
    ] = None,
    day: Annotated[
        str | None, typer.Option(metavar="DAY", help="When; the card's day if unsaid.")
    ] = None,
    passes: Annotated[
        int | None, typer.Option(min=0, help="Passes made; all of them if finished.")
    ] = None,
    unfinished: Annotated[bool, typer.Option("--unfinished", help="Work is left to do.")] = False,
    from_m: Annotated[float | None, typer.Option(help="Unfinished: from here, in metres.")] = None,
    to_m: Annotated[float | None, typer.Option(help="Unfinished: to here.")] = None,
    windrow: Annotated[
        str | None, typer.Option(metavar="SIDE", help="Left along the road: left, right or both.")
    ] = None,
    in_travelled_way: Annotated[
        bool, typer.Option("--in-travelled-way", help="The windrow lies where traffic runs.")
    ] = False,
    culvert_open: Annotated[
        bool, typer.Option("--culvert-open", help="A culvert was left open.")
    ] = False,
    loads: Annotated[int, typer.Option(min=0, help="Loads of gravel placed.")] = 0,
    note: Annotated[str, typer.Option(help="Anything else.")] = "",
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Type in what was done on a card; finished work closes it."""
    the_workspace(None, workspace)
    from crossfall_app.store import repository
    from crossfall_app.store.closing import record_card

    if windrow not in {None, "left", "right", "both"}:
        raise InputError(f"--windrow is {windrow!r}; expected left, right or both")
    kept = record_card(
        number,
        by=by or repository.load_card(number).operator,
        entered_by=the_person(),
        hours=hours,
        done_on=None if day is None else a_day(day, "--day"),
        n_passes=passes,
        is_finished=not unfinished,
        from_m=from_m,
        to_m=to_m,
        windrow_side=windrow,
        is_windrow_in_travelled_way=in_travelled_way,
        is_culvert_open=culvert_open,
        n_loads=loads,
        note=note,
    )
    if as_json:
        say_json({"record": kept.id, "card": number, "is_finished": kept.is_finished})
        return
    say(f"card {number}: {kept.treatment.label}, {kept.hours:g} h by {kept.by}, {kept.done_on}")
    if kept.is_windrow_in_travelled_way or kept.is_culvert_open:
        remark("something is left where traffic runs: sign or close it before the shift ends")


COMMANDS = (("issue", issue, False), ("record", record, False))
