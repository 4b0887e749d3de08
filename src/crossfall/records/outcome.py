"""What a day's work makes of the roads' conditions.

Each record that is newer than the look it meets gives a new condition, dated the day of the work
and marked ``estimated``: the crew saw the road, nobody surveyed it. The next survey supersedes it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from crossfall.judgement.forecast import FLAGS
from crossfall.judgement.rating import MEASURES, SCORES
from crossfall.judgement.restore import choices_after, restore
from crossfall.model import Condition, Network, Policy, Side, Treatment, WorkRecord

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass(eq=False)
class _Sheet:
    """One condition as the arrays that work changes."""

    scores: Floats
    measures: dict[str, Floats]
    flags: dict[str, Bools]
    windrow_side: list[Side | None]
    last_bladed: Floats
    is_blading_assumed: Bools
    n_works: npt.NDArray[np.int64]


def conditions_after(
    conditions: Sequence[Condition],
    records: Sequence[WorkRecord],
    *,
    network: Network | None = None,
    policy: Policy | None = None,
) -> tuple[Condition, ...]:
    """``conditions`` with the work done after each of them worked in, in the same order.

    Conditions that no later record touches come back unchanged. With ``network`` work on part of
    a segment counts for that part; without it unfinished work counts for nothing.
    """
    rules = policy or Policy()
    superseded = {record.supersedes for record in records if record.supersedes}
    by_segment: dict[str, list[WorkRecord]] = {}
    for record in sorted(records, key=lambda record: (record.done_on, record.id)):
        if record.id not in superseded and record.treatment is not Treatment.NONE:
            by_segment.setdefault(record.segment_id, []).append(record)
    after = []
    for condition in conditions:
        now = condition
        for record in by_segment.get(condition.segment_id, ()):
            if record.done_on > condition.observed_on:
                now = _worked(now, record, network, rules)
        after.append(now)
    return tuple(after)


def _worked(
    condition: Condition, record: WorkRecord, network: Network | None, policy: Policy
) -> Condition:
    sheet = _sheet(condition)
    known = network is not None and record.segment_id in network.segment_by_id
    length = (
        network.segment_by_id[record.segment_id].length_m
        if network is not None and known
        else float("nan")
    )
    restore(sheet, np.zeros(1, dtype=np.int64), (record,), np.array([length]), policy.needs.effect)
    changed: dict[str, Any] = dict(zip(SCORES, sheet.scores[:, 0].tolist(), strict=True))
    for name, values in sheet.measures.items():
        changed[name] = None if np.isnan(values[0]) else float(values[0])
    for name in FLAGS[:4]:
        changed[name] = bool(sheet.flags[name][0])
    changed |= choices_after(record, condition)
    bladed = sheet.last_bladed[0]
    return replace(
        condition,
        observed_on=record.done_on,
        method="estimated",
        observer=record.by,
        last_bladed_on=record.done_on
        if bladed == record.done_on.toordinal()
        else condition.last_bladed_on,
        windrow_side=sheet.windrow_side[0],
        note=f"after {record.treatment.label.lower()}, record {record.id}",
        **changed,
    )


def _sheet(condition: Condition) -> _Sheet:
    def one(name: str) -> Floats:
        value = getattr(condition, name)
        return np.array([np.nan if value is None else value], dtype=float)

    return _Sheet(
        scores=np.array([[getattr(condition, name)] for name in SCORES]),
        measures={name: one(name) for name in MEASURES},
        flags={name: np.array([bool(getattr(condition, name))]) for name in FLAGS[:4]}
        | {"has_windrow": np.array([condition.windrow_side is not None])},
        windrow_side=[condition.windrow_side],
        last_bladed=np.array(
            [
                np.nan
                if condition.last_bladed_on is None
                else float(condition.last_bladed_on.toordinal())
            ]
        ),
        is_blading_assumed=np.zeros(1, dtype=bool),
        n_works=np.zeros(1, dtype=np.int64),
    )
