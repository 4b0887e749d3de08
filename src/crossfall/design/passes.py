"""Passes of each treatment, in order, for a road of a given width."""

from __future__ import annotations

from dataclasses import dataclass, field

from crossfall.design.words import span, speed
from crossfall.errors import InputError
from crossfall.formulas.grader import effective_blade, pass_minutes, passes_to_cover
from crossfall.model import Operation, Treatment
from crossfall.model.policy.design import DesignPolicy
from crossfall.model.policy.passes import PassRule


@dataclass(frozen=True, slots=True)
class PassSet:
    """The passes of one treatment at one width."""

    operations: tuple[Operation, ...]
    minutes_per_m: tuple[float, ...]
    """One figure for each pass, at its own speed [min/m]."""
    steps: tuple[str, ...]
    """One line for each kind of pass; what stands after the dash is detail."""

    @property
    def total_min_per_m(self) -> float:
        """All passes together [min/m]."""
        return sum(self.minutes_per_m)

    def minutes(self, length_m: float) -> tuple[float, ...]:
        """Minutes of each pass over a length [min]."""
        return tuple(each * length_m for each in self.minutes_per_m)

    def paced(self, length_m: float, least_min: float) -> tuple[float, ...]:
        """Minutes of each pass when they must fill ``least_min`` together [min].

        The passes of the last operation, the final shape, keep their own speed; those before it
        wait for loads and go at the pace of the slowest machine.
        """
        own = self.minutes(length_m)
        if least_min <= sum(own):
            return own
        n_last = self.operations[-1].n_passes
        ahead, last = own[:-n_last], own[-n_last:]
        if not ahead:
            ahead, last = own, ()
        stretch = max(1.0, (least_min - sum(last)) / sum(ahead))
        return (*(each * stretch for each in ahead), *last)


@dataclass
class PassBook:
    """Pass sets by treatment and cover; a district has only a handful of them."""

    policy: DesignPolicy
    blade_m: float
    _sets: dict[tuple[tuple[PassRule, ...], int], PassSet] = field(default_factory=dict)
    _rules: dict[Treatment, tuple[PassRule, ...]] = field(default_factory=dict)

    def of(self, treatment: Treatment, width_m: float) -> PassSet:
        """Passes of a treatment over a road of this width."""
        return self.following(self.rules(treatment), width_m)

    def rules(self, treatment: Treatment) -> tuple[PassRule, ...]:
        """The policy's rules for one treatment, in order.

        Raises
        ------
        InputError
            If the policy has none.
        """
        if treatment not in self._rules:
            rules = tuple(r for r in self.policy.grader.pass_rules if r.treatment == treatment)
            if not rules:
                raise InputError(f"pass_rules has no passes for {treatment.label}")
            self._rules[treatment] = rules
        return self._rules[treatment]

    def following(self, rules: tuple[PassRule, ...], width_m: float) -> PassSet:
        """Passes made by the given rules over a road of this width."""
        n_cover = self.n_cover(width_m)
        key = (rules, n_cover)
        if key not in self._sets:
            self._sets[key] = _pass_set(rules, n_cover, self.policy.grader.efficiency)
        return self._sets[key]

    def n_cover(self, width_m: float) -> int:
        """Even number of passes that cover the width once."""
        grader = self.policy.grader
        effective = effective_blade(self.blade_m, grader.cover_angle_deg)
        return passes_to_cover(width_m, effective, grader.overlap_m)


def _pass_set(rules: tuple[PassRule, ...], n_cover: int, efficiency: float) -> PassSet:
    operations, minutes, steps, done = [], [], [], 0
    for rule in rules:
        n_passes = rule.n_passes * n_cover // 2 if rule.is_scaled else rule.n_passes
        operations.append(
            Operation(rule.name, n_passes, rule.speed_km_h, rule.moldboard_deg, rule.note)
        )
        minutes.extend([pass_minutes(1.0, rule.speed_km_h, efficiency)] * n_passes)
        angle = rule.note or f"moldboard {rule.moldboard_deg:g}°"
        passes = span(done + 1, done + n_passes)
        steps.append(f"{passes}: {rule.name} — {angle}, {speed(rule.speed_km_h)}")
        done += n_passes
    return PassSet(tuple(operations), tuple(minutes), tuple(steps))
