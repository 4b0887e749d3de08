"""Keeping studies of the years, and the programme that an agency works by."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from crossfall import model as nouns
from crossfall.errors import InputError
from crossfall_app.store import audit, models
from crossfall_app.store.convert import CONVERTER


@dataclass(frozen=True)
class KeptStudy:
    """A study with when and by whom it was made, and what became of it."""

    key: str
    made_at: datetime
    made_by: str
    study: nouns.YearsStudy
    adopted_on: date | None
    adopted_by: str
    adopted_share: float | None


def save_study(study: nouns.YearsStudy, *, made_at: datetime, by: str) -> str:
    """Keep a study; its key."""
    with transaction.atomic():
        key = _free_key(f"years-{study.question.first_year}")
        audit.note("save", "years", key, who=by, after=_told(study))
        models.YearsStudy.objects.create(
            key=key,
            made_at=made_at,
            first_year=study.question.first_year,
            body=CONVERTER.unstructure(study, nouns.YearsStudy),
            created_by=by,
        )
    return key


def load_study(key: str) -> KeptStudy | None:
    """A study by its key."""
    row = models.YearsStudy.objects.filter(key=key).first()
    return None if row is None else _kept(row)


def latest_study() -> KeptStudy | None:
    """The study made last."""
    row = models.YearsStudy.objects.order_by("-made_at", "-pk").first()
    return None if row is None else _kept(row)


def adopt(key: str, *, share: float, today: date, by: str) -> nouns.AdoptedYears:
    """Work by the programme of one level of money from now on.

    Raises
    ------
    InputError
        If the study is unknown, or nothing keeps the limits at that level.
    """
    with transaction.atomic():
        audit.note("adopt", "years", key, who=by, after={"share": share})
        row = models.YearsStudy.objects.select_for_update().filter(key=key).first()
        if row is None:
            raise InputError(f"study {key!r} is unknown")
        level = _kept(row).study.level(share)
        if not level.is_feasible:
            raise InputError(f"{100 * share:.0f} % of the money cannot be adopted: {level.why_not}")
        row.adopted_on, row.adopted_at = today, timezone.now()
        row.adopted_by, row.adopted_share = by, level.share
        row.save()
        return _adopted(row)


def adopted_years() -> nouns.AdoptedYears | None:
    """The programme adopted last."""
    rows = models.YearsStudy.objects.filter(adopted_at__isnull=False)
    row = rows.order_by("-adopted_at", "-pk").first()
    return None if row is None else _adopted(row)


def _adopted(row: Any) -> nouns.AdoptedYears:
    study = _kept(row).study
    level = study.level(row.adopted_share)
    return nouns.AdoptedYears(
        id=row.key,
        adopted_on=row.adopted_on,
        first_year=study.question.first_year,
        n_years=study.question.n_years,
        items=tuple(each for each in level.items if each.regravel_years),
        budget_minor=level.budget_minor,
        currency=study.currency,
        policy_version=study.policy_version,
    )


def _kept(row: Any) -> KeptStudy:
    return KeptStudy(
        row.key,
        row.made_at,
        row.created_by,
        CONVERTER.structure(row.body, nouns.YearsStudy),
        row.adopted_on,
        row.adopted_by,
        row.adopted_share,
    )


def _free_key(wanted: str) -> str:
    n_taken = models.YearsStudy.objects.filter(key__startswith=wanted).count()
    return f"{wanted}-{n_taken + 1}"


def _told(study: nouns.YearsStudy) -> dict[str, Any]:
    question = CONVERTER.unstructure(study.question, nouns.YearsQuestion)
    return {"question": question, "n_segments": study.n_segments}
