"""From a plan to job cards: one for each stage and day, complete enough to work from."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from crossfall.cards.cautions import cautions_for
from crossfall.cards.clock import clock
from crossfall.cards.in_turn import in_turn
from crossfall.cards.leave import leave_steps
from crossfall.cards.sketch import Sketcher, heading
from crossfall.design.outfit import outfit_of
from crossfall.design.water import DEPTH, IF_DRY, layer_water_l, water_row
from crossfall.design.words import metres, span
from crossfall.errors import InputError
from crossfall.judgement.gate import GateTable
from crossfall.model import (
    CardStep,
    District,
    Itinerary,
    Job,
    JobCard,
    Leg,
    Need,
    Network,
    Plan,
    Quantity,
    Segment,
    Stage,
)


def make_cards(
    plan: Plan, jobs: Sequence[Job], needs: Sequence[Need], district: District, gates: GateTable
) -> tuple[JobCard, ...]:
    """Write a card for every stage of every day in the plan, numbered by day, machine and time.

    Raises
    ------
    InputError
        If the plan speaks of a stage that no job has.
    """
    stages = {stage.id: (job, stage) for job in jobs for stage in job.stages}
    reasons = {need.id: need for need in needs}
    desk = _Desk(
        plan,
        district,
        gates,
        Sketcher.of(district.network),
        _crossings(district.network),
        outfit_of(district.fleet, district.policy).tank_l,
        {
            stage.id: f"{district.network.segment_by_id[stage.segment_id].route} ({stage.name})"
            for _, stage in stages.values()
        },
    )
    cards: list[JobCard] = []
    for itinerary in sorted(plan.itineraries, key=lambda each: (each.day, each.machine_id)):
        for stage_id in itinerary.stage_ids:
            if stage_id not in stages:
                raise InputError(f"the plan works on stage {stage_id}, which no job has")
            job, stage = stages[stage_id]
            cards.append(
                desk.write(len(cards) + 1, itinerary, job, stage, reasons.get(job.need_id))
            )
    return tuple(cards)


@dataclass(frozen=True)
class _Desk:
    """What every card of a run is written from."""

    plan: Plan
    district: District
    gates: GateTable
    sketcher: Sketcher
    crossings: dict[str, tuple[str, ...]]
    tank_l: float
    routes_of_stages: dict[str, str]
    """Road and name of each stage, by its id."""

    def write(
        self, number: int, itinerary: Itinerary, job: Job, stage: Stage, need: Need | None
    ) -> JobCard:
        network, fleet = self.district.network, self.district.fleet
        segment = network.segment_by_id[stage.segment_id]
        legs = [leg for leg in itinerary.legs if leg.stage_id == stage.id and leg.kind == "work"]
        sketch = self.sketcher.sketch(segment, stage)
        machines = {machine.id: machine.name for machine in fleet.machines}
        operators = {operator.id: operator.name for operator in fleet.operators}
        features = network.features_by_segment.get(segment.id, ())
        practice = self.district.policy.design.permission
        quantities = self._quantities(itinerary, stage)
        return JobCard(
            id=f"{self.plan.id}-{number:03d}",
            number=number,
            version=1,
            status="draft",
            made_at=self.plan.made_at,
            plan_id=self.plan.id,
            job_id=job.id,
            stage_id=stage.id,
            segment_id=segment.id,
            day=itinerary.day,
            machine=machines.get(itinerary.machine_id, itinerary.machine_id),
            operator=operators.get(itinerary.operator_id, itinerary.operator_id),
            title=f"{stage.treatment.label}: {segment.route}",
            where=self._where(segment, stage),
            start_clock=clock(min((leg.start_min for leg in legs), default=0.0)),
            moisture=self._moisture(itinerary, stage),
            steps=(
                *_steps(stage, legs, heading(sketch.line), need),
                *in_turn(itinerary, stage, self.routes_of_stages),
                *leave_steps(stage, features, self.district.clearances, itinerary.day, practice),
                *_water(stage, quantities),
                *_work(stage),
            ),
            quantities=quantities,
            stakes=stage.stakes,
            cautions=cautions_for(stage, features, practice),
            end_state=stage.end_state,
            checks=stage.checks,
            cost=stage.cost or job.cost,
            sketch=sketch,
            assumed=job.assumed,
            policy_version=self.district.policy.version,
            is_invented=self.district.is_invented,
            from_m=stage.from_m,
            to_m=stage.to_m,
            confirmed_by=job.confirmed_by,
        )

    def _where(self, segment: Segment, stage: Stage) -> str:
        ends = [
            next((name for name in self.crossings.get(node, ()) if name != segment.route), "")
            for node in (segment.from_node, segment.to_node)
        ]
        between = {
            (True, True): f" between {ends[0]} and {ends[1]}",
            (True, False): f" from {ends[0]}",
            (False, True): f" towards {ends[1]}",
        }.get((bool(ends[0]), bool(ends[1])), "")
        return f"{stage.name}, {metres(stage.from_m)} to {metres(stage.to_m)}{between}"

    def _moisture(self, itinerary: Itinerary, stage: Stage) -> str:
        verdict = self.gates.verdict(stage.segment_id, itinerary.day, stage.task)
        water = " Only with the water truck beside you." if verdict.decision == "if_watered" else ""
        return f"{verdict.reason}{water}"

    def _quantities(self, itinerary: Itinerary, stage: Stage) -> tuple[Quantity, ...]:
        machines = {machine.id: machine for machine in self.district.fleet.machines}
        # Machines of one kind that come for the same hours share a line
        together: dict[tuple[str, float], list[str]] = {}
        for each in self.plan.bookings:
            if each.stage_id == stage.id and each.day == itinerary.day:
                machine = machines.get(each.machine_id)
                kind = machine.kind.replace("_", " ") if machine else "machine"
                name = machine.name if machine else each.machine_id
                together.setdefault((kind, each.hours), []).append(name)
        booked = [
            Quantity(names[0], hours, "h", "booked")
            if len(names) == 1
            else Quantity(f"{len(names)} {kind}s", hours, "h", f"each; booked: {', '.join(names)}")
            for (kind, hours), names in together.items()
        ]
        blade = Quantity("grader on the job", stage.work_min / 60, "h")
        return (*self._planned(itinerary, stage), blade, *booked)

    def _planned(self, itinerary: Itinerary, stage: Stage) -> Iterator[Quantity]:
        """The stage's quantities, with the water that this day's surface takes."""
        state, policy = self.gates.state, self.district.policy
        segment = self.district.network.segment_by_id[stage.segment_id]
        depth_mm = next((row.value for row in stage.quantities if row.name == DEPTH), 0.0)
        verdict = self.gates.verdict(segment.id, itinerary.day, stage.task)
        now_pct = state.figures(segment.id, itinerary.day).moisture_pct
        length_m = stage.to_m - stage.from_m
        for row in stage.quantities:
            if row.name != IF_DRY or not math.isfinite(now_pct):
                yield row
            elif verdict.decision == "if_watered":
                water_l = layer_water_l(policy, segment, length_m, depth_mm, now_pct)
                area = length_m * segment.width_m
                yield water_row(
                    water_l, tank_l=self.tank_l, now_pct=now_pct, area_m2=area, name="water"
                )


def _steps(
    stage: Stage, legs: Sequence[Leg], bound: str, need: Need | None
) -> tuple[CardStep, ...]:
    why = (CardStep(f"Why: {need.cause}"),) if need is not None and need.cause else ()
    return (*why, *_directions(legs, bound))


def _water(stage: Stage, quantities: Sequence[Quantity]) -> tuple[CardStep, ...]:
    return tuple(
        CardStep("Water first, evenly, and again while mixing", row.note)
        for row in quantities
        if row.name == "water" and stage.task == "cutting"
    )


def _work(stage: Stage) -> tuple[CardStep, ...]:
    parts = (text.partition(" — ") for text in stage.steps)
    return tuple(CardStep(head, detail) for head, _, detail in parts)


def _directions(legs: Sequence[Leg], bound: str) -> tuple[CardStep, ...]:
    there = sorted({leg.pass_number for leg in legs if leg.is_forward and leg.pass_number})
    back = sorted({leg.pass_number for leg in legs if not leg.is_forward and leg.pass_number})
    if not there and not back:
        return ()
    turned = {
        "eastbound": "westbound",
        "westbound": "eastbound",
        "northbound": "southbound",
        "southbound": "northbound",
    }[bound]
    for odd, even, ways in ((there, back, (bound, turned)), (back, there, (turned, bound))):
        if _alternate(odd, even):
            told = f"odd passes {ways[0]}, even passes {ways[1]}"
            return (CardStep("Each pass on its own side, with the traffic", told),)
    parts = [
        f"{way}: {_list(numbers)}" for way, numbers in ((bound, there), (turned, back)) if numbers
    ]
    return (CardStep("Each pass on its own side, with the traffic", "; ".join(parts)),)


def _alternate(odd: Sequence[int], even: Sequence[int]) -> bool:
    """Whether one way has only odd passes, more than one, and the other only even ones."""
    return len(odd) > 1 and all(n % 2 for n in odd) and not any(n % 2 for n in even)


def _list(numbers: Sequence[int]) -> str:
    if len(numbers) > 1 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return span(numbers[0], numbers[-1]).lower()
    word = "pass" if len(numbers) == 1 else "passes"
    return f"{word} {', '.join(str(number) for number in numbers)}"


def _crossings(network: Network) -> dict[str, tuple[str, ...]]:
    found: dict[str, dict[str, None]] = {}
    for segment in network.segments:
        for node in (segment.from_node, segment.to_node):
            found.setdefault(node, {})[segment.route] = None
    return {node: tuple(routes) for node, routes in found.items()}
