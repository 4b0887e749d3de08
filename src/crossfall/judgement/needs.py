"""What each road needs today, and why.

The condition of every maintained road is brought up to today, the rule base names one primary
treatment with its cause, and each need carries its urgency, its worth by parts, the sentences that
led to it and everything it rests on that nobody measured. A road closed by a washout or a collapsed
culvert gets no routine need. Without any survey, the answer to "which roads are bad, and when were
they last bladed?" is enough for a first week.
"""

from __future__ import annotations

import gc
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from itertools import repeat

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.judgement.benefit import PARTS, urgency, worth
from crossfall.judgement.facts import facts_of
from crossfall.judgement.forecast import (
    Belief,
    as_conditions,
    believe,
    believe_default,
    ride_after,
)
from crossfall.judgement.hazards import closed_by_hazard
from crossfall.judgement.rules import CODE, TREATMENTS, Judgement, judge
from crossfall.judgement.wording import REPORTED_BAD, Wording
from crossfall.model import (
    BenefitPart,
    Condition,
    District,
    Need,
    Network,
    Policy,
    Treatment,
)
from crossfall.model.dust import no_blade_until

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def find_needs(
    district: District, *, today: date
) -> tuple[tuple[Need, ...], tuple[Condition, ...]]:
    """Needs of the maintained roads, worth most first, and what each road is believed to be like.

    Roads that are to be left alone, that a hazard closes, or that crews have orders for already
    have a condition and no need. Neither have roads whose work would break a crust that rests after
    dust control: see :func:`crossfall.judgement.resting.resting_roads`.
    """
    with _uncollected():
        return _find(district, today)


def first_week_conditions(
    network: Network,
    bad: Collection[str],
    last_bladed: Mapping[str, date] | date | None = None,
    *,
    today: date,
    policy: Policy | None = None,
) -> tuple[Condition, ...]:
    """Conditions for a first week without a survey.

    ``bad`` names roads that are known to be bad, by segment id or by road name; ``last_bladed``
    is one day for all, or a day for each segment id or road name. Roads that are not named get
    the documented default, aged by their traffic since blading, and are marked ``default``; bad
    ones are marked ``estimated``.

    Raises
    ------
    InputError
        If a name is neither a segment nor a road, or a day of blading lies after ``today``.
    """
    ids_of: dict[str, list[str]] = {}
    for segment in network.maintained:
        ids_of.setdefault(segment.route, []).append(segment.id)
        ids_of.setdefault(segment.id, [segment.id])
    unknown = [name for name in bad if name not in ids_of]
    if isinstance(last_bladed, date):
        bladed = {segment.id: last_bladed for segment in network.maintained}
    else:
        given = last_bladed or {}
        unknown += [name for name in given if name not in ids_of]
        bladed = {each: day for name, day in given.items() for each in ids_of.get(name, ())}
    if unknown:
        raise InputError(
            f"road {unknown[0]!r} is not in the network; expected a segment id or a road's name"
            + (f" ({len(unknown)} names are unknown)" if len(unknown) > 1 else "")
        )
    late = [(each, day) for each, day in bladed.items() if day > today]
    if late:
        raise InputError(
            f"last_bladed of {late[0][0]} is {late[0][1]}; expected a day up to {today}"
        )
    is_bad = {each: True for name in bad for each in ids_of[name]}
    belief = believe_default(network, is_bad, bladed, today=today, policy=policy or Policy())
    return tuple(
        _as_told(condition, is_bad.get(condition.segment_id, False), condition.segment_id in bladed)
        for condition in as_conditions(belief)
    )


@dataclass(frozen=True, eq=False)
class Judged:
    """All maintained roads of a district, believed and judged."""

    belief: Belief
    facts: dict[str, Floats]
    judgement: Judgement
    rest_until: Ints
    """Ordinal of the last day of each road's rest after dust control, 0 where none is."""


def judge_roads(district: District, today: date) -> Judged:
    """Bring every road up to today and ask the rules."""
    needs = district.policy.needs
    belief = believe(district, today)
    facts = facts_of(belief, needs)
    rest_until = _rest_until(district, belief, today)
    return Judged(
        belief,
        facts,
        judge(facts, needs.call, needs.usual, rests=rest_until > 0),
        rest_until,
    )


def _find(district: District, today: date) -> tuple[tuple[Need, ...], tuple[Condition, ...]]:
    policy = district.policy
    judged = judge_roads(district, today)
    belief, facts, judgement = judged.belief, judged.facts, judged.judgement
    n_requests = _requests(district, belief, today)
    closed = closed_by_hazard(district, today=today) | district.ordered_ids
    is_due = judgement.primary != CODE[Treatment.NONE]
    if closed:
        is_due &= np.array([segment.id not in closed for segment in belief.segments], dtype=bool)
    length_km = _length_km(belief)
    pressing = urgency(belief.scores, facts, n_requests, policy.needs)
    parts = worth(
        judgement,
        belief.scores,
        ride_after(belief, policy.needs.ageing.delay_days, policy),
        facts,
        _class_worth(belief, policy),
        length_km,
        n_requests,
        policy.needs,
        _served_worth(belief, policy),
    )
    rows = np.flatnonzero(is_due)
    rows = rows[np.argsort(-parts[:, rows].sum(axis=0), kind="stable")]
    wording = Wording(belief, facts, judgement, rows, n_requests, judged.rest_until, policy)
    work_h = judgement.work_h_km[rows] * length_km[rows]
    needs = _write(
        belief, judgement, rows, pressing[rows], parts[:, rows], work_h, wording, policy.version
    )
    return needs, as_conditions(belief)


@contextmanager
def _uncollected() -> Iterator[None]:
    """Make many nouns without the collector, which would search the same living ones each time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            if gc.get_freeze_count() == 0:
                # What was made lives on: count it as old, or the next search goes through all of it
                gc.freeze()
                gc.unfreeze()
            gc.enable()


def _write(
    belief: Belief,
    judgement: Judgement,
    rows: Ints,
    pressing: Floats,
    parts: Floats,
    work_h: Floats,
    wording: Wording,
    policy_version: str,
) -> tuple[Need, ...]:
    segment_ids = [belief.segments[row].id for row in rows.tolist()]
    treatments = [TREATMENTS[code] for code in judgement.primary[rows].tolist()]
    sequences = wording.sequences()
    return tuple(
        map(
            Need,
            [f"{key}-{each.value}" for key, each in zip(segment_ids, treatments, strict=True)],
            segment_ids,
            treatments,
            wording.causes(),
            wording.reasons(),
            np.round(pressing, 4).tolist(),
            _benefits(parts),
            [before for before, _ in sequences],
            wording.assumed(),
            repeat(policy_version),
            [after for _, after in sequences],
            np.round(work_h, 2).tolist(),
        )
    )


def _benefits(parts: Floats) -> list[tuple[BenefitPart, ...]]:
    """Parts (part, need) as nouns, those above 0; equal parts are one noun."""
    hours = np.round(parts, 3)
    nouns = np.empty(hours.shape, dtype=object)
    for row, name in enumerate(PARTS):
        distinct, which = np.unique(hours[row], return_inverse=True)
        made = np.empty(distinct.shape, dtype=object)
        made[:] = [BenefitPart(name, share) for share in distinct.tolist()]
        nouns[row] = made[which]
    found = np.empty(hours.shape[1], dtype=object)
    which_count = 1 << np.arange(len(PARTS))
    pattern = which_count @ (hours > 0)
    for each in np.unique(pattern).tolist():
        at = np.flatnonzero(pattern == each)
        counted = [row for row in range(len(PARTS)) if each >> row & 1]
        told = list(zip(*(nouns[row, at].tolist() for row in counted), strict=True))
        for place, benefit in zip(at.tolist(), told or [()] * at.shape[0], strict=True):
            found[place] = benefit
    return found.tolist()


def _rest_until(district: District, belief: Belief, today: date) -> Ints:
    resting = no_blade_until(district.dust, today)
    if not resting:
        return np.zeros(belief.n, dtype=np.int64)
    days = {segment_id: day.toordinal() for segment_id, day in resting.items()}
    return np.array([days.get(segment.id, 0) for segment in belief.segments], dtype=np.int64)


def _requests(district: District, belief: Belief, today: date) -> Ints:
    n_requests = np.zeros(belief.n, dtype=np.int64)
    if not district.requests:
        return n_requests
    row_of = {segment.id: row for row, segment in enumerate(belief.segments)}
    for request in district.requests:
        row = row_of.get(request.segment_id or "")
        if row is not None and request.status == "open" and request.received_on <= today:
            n_requests[row] += 1
    return n_requests


def _class_worth(belief: Belief, policy: Policy) -> Floats:
    worth_policy = policy.needs.worth
    by_class = {
        "arterial": worth_policy.class_arterial_h_km,
        "collector": worth_policy.class_collector_h_km,
        "local": worth_policy.class_local_h_km,
        "minimum": worth_policy.class_minimum_h_km,
    }
    return np.array([by_class[segment.road_class] for segment in belief.segments])


def _served_worth(belief: Belief, policy: Policy) -> Floats:
    """Weights of all who depend on each road, added up [h/km]."""
    said = [segment.serves for segment in belief.segments]
    weight = {
        words: sum(getattr(policy.needs.worth, f"serves_{word}_h_km") for word in words.split())
        for words in set(said)
    }
    return np.array([weight[words] for words in said], dtype=np.float64)


def _length_km(belief: Belief) -> Floats:
    return np.array([segment.length_m for segment in belief.segments]) / 1000


def _as_told(condition: Condition, is_bad: bool, is_bladed_known: bool) -> Condition:
    note = REPORTED_BAD if is_bad else "nobody has surveyed this road"
    return replace(
        condition,
        method="estimated" if is_bad else "default",
        last_bladed_on=condition.last_bladed_on if is_bladed_known else None,
        note=note,
    )
