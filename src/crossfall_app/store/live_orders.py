"""Orders that crews have in hand: cards issued and neither closed nor withdrawn.

A road is not ordered twice, a machine is not sent to two places at once, and when a road washes
out these are the cards to take back.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from threading import Lock

from django.db import connection
from django.db.models import Q

from crossfall import model as nouns
from crossfall.cards import LiveOrder, clock_minutes
from crossfall_app.store import convert, models

_ROUNDING_MIN = 1.0
"""A card's clock shows whole minutes."""


def live_cards(segment_ids: Iterable[str]) -> tuple[nouns.JobCard, ...]:
    """Issued cards on some segments, by day and number: what a crew would set out with."""
    rows = models.JobCard.objects.filter(status="issued", segment_id__in=list(segment_ids))
    return tuple(convert.card_to_noun(row) for row in rows.order_by("day", "number"))


def ordered_segments(first_day: date, last_day: date) -> dict[str, tuple[int, ...]]:
    """Segments with issued cards for some days, and the numbers of those cards."""
    rows = models.JobCard.objects.filter(status="issued", day__gte=first_day, day__lte=last_day)
    found: dict[str, tuple[int, ...]] = {}
    for segment_id, number in rows.order_by("number").values_list("segment_id", "number"):
        found[segment_id] = (*found.get(segment_id, ()), number)
    return found


def ordered_stages(first_day: date, last_day: date) -> dict[nouns.Plan, frozenset[str]]:
    """Stages that crews have issued cards for in some days, by the plan that ordered them."""
    rows = models.JobCard.objects.filter(status="issued", day__gte=first_day, day__lte=last_day)
    plans: dict[int, nouns.Plan] = {}
    found: dict[nouns.Plan, frozenset[str]] = {}
    for row in rows.select_related("plan").order_by("number"):
        if row.plan_id not in plans:
            values = (getattr(row.plan, name) for name in convert.PLAN.names)
            plans[row.plan_id] = convert.PLAN.to_noun(values)
        plan, card = plans[row.plan_id], convert.card_to_noun(row)
        found[plan] = found.get(plan, frozenset()) | {card.stage_id}
    return found


def orders_beside(cards: Iterable[nouns.JobCard]) -> tuple[LiveOrder, ...]:
    """Issued cards that share a segment, or a machine and a day, with some cards."""
    beside = Q(pk__in=())
    for card in cards:
        beside |= Q(segment_id=card.segment_id) | Q(machine=card.machine, day=card.day)
    plans: dict[int, PlanTimes] = {}
    orders = []
    for row in models.JobCard.objects.filter(beside, status="issued").order_by("number"):
        if row.plan_id not in plans:
            plans[row.plan_id] = plan_times(row.plan_id)
        order = plans[row.plan_id].order(convert.card_to_noun(row))
        if order is not None:
            orders.append(order)
    return tuple(orders)


def plan_times(pk: int) -> PlanTimes:
    """The times of one stored plan; plans never change, so the last few are kept at hand."""
    told = models.Plan.objects.filter(pk=pk).values_list("key", "created_at").get()
    key = (str(connection.settings_dict["NAME"]), pk, *told)
    with _LOCK:
        if key not in _KEPT:
            while len(_KEPT) >= _MOST_KEPT:
                _KEPT.pop(next(iter(_KEPT)))
            _KEPT[key] = PlanTimes(models.Plan.objects.get(pk=pk))
        return _KEPT[key]


_LOCK = Lock()
_KEPT: dict[tuple[object, ...], PlanTimes] = {}
_MOST_KEPT = 6


class PlanTimes:
    """When and where a stored plan's cards keep a road and a machine busy."""

    def __init__(self, row: models.Plan) -> None:
        self._plan = convert.PLAN.to_noun(getattr(row, name) for name in convert.PLAN.names)
        self.jobs = {job.id: job for job in convert.JOB.of(row.jobs.all())}
        self._stages = {
            (job.id, stage.id): stage for job in self.jobs.values() for stage in job.stages
        }

    def order(self, card: nouns.JobCard) -> LiveOrder | None:
        """What a card orders; None when its work is not in the plan."""
        stage = self._stages.get((card.job_id, card.stage_id))
        if stage is None:
            return None
        legs = [
            leg
            for itinerary in self._plan.itineraries
            if itinerary.day == card.day
            for leg in itinerary.legs
            if leg.stage_id == card.stage_id
        ]
        start = clock_minutes(card.start_clock)
        planned = min((leg.start_min for leg in legs), default=start)
        end = max((leg.end_min for leg in legs), default=planned)
        return LiveOrder(
            card.number,
            card.plan_id,
            stage.segment_id,
            stage.from_m,
            stage.to_m,
            stage.treatment,
            card.machine,
            card.day,
            start,
            end - planned,
            is_as_planned=abs(start - planned) <= _ROUNDING_MIN,
        )
