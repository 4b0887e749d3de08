"""The ways a stage's passes can be driven: whole, or one pass out and the rest on the way back.

Each block has up to four *modes*: which way the first pass goes and, on part
of a segment, by which end the machine leaves. A mode says through which port
it comes in, through which it goes out, and the minutes in between: signs,
pass minutes, turns between passes, and the drive along the segment to and from
the stage. Where the windrow would lie too long between two passes, because the
way round is long, there is no such mode.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.dispatch.roads import Roads
from crossfall.model import Network, Stage
from crossfall.model.policy import DispatchPolicy

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

N_MODES = 4
N_OPTIONS = 5
_WHOLE_M = 1.0


@dataclass(frozen=True)
class Blocks:
    """Tables over blocks; unused modes have infinite minutes."""

    stage: Ints
    first_pass: Ints
    """Index from 0 of the first pass of the block."""
    n_passes: Ints
    enter: npt.NDArray[np.int64]
    """Port the machine comes in by, shape (block, mode)."""
    leave: npt.NDArray[np.int64]
    last: npt.NDArray[np.int64]
    """Port by which the last pass goes: a machine that helps ends there, even where the grader
    turns once more and leaves by the other end."""
    minutes: Floats
    """Minutes inside the segment, shape (class, block, mode) [min]."""
    gap_min: Floats
    """Longest time from the end of a pass to the next, shape (class, block, mode) [min]."""
    lead_min: Floats
    """Least and most minutes from coming in to the first pass, shape (stage, 2) [min]."""
    starts_forward: npt.NDArray[np.bool_]
    """Direction of the block's first pass, shape (block, mode)."""
    opens_m: Floats
    """Length of windrow left open after the block; negative when it closes one [m]."""
    first_option: Ints
    """First block of each option, shape (stage, option); -1 where there is none."""
    second_option: Ints
    lies_min: Floats
    """Where no mode is left because a windrow would lie too long: how long; else 0 [min]."""

    @property
    def n_blocks(self) -> int:
        return int(self.stage.size)


@dataclass(frozen=True, slots=True)
class Lane:
    """A stage's place on its segment and what the turns and drives there cost one class."""

    along_min: float
    """Travel minutes from the segment's start to the stage [min]."""
    beyond_min: float
    """From the stage to the segment's end [min]."""
    inside_min: float
    """Over the stage itself, blade up [min]."""
    turn_at_end: float
    turn_at_start: float
    again_min: float
    """From the segment's end round to its start, along the same way [min]."""
    is_one_way: bool


def build_blocks(
    stages: Sequence[Stage],
    stage_port: Ints,
    ports: Ints,
    network: Network,
    roads: Sequence[Roads],
    between: npt.NDArray[np.float32],
    policy: DispatchPolicy,
    must_start: Sequence[bool | None],
) -> Blocks:
    """Every block of every stage whose segment has ports (``stage_port`` >= 0).

    ``must_start`` says for half-done stages which way their next pass goes; those stay whole.
    """
    maker = _Maker(len(stages), len(roads), policy.windrow_open_max_min)
    for s, stage in enumerate(stages):
        k = int(stage_port[s])
        if k < 0:
            continue
        segment = network.segments[int(ports[k])]
        lanes = [
            lane_of(
                stage,
                segment.length_m,
                road.segment_minutes(int(ports[k])),
                turns=(
                    float(between[c, 2 * k, 2 * k + 1]),
                    float(between[c, 2 * k + 1, 2 * k]),
                    float(between[c, 2 * k, 2 * k]),
                ),
                is_one_way=segment.is_oneway,
                turn_on_road_min=policy.turn_on_road_min,
            )
            for c, road in enumerate(roads)
        ]
        can_split = is_whole(stage, segment.length_m) and must_start[s] is None
        maker.add_stage(s, stage, k, lanes, can_split, must_start[s])
    return maker.tables()


def is_whole(stage: Stage, length_m: float) -> bool:
    """Whether the stage is the whole segment, to within a metre."""
    return stage.from_m <= _WHOLE_M and stage.to_m >= length_m - _WHOLE_M


def lane_of(
    stage: Stage,
    length_m: float,
    segment_min: float,
    *,
    turns: tuple[float, float, float],
    is_one_way: bool,
    turn_on_road_min: float,
) -> Lane:
    """Where the stage lies on its segment; ends within a metre count as the node itself."""
    from_m = 0.0 if stage.from_m <= _WHOLE_M else stage.from_m
    to_m = length_m if stage.to_m >= length_m - _WHOLE_M else stage.to_m
    pace = segment_min / length_m
    return Lane(
        along_min=from_m * pace,
        beyond_min=(length_m - to_m) * pace,
        inside_min=(to_m - from_m) * pace,
        turn_at_end=turns[0] if to_m == length_m else turn_on_road_min,
        turn_at_start=turns[1] if from_m == 0 else turn_on_road_min,
        again_min=turns[2],
        is_one_way=is_one_way,
    )


def mode_minutes(
    lane: Lane, passes: Sequence[float], starts_forward: bool, leaves_forward: bool
) -> float:
    """Minutes inside the segment for one block driven one way; infinite where it cannot be.

    Examples
    --------
    >>> lane = Lane(0.0, 0.0, 2.4, turn_at_end=2.0, turn_at_start=2.0, again_min=9.0,
    ...             is_one_way=False)
    >>> mode_minutes(lane, (16.0, 16.0), True, False)
    34.0
    """
    n = len(passes)
    if lane.is_one_way:
        if not (starts_forward and leaves_forward):
            return np.inf
        # Between passes the machine goes on to the end and comes round to the start again
        round_min = lane.beyond_min + lane.again_min + lane.along_min if n > 1 else 0.0
        return lane.along_min + sum(passes) + (n - 1) * round_min + lane.beyond_min
    minutes = lane.along_min if starts_forward else lane.beyond_min
    goes_forward = starts_forward
    for i, each in enumerate(passes):
        minutes += each
        if i < n - 1:
            minutes += lane.turn_at_end if goes_forward else lane.turn_at_start
            goes_forward = not goes_forward
    if goes_forward == leaves_forward:
        return minutes + (lane.beyond_min if goes_forward else lane.along_min)
    at_node = (lane.beyond_min if goes_forward else lane.along_min) == 0
    if at_node:
        return np.inf
    turn = lane.turn_at_end if goes_forward else lane.turn_at_start
    back = lane.along_min if goes_forward else lane.beyond_min
    return minutes + turn + lane.inside_min + back


def mode_gap(lane: Lane, n_passes: int, starts_forward: bool) -> float:
    """Longest time from the end of a pass to the start of the next in one block [min]."""
    if n_passes < 2:
        return 0.0
    if lane.is_one_way:
        return lane.beyond_min + lane.again_min + lane.along_min
    first, second = lane.turn_at_end, lane.turn_at_start
    if not starts_forward:
        first, second = second, first
    return first if n_passes == 2 else max(first, second)


class _Maker:
    """Collects blocks row by row."""

    def __init__(self, n_stages: int, n_classes: int, most_open_min: float) -> None:
        self.most_open_min = most_open_min
        self.gap: list[list[list[float]]] = []
        self.lead = np.zeros((n_stages, 2))
        self.lies = np.zeros(n_stages)
        self.rows: list[tuple[int, int, int, float]] = []
        self.enter: list[list[int]] = []
        self.leave: list[list[int]] = []
        self.last: list[list[int]] = []
        self.minutes: list[list[list[float]]] = []
        self.forward: list[list[bool]] = []
        self.first = np.full((n_stages, N_OPTIONS), -1, dtype=np.int64)
        self.second = np.full((n_stages, N_OPTIONS), -1, dtype=np.int64)
        self.n_classes = n_classes

    def add_stage(
        self,
        s: int,
        stage: Stage,
        k: int,
        lanes: list[Lane],
        can_split: bool,
        must_start: bool | None,
    ) -> None:
        n = stage.n_passes
        leads = [each for lane in lanes for each in (lane.along_min, lane.beyond_min)]
        self.lead[s] = stage.wait_min + np.array([min(leads), max(leads)])
        self.first[s, 0] = self._add(s, stage, k, lanes, 0, n, must_start, 0.0)
        can_split = can_split and n % 2 == 0 and not stage.support and not lanes[0].is_one_way
        if not can_split:
            return
        option = 1
        for cut in (1,) if n == 2 else (1, n - 1):
            for forward in (True, False):
                length = stage.to_m - stage.from_m
                self.first[s, option] = self._add(s, stage, k, lanes, 0, cut, forward, length)
                self.second[s, option] = self._add(
                    s, stage, k, lanes, cut, n - cut, not forward, -length
                )
                option += 1

    def _add(
        self,
        s: int,
        stage: Stage,
        k: int,
        lanes: list[Lane],
        first: int,
        n: int,
        forced: bool | None,
        opens_m: float,
    ) -> int:
        passes = stage.pass_minutes[first : first + n]
        wait_min = stage.wait_min if first == 0 else 0.0
        modes: list[tuple[int, int, bool, list[float], list[float]]] = []
        lies = np.inf
        for forward in (True, False):
            gaps = [mode_gap(lane, n, forward) for lane in lanes]
            for leaves in (True, False):
                minutes = [mode_minutes(lane, passes, forward, leaves) + wait_min for lane in lanes]
                if (forced is not None and forced != forward) or min(minutes) == np.inf:
                    continue
                lies = min(lies, *gaps)
                minutes = [
                    each if gap <= self.most_open_min else np.inf
                    for each, gap in zip(minutes, gaps, strict=True)
                ]
                if min(minutes) < np.inf:
                    enter = 2 * k + (0 if forward else 1)
                    modes.append((enter, 2 * k + (0 if leaves else 1), forward, minutes, gaps))
        if not modes and self.most_open_min < lies < np.inf:
            self.lies[s] = lies
        nowhere = [np.inf] * len(lanes)
        while len(modes) < N_MODES:
            modes.append((2 * k, 2 * k, True, nowhere, nowhere))
        self.rows.append((s, first, n, opens_m))
        self.enter.append([mode[0] for mode in modes])
        self.leave.append([mode[1] for mode in modes])
        is_turned = n % 2 == 0 and not lanes[0].is_one_way
        self.last.append([2 * k + int(mode[2] == is_turned) for mode in modes])
        self.forward.append([mode[2] for mode in modes])
        self.minutes.append([mode[3] for mode in modes])
        self.gap.append([mode[4] for mode in modes])
        return len(self.rows) - 1

    def tables(self) -> Blocks:
        n = len(self.rows)
        column = list(zip(*self.rows, strict=True)) if self.rows else [(), (), (), ()]
        shape = (n, N_MODES, self.n_classes)
        minutes, gap = (
            np.ascontiguousarray(np.moveaxis(np.array(each, dtype=float).reshape(shape), 2, 0))
            for each in (self.minutes, self.gap)
        )
        return Blocks(
            stage=np.array(column[0], dtype=np.int64),
            first_pass=np.array(column[1], dtype=np.int64),
            n_passes=np.array(column[2], dtype=np.int64),
            enter=np.array(self.enter, dtype=np.int64).reshape(n, N_MODES),
            leave=np.array(self.leave, dtype=np.int64).reshape(n, N_MODES),
            minutes=minutes,
            gap_min=gap,
            lead_min=self.lead,
            last=np.array(self.last, dtype=np.int64).reshape(n, N_MODES),
            starts_forward=np.array(self.forward, dtype=bool).reshape(n, N_MODES),
            opens_m=np.array(column[3], dtype=float),
            first_option=self.first,
            second_option=self.second,
            lies_min=self.lies,
        )
