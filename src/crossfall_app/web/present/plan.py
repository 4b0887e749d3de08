"""A planned week as a board of machines and days, and as one machine's day in order."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from crossfall.model import (
    CostRange,
    District,
    Itinerary,
    Job,
    JobCard,
    Leg,
    Machine,
    Plan,
    Segment,
    Stage,
)
from crossfall.model.plan import Binding, LegKind
from crossfall_app.web.present.measures import (
    Measures,
    clock,
    day_name,
    hours,
    moment,
    money,
    money_range,
)
from crossfall_app.web.present.words import FAMILY, LEFT_OUT, LEG_LABEL, MACHINE_LABEL


@dataclass(frozen=True, slots=True)
class StageChip:
    """One stage on the board."""

    route: str
    where: str
    segment_id: str
    name: str
    treatment: str
    colour: str
    hours: str
    n_passes: int
    card_number: int | None
    stage_id: str = ""
    is_pinned: bool = False
    is_moved: bool = False
    """New here in what is being tried."""
    is_ordered: bool = False
    """A crew has a card for it: it stays."""


@dataclass(frozen=True, slots=True)
class DayCell:
    """One machine on one day."""

    day: date
    day_name: str
    operator: str
    stages: tuple[StageChip, ...]
    work: str
    away: str
    start: str
    end: str
    filled: int
    """Share of the shift that is used, 0 to 100, for the bar."""
    has_itinerary: bool
    why_empty: str


@dataclass(frozen=True, slots=True)
class MachineRow:
    """One machine's week."""

    machine_id: str
    name: str
    kind: str
    home: str
    cells: tuple[DayCell, ...]
    work: str


@dataclass(frozen=True, slots=True)
class Promise:
    """Hours promised on one day; empty when none."""

    day_name: str
    hours: str


@dataclass(frozen=True, slots=True)
class SupportRow:
    """A truck or a roller: the hours promised on each day."""

    name: str
    days: tuple[Promise, ...]


@dataclass(frozen=True, slots=True)
class LeftOutLine:
    """One job that the plan leaves out."""

    segment_id: str
    route: str
    where: str
    treatment: str
    colour: str
    reason: str
    would_change: str
    stage_id: str = ""


@dataclass(frozen=True, slots=True)
class LeftOutGroup:
    """Jobs that are left out for the same kind of reason."""

    label: str
    lines: tuple[LeftOutLine, ...]


@dataclass(frozen=True, slots=True)
class Board:
    """The whole week."""

    days: tuple[tuple[date, str], ...]
    rows: tuple[MachineRow, ...]
    support: tuple[SupportRow, ...]
    left_out: tuple[LeftOutGroup, ...]
    n_left_out: int
    n_jobs: int
    n_machines: int
    road: str
    work_hours: str
    travel_hours: str
    cost: str
    cost_range: str
    could_be_better: str
    made: str
    is_past: bool
    note: str = ""
    n_wishes: int = 0


@dataclass(frozen=True, slots=True)
class LegLine:
    """One line of a machine's day."""

    start: str
    end: str
    kind: str
    what: str
    where: str
    segment_id: str
    length: str


def week_board(
    plan: Plan,
    jobs: Iterable[Job],
    cards: Iterable[JobCard],
    district: District,
    measures: Measures,
    today: date,
    *,
    issued: Mapping[str, int] | None = None,
    moved: frozenset[str] = frozenset(),
) -> Board:
    """Lay a plan out as machines by days, with what it costs and leaves out.

    ``issued`` are numbers of cards that crews have, by stage; ``moved`` are stages that a change
    which is being tried has moved.
    """
    jobs = tuple(jobs)
    stages = {stage.id: stage for job in jobs for stage in job.stages}
    numbers = {card.stage_id: card.number for card in cards} | dict(issued or {})
    marks = _Marks(numbers, frozenset(issued or ()), moved, _pinned(plan, jobs))
    days = tuple(plan.first_day + timedelta(days=n) for n in range(plan.n_days))
    by_place = {(each.machine_id, each.day): each for each in plan.itineraries}
    planned = {stage_id for each in plan.itineraries for stage_id in each.stage_ids}
    rows = tuple(
        _machine_row(machine, days, by_place, stages, marks, district, measures, today)
        for machine in _graders(plan, district)
    )
    costs = [stages[stage_id].cost for stage_id in sorted(planned)]
    cost = _sum(each for each in costs if each is not None)
    left_out = _left_out(plan, jobs, district, measures)
    worked = {stages[stage_id].segment_id for stage_id in planned}
    return Board(
        days=tuple((day, day_name(day, today)) for day in days),
        rows=rows,
        support=_support(plan, days, district, today),
        left_out=left_out,
        n_left_out=len(plan.unserved),
        n_jobs=len(plan.served),
        n_machines=len({each.machine_id for each in plan.itineraries if each.stage_ids}),
        road=measures.road(sum(_segment(district, key).length_m for key in worked)),
        work_hours=hours(_minutes(plan.itineraries, "work") / 60),
        travel_hours=hours(_minutes(plan.itineraries, "travel") / 60),
        cost=money(cost.likely) if cost else "",
        cost_range=money_range(cost) if cost else "",
        could_be_better=f"{plan.gap_pct:.0f} %",
        made=moment(plan.made_at, today),
        is_past=bool(days) and days[-1] < today,
        note=measures.words(plan.note),
        n_wishes=len(plan.wishes),
    )


def machine_day(
    itinerary: Itinerary, jobs: Iterable[Job], district: District, measures: Measures
) -> tuple[LegLine, ...]:
    """One machine's day, line by line.

    A drive over many roads is one line, and so are passes of one stage with the turns between.
    """
    stages = {stage.id: stage for job in jobs for stage in job.stages}
    lines = [_leg_line(legs, stages, district, measures) for legs in _blocks(itinerary.legs)]
    if lines and lines[0].kind == "wait":
        lines[0] = replace(lines[0], what="Walk round, grease, warm up")
    return tuple(lines)


def where_on(segment: Segment, measures: Measures, stage: Stage | None = None) -> str:
    """Where along its road a segment lies, or the part of it that a stage works on."""
    from_m, to_m = segment.from_m, segment.to_m
    if stage is not None:
        from_m, to_m = segment.from_m + stage.from_m, segment.from_m + stage.to_m
    start, end = measures.road(from_m), measures.road(to_m)
    return f"{start.split()[0]}–{end}"


@dataclass(frozen=True, slots=True)
class _Marks:
    """What a chip shows beside its work."""

    numbers: Mapping[str, int]
    ordered: frozenset[str]
    moved: frozenset[str]
    pinned: frozenset[str]


def _pinned(plan: Plan, jobs: tuple[Job, ...]) -> frozenset[str]:
    whole = {job.id: [stage.id for stage in job.stages] for job in jobs}
    pins = [each for each in plan.wishes if each.kind == "pin"]
    return frozenset(
        key
        for each in pins
        for key in ([each.stage_id] if each.stage_id else whole.get(each.job_id, []))
    )


def _machine_row(
    machine: Machine,
    days: tuple[date, ...],
    by_place: dict[tuple[str, date], Itinerary],
    stages: dict[str, Stage],
    marks: _Marks,
    district: District,
    measures: Measures,
    today: date,
) -> MachineRow:
    cells = tuple(
        _cell(
            machine,
            day,
            by_place.get((machine.id, day)),
            stages,
            marks,
            district,
            measures,
            today,
        )
        for day in days
    )
    mine = [by_place[machine.id, day] for day in days if (machine.id, day) in by_place]
    places = {place.id: place.name for place in district.fleet.places}
    return MachineRow(
        machine_id=machine.id,
        name=machine.name,
        kind=MACHINE_LABEL[machine.kind],
        home=places.get(machine.home_id, machine.home_id),
        cells=cells,
        work=hours(_minutes(mine, "work") / 60),
    )


def _cell(
    machine: Machine,
    day: date,
    itinerary: Itinerary | None,
    stages: dict[str, Stage],
    marks: _Marks,
    district: District,
    measures: Measures,
    today: date,
) -> DayCell:
    if itinerary is None or not itinerary.legs:
        return DayCell(
            day=day, day_name=day_name(day, today), operator="", stages=(), work="", away="",
            start="", end="", filled=0, has_itinerary=False,
            why_empty=_why_empty(machine, day, district),
        )  # fmt: skip
    operators = {each.id: each for each in district.fleet.operators}
    operator = operators.get(itinerary.operator_id)
    start, end = itinerary.legs[0].start_min, itinerary.legs[-1].end_min
    shift_min = 60 * operator.shift_h if operator else end - start
    work: dict[str, float] = defaultdict(float)
    for leg in itinerary.legs:
        if leg.kind == "work" and leg.stage_id is not None:
            work[leg.stage_id] += leg.end_min - leg.start_min
    return DayCell(
        day=day,
        day_name=day_name(day, today),
        operator=operator.name if operator else itinerary.operator_id,
        stages=tuple(
            _chip(stages[key], work[key], marks, district, measures) for key in itinerary.stage_ids
        ),
        work=hours(itinerary.minutes("work") / 60),
        away=hours((end - start) / 60),
        start=clock(start),
        end=clock(end),
        filled=min(100, round(100 * (end - start) / shift_min)),
        has_itinerary=True,
        why_empty="",
    )


def _chip(
    stage: Stage, minutes: float, marks: _Marks, district: District, measures: Measures
) -> StageChip:
    segment = _segment(district, stage.segment_id)
    return StageChip(
        route=segment.route,
        where=where_on(segment, measures, stage),
        segment_id=segment.id,
        name=stage.name,
        treatment=stage.treatment.label,
        colour=FAMILY[stage.treatment],
        hours=hours(minutes / 60),
        n_passes=stage.n_passes,
        card_number=marks.numbers.get(stage.id),
        stage_id=stage.id,
        is_pinned=stage.id in marks.pinned,
        is_moved=stage.id in marks.moved,
        is_ordered=stage.id in marks.ordered,
    )


def _why_empty(machine: Machine, day: date, district: District) -> str:
    if not machine.is_available:
        return machine.note or "In the shop"
    crew = [each for each in district.fleet.operators if each.machine_id == machine.id]
    if not crew:
        return "No operator"
    if all(day in each.off_days for each in crew):
        return f"{crew[0].name} is off"
    return "No work for it"


def _graders(plan: Plan, district: District) -> list[Machine]:
    used = {each.machine_id for each in plan.itineraries}
    return [each for each in district.fleet.machines if each.kind == "grader" or each.id in used]


def _support(
    plan: Plan, days: tuple[date, ...], district: District, today: date
) -> tuple[SupportRow, ...]:
    promised: dict[tuple[str, date], float] = defaultdict(float)
    for booking in plan.bookings:
        promised[booking.machine_id, booking.day] += booking.hours
    used = {machine_id for machine_id, _ in promised}
    return tuple(
        SupportRow(
            name=machine.name,
            days=tuple(
                Promise(
                    day_name(day, today),
                    hours(promised[machine.id, day]) if (machine.id, day) in promised else "",
                )
                for day in days
            ),
        )
        for machine in district.fleet.machines
        if machine.id in used
    )


def _left_out(
    plan: Plan, jobs: tuple[Job, ...], district: District, measures: Measures
) -> tuple[LeftOutGroup, ...]:
    by_id = {job.id: job for job in jobs}
    groups: dict[Binding, list[LeftOutLine]] = defaultdict(list)
    worth = {job.id: job.benefit_h for job in jobs}
    planned = {key for each in plan.itineraries for key in each.stage_ids}
    for each in sorted(plan.unserved, key=lambda each: -worth.get(each.job_id, 0.0)):
        job = by_id.get(each.job_id)
        segment = _segment(district, each.segment_id)
        groups[each.binding].append(
            LeftOutLine(
                segment_id=segment.id,
                route=segment.route,
                where=where_on(segment, measures),
                treatment=job.treatment.label if job else "",
                colour=FAMILY[job.treatment] if job else "none",
                reason=measures.words(each.reason),
                would_change=measures.words(each.would_change),
                stage_id=_next_stage(job, planned) if job else "",
            )
        )
    ordered = sorted(groups.items(), key=lambda item: -len(item[1]))
    return tuple(LeftOutGroup(LEFT_OUT[key], tuple(lines)) for key, lines in ordered)


def _next_stage(job: Job, planned: set[str]) -> str:
    """The first stage that is not in the plan; empty where somebody must sign first."""
    if job.needs_engineer:
        return ""
    return next((stage.id for stage in job.stages if stage.id not in planned), "")


def _blocks(legs: Iterable[Leg]) -> list[list[Leg]]:
    blocks: list[list[Leg]] = []
    for leg in legs:
        last = blocks[-1] if blocks else []
        is_more_driving = last and leg.kind == last[0].kind == "travel"
        is_more_work = (
            last and leg.kind == last[0].kind == "work" and _stage_of(last) == leg.stage_id
        )
        if is_more_driving or is_more_work or (last and leg.kind == "turn"):
            last.append(leg)
        else:
            blocks.append([leg])
    return blocks


def _stage_of(legs: list[Leg]) -> str | None:
    return next((leg.stage_id for leg in legs if leg.stage_id is not None), None)


def _leg_line(
    legs: list[Leg], stages: dict[str, Stage], district: District, measures: Measures
) -> LegLine:
    first = legs[0]
    routes = dict.fromkeys(
        _segment(district, leg.segment_id).route for leg in legs if leg.segment_id is not None
    )
    length_m = sum(leg.length_m for leg in legs if leg.kind == first.kind)
    stage = stages.get(_stage_of(legs) or "")
    return LegLine(
        start=clock(first.start_min),
        end=clock(legs[-1].end_min),
        kind=first.kind,
        what=_passes(legs, stage) if first.kind == "work" and stage else LEG_LABEL[first.kind],
        where=", ".join(routes),
        segment_id=first.segment_id or "" if first.kind == "work" else "",
        length=measures.road(length_m) if length_m else "",
    )


def _passes(legs: list[Leg], stage: Stage) -> str:
    numbers = [leg.pass_number for leg in legs if leg.pass_number is not None]
    if not numbers:
        return stage.name
    span = f"pass {numbers[0]}" if len(numbers) == 1 else f"passes {numbers[0]} to {numbers[-1]}"
    return f"{stage.name}, {span} of {stage.n_passes}"


def _minutes(itineraries: Iterable[Itinerary], kind: LegKind) -> float:
    return sum(each.minutes(kind) for each in itineraries)


def _sum(costs: Iterable[CostRange]) -> CostRange | None:
    total: CostRange | None = None
    for cost in costs:
        total = cost if total is None else total + cost
    return total


def _segment(district: District, segment_id: str) -> Segment:
    return district.network.segment_by_id[segment_id]
