"""Designed work: a job, cut into stages that each fit a shift and leave the road passable."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from crossfall.model.common import CostRange
from crossfall.model.fleet import MachineKind
from crossfall.model.need import Task, Treatment


@dataclass(frozen=True, slots=True)
class Operation:
    """Grader passes of one kind, in the order they are made."""

    name: str
    """``cut to below the washboard``, ``spread``, ``final shape``."""
    n_passes: int
    speed_km_h: float
    moldboard_deg: float | None = None
    """Angle of the moldboard from straight across [degrees]."""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Support:
    """Other machines a stage needs beside the grader, for how long."""

    kind: MachineKind
    n_machines: int
    hours: float
    """Hours of each of them [h]."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """One line of the card's quantity table; ``state`` is never left out for volumes."""

    name: str
    """With the state of measure where there is one: ``loose gravel``, ``compacted gravel``."""
    value: float
    unit: str
    """A unit name of :mod:`crossfall.units`, or ``loads``, ``each``."""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Stake:
    """A marker for the next load."""

    number: int
    at_m: float
    """Metres from the start of the stage [m]."""
    load: str
    """Which lift and load goes from here to the next marker."""


@dataclass(frozen=True, slots=True)
class Stage:
    """A part of a job done by one grader in one shift; afterwards traffic can pass safely.

    ``pass_minutes`` has one figure for each pass, in order, over the stage's own
    length ``from_m`` to ``to_m`` (metres from the segment's start). Where gravel is hauled, the
    passes that spread it go at the pace of the slowest machine. Travel to and from the stage
    within the segment is the dispatcher's to add.
    """

    id: str
    job_id: str
    number: int
    name: str
    segment_id: str
    from_m: float
    to_m: float
    task: Task
    treatment: Treatment
    operations: tuple[Operation, ...]
    pass_minutes: tuple[float, ...]
    steps: tuple[str, ...]
    end_state: str
    """What must be true when the shift ends."""
    checks: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    """Ids of stages that must be finished on an earlier day or earlier the same day."""
    support: tuple[Support, ...] = ()
    quantities: tuple[Quantity, ...] = ()
    stakes: tuple[Stake, ...] = ()
    water_l: float = 0.0
    cost: CostRange | None = None
    needs_attachment: str = ""
    wait_min: float = 0.0
    """Minutes on site before the first pass, to set signs; they fill the shift and are paid,
    but no blade is down [min]."""
    leave_days: tuple[date, ...] | None = None
    """Days on which every permission that the stage needs is in hand; None where it needs none."""
    leave_lacks: tuple[str, ...] = ()
    """Kinds of permission that are not in hand on every day that was asked about."""

    @property
    def n_passes(self) -> int:
        return len(self.pass_minutes)

    @property
    def work_min(self) -> float:
        """Grader minutes, blade down [min]."""
        return sum(self.pass_minutes)


@dataclass(frozen=True, slots=True)
class Job:
    """A treatment of one segment, designed."""

    id: str
    need_id: str
    segment_id: str
    treatment: Treatment
    stages: tuple[Stage, ...]
    benefit_h: float
    quantities: tuple[Quantity, ...]
    cost: CostRange
    assumed: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    """Keys into the caution texts of :mod:`crossfall.cards.cautions`."""
    needs_engineer: bool = False
    """Waits for a named person to sign its design; it is neither planned nor issued before."""
    confirmed_by: str = ""
    """Who signed the design that asked for an engineer, in which capacity and when."""

    @property
    def work_h(self) -> float:
        """Grader hours, blade down, over all stages [h]."""
        return sum(stage.work_min for stage in self.stages) / 60
