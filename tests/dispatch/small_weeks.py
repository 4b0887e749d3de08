"""Small weeks to plan in tests: a grid of roads, a yard, a few graders, and gates that say yes."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import numpy as np

from crossfall.model import (
    CostRange,
    Fleet,
    Job,
    Machine,
    Money,
    Network,
    Node,
    Operation,
    Operator,
    Place,
    Segment,
    Stage,
    Support,
    Treatment,
)
from crossfall.model.policy import DispatchPolicy, Policy

MONDAY = date(2026, 6, 1)
MADE_AT = datetime(2026, 6, 1, 6, 0)  # noqa: DTZ001 - local clock of the district
_LAT0, _LON0, _M_PER_DEG = 45.0, -100.0, 111_195.0


@dataclass(frozen=True)
class Verdict:
    decision: str
    p: float
    reason: str = "The test says so."


@dataclass
class OpenGates:
    """Everything may be done on every day, unless a test closes it."""

    network: Network
    first_day: date = MONDAY
    n_days: int = 5
    closed: set[tuple[str, int]] = field(default_factory=set)
    wet: set[tuple[str, int]] = field(default_factory=set)
    chance: dict[tuple[str, int], float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.segment_ids = tuple(s.id for s in self.network.segments)
        self._row = {segment_id: i for i, segment_id in enumerate(self.segment_ids)}

    def index(self, segment_id: str) -> int:
        return self._row[segment_id]

    def _table(self, of, otherwise):
        table = np.full((len(self.segment_ids), self.n_days), otherwise)
        for (segment_id, day), value in of.items():
            table[self._row[segment_id], day] = value
        return table

    def allowed(self, task):
        return self._table(dict.fromkeys(self.closed, False), True)

    def needs_water(self, task):
        return self._table(dict.fromkeys(self.wet, True), False)

    def p(self, task):
        return self._table(self.chance, 1.0)

    def worth(self, task):
        return self._table(self.chance, 1.0)

    def verdict(self, segment_id, day, task):
        key = (segment_id, (day - self.first_day).days)
        decision = "refused" if key in self.closed else "allowed"
        if decision == "allowed" and key in self.wet:
            decision = "if_watered"
        return Verdict(decision, self.chance.get(key, 1.0))


@dataclass
class NearGraph:
    """Nearest node, by the plain distance in degrees made square."""

    network: Network

    def nearest_node(self, lon: float, lat: float) -> str:
        return min(
            self.network.nodes,
            key=lambda n: math.hypot((n.lon - lon) * math.cos(math.radians(lat)), n.lat - lat),
        ).id


def grid(
    n_rows: int = 3,
    n_columns: int = 3,
    *,
    length_m: float = 1600.0,
    turn_min: float | None = None,
    travel_km_h: float = 40.0,
) -> Network:
    """A square grid of two-way gravel roads; nodes ``n0-0``, segments ``h0-0`` and ``v0-0``."""
    step = length_m / _M_PER_DEG
    east = step / math.cos(math.radians(_LAT0))
    nodes = [
        Node(f"n{r}-{c}", _LON0 + c * east, _LAT0 + r * step, turn_min)
        for r in range(n_rows)
        for c in range(n_columns)
    ]
    place = {node.id: (node.lon, node.lat) for node in nodes}
    segments = []
    for r in range(n_rows):
        for c in range(n_columns):
            for kind, r2, c2 in (("h", r, c + 1), ("v", r + 1, c)):
                if r2 < n_rows and c2 < n_columns:
                    ends = f"n{r}-{c}", f"n{r2}-{c2}"
                    segments.append(
                        Segment(
                            f"{kind}{r}-{c}",
                            f"Road {kind}{r if kind == 'h' else c}",
                            *ends,
                            (c if kind == "h" else r) * length_m,
                            length_m,
                            (place[ends[0]], place[ends[1]]),
                            surface="gravel",
                            travel_km_h=travel_km_h,
                        )
                    )
    return Network(tuple(nodes), tuple(segments))


_NOTHING = Money(0, "USD", 2026)
NO_COST = CostRange(_NOTHING, _NOTHING, _NOTHING)


def stage(
    job_id: str,
    segment_id: str,
    *,
    number: int = 1,
    passes: tuple[float, ...] = (16.0, 16.0),
    from_m: float = 0.0,
    to_m: float = 1600.0,
    treatment: Treatment = Treatment.BLADING,
    after: tuple[str, ...] = (),
    support: tuple[Support, ...] = (),
    needs_attachment: str = "",
    wait_min: float = 0.0,
) -> Stage:
    return Stage(
        id=f"{job_id}-{number}",
        job_id=job_id,
        number=number,
        name=f"part {number} of {job_id}",
        segment_id=segment_id,
        from_m=from_m,
        to_m=to_m,
        task="light_blading" if treatment == Treatment.BLADING else "cutting",
        treatment=treatment,
        operations=(Operation("blade", len(passes), 6.0),),
        pass_minutes=passes,
        steps=("Blade.",),
        end_state="Traffic can pass.",
        after=after,
        support=support,
        needs_attachment=needs_attachment,
        wait_min=wait_min,
    )


def job_of(job_id: str, *stages: Stage, benefit_h: float = 2.0, **more) -> Job:
    return Job(
        id=job_id,
        need_id=f"need-{job_id}",
        segment_id=stages[0].segment_id,
        treatment=stages[0].treatment,
        stages=stages,
        benefit_h=benefit_h,
        quantities=(),
        cost=NO_COST,
        **more,
    )


def job(segment_id: str, *, benefit_h: float = 2.0, **more) -> Job:
    """One stage over one segment."""
    job_id = f"j-{segment_id}"
    return job_of(job_id, stage(job_id, segment_id, **more), benefit_h=benefit_h)


def crew(
    n_graders: int = 1,
    *,
    shift_h: float = 8.0,
    at: tuple[float, float] = (_LON0, _LAT0),
    extra: tuple[Machine, ...] = (),
    drivers: tuple[Operator, ...] = (),
    **operator,
) -> Fleet:
    yard = Place("yard", "Yard", "yard", *at)
    machines = tuple(Machine(f"G{i}", f"Grader {i}", "grader", "yard") for i in range(n_graders))
    people = tuple(
        Operator(f"P{i}", f"Person {i}", f"G{i}", shift_h=shift_h, **operator)
        for i in range(n_graders)
    )
    return Fleet((yard,), machines + extra, people + drivers)


def rules(**changes) -> Policy:
    """Policy with the dispatch settings given; no walk-round, no meal, out and back for miles."""
    plain = {"pretrip_min": 0.0, "break_min": 0.0, "open_windrow_m": 8000.0}
    return Policy(dispatch=DispatchPolicy(**(plain | changes)))


def day(n: int) -> date:
    return MONDAY + timedelta(days=n)
