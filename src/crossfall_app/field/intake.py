"""Taking in what a phone sends: one transaction for a message, one answer for each fact.

What cannot be so is refused by itself and blocks nothing. A fact that is there already is answered
with its number. Nothing here asks in which order messages come: they may be repeated, reordered,
or come from a page of an older release.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from crossfall.errors import InputError
from crossfall.model import FieldFact, JobCard
from crossfall.model.policy.cab import CabPolicy
from crossfall.records.field_day import hazard_of
from crossfall.records.field_facts import check_fact
from crossfall.records.field_sync import answer_fact, fingerprint
from crossfall_app.field.models import Device, Fact, Photo
from crossfall_app.field.whose import machine_of_card, machines_of_cards
from crossfall_app.store import convert, repository
from crossfall_app.store import models as store

PROTOCOLS = (1,)
"""Ways of speaking that are understood; a phone with an old page goes on speaking the old one."""

_MOST_WHOLE = 2**53
_MOST_FACTS = 200
_AHEAD = timedelta(minutes=5)
_CLOCK = ("skew_s", "skew_before_s", "skew_since")
_log = logging.getLogger("django.crossfall.field")


@dataclass(frozen=True)
class Sender:
    """Who sends, and how far the phone's clock is off."""

    device: Device
    now: datetime
    skew: timedelta
    policy: CabPolicy
    today: date
    """Where the roads are; an invented district stays on its own day."""
    machine: str = ""
    """Which machine the office speaks of; phones speak of their own."""

    def right_time(self, at_phone: datetime) -> datetime:
        """The phone's time by the office's clock; never later than now."""
        return min(at_phone - self.skew, self.now)

    def day_of(self, at: datetime) -> date:
        """The day where the roads are."""
        ago: timedelta = timezone.localtime(self.now).date() - timezone.localtime(at).date()
        return self.today - ago


def take_in(
    device: Device,
    message: Mapping[str, Any],
    *,
    now: datetime,
    today: date,
    policy: CabPolicy | None = None,
    machine: str = "",
) -> dict[str, Any]:
    """Keep what a message tells and answer each fact; the office names the ``machine``.

    Raises
    ------
    InputError
        If it is no message at all; nothing is kept then.
    """
    facts = message.get("facts")
    if not isinstance(facts, list) or len(facts) > _MOST_FACTS:
        raise InputError(f"facts is no list of at most {_MOST_FACTS}; expected a message of a cab")
    if message.get("protocol") not in PROTOCOLS:
        raise InputError(
            f"protocol is {message.get('protocol')!r}; this office speaks {PROTOCOLS[-1]},"
            " so bring it up to date or open the page anew"
        )
    skew = _skew(message, now)
    sender = Sender(device, now, skew, policy or CabPolicy(), today, machine)
    with transaction.atomic():
        _notice_the_clock(sender)
        # The agency's row is the lock that puts two phones one after the other: numbers are seen
        # in the order in which they were given
        list(store.Agency.objects.select_for_update().values_list("pk"))
        knows_last = _knows(message.get("last"))
        answers = [said for each in facts if (said := _one(sender, each)) is not None]
        device.seen_at, device.skew_s = now, sender.skew.total_seconds()
        device.release = _words(message.get("release"))[:40]
        device.waiting = _whole(message.get("waiting"), "waiting", default=0)
        device.save(update_fields=[*_CLOCK, "seen_at", "release", "waiting"])
        latest = Fact.objects.aggregate(most=Max("number"))["most"] or 0
    return {
        "answers": answers,
        "latest": latest,
        "knows_last": knows_last,
        "now": now.astimezone(UTC).isoformat(),
        "skew_s": round(sender.skew.total_seconds(), 1),
    }


def facts_of(rows: Any) -> tuple[FieldFact, ...]:
    """Rows of facts as nouns, in the order of their numbers."""
    found = rows.select_related("device").order_by("number")
    return tuple(noun_of(row) for row in found)


def noun_of(row: Fact) -> FieldFact:
    """One row as a noun."""
    return FieldFact(
        id=row.key,
        device=row.device.key,
        sequence=row.sequence,
        kind=row.kind,
        at=row.at,
        payload=row.payload,
        card_id=row.card_key,
        machine_id=row.machine_key,
        seen=row.seen,
        number=row.number,
        by=row.by,
    )


def _one(sender: Sender, told: Any) -> dict[str, Any] | None:
    key = told.get("id") if isinstance(told, dict) else None
    try:
        with transaction.atomic():
            return _keep(sender, told)
    except InputError as error:
        return _answer(str(key), "rejected", why=f"{str(error)[:1].upper()}{str(error)[1:]}.")
    except Exception:  # noqa: BLE001 - it must block no other fact
        # Ours to mend, not the operator's: no answer, so the phone keeps it and asks again, and
        # whatever was wrong with this one, the others are answered
        _log.exception("fact %s of %s could not be kept", key, sender.device.key)
        return None


def _keep(sender: Sender, told: Any) -> dict[str, Any]:
    fact, at_phone, doubts = _read(sender, told)
    there = Fact.objects.filter(key=fact.id).values("fingerprint", "number").first()
    # As it was sent, so that a later release that reads it otherwise still knows it again
    print_of_it = fingerprint(replace(fact, payload=told.get("payload") or {}))
    said = answer_fact(
        fact,
        own_fingerprint=print_of_it,
        kept_fingerprint=None if there is None else there["fingerprint"],
        kept_number=0 if there is None else there["number"],
        edits_by_others=_edits(fact),
    )
    if said.answer != "accepted":
        return _answer(fact.id, said.answer, said.number, said.why)
    card, machine = _card(sender, fact)
    machine = machine or _machine_of(sender, fact)
    if card is not None and card.status == "withdrawn":
        doubts.append(f"card {card.number} was withdrawn: {card.withdrawn_because}")
    if said.is_conflict:
        doubts.append("clashes with another edit")
    row = Fact.objects.create(
        key=fact.id,
        device=sender.device,
        sequence=fact.sequence,
        kind=fact.kind,
        at=fact.at,
        at_phone=at_phone,
        received_at=sender.now,
        day=sender.day_of(fact.at),
        seen=fact.seen,
        card_key=fact.card_id,
        machine_key=machine,
        payload=dict(fact.payload),
        fingerprint=print_of_it,
        by=sender.device.name,
        doubts=doubts,
    )
    if fact.kind == "photo":
        said_photo = fact.payload
        Photo.objects.create(
            key=fact.id, fact=row, n_bytes=said_photo["bytes"], sha256=said_photo["sha256"]
        )
    _warn(sender, noun_of(row), card)
    return _answer(fact.id, "accepted", row.number, said.why, is_conflict=said.is_conflict)


def _read(sender: Sender, told: Any) -> tuple[FieldFact, datetime, list[str]]:
    if not isinstance(told, dict):
        raise InputError("a fact is no object; is the page damaged?")
    payload = told.get("payload") or {}
    if not isinstance(payload, dict):
        raise InputError("payload is no object; is the page damaged?")
    card_id = told.get("card")
    if card_id is not None and (not isinstance(card_id, str) or len(card_id) > 160):
        raise InputError("card is not the id of a card")
    kind = str(told.get("kind"))
    kept = check_fact(kind, payload, card_id, sender.policy)
    at_phone, doubts = _moment(told.get("at")), []
    at = sender.right_time(at_phone)
    if at_phone - sender.skew > sender.now + _AHEAD:
        doubts.append("told in the future by the phone's clock; kept as of its arrival")
    if at < sender.now - timedelta(days=sender.policy.oldest_days):
        doubts.append(f"told on {at:%Y-%m-%d} by the phone's clock, long before it arrived")
        at = max(at, sender.now - timedelta(days=3650))
    if abs(sender.skew.total_seconds()) > sender.policy.skew_told_s:
        minutes = sender.skew.total_seconds() / 60
        doubts.append(f"the phone's clock was {minutes:+.0f} min off; the time is corrected")
    doubts += _doubts_of_the_clock(sender, at)
    fact = FieldFact(
        id=_key(told.get("id")),
        device=sender.device.key,
        sequence=_whole(told.get("sequence"), "sequence"),
        kind=kind,  # type: ignore[arg-type]
        at=at,
        payload=kept,
        card_id=card_id,
        seen=_whole(told.get("seen"), "seen", default=0),
    )
    return fact, at_phone, doubts


def _notice_the_clock(sender: Sender) -> None:
    """A clock that is off by more or less than when it was last heard was changed since."""
    device, skew_s = sender.device, sender.skew.total_seconds()
    if device.skew_since is None:
        device.skew_since = sender.now
    elif abs(skew_s - device.skew_s) > sender.policy.skew_told_s:
        device.skew_before_s, device.skew_since = device.skew_s, sender.now


def _doubts_of_the_clock(sender: Sender, at: datetime) -> list[str]:
    """Nobody knows whether a fact was told before or after the clock was changed."""
    device = sender.device
    if device.skew_before_s is None or device.skew_since is None:
        return []
    if at >= device.skew_since:
        return []
    minutes = (sender.skew.total_seconds() - device.skew_before_s) / 60
    return [
        f"the phone's clock was changed by {minutes:+.0f} min before this arrived;"
        f" if it was told before that, its time is wrong by as much"
    ]


def _edits(fact: FieldFact) -> tuple[FieldFact, ...]:
    if fact.kind != "edit":
        return ()
    rows = Fact.objects.filter(
        kind="edit", payload__target=fact.payload["target"], number__gt=fact.seen
    ).exclude(device__key=fact.device)
    return facts_of(rows)


def _card(sender: Sender, fact: FieldFact) -> tuple[JobCard | None, str]:
    """The card a fact is about, if this phone may speak of it, and its machine's id.

    Raises
    ------
    InputError
        If there is no such card, or it is another machine's.
    """
    if fact.card_id is None:
        return None, ""
    row = store.JobCard.objects.filter(key=fact.card_id).order_by("-version").first()
    if row is None:
        raise InputError(f"card {fact.card_id!r} is not in the store of this office")
    machine = machine_of_card(row)
    if sender.device.machine_id is not None and machine not in _own(sender):
        raise InputError(f"card {row.number} is of {row.machine}, which is not this phone's")
    if fact.kind == "edit":
        _may_edit(sender, str(fact.payload["target"]))
    return convert.card_to_noun(row), machine


def _own(sender: Sender) -> set[str]:
    return {str(key) for key in sender.device.machines.values_list("machine_id", flat=True)}


def _machine_of(sender: Sender, fact: FieldFact) -> str:
    if fact.kind == "edit":
        _may_edit(sender, str(fact.payload["target"]))
    return str(sender.device.machine_id or sender.machine)


def _may_edit(sender: Sender, target: str) -> None:
    """An edit names ``shift/MACHINE/word`` or ``card/ID/word``, of a machine of this phone."""
    parts = target.split("/")
    about, what = parts[0], "/".join(parts[1:-1])
    if sender.device.machine_id is None:
        return
    own = _own(sender)
    if about == "shift" and what in own:
        return
    if about == "card":
        cards = store.JobCard.objects.filter(key=what)
        if own & set(machines_of_cards(cards).values()):
            return
    raise InputError(f"target is {target!r}, which is not of this phone's machine")


def _warn(sender: Sender, fact: FieldFact, card: JobCard | None) -> None:
    """A danger is in the register at once; a fact about it is kept even where that fails."""
    hazard = hazard_of(fact, card)
    if hazard is None:
        return
    try:
        with transaction.atomic():
            repository.add_hazards([hazard], by=sender.device.name)
    except InputError as error:
        _log.error("danger %s is not in the register: %s", hazard.id, error)


def _answer(
    key: str, answer: str, number: int = 0, why: str = "", *, is_conflict: bool = False
) -> dict[str, Any]:
    return {"id": key, "answer": answer, "number": number, "why": why, "is_conflict": is_conflict}


def _knows(last: Any) -> bool:
    """Whether the newest fact that the phone has an answer for is still here."""
    if not isinstance(last, dict):
        return True
    try:
        return bool(Fact.objects.filter(key=_key(last.get("id"))).exists())
    except InputError:
        return False


def _skew(message: Mapping[str, Any], now: datetime) -> timedelta:
    if message.get("sent_at") is None:
        return timedelta(0)
    return _moment(message["sent_at"]) - now


def _moment(text: Any) -> datetime:
    try:
        when = datetime.fromisoformat(text)
        if when.tzinfo is not None and 1970 <= when.astimezone(UTC).year <= 2200:
            return when.astimezone(UTC)
    except (TypeError, ValueError, OverflowError):
        pass
    raise InputError(f"at is {text!r}; expected a time with its zone, such as 2026-05-12T15:30Z")


def _whole(value: Any, name: str, *, default: int | None = None) -> int:
    if value is None and default is not None:
        return default
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= _MOST_WHOLE:
        raise InputError(f"{name} is {value!r}; expected a whole number, 0 or more")
    return value


def _words(value: Any) -> str:
    return "".join(each for each in str(value or "") if each.isprintable() and each.isascii())


def _key(value: Any) -> str:
    try:
        return str(UUID(value))
    except (TypeError, ValueError, AttributeError):
        raise InputError(f"id is {value!r}; expected a UUID") from None
