"""Planned weeks and their cards: saved whole, never changed, found again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Protocol

from django.db import transaction
from django.db.models import Max, Q

from crossfall import model as nouns
from crossfall.errors import InputError
from crossfall_app.store import audit, convert, models

_BATCH = 200
_Conditions = tuple[nouns.Condition, ...]
_Violations = tuple[nouns.Violation, ...]


class PlannedWeek(Protocol):
    """What is kept of a planned week; :class:`crossfall.workflow.WeekPlan` is one."""

    @property
    def plan(self) -> nouns.Plan: ...
    @property
    def jobs(self) -> tuple[nouns.Job, ...]: ...
    @property
    def needs(self) -> tuple[nouns.Need, ...]: ...
    @property
    def conditions(self) -> tuple[nouns.Condition, ...]: ...
    @property
    def cards(self) -> tuple[nouns.JobCard, ...]: ...
    @property
    def violations(self) -> tuple[nouns.Violation, ...]: ...


@dataclass(frozen=True)
class StoredWeek:
    """A planned week as it was saved."""

    plan: nouns.Plan
    jobs: tuple[nouns.Job, ...]
    needs: tuple[nouns.Need, ...]
    conditions: tuple[nouns.Condition, ...]
    cards: tuple[nouns.JobCard, ...]
    violations: tuple[nouns.Violation, ...] = ()


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One plan in a list of plans."""

    id: str
    made_at: datetime
    first_day: date
    n_days: int
    n_served: int
    n_unserved: int
    benefit_h: float
    benefit_bound_h: float
    made_by: str


class PlanMovedOnError(InputError):
    """Somebody kept another plan after the one that this change was made on."""


def save_week(week: PlannedWeek, *, by: str, over: str | None = None) -> StoredWeek:
    """Keep a planned week: plan, needs, jobs and cards in one transaction.

    Cards get the agency's running numbers. Drafts of earlier plans for the same days or the same
    roads are withdrawn; issued cards stay until a person withdraws them. ``over`` is the plan that
    this one was changed from; nothing is kept when a newer one is there by now.

    Raises
    ------
    PlanMovedOnError
        If ``over`` is not the newest plan any more.
    InputError
        If the checker found a violation: such a plan is not shown, so it is not kept.
    """
    if week.violations:
        first = week.violations[0]
        raise InputError(
            f"the plan breaks {len(week.violations)} rule(s) and is not kept; the first:"
            f" {first.message} ({first.where})"
        )
    with transaction.atomic():
        # Locks the agency's row first, so that two writers draw numbers one after the other
        audit.note("save", "plan", week.plan.id, who=by, before=_told(over), after=_told(week.plan))
        _refuse_old(over)
        plan = replace(week.plan, id=_free_key(week.plan.id))
        cards = _numbered(week.cards, plan.id)
        row = convert.PLAN.to_row(
            plan,
            n_served=len(plan.served),
            n_unserved=len(plan.unserved),
            violations=[],
            conditions=convert.CONVERTER.unstructure(week.conditions, _Conditions),
            created_by=by,
        )
        row.save(force_insert=True)
        needs = [convert.NEED.to_row(need, plan=row) for need in week.needs]
        models.Need.objects.bulk_create(needs, batch_size=_BATCH)
        jobs = [convert.JOB.to_row(job, plan=row) for job in week.jobs]
        models.Job.objects.bulk_create(jobs, batch_size=_BATCH)
        _withdraw_drafts(plan, {card.segment_id for card in cards})
        rows = [convert.card_to_row(card, plan=row, created_by=by) for card in cards]
        models.JobCard.objects.bulk_create(rows, batch_size=_BATCH)
    return StoredWeek(plan, tuple(week.jobs), tuple(week.needs), tuple(week.conditions), cards)


def latest_week() -> StoredWeek | None:
    """The plan that was saved last; None before the first."""
    row = models.Plan.objects.order_by("-pk").first()
    return None if row is None else _load(row)


def load_week(plan_id: str) -> StoredWeek:
    """One saved plan with everything it rests on."""
    row = models.Plan.objects.filter(key=plan_id).first()
    if row is None:
        raise InputError(f"plan {plan_id!r} is unknown; list the plans to see their names")
    return _load(row)


def list_plans(*, most: int = 50) -> tuple[PlanLine, ...]:
    """Saved plans, newest first."""
    rows = models.Plan.objects.order_by("-pk").values_list(
        "key",
        "made_at",
        "first_day",
        "n_days",
        "n_served",
        "n_unserved",
        "benefit_h",
        "benefit_bound_h",
        "created_by",
    )
    return tuple(PlanLine(*values) for values in rows[:most])


def _load(row: models.Plan) -> StoredWeek:
    plan = convert.PLAN.to_noun(getattr(row, name) for name in convert.PLAN.names)
    return StoredWeek(
        plan=plan,
        jobs=convert.JOB.of(row.jobs.order_by("pk")),
        needs=convert.NEED.of(row.needs.order_by("pk")),
        conditions=convert.CONVERTER.structure(row.conditions, _Conditions),
        cards=tuple(convert.card_to_noun(card) for card in row.cards.order_by("number")),
        violations=convert.CONVERTER.structure(row.violations, _Violations),
    )


def week_before(plan_id: str) -> StoredWeek | None:
    """The plan that was saved before another; None when that was the first or is unknown."""
    row = models.Plan.objects.filter(key=plan_id).first()
    earlier = models.Plan.objects.filter(pk__lt=row.pk).order_by("-pk").first() if row else None
    return None if earlier is None else _load(earlier)


def who_planned(plan_id: str) -> tuple[str, datetime] | None:
    """Who kept a plan, and when."""
    row = models.Plan.objects.filter(key=plan_id).values_list("created_by", "created_at").first()
    return None if row is None else (str(row[0]), row[1])


def _refuse_old(over: str | None) -> None:
    if over is None:
        return
    newest = models.Plan.objects.order_by("-pk").values_list("key", "created_by").first()
    if newest is not None and newest[0] != over:
        raise PlanMovedOnError(
            f"{newest[1] or 'somebody'} kept another plan ({newest[0]}) after you began"
        )


def _told(plan: nouns.Plan | str | None) -> dict[str, object] | None:
    """A plan in the few figures that the audit keeps."""
    if plan is None:
        return None
    if isinstance(plan, str):
        return {"plan": plan}
    told: dict[str, object] = {
        "plan": plan.id,
        "jobs": len(plan.served),
        "left_out": len(plan.unserved),
        "worth_h": round(plan.benefit_h, 1),
    }
    return told | ({"asked": plan.note} if plan.note else {})


def _free_key(wanted: str) -> str:
    taken = set(models.Plan.objects.filter(key__startswith=wanted).values_list("key", flat=True))
    if wanted not in taken:
        return wanted
    number = 2
    while f"{wanted}-{number}" in taken:
        number += 1
    return f"{wanted}-{number}"


def _numbered(cards: tuple[nouns.JobCard, ...], plan_id: str) -> tuple[nouns.JobCard, ...]:
    last = models.JobCard.objects.aggregate(last=Max("number"))["last"] or 0
    return tuple(
        convert.renumbered(card, number=last + place, plan_id=plan_id)
        for place, card in enumerate(cards, start=1)
    )


def _withdraw_drafts(plan: nouns.Plan, segment_ids: set[str]) -> None:
    """One road is not ordered twice: what an earlier plan left unissued gives way to this one."""
    last_day = plan.first_day + timedelta(days=plan.n_days - 1)
    same_days = Q(day__gte=plan.first_day, day__lte=last_day)
    models.JobCard.objects.filter(same_days | Q(segment_id__in=segment_ids), status="draft").update(
        status="withdrawn", withdrawn_because=f"plan {plan.id} took its place"
    )
