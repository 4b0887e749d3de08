"""Who is in, the word each was given, and what there is to do on a wet day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from crossfall.judgement import GateTable
from crossfall.model import Condition, District, Job, Machine, Operator
from crossfall_app.store.crew import CALLS
from crossfall_app.web.present.measures import Measures, clock
from crossfall_app.web.present.plan import where_on
from crossfall_app.web.present.words import MACHINE_LABEL

CALL_LABEL = {"go": "Go", "hold": "Hold", "wet": "Wet day", "off": "Not in"}
_MOST_WET = 3
_HAND_WORK = "hand_work"


@dataclass(frozen=True, slots=True)
class CrewLine:
    """One person on the crew this morning."""

    operator_id: str
    name: str
    machine_id: str
    machine: str
    kind: str
    starts: str
    call: str
    call_label: str
    choices: tuple[tuple[str, str], ...]
    is_machine_out: bool
    """The machine itself cannot go."""
    note: str
    wet_work: tuple[dict[str, str], ...]


def crew_lines(
    district: District,
    calls: Mapping[str, str],
    wet_work: Mapping[str, tuple[dict[str, str], ...]],
    today: date,
) -> tuple[CrewLine, ...]:
    """Everybody on the crew, graders first, with the word in force."""
    machines = {machine.id: machine for machine in district.fleet.machines}
    order = {machine.id: n for n, machine in enumerate(district.fleet.machines)}
    people = sorted(
        district.fleet.operators,
        key=lambda each: (machines[each.machine_id].kind != "grader", order[each.machine_id]),
    )
    return tuple(_line(each, machines[each.machine_id], calls, wet_work, today) for each in people)


def wet_day_work(
    jobs: tuple[Job, ...],
    conditions: tuple[Condition, ...],
    gates: GateTable | None,
    district: District,
    measures: Measures,
    today: date,
) -> dict[str, tuple[dict[str, str], ...]]:
    """For each machine, what can be done near its yard when the surface is too wet to blade.

    Work by hand that is designed already, most worth first, then roads that nobody has looked at.
    """
    segments = district.network.segment_by_id
    hand = [
        (stage.segment_id, stage.name)
        for job in sorted(jobs, key=lambda each: -each.benefit_h)
        for stage in (() if job.needs_engineer else job.stages)
        if stage.task == _HAND_WORK and _is_open(gates, stage, today)
    ]
    unseen = [
        (each.segment_id, "Look at it: nobody has")
        for each in conditions
        if each.method == "default" and each.segment_id in segments
    ]
    places = {place.id: place for place in district.fleet.places}
    found = {}
    for machine in district.fleet.machines:
        home = places.get(machine.home_id)
        if home is None:
            continue
        near = sorted(
            [*hand[: 4 * _MOST_WET], *unseen],
            key=lambda each: (each[1].startswith("Look"), _far(segments[each[0]], home)),
        )
        found[machine.id] = tuple(
            {
                "segment_id": segment_id,
                "route": segments[segment_id].route,
                "where": where_on(segments[segment_id], measures),
                "what": what,
            }
            for segment_id, what in near[:_MOST_WET]
        )
    return found


def _line(
    person: Operator,
    machine: Machine,
    calls: Mapping[str, str],
    wet_work: Mapping[str, tuple[dict[str, str], ...]],
    today: date,
) -> CrewLine:
    call = calls.get(person.id) or ("off" if today in person.off_days else "go")
    return CrewLine(
        operator_id=person.id,
        name=person.name,
        machine_id=machine.id,
        machine=machine.name,
        kind=MACHINE_LABEL[machine.kind],
        starts=clock(60 * person.shift_start_h),
        call=call,
        call_label=CALL_LABEL[call],
        choices=tuple((each, CALL_LABEL[each]) for each in CALLS),
        is_machine_out=not machine.is_available,
        note=machine.note if not machine.is_available else "",
        wet_work=wet_work.get(machine.id, ()) if call == "wet" else (),
    )


def _is_open(gates: GateTable | None, stage: Any, today: date) -> bool:
    if gates is None:
        return True
    return bool(gates.verdict(stage.segment_id, today, stage.task).decision != "refused")


def _far(segment: Any, place: Any) -> float:
    """Only for sorting: how far apart two points are, in squared degrees."""
    lon, lat = segment.line[0]
    return float((lon - place.lon) ** 2 + (lat - place.lat) ** 2)
