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
from dataclasses import replace
from datetime import date

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.judgement.benefit import PARTS, urgency, worth
from crossfall.judgement.forecast import (
    FLAGS,
    Belief,
    as_conditions,
    believe,
    believe_default,
    ride_after,
)
from crossfall.judgement.hazards import closed_by_hazard
from crossfall.judgement.rating import MEASURES, SCORES
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

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def find_needs(
    district: District, *, today: date
) -> tuple[tuple[Need, ...], tuple[Condition, ...]]:
    """Needs of the maintained roads, worth most first, and what each road is believed to be like.

    Roads that are to be left alone, that a hazard closes, or that crews have orders for already
    have a condition and no need.
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


def facts_of(belief: Belief) -> dict[str, Floats]:
    """The belief as the facts that rules speak of."""
    today = np.full(belief.n, float(belief.today.toordinal()))
    trucks = belief.haul.between(np.arange(belief.n), today, today + 1)
    adt = np.array([segment.adt for segment in belief.segments]) + trucks
    days = belief.days_since_blading
    facts = {name: belief.scores[row] for row, name in enumerate(SCORES)}
    facts |= {name: belief.measures[name] for name in MEASURES}
    facts |= {name: belief.flags[name].astype(float) for name in FLAGS}
    facts["adt"] = adt
    share = np.array([segment.heavy_share for segment in belief.segments])
    facts["heavy_adt"] = (adt - trucks) * share + trucks
    facts["grade_pct"] = np.array([segment.grade_pct for segment in belief.segments])
    facts["days_since_blading"] = days
    facts["vehicles_since_blading"] = adt * days
    return facts


def _find(district: District, today: date) -> tuple[tuple[Need, ...], tuple[Condition, ...]]:
    policy = district.policy
    belief = believe(district, today)
    facts = facts_of(belief)
    judgement = judge(facts, policy.needs.call, policy.needs.usual)
    n_requests = _requests(district, belief, today)
    closed = closed_by_hazard(district, today=today) | district.ordered_ids
    is_due = judgement.primary != CODE[Treatment.NONE]
    if closed:
        is_due &= np.array([segment.id not in closed for segment in belief.segments], dtype=bool)
    pressing = urgency(belief.scores, facts, n_requests, policy.needs)
    parts = worth(
        judgement,
        belief.scores,
        ride_after(belief, policy.needs.ageing.delay_days, policy),
        facts,
        _class_worth(belief, policy),
        _length_km(belief),
        n_requests,
        policy.needs,
    )
    rows = np.flatnonzero(is_due)
    rows = rows[np.argsort(-parts[:, rows].sum(axis=0), kind="stable")]
    wording = Wording(belief, facts, judgement, n_requests, policy)
    needs = _write(belief, judgement, rows, pressing, parts, wording, policy)
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
            gc.enable()


def _write(
    belief: Belief,
    judgement: Judgement,
    rows: Ints,
    pressing: Floats,
    parts: Floats,
    wording: Wording,
    policy: Policy,
) -> tuple[Need, ...]:
    urgent = np.round(pressing, 4).tolist()
    hours = np.round(parts, 3).T.tolist()
    work_h = np.round(judgement.work_h_km * _length_km(belief), 2).tolist()
    primary = judgement.primary.tolist()
    needs = []
    for row in rows.tolist():
        segment_id, treatment = belief.segments[row].id, TREATMENTS[primary[row]]
        before, after = wording.sequence(row)
        needs.append(
            Need(
                f"{segment_id}-{treatment.value}",
                segment_id,
                treatment,
                wording.cause(row),
                wording.reasons(row),
                urgent[row],
                tuple(
                    BenefitPart(name, share)
                    for name, share in zip(PARTS, hours[row], strict=True)
                    if share > 0
                ),
                before,
                wording.assumed(row),
                policy.version,
                after,
                work_h[row],
            )
        )
    return tuple(needs)


def _requests(district: District, belief: Belief, today: date) -> Ints:
    row_of = {segment.id: row for row, segment in enumerate(belief.segments)}
    n_requests = np.zeros(belief.n, dtype=np.int64)
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
