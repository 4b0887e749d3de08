"""Tracks in the store: a proposal is staged, accepted or refused by a person, and purged in time.

Fixes and times of day never reach the store. A staged proposal says on which roads a machine worked
on which day; when its time is over it is emptied, and what stays are the records of work that were
accepted and the sums of the machine's day.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from crossfall import model as nouns
from crossfall.errors import InputError
from crossfall.records.from_tracks import ProposedWork, note_of, record_without_card
from crossfall_app.store import audit, convert, models, repository
from crossfall_app.store.card_life import stage_of_card
from crossfall_app.store.closing import record_card
from crossfall_app.store.material_rows import add_machine_days

KIND = "track"
_SHORT = 10


@dataclass(frozen=True, slots=True)
class StagedTrack:
    """A proposal that waits for a person."""

    id: int
    file: str
    sha256: str
    status: str
    report: dict[str, Any]
    work: tuple[ProposedWork, ...]
    days: tuple[nouns.MachineDay, ...]


@dataclass(frozen=True, slots=True)
class AcceptedTrack:
    """What was written."""

    n_closed: int
    n_begun: int
    n_records: int
    n_days: int

    def summary(self) -> str:
        """One sentence."""
        return (
            f"{self.n_closed} cards closed, {self.n_begun} reported as begun,"
            f" {self.n_records} records without a card, {self.n_days} machine days"
        )


def open_orders(machine: nouns.Machine) -> tuple[tuple[nouns.JobCard, nouns.Stage], ...]:
    """Issued cards of a machine with their stages, by day and number."""
    rows = models.JobCard.objects.filter(status="issued", machine__in=[machine.name, machine.id])
    cards = [convert.card_to_noun(row) for row in rows.order_by("day", "number")]
    return tuple((card, stage_of_card(card.number)) for card in cards)


def track_name(sha256: str) -> str:
    """The short name by which records say which track they came from."""
    return sha256[:_SHORT]


def refuse_when_off() -> None:
    """Tracks show where a person was: nothing of them is kept until the agency decides so.

    Raises
    ------
    InputError
        While ``tracks.is_on`` is off.
    """
    if not repository.load_policy().tracks.is_on:
        raise InputError(
            "tracks are off: nothing of them is kept; where the agency has decided to use them,"
            " bring in a policy with is_on = true under [tracks]"
        )


def refuse_known(sha256: str) -> None:
    """The same file twice would count its work twice.

    Raises
    ------
    InputError
        If a track with these bytes was accepted before.
    """
    known = models.ImportStage.objects.filter(kind=KIND, sha256=sha256, status="accepted").first()
    if known is not None:
        raise InputError(
            f"{known.file_name} was accepted already, on {known.settled_at:%Y-%m-%d}; its work is"
            " in the books"
        )


def stage_track(
    work: Iterable[ProposedWork],
    days: Iterable[nouns.MachineDay],
    *,
    file_name: str,
    sha256: str,
    report: dict[str, Any],
    by: str,
) -> int:
    """Keep a proposal until somebody accepts or refuses it; old ones are purged on the way.

    Raises
    ------
    InputError
        If tracks are off, or this one was accepted before.
    """
    refuse_when_off()
    refuse_known(sha256)
    with transaction.atomic():
        purge_tracks(by=by)
        row = models.ImportStage.objects.create(
            kind=KIND,
            file_name=file_name,
            sha256=sha256,
            report=report,
            payload={
                "work": [convert.CONVERTER.unstructure(each) for each in work],
                "days": [convert.CONVERTER.unstructure(each) for each in days],
            },
            created_by=by,
        )
    return int(row.pk)


def load_track(stage_id: int) -> StagedTrack:
    """A staged proposal, whatever became of it.

    Raises
    ------
    InputError
        If it is unknown.
    """
    row = models.ImportStage.objects.filter(pk=stage_id, kind=KIND).first()
    if row is None:
        raise InputError(f"track {stage_id} is unknown; it may have been removed")
    return _staged(row)


def accept_track(stage_id: int, *, by: str, without: Collection[int] = ()) -> AcceptedTrack:
    """Write a proposal into the books, but for the rows in ``without``; all of it or nothing.

    Raises
    ------
    InputError
        If it is not waiting, was accepted under another name, or a card was closed meanwhile.
    """
    refuse_when_off()
    with transaction.atomic():
        row = models.ImportStage.objects.select_for_update().filter(pk=stage_id, kind=KIND).first()
        if row is None:
            raise InputError(f"track {stage_id} is unknown; it may have been removed")
        if row.status != "staged":
            raise InputError(f"track {stage_id} was {row.status} already")
        refuse_known(row.sha256)
        staged = _staged(row)
        n_closed = n_begun = 0
        records = []
        for number, work in enumerate(staged.work):
            if number in without:
                continue
            if work.card_number is None:
                records.append(record_without_card(work, track=track_name(row.sha256)))
                continue
            _report_card(work, work.card_number, by=by)
            n_closed += work.is_finished
            n_begun += not work.is_finished
        repository.add_records(records, by=by, source=f"track {row.file_name}")
        add_machine_days(staged.days, by=by)
        row.status, row.settled_at = "accepted", timezone.now()
        row.save(update_fields=["status", "settled_at"])
        done = AcceptedTrack(n_closed, n_begun, len(records), len(staged.days))
        audit.note("accept", "track", str(stage_id), who=by, after={"done": done.summary()})
    return done


def purge_tracks(*, by: str, all_of_them: bool = False) -> int:
    """Empty proposals that are older than the policy keeps them; returns how many.

    What is purged was never accepted or is in the books already.
    """
    keep = timedelta(days=repository.load_policy().tracks.keep_days)
    rows = models.ImportStage.objects.filter(kind=KIND).exclude(report={"is_purged": True})
    if not all_of_them:
        rows = rows.filter(created_at__lt=timezone.now() - keep)
    with transaction.atomic():
        n = 0
        for row in rows.select_for_update():
            row.payload = {}
            row.report = {"is_purged": True}
            if row.status == "staged":
                row.status, row.settled_at = "purged", timezone.now()
            row.save(update_fields=["payload", "report", "status", "settled_at"])
            n += 1
        if n:
            audit.note("purge", "track", who=by, after={"tracks": n})
    return n


def _report_card(work: ProposedWork, number: int, *, by: str) -> None:
    place = {} if work.is_finished else {"from_m": work.from_m, "to_m": work.to_m}
    record_card(
        number,
        by=work.operator,
        entered_by=by,
        hours=work.hours,
        done_on=work.day,
        n_passes=work.n_passes,
        is_finished=work.is_finished,
        note=note_of(work),
        **place,
    )


def _staged(row: models.ImportStage) -> StagedTrack:
    plain: dict[str, Any] = row.payload or {}
    return StagedTrack(
        id=int(row.pk),
        file=row.file_name,
        sha256=row.sha256,
        status=row.status,
        report=row.report,
        work=tuple(
            convert.CONVERTER.structure(each, ProposedWork) for each in plain.get("work", ())
        ),
        days=tuple(
            convert.CONVERTER.structure(each, nouns.MachineDay) for each in plain.get("days", ())
        ),
    )
