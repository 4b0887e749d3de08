"""Changing the planned week by hand: tried first, shown with what it costs, and kept or dropped.

What somebody tries is a list of wishes on one stored plan. The same wishes give the same week, so
a trial is worked out again whenever it is not at hand any more. Work that a crew has an issued card
for stays where it is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from threading import Lock

from crossfall.dispatch.replan import Replan
from crossfall.errors import InputError
from crossfall.model import District, Plan, PlanWish
from crossfall.workflow import WeekPlan, change_week
from crossfall_app.store import repository
from crossfall_app.store.repository import StoredWeek

ROUNDS = 600
"""Rounds of search for one change: about a second on a small machine."""
_MOST_KEPT = 12


@dataclass(frozen=True, eq=False)
class Trial:
    """A week as it would be with some wishes."""

    base: StoredWeek
    wishes: tuple[PlanWish, ...]
    """What was asked for in this trial and before it."""
    week: WeekPlan
    replan: Replan
    issued: dict[str, int]
    """Numbers of issued cards by stage."""


def try_wishes(
    base: StoredWeek, wishes: tuple[PlanWish, ...], district: District, *, now: datetime
) -> Trial:
    """The rest of the week with these wishes; nothing is kept.

    Raises
    ------
    InputError
        If a wish moves work that a crew has a card for, or the week is over.
    """
    issued = issued_stages(base.plan)
    key = (base.plan.id, wishes, now, tuple(sorted(issued.items())), district.policy.version)
    with _LOCK:
        if key in _KEPT:
            return _KEPT[key]
    _refuse_ordered(base.plan, wishes, issued)
    held = held_by_cards(base, issued)
    changed = change_week(
        district,
        base.plan,
        base.jobs,
        base.needs,
        base.conditions,
        wishes=(*held, *wishes),
        now=now,
        made_at=now,
        rounds=ROUNDS,
        seed=base.plan.seed,
    )
    if changed.week.violations:
        first = changed.week.violations[0]
        raise InputError(f"this change would break a rule: {first.message} ({first.where})")
    plan = replace(changed.week.plan, wishes=wishes)
    trial = Trial(base, wishes, replace(changed.week, plan=plan), changed.replan, issued)
    with _LOCK:
        while len(_KEPT) >= _MOST_KEPT:
            _KEPT.pop(next(iter(_KEPT)))
        _KEPT[key] = trial
    return trial


def keep_trial(trial: Trial, *, by: str, note: str, made_at: datetime) -> StoredWeek:
    """Keep a tried week as the plan in force.

    Raises
    ------
    PlanMovedOnError
        If somebody kept another plan meanwhile; nothing is changed then.
    """
    plan = replace(
        trial.week.plan,
        id=f"{trial.week.plan.first_day:%Y-%m-%d}-by-hand-{made_at:%Y%m%dT%H%M%S}",
        made_at=made_at,
        note=note,
    )
    cards = tuple(
        replace(card, plan_id=plan.id)
        for card in trial.week.cards
        if card.stage_id not in trial.issued
    )
    week = replace(trial.week, plan=plan, cards=cards)
    return repository.save_week(week, by=by, over=trial.base.plan.id)


def bring_back(plan_id: str, *, over: str, by: str, made_at: datetime) -> StoredWeek:
    """Make an earlier plan the one in force again, as a plan of its own.

    Raises
    ------
    InputError
        If there is no such plan, or crews have cards that it does not know.
    """
    earlier = repository.load_week(plan_id)
    issued = issued_stages(earlier.plan)
    planned = {key for each in earlier.plan.itineraries for key in each.stage_ids}
    newest = repository.load_week(over)
    ordered = {key for each in newest.plan.itineraries for key in each.stage_ids} & set(issued)
    lost = sorted(issued[key] for key in ordered - planned)
    if lost:
        raise InputError(
            f"card {lost[0]} is issued for work that the earlier plan does not have;"
            " withdraw it first"
        )
    plan = replace(
        earlier.plan,
        id=f"{earlier.plan.first_day:%Y-%m-%d}-again-{made_at:%Y%m%dT%H%M%S}",
        made_at=made_at,
        note=" ".join(filter(None, (earlier.plan.note, "Brought back after a change."))),
    )
    cards = tuple(
        replace(card, plan_id=plan.id, status="draft", version=1, approved_by="", approved_at=None,
                confirmed_by="", withdrawn_because="")
        for card in earlier.cards
        if card.stage_id not in issued
    )  # fmt: skip
    return repository.save_week(replace(earlier, plan=plan, cards=cards), by=by, over=over)


def issued_stages(plan: Plan) -> dict[str, int]:
    """Numbers of the cards that crews have in hand, or have closed, by stage, in a plan's days."""
    last_day = plan.first_day + timedelta(days=plan.n_days - 1)
    return {
        card.stage_id: card.number
        for status in ("closed", "issued")
        for card in repository.list_cards(status=status)
        if plan.first_day <= card.day <= last_day
    }


def board_moment(plan: Plan, now: datetime, *, is_invented: bool) -> datetime:
    """The moment from which the rest of a week is planned: now, or its first morning.

    An invented district's morning lasts all day.
    """
    first = datetime.combine(plan.first_day, time(), now.tzinfo)
    if is_invented:
        now = datetime.combine(now.date(), time(), now.tzinfo)
    return max(first, now.replace(second=0, microsecond=0))


def held_by_cards(base: StoredWeek, issued: dict[str, int]) -> tuple[PlanWish, ...]:
    """Pins of what crews have cards for, where the plan has it."""
    job_of = {stage.id: job.id for job in base.jobs for stage in job.stages}
    return tuple(
        PlanWish(job_of[key], "pin", each.machine_id, each.day, key)
        for each in base.plan.itineraries
        for key in each.stage_ids
        if key in issued and key in job_of
    )


_LOCK = Lock()
_KEPT: dict[object, Trial] = {}


def _refuse_ordered(plan: Plan, wishes: tuple[PlanWish, ...], issued: dict[str, int]) -> None:
    where = {
        key: (each.machine_id, each.day) for each in plan.itineraries for key in each.stage_ids
    }
    for wish in wishes:
        number = issued.get(wish.stage_id or "")
        if number is None or wish.stage_id not in where:
            continue
        if wish.covers(*where[wish.stage_id]) != (wish.kind == "pin"):
            raise InputError(
                f"a crew has card {number} for this work; withdraw the card first, then move it"
            )
