"""What the week is planned around: reserved hours, other work, and hours barred on roads."""

from __future__ import annotations

from datetime import time
from typing import Annotated, Any
from uuid import uuid4

import typer

from crossfall.errors import InputError
from crossfall_app.cli.places import JsonOption, WorkspaceOption, a_day, the_person, the_workspace
from crossfall_app.cli.speak import new_table, say, say_json, say_table

GROUP_HELP = "Reserved hours, other work, and hours barred on roads."

_KINDS = "snow, mowing, signs, patching, shop, greasing, training or other."
_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def reserve(
    day: Annotated[str, typer.Option(metavar="DAY", help="The day.")],
    begins: Annotated[str, typer.Option("--from", metavar="CLOCK", help="Like 08:00.")],
    until: Annotated[str, typer.Option(metavar="CLOCK", help="Like 12:00.")],
    kind: Annotated[str, typer.Option(help=_KINDS)] = "other",
    machine: Annotated[str | None, typer.Option(metavar="ID", help="Machine.")] = None,
    operator: Annotated[str | None, typer.Option(metavar="ID", help="Operator.")] = None,
    note: Annotated[str, typer.Option(help="What it is, as it is printed.")] = "",
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take a machine or a person for some hours of a day."""
    the_workspace(None, workspace)
    from crossfall.model import CrewCalendar, Reservation
    from crossfall_app.store import repository

    on = a_day(day, "day")
    assert on is not None
    made = Reservation(
        f"reserved-{uuid4().hex[:8]}",
        on,
        _minutes(begins, "from"),
        _minutes(until, "until"),
        kind,  # type: ignore[arg-type]
        machine,
        operator,
        note.strip(),
    )
    repository.add_to_calendar(CrewCalendar((made,)), by=the_person())
    _told(made.id, as_json)


def work(
    hours: Annotated[float, typer.Option(min=0.1, max=24, help="How long it takes.")],
    who: Annotated[list[str], typer.Option(metavar="ID", help="Machine or operator; any of them.")],
    by: Annotated[str, typer.Option(metavar="DAY", help="Its last day.")],
    begins: Annotated[str, typer.Option("--from", metavar="DAY", help="Its first day.")],
    kind: Annotated[str, typer.Option(help=_KINDS)] = "other",
    note: Annotated[str, typer.Option(help="What it is, as it is printed.")] = "",
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Enter work that only takes hours; the plan finds it a day."""
    the_workspace(None, workspace)
    from crossfall.model import CrewCalendar, OtherWork
    from crossfall_app.store import repository

    first, last = a_day(begins, "from"), a_day(by, "by")
    assert first is not None
    assert last is not None
    made = OtherWork(
        f"work-{uuid4().hex[:8]}",
        kind,  # type: ignore[arg-type]
        hours,
        tuple(who),
        first,
        last,
        note.strip(),
    )
    repository.add_to_calendar(CrewCalendar(other_work=(made,)), by=the_person())
    _told(made.id, as_json)


def bar(
    road: Annotated[str, typer.Argument(metavar="ROAD", help="Segment's id or road's name.")],
    begins: Annotated[str, typer.Option("--from", metavar="CLOCK", help="Like 07:15.")],
    until: Annotated[str, typer.Option(metavar="CLOCK", help="Like 08:30.")],
    reason: Annotated[str, typer.Option(help="Like: school bus.")],
    weekdays: Annotated[str, typer.Option(help="Like mon,tue,wed.")] = "mon,tue,wed,thu,fri",
    first: Annotated[str | None, typer.Option(metavar="DAY", help="First day.")] = None,
    last: Annotated[str | None, typer.Option(metavar="DAY", help="Last day.")] = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Bar work on a road at some hours: school bus, harvest."""
    the_workspace(None, workspace)
    from crossfall.model import CrewCalendar, RoadBan
    from crossfall_app.store import repository

    roads = repository.load_network().segments
    mine = tuple(each.id for each in roads if road in (each.id, each.route))
    if not mine:
        raise InputError(f"road is {road!r}; expected a segment's id or a road's name")
    if not reason.strip():
        raise InputError("reason is empty; it is told to whoever asks why the road waits")
    named = [each.strip().lower() for each in weekdays.split(",")]
    for each in named:
        if each not in _DAYS:
            raise InputError(f"--weekdays holds {each!r}; expected {', '.join(_DAYS)}")
    made = RoadBan(
        f"barred-{uuid4().hex[:8]}",
        mine,
        _minutes(begins, "from"),
        _minutes(until, "until"),
        reason.strip(),
        tuple(sorted({_DAYS.index(each) for each in named})),
        a_day(first, "first"),
        a_day(last, "last"),
    )
    repository.add_to_calendar(CrewCalendar(bans=(made,)), by=the_person())
    _told(made.id, as_json)


def drop(
    entry: Annotated[str, typer.Argument(metavar="ID", help="As in: crossfall calendar list.")],
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take an entry back; the next plan does not know it."""
    the_workspace(None, workspace)
    from crossfall_app.store import repository

    repository.drop_from_calendar(entry, by=the_person())
    if as_json:
        say_json({"dropped": entry})
    else:
        say(f"{entry} is dropped")


def listed(workspace: WorkspaceOption = None, as_json: JsonOption = False) -> None:
    """Everything the next plan goes around."""
    the_workspace(None, workspace)
    from crossfall_app.store import repository

    calendar = repository.load_calendar()
    rows: list[dict[str, Any]] = [
        {"id": r.id, "what": r.note or r.kind, "who": r.machine_id or r.operator_id,
         "when": f"{r.day} {_clock(r.start_min)}-{_clock(r.end_min)}"}
        for r in calendar.reservations
    ]  # fmt: skip
    rows += [
        {"id": w.id, "what": w.note or w.kind, "who": " or ".join(w.who),
         "when": f"{w.hours:g} h, {w.first_day} to {w.last_day}"}
        for w in calendar.other_work
    ]  # fmt: skip
    rows += [
        {"id": b.id, "what": b.reason, "who": f"{len(b.segment_ids)} segments",
         "when": f"{','.join(_DAYS[d] for d in b.weekdays)}"
                 f" {_clock(b.start_min)}-{_clock(b.end_min)}"}
        for b in calendar.bans
    ]  # fmt: skip
    if as_json:
        say_json({"entries": rows})
        return
    if not rows:
        say("The calendar is empty.")
        return
    table = new_table("Id", "What", "Who or where", "When")
    for each in rows:
        table.add_row(each["id"], each["what"], each["who"], each["when"])
    say_table(table)


def _told(entry: str, as_json: bool) -> None:
    if as_json:
        say_json({"id": entry})
    else:
        say(f"{entry} is in the calendar; plan the week again to go around it")


def _minutes(text: str, name: str) -> float:
    if text == "24:00":
        return 24 * 60.0
    try:
        clock = time.fromisoformat(text)
    except ValueError:
        raise InputError(f"--{name} is {text!r}; expected a clock such as 08:00") from None
    return 60.0 * clock.hour + clock.minute


def _clock(minutes: float) -> str:
    return f"{int(minutes) // 60:02d}:{int(minutes) % 60:02d}"


COMMANDS = (
    ("calendar list", listed, False),
    ("calendar reserve", reserve, False),
    ("calendar work", work, False),
    ("calendar bar", bar, False),
    ("calendar drop", drop, False),
)
