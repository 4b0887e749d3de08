"""From blocks to turn by turn: every drive, turn and pass with its place and its clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from crossfall.dispatch.blocks import is_whole
from crossfall.dispatch.problem import Problem
from crossfall.dispatch.roads import Floats, Ints, Roads
from crossfall.dispatch.shifts import Shift
from crossfall.dispatch.solve import Solution
from crossfall.model import Itinerary, Leg, Segment, Stage, SupportBooking
from crossfall.model.plan import LegKind


def itineraries_of(problem: Problem, solution: Solution) -> tuple[Itinerary, ...]:
    """One itinerary for each shift that goes out or has to come home, by day and machine."""
    ways: dict[tuple[int, int], tuple[Floats, Ints]] = {}
    driven = (
        _itinerary(problem, h, blocks, solution.modes[h], ways)
        for h, blocks in enumerate(solution.blocks)
        if blocks or _is_out(problem.shifts[h])
    )
    # Whoever stands in the yard already has nothing to drive
    return tuple(each for each in driven if each.legs)


def _is_out(shift: Shift) -> bool:
    """Whether the machine stands out on the road and must be driven home, with work or without."""
    is_on_the_road = shift.standing is not None and shift.standing.came is not None
    return is_on_the_road or (shift.start_node is not None and shift.end_node is None)


def bookings_of(
    problem: Problem, solution: Solution, itineraries: Sequence[Itinerary]
) -> tuple[SupportBooking, ...]:
    """The supporting machines promised to each stage, from its first pass to its last.

    Machines promised for longer stay for the hours promised.
    """
    shift_of = solution.stage_shift(problem)
    passes: dict[str, list[Leg]] = {}
    for itinerary in itineraries:
        for leg in itinerary.legs:
            if leg.kind == "work" and leg.stage_id is not None:
                passes.setdefault(leg.stage_id, []).append(leg)
    found: list[SupportBooking] = []
    for s, machine, hours in solution.support:
        stage_id = problem.stages[s].id
        start, end = passes[stage_id][0].start_min, passes[stage_id][-1].end_min
        found.append(
            SupportBooking(
                stage_id=stage_id,
                day=problem.shifts[shift_of[s]].day,
                machine_id=problem.support.machine_ids[machine],
                hours=hours,
                start_min=start,
                end_min=max(end, start + 60 * hours),
            )
        )
    return tuple(found)


def _itinerary(
    problem: Problem,
    h: int,
    blocks: Sequence[int],
    modes: Sequence[int],
    ways: dict[tuple[int, int], tuple[Floats, Ints]],
) -> Itinerary:
    shift, c = problem.shifts[h], int(problem.shift_class[h])
    driver = _Driver(problem, shift, problem.roads[c], ways, c)
    driver.start(_place(problem, driver.roads, int(problem.shift_start[h])))
    passes_done: dict[int, int] = {}
    for b, mode in zip(blocks, modes, strict=True):
        s = int(problem.blocks.stage[b])
        enter, leave = problem.blocks.enter[b, mode], problem.blocks.leave[b, mode]
        driver.drive_to(_arc(problem, int(enter)))
        first = passes_done.get(s, 0)
        lies = float(problem.blocks.gap_min[c, b, mode])
        driver.rest_before(float(problem.blocks.minutes[c, b, mode]), lies)
        passes_done[s] = first + int(problem.blocks.n_passes[b])
        driver.work(
            problem.stages[s],
            first,
            passes_done[s],
            n_made=int(problem.n_done[s]),
            starts_forward=bool(problem.blocks.starts_forward[b, mode]),
            leaves_forward=int(leave) % 2 == 0,
        )
    driver.drive_to(_place(problem, driver.roads, int(problem.shift_home[h])))
    return Itinerary(shift.machine.id, shift.operator.id, shift.day, tuple(driver.legs))


def _place(problem: Problem, roads: Roads, port: int) -> int:
    """The yard (``n_arcs + yard``) or arc that a start or home port stands for."""
    k = port - 2 * problem.ports.size
    n_yards = roads.yards.size
    return roads.n_arcs + k if k < n_yards else int(problem.standing_arcs[k - n_yards])


def _arc(problem: Problem, port: int) -> int:
    return 2 * int(problem.ports[port // 2]) + port % 2


@dataclass
class _Driver:
    """Writes legs while it moves; knows where it is, which way it faces and what time it is."""

    problem: Problem
    shift: Shift
    roads: Roads
    ways: dict[tuple[int, int], tuple[Floats, Ints]]
    machine_class: int
    legs: list[Leg] = field(default_factory=list)
    clock: float = 0.0
    at: int = 0
    """Arc just driven, or ``n_arcs + yard``."""
    needs_break: bool = False

    def start(self, place: int) -> None:
        self.clock, self.at = self.shift.start_min, place
        node = self._node_ahead()
        self.needs_break = self.shift.break_min > 0
        if self.shift.pretrip_min > 0:
            self._add("wait", self.shift.pretrip_min, node, node)

    def drive_to(self, target: int) -> None:
        """Drive to where ``target`` begins, turns included, and turn into it if need be."""
        key = (self.machine_class, self.at)
        if key not in self.ways:
            self.ways[key] = self.roads.ways_from(self.at)
        for arc in self.roads.way(self.at, target, self.ways[key]):
            self._turn_into(arc)
            segment = self.problem.network.segments[arc // 2]
            self._move("travel", segment, arc % 2 == 0, 0.0, segment.length_m, self._pace(segment))
            self.at = arc
        if target < self.roads.n_arcs:
            self._turn_into(target)

    def rest_before(self, minutes: float, lies_min: float) -> None:
        """Take the meal break now if it would fall between two passes that lie too long then.

        ``minutes`` are those of the passes to come, ``lies_min`` is the longest between two.
        """
        rest, most = self.shift.break_min, self.problem.policy.windrow_open_max_min
        is_due = self.needs_break and self.clock + minutes > self._break_by
        if is_due and lies_min > 0 and lies_min + rest > most:
            node = self._node_ahead()
            self.needs_break = False
            self._add("break", rest, node, node)

    def work(
        self,
        stage: Stage,
        first: int,
        last: int,
        *,
        n_made: int,
        starts_forward: bool,
        leaves_forward: bool,
    ) -> None:
        """Passes ``first`` (from 0) up to ``last``, with the drives along the segment they need.

        ``n_made`` passes were made before the plan began.
        """
        index = self.roads.segment_index[stage.segment_id]
        segment = self.problem.network.segments[index]
        pace = self._pace(segment)
        length = segment.length_m
        whole = is_whole(stage, length)
        low = 0.0 if whole or stage.from_m <= 1 else stage.from_m
        high = length if whole or stage.to_m >= length - 1 else stage.to_m
        forward = starts_forward
        at = low if forward else length - high
        self._move("travel", segment, forward, 0.0, at, pace, stage)
        if first == 0 and stage.wait_min > 0:
            node = segment.from_node if forward else segment.to_node
            at_m = low if forward else high
            self._add("wait", stage.wait_min, node, node, segment, stage, forward, at=(at_m, at_m))
        for n in range(first, last):
            if n > first and segment.is_oneway:
                self._move("travel", segment, True, high, length - high, pace, stage)
                self.at = 2 * index
                self.drive_to(2 * index)
                self._move("travel", segment, True, 0.0, low, pace, stage)
            elif n > first:
                self._turn_on(segment, index, forward, high if forward else low, stage)
                forward = not forward
            minutes = stage.pass_minutes[n]
            at = low if forward else length - high
            self._move(
                "work",
                segment,
                forward,
                at,
                high - low,
                minutes / (high - low),
                stage,
                n_made + n + 1,
            )
        if forward != leaves_forward:
            self._turn_on(segment, index, forward, high if forward else low, stage)
            forward = not forward
            at = low if forward else length - high
            self._move("travel", segment, forward, at, high - low, pace, stage)
        at = high if forward else length - low
        self._move("travel", segment, forward, at, length - at, pace, stage)
        self.at = 2 * index + (0 if forward else 1)

    def _turn_on(
        self, segment: Segment, index: int, forward: bool, at_m: float, stage: Stage
    ) -> None:
        """Turn round between passes: at the node (or wherever one can), or on the road."""
        if at_m in (0.0, segment.length_m):
            self.at = 2 * index + (0 if forward else 1)
            self.drive_to(self.at ^ 1)
            return
        node = segment.to_node if forward else segment.from_node
        minutes = self.problem.policy.turn_on_road_min
        self._add("turn", minutes, node, node, segment, stage, forward, at=(at_m, at_m))

    def _turn_into(self, arc: int) -> None:
        """A turn at the node when ``arc`` leads back the way the machine came."""
        if self.at < self.roads.n_arcs and arc == self.at ^ 1:
            segment = self.problem.network.segments[arc // 2]
            tail = int(self.roads.tail[arc])
            node = self._node_name(tail)
            at = 0.0 if arc % 2 == 0 else segment.length_m
            minutes = float(self.roads.turn_min[tail])
            self._add("turn", minutes, node, node, segment, None, arc % 2 == 0, at=(at, at))

    def _move(
        self,
        kind: LegKind,
        segment: Segment,
        forward: bool,
        begin_m: float,
        length_m: float,
        pace: float,
        stage: Stage | None = None,
        pass_number: int | None = None,
    ) -> None:
        """Move ``length_m`` along, from ``begin_m`` counted the way the machine goes."""
        if length_m <= 0:
            return
        ends = (begin_m, begin_m + length_m)
        if not forward:
            ends = (segment.length_m - ends[0], segment.length_m - ends[1])
        nodes = (segment.from_node, segment.to_node)
        behind, ahead = nodes if forward else nodes[::-1]
        self._add(
            kind,
            length_m * pace,
            behind,
            ahead,
            segment,
            stage,
            forward,
            at=ends,
            length_m=length_m,
            pass_number=pass_number,
        )

    def _add(
        self,
        kind: LegKind,
        minutes: float,
        from_node: str,
        to_node: str,
        segment: Segment | None = None,
        stage: Stage | None = None,
        forward: bool = True,
        *,
        at: tuple[float | None, float | None] = (None, None),
        length_m: float = 0.0,
        pass_number: int | None = None,
    ) -> None:
        if minutes <= 0:
            return
        if self.needs_break and self.clock + minutes > self._break_by:
            self.needs_break = False
            self._add(
                "break",
                self.shift.break_min,
                from_node,
                from_node,
                segment,
                None,
                forward,
                at=(at[0], at[0]),
            )
        self.legs.append(
            Leg(
                kind=kind,
                start_min=self.clock,
                end_min=self.clock + minutes,
                from_node=from_node,
                to_node=to_node,
                segment_id=None if segment is None else segment.id,
                stage_id=None if stage is None else stage.id,
                pass_number=pass_number,
                is_forward=forward,
                length_m=length_m,
                from_m=at[0],
                to_m=at[1],
            )
        )
        self.clock += minutes

    @property
    def _break_by(self) -> float:
        """Clock by which the meal break begins."""
        return 60 * (self.shift.operator.shift_start_h + self.problem.policy.break_latest_h)

    def _node_ahead(self) -> str:
        """The node that the machine stands at after a drive."""
        n_arcs = self.roads.n_arcs
        at = self.roads.head[self.at] if self.at < n_arcs else self.roads.yards[self.at - n_arcs]
        return self._node_name(int(at))

    def _pace(self, segment: Segment) -> float:
        """Minutes for each metre driven."""
        index = self.roads.segment_index[segment.id]
        return self.roads.segment_minutes(index) / segment.length_m

    def _node_name(self, node: int) -> str:
        return self.problem.network.nodes[node].id
