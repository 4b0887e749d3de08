"""What a crew reports of a card: a fact that is added, and a card that is closed with it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.db import transaction

from crossfall import model as nouns
from crossfall.records import close_card
from crossfall_app.store import models, repository
from crossfall_app.store.card_life import load_card, move_card, stage_of_card


def record_card(number: int, *, by: str, entered_by: str, **facts: Any) -> nouns.WorkRecord:
    """Keep what was done on an issued card; finished work closes it, in the same transaction.

    ``facts`` are those of :func:`crossfall.records.close_card`; ``by`` did the work and
    ``entered_by`` typed it in.

    Raises
    ------
    InputError
        If the card is unknown or not issued, or a fact is impossible; nothing is kept then.
    """
    with transaction.atomic():
        record = close_card(
            load_card(number),
            stage_of_card(number),
            by=by,
            policy=repository.load_policy().records,
            **facts,
        )
        n_before = models.WorkRecord.objects.filter(card_key=record.card_id).count()
        if n_before:
            # Work that was left in the morning and finished in the afternoon is two facts
            record = replace(record, id=f"{record.id}-{n_before + 1}")
        repository.add_records([record], by=entered_by)
        if record.is_finished:
            move_card(number, "closed", by=entered_by)
    return record
