"""Who goes out today: the word given to each operator, and what it means for the plan."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date

from django.db import transaction

from crossfall import model as nouns
from crossfall.errors import InputError
from crossfall_app.store import audit, models

CALLS = ("go", "hold", "wet", "off")
"""Out as planned, wait for word, wet-day work instead, not in."""


def call_crew(operator_id: str, day: date, call: str, *, by: str) -> None:
    """Give an operator the word for a day; the word before stays on record.

    Raises
    ------
    InputError
        If the word or the operator is unknown.
    """
    if call not in CALLS:
        raise InputError(f"call is {call!r}; expected one of {', '.join(CALLS)}")
    with transaction.atomic():
        operator = models.Operator.objects.filter(pk=operator_id, is_current=True).first()
        if operator is None:
            raise InputError(f"operator {operator_id!r} is not on the crew")
        before = crew_calls(day).get(operator_id, "")
        if before == call:
            return
        models.CrewCall.objects.create(day=day, operator=operator, call=call, created_by=by)
        audit.note(
            "call",
            "crewcall",
            operator_id,
            who=by,
            before={"day": day.isoformat(), "call": before or "go"},
            after={"day": day.isoformat(), "call": call},
        )


def crew_calls(day: date) -> dict[str, str]:
    """The word in force for each operator who was given one."""
    rows = models.CrewCall.objects.filter(day=day).order_by("pk")
    return dict(rows.values_list("operator_id", "call"))


def with_calls(operators: Iterable[nouns.Operator]) -> tuple[nouns.Operator, ...]:
    """Operators whose days off include those on which they are not in."""
    last: dict[tuple[str, date], str] = {}
    for operator_id, day, call in models.CrewCall.objects.order_by("pk").values_list(
        "operator_id", "day", "call"
    ):
        last[operator_id, day] = call
    away: dict[str, list[date]] = {}
    for (operator_id, day), call in last.items():
        if call == "off":
            away.setdefault(operator_id, []).append(day)
    return tuple(
        replace(each, off_days=tuple(sorted({*each.off_days, *away[each.id]})))
        if each.id in away
        else each
        for each in operators
    )
