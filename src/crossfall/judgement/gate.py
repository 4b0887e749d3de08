"""The gate: may this work be done on this road on this day?

It judges by what the work does to the road (the *task*) and never bans everything at once. In
each member the surface of the day is looked up in the policy's rules; the share of members that
permit the task is its chance. Hand work and emergencies always pass.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas.moisture_class import MoistureClass
from crossfall.judgement.load_limit import heaviest_axle_t, legal_payload_t
from crossfall.judgement.sentences import surface_figures, surface_word
from crossfall.judgement.state import MoistureState
from crossfall.model.fleet import Fleet, MachineKind
from crossfall.model.need import Task
from crossfall.model.policy import Policy
from crossfall.model.policy.gate import GatePolicy, GateRule, Surface

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Decision = Literal["allowed", "if_watered", "refused"]

TASKS: tuple[Task, ...] = get_args(Task)
_SURFACES: tuple[Surface, ...] = (
    "frozen",
    "too_wet",
    "workable",
    "drying",
    "dry",
    "unknown",
    "thaw_weak",
)
_WEAK = _SURFACES.index("thaw_weak")
_DRY = _SURFACES.index("dry")


_GOES_ON: tuple[Task, ...] = ("hand_work", "emergency")
"""Work that does not mind rain."""


@dataclass(frozen=True, slots=True)
class GateVerdict:
    """What the gate says about one task on one segment and day."""

    decision: Decision
    p: float
    """Chance of a surface on which the task can be done as decided, 0 to 1."""
    reason: str
    """A foreman's sentence with the figures."""
    worth: float = 1.0
    """Share of the work's good that can be expected on that surface, 0 to 1."""

    @property
    def is_allowed(self) -> bool:
        """Whether the work may go ahead, with water where it says so."""
        return self.decision != "refused"


@dataclass(frozen=True, eq=False)
class _Decided:
    is_allowed: Bools
    needs_water: Bools
    p: Floats
    worth: Floats


@dataclass(frozen=True, eq=False)
class GateTable:
    """Verdicts for every task, segment and day."""

    segment_ids: tuple[str, ...]
    first_day: date
    n_days: int
    state: MoistureState
    policy: GatePolicy
    has_water_truck: bool
    is_grader_light: bool
    """Whether the lightest grader may blade potholes on a thaw-weak road."""
    is_posted_shut: Bools
    """Whether a signed load limit leaves no truck of ours a load that pays, (segment, day)."""
    p_dry: dict[Task, Floats]
    """Chance without water, (segment, day)."""
    p_watered: dict[Task, Floats]
    """Chance with water at hand, (segment, day)."""
    worth_dry: dict[Task, Floats]
    """Expected share of the task's worth without water, (segment, day)."""
    worth_watered: dict[Task, Floats]
    rained: frozenset[date] = frozenset()
    """Days taken to be rained out: only work by hand and emergencies go on."""

    def index(self, segment_id: str) -> int:
        """Place of a segment in the arrays; unknown ones are an :class:`InputError`."""
        return self.state.index(segment_id)

    def allowed(self, task: Task) -> Bools:
        """Whether the task may be done, with water where needed, (segment, day)."""
        return self._decided[_known(task)].is_allowed

    def needs_water(self, task: Task) -> Bools:
        """Whether it may be done only with a water truck, (segment, day)."""
        return self._decided[_known(task)].needs_water

    def p(self, task: Task) -> Floats:
        """Chance that the surface permits the task as decided, (segment, day)."""
        return self._decided[_known(task)].p

    def worth(self, task: Task) -> Floats:
        """Expected share of the task's worth as decided, (segment, day): never above the chance.

        Over the members that permit the task, the policy's share for each member's surface.
        """
        return self._decided[_known(task)].worth

    def verdict(
        self, segment_id: str, day: date, task: Task, *, axle_t: float | None = None
    ) -> GateVerdict:
        """Decision, chance and reason for one task, for a machine of heaviest axle ``axle_t``.

        Without ``axle_t`` the fleet's own machines are judged.

        Raises
        ------
        InputError
            If the segment, the day or the task is unknown.
        """
        row, at = self.index(segment_id), self.state.day_index(day)
        decision: Decision = "refused"
        heavy = self._too_heavy(row, at, task, axle_t)
        if heavy:
            return GateVerdict("refused", 0.0, heavy, 0.0)
        if day in self.rained and task not in _GOES_ON:
            return GateVerdict("refused", 0.0, "The day is taken to be rained out.", 0.0)
        decided = self._decided[_known(task)]
        if decided.is_allowed[row, at]:
            decision = "if_watered" if decided.needs_water[row, at] else "allowed"
        return GateVerdict(
            decision,
            float(decided.p[row, at]),
            self._reason(segment_id, day, task, decision),
            float(decided.worth[row, at]),
        )

    def summary(self) -> str:
        """How many segments each task may start on, on the first day."""
        parts = [
            f"{task.replace('_', ' ')} {int(self.allowed(task)[:, 0].sum())}"
            for task in TASKS
            if task not in ("hand_work", "emergency")
        ]
        return f"{self.first_day}, segments open for work: {', '.join(parts)}"

    def _too_heavy(self, row: int, at: int, task: Task, axle_t: float | None) -> str:
        """Why a machine of this axle may not go there, or nothing."""
        if axle_t is None or task == "emergency":
            return ""
        posted = self.state.posted_axle_t[row, at]
        if axle_t > posted:
            return f"Posted at {posted:g} t an axle, this one has {axle_t:.1f} t."
        is_blading = task == "light_blading"
        most = self.policy.weak_blading_axle_t if is_blading else self.policy.weak_axle_t
        if self.state.thaw_weak[row, at] and axle_t > most:
            return (
                f"Weak below from the thaw: at most {most:g} t an axle, this one has"
                f" {axle_t:.1f} t."
            )
        return ""

    def _is_sure_dry(self, row: int, at: int) -> bool:
        is_weak = self.state.thaw_weak[row, at]
        return bool(self.p_dry_surface[row, at] >= self.policy.very_light_chance and not is_weak)

    @cached_property
    def p_dry_surface(self) -> Floats:
        """Chance that the surface is dry, (segment, day)."""
        is_dry = self.state.group_surface_classes == _DRY
        return np.asarray(is_dry.mean(axis=0))[self.state.groups.of_segment]

    @cached_property
    def _decided(self) -> dict[Task, _Decided]:
        """Each task decided for all segments and days, once."""
        found = {}
        for task in TASKS:
            # A chance of exactly nothing is never enough, whatever the setting
            least = max(self.policy.least_chance[task], 1e-9)
            plain = self.p_dry[task] >= least
            if self.has_water_truck:
                share = self.policy.without_water_share
                plain &= self.p_dry[task] >= share * self.p_watered[task]
            watered = ~plain & (self.p_watered[task] >= least) & self.has_water_truck
            p = np.where(watered, self.p_watered[task], self.p_dry[task])
            worth = np.where(watered, self.worth_watered[task], self.worth_dry[task])
            worth = np.where(plain | watered, worth, 0.0)
            if task not in _GOES_ON:
                shut = [self.state.day_index(day) for day in sorted(self.rained)]
                for each in (plain, watered, p, worth):
                    each[:, shut] = 0
            found[task] = _Decided(plain | watered, watered, p, worth)
        return found

    def _reason(self, segment_id: str, day: date, task: Task, decision: Decision) -> str:
        row, at = self.index(segment_id), self.state.day_index(day)
        is_weak = bool(self.state.thaw_weak[row, at])
        rule = _rule(self.policy, task, _SURFACES[self.state.likely_surface(segment_id, day)])
        if is_weak and rule.permission == "yes":
            rule = _rule(self.policy, task, "thaw_weak")
        if task in ("hand_work", "emergency"):
            return f"{rule.says}."
        seen = self.state.figures(segment_id, day)
        figures = surface_figures(seen)
        posted = self.state.posted_axle_t[row, at]
        if task == "hauling" and np.isfinite(posted):
            if self.is_posted_shut[row, at]:
                return f"Posted at {posted:g} t an axle: no truck of ours pays there."
            if decision != "refused":
                return f"Posted at {posted:g} t an axle: part loads only ({figures})."
        if task == "light_blading" and is_weak and not self.is_grader_light:
            return f"Weak below from the thaw, and every grader is too heavy for it ({figures})."
        chance = float(self.p(task)[row, at])
        if task == "light_blading" and decision == "allowed" and self._is_sure_dry(row, at):
            water = " or send water" if self.has_water_truck else ""
            return f"{rule.says}; better the day after rain{water} ({figures})."
        if decision == "refused" and rule.permission == "watered":
            return f"{rule.says}, and there is no water truck ({figures})."
        if decision == "refused" and rule.permission == "yes":
            return f"Too unsure, only about {_tenths(chance)} ({figures})."
        if decision != "refused" and rule.permission == "no":
            word = surface_word(seen).lower()
            how = "May yet turn out with water" if decision == "if_watered" else "May yet turn out"
            likely = word if seen.is_unsure else f"likely: {word}"
            return f"{how}, about {_tenths(chance)}; {likely} ({figures})."
        if decision == "if_watered" and rule.permission == "yes":
            return f"Only with water at hand, about {_tenths(chance)} ({figures})."
        is_sure = decision == "refused" or chance >= self.policy.sure_chance
        sure = "" if is_sure else f"; about {_tenths(chance)}"
        return f"{rule.says} ({figures}{sure})."


def judge_gates(state: MoistureState, fleet: Fleet, policy: Policy) -> GateTable:
    """Judge every task on every segment and day.

    Raises
    ------
    InputError
        If the policy's rules leave out a task and surface, or give one twice.
    """
    rules = policy.gate
    _check_rules(rules)
    has_water = any(
        machine.kind == "water_truck"
        and machine.is_available
        and machine.capacity >= rules.water_tank_least_l
        for machine in fleet.machines
    )
    axles = [heaviest_axle_t(machine, rules) for machine in fleet.graders]
    is_light = bool(axles) and min(axles) <= rules.weak_blading_axle_t

    shut = _shut(state.posted_axle_t, fleet, "haul_truck", rules)
    no_water = _shut(state.posted_axle_t, fleet, "water_truck", rules)
    surface = state.group_surface_classes
    is_weak = state.site_is_weak[:, state.site_of_group]
    expand = state.groups.of_segment
    p_dry, p_watered = {}, {}
    worth_dry, worth_watered = {}, {}
    for task in TASKS:
        table = {name: _rule(rules, task, name).permission for name in _SURFACES}
        plain = np.array([table[name] == "yes" for name in _SURFACES])
        watered = np.array([table[name] in ("yes", "watered") for name in _SURFACES])
        if task == "light_blading" and not is_light:
            plain[_WEAK] = watered[_WEAK] = False
        p_dry[task] = _share(plain, surface, is_weak)[expand]
        p_watered[task] = _share(watered, surface, is_weak)[expand]
        good = np.array([rules.worth_share[task].get(name, 1.0) for name in _SURFACES])
        worth_dry[task] = _share(plain * good, surface, is_weak)[expand]
        worth_watered[task] = _share(watered * good, surface, is_weak)[expand]
        if task == "hauling":
            for chances in (p_dry, p_watered, worth_dry, worth_watered):
                chances[task] = np.where(shut, 0.0, chances[task])
        else:
            p_watered[task] = np.where(no_water, p_dry[task], p_watered[task])
            worth_watered[task] = np.where(no_water, worth_dry[task], worth_watered[task])
    return GateTable(
        segment_ids=state.segment_ids,
        first_day=state.first_day,
        n_days=state.n_days,
        state=state,
        policy=rules,
        has_water_truck=has_water,
        is_grader_light=is_light,
        is_posted_shut=shut,
        p_dry=p_dry,
        p_watered=p_watered,
        worth_dry=worth_dry,
        worth_watered=worth_watered,
    )


def _share(
    good: npt.NDArray[np.bool_] | Floats, surface: npt.NDArray[np.int8], is_weak: Bools
) -> Floats:
    """Mean over the members of how good the surface is for it; a weak road is no better than weak.

    ``good`` holds 0 to 1 for each surface, or whether it permits the task.
    """
    each = good.astype(float)
    return np.asarray(np.minimum(each[surface], np.where(is_weak, each[_WEAK], 1.0)).mean(axis=0))


def _shut(posted_axle_t: Floats, fleet: Fleet, kind: MachineKind, policy: GatePolicy) -> Bools:
    """Where a posted limit leaves no machine of a kind enough load."""
    trucks = [machine for machine in fleet.machines if machine.kind == kind]
    shut = np.zeros(posted_axle_t.shape, dtype=bool)
    for limit in np.unique(posted_axle_t[np.isfinite(posted_axle_t)]):
        pays = any(
            legal_payload_t(truck, float(limit), policy)
            >= policy.part_load_least * legal_payload_t(truck, np.inf, policy)
            > 0
            for truck in trucks
        )
        shut |= (posted_axle_t == limit) & (not pays)
    return shut


def _rule(policy: GatePolicy, task: Task, surface: Surface) -> GateRule:
    return next(rule for rule in policy.rules if (rule.task, rule.surface) == (task, surface))


def _check_rules(policy: GatePolicy) -> None:
    seen: dict[tuple[str, str], int] = {}
    for rule in policy.rules:
        seen[(rule.task, rule.surface)] = seen.get((rule.task, rule.surface), 0) + 1
    for task in TASKS:
        for surface in _SURFACES:
            n_rules = seen.get((task, surface), 0)
            if n_rules != 1:
                raise InputError(
                    f"the gate has {n_rules} rules for {task} on {surface}; expected exactly one"
                    " (policy gate.rules)"
                )
        for surface, share in policy.worth_share.get(task, {}).items():
            if surface not in _SURFACES or not 0 <= share <= 1:
                raise InputError(
                    f"policy gate.worth_share gives {task} on {surface} {share}; expected 0 to 1"
                )
        if task not in policy.worth_share:
            raise InputError(f"policy gate.worth_share has no entry for {task}")
        if task not in policy.least_chance:
            raise InputError(f"policy gate.least_chance has no entry for {task}")


def _known(task: Task) -> Task:
    if task not in TASKS:
        raise InputError(f"task {task!r} is unknown; expected one of {', '.join(TASKS)}")
    return task


def _tenths(chance: float) -> str:
    return f"{round(10 * chance)} chances in 10"


assert len(MoistureClass) == _WEAK, "the surfaces must follow the order of MoistureClass"
