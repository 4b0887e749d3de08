"""What the crew's own hours say of the rates the plan is made with.

For each treatment the records give passes, kilometres and hours: the working speed really
reached. It is compared with the speed the pass rules give, breaks included, drawn towards it as
far as records are few, and shown as old and new. Nothing changes until a person accepts the
proposed policy, which is a new version.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.learning.shrink import shrink
from crossfall.model import Network, Policy, Treatment, WorkRecord

Floats = npt.NDArray[np.float64]


GRADER_ALONE = frozenset(
    {
        Treatment.BLADING,
        Treatment.RESHAPING,
        Treatment.SCARIFY_REMIX,
        Treatment.SHOULDER_PULLING,
        Treatment.SECONDARY_DITCH_REMOVAL,
        Treatment.WINDROW_PICKUP,
    }
)
"""Treatments whose usual hours are the grader's own; with the others, trucks set the pace."""


@dataclass(frozen=True, slots=True)
class ProposedRate:
    """One rate, as it is and as the records would have it."""

    path: str
    """Where the setting lives: ``design.grader.pass_rules[blading].speed_km_h``."""
    name: str
    unit: str
    old: float
    new: float
    raw: float
    """What the records alone say."""
    n: int
    is_prior: bool
    """Too few records: the rate stays as it is."""

    @property
    def change_pct(self) -> float:
        return 100 * (self.new / self.old - 1)


@dataclass(frozen=True, slots=True)
class Proposal:
    """A proposed policy with what it would change and what was left out."""

    policy: Policy
    rows: tuple[ProposedRate, ...]
    left_out: tuple[str, ...]

    @property
    def has_changes(self) -> bool:
        return any(not row.is_prior for row in self.rows)

    def summary(self) -> str:
        """One line for each rate, for a person who decides."""
        if not self.rows:
            return "No usable records yet: every rate stays as it is."
        lines = []
        for row in self.rows:
            if row.is_prior:
                lines.append(f"{row.name}: stays {row.old:.2f} {row.unit} (prior, {row.n} records)")
            else:
                lines.append(
                    f"{row.name}: {row.old:.2f} to {row.new:.2f} {row.unit}"
                    f" ({row.change_pct:+.0f} %, {row.n} records say {row.raw:.2f})"
                )
        if self.left_out:
            lines.append(f"{len(self.left_out)} records were left out.")
        return "\n".join(lines)


def propose_rates(
    records: Sequence[WorkRecord], network: Network, policy: Policy, *, version: str | None = None
) -> Proposal:
    """Rates as the agency's own records have them, as a proposed new policy version.

    The working speed of each treatment [km/h of passes] and its usual grader hours for a
    kilometre [h/km] move together. Records that are superseded, without hours, passes or a known
    place, or far from believable are left out and listed.

    Raises
    ------
    InputError
        If ``version`` is the version of ``policy``: a changed policy needs a new one.
    """
    named = version or f"{policy.version}+learned"
    if named == policy.version:
        raise InputError(f"version is {named!r}, which is taken; a proposal needs a new one")
    ratios, left_out = _ratios(records, network, policy)
    spread = _scatter(ratios, policy)
    rows: list[ProposedRate] = []
    proposed = policy
    for treatment in Treatment:
        if treatment not in ratios:
            continue
        mine = ratios[treatment]
        found = shrink(mine, record_sd=spread, prior_sd=policy.learning.prior_sd)
        is_prior = found.n < policy.learning.n_enough
        factor = 1.0 if is_prior else found.factor
        old = planned_speed_km_h(policy, treatment)
        rows.append(
            ProposedRate(
                f"design.grader.pass_rules[{treatment.value}].speed_km_h",
                f"{treatment.label}, working speed",
                "km/h",
                old,
                old * factor,
                old * found.raw,
                found.n,
                is_prior,
            )
        )
        if treatment in GRADER_ALONE:
            name = f"{treatment.value}_h_km"
            usual = getattr(policy.needs.usual, name)
            rows.append(
                ProposedRate(
                    f"needs.usual.{name}",
                    f"{treatment.label}, usual hours",
                    "h/km",
                    usual,
                    usual / factor,
                    usual / found.raw,
                    found.n,
                    is_prior,
                )
            )
        if not is_prior:
            proposed = _with_factor(proposed, treatment, factor)
    changed = any(not row.is_prior for row in rows)
    return Proposal(
        replace(proposed, version=named) if changed else policy, tuple(rows), tuple(left_out)
    )


def planned_speed_km_h(policy: Policy, treatment: Treatment) -> float:
    """Speed over all passes of a treatment as planned, breaks included [km/h].

    Times are summed pass by pass; speeds are never averaged.

    Examples
    --------
    >>> round(planned_speed_km_h(Policy(), Treatment.BLADING), 2)
    5.78
    """
    rules = [rule for rule in policy.design.grader.pass_rules if rule.treatment is treatment]
    if not rules:
        return float("nan")
    n_passes = sum(rule.n_passes for rule in rules)
    hours_km = sum(rule.n_passes / rule.speed_km_h for rule in rules)
    return n_passes / hours_km * policy.design.grader.efficiency


def _ratios(
    records: Sequence[WorkRecord], network: Network, policy: Policy
) -> tuple[dict[Treatment, Floats], list[str]]:
    """Observed over planned speed by treatment, and the records left out with why."""
    superseded = {record.supersedes for record in records if record.supersedes}
    found: dict[Treatment, list[float]] = {}
    left_out = []
    for record in records:
        planned = planned_speed_km_h(policy, record.treatment)
        if record.id in superseded or np.isnan(planned):
            continue
        length_m = _worked_m(record, network)
        if length_m is None or record.n_passes <= 0 or not record.hours > 0:
            left_out.append(f"{record.id}: no hours, passes or length to learn from")
            continue
        ratio = record.n_passes * length_m / 1000 / record.hours / planned
        if not 1 / policy.learning.believable <= ratio <= policy.learning.believable:
            left_out.append(
                f"{record.id}: {record.hours:g} h for {record.n_passes} passes of"
                f" {length_m:.0f} m is {ratio:.2g} times the planned speed"
            )
            continue
        found.setdefault(record.treatment, []).append(ratio)
    return {treatment: np.array(values) for treatment, values in found.items()}, left_out


def _worked_m(record: WorkRecord, network: Network) -> float | None:
    if record.from_m is not None and record.to_m is not None:
        return abs(record.to_m - record.from_m) or None
    segment = network.segment_by_id.get(record.segment_id)
    return segment.length_m if segment is not None and record.is_finished else None


def _scatter(ratios: dict[Treatment, Floats], policy: Policy) -> float:
    """Scatter of single records around their treatment's mean; the setting counts as some more."""
    n_assumed = policy.learning.n_own_scatter
    squares, freedom = n_assumed * policy.learning.record_sd**2, float(n_assumed)
    for values in ratios.values():
        logs = np.log(values)
        squares += float(((logs - logs.mean()) ** 2).sum())
        freedom += logs.shape[0] - 1
    return float(np.sqrt(squares / freedom))


def _with_factor(policy: Policy, treatment: Treatment, factor: float) -> Policy:
    grader = policy.design.grader
    rules = tuple(
        replace(rule, speed_km_h=rule.speed_km_h * factor) if rule.treatment is treatment else rule
        for rule in grader.pass_rules
    )
    usual = policy.needs.usual
    if treatment in GRADER_ALONE:
        name = f"{treatment.value}_h_km"
        usual = replace(usual, **{name: getattr(usual, name) / factor})
    return replace(
        policy,
        design=replace(policy.design, grader=replace(grader, pass_rules=rules)),
        needs=replace(policy.needs, usual=usual),
    )
