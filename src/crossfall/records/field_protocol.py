"""A plain model of phones, a bad network and an office, to prove that no fact is lost or doubled.

It is the protocol and nothing else: the phone's outbox as the page in the cab keeps it, messages
that are lost, doubled, delayed or cut off after the office took them in, an office that is killed
before or after it writes, phones that are closed, and an office that is restored from an older
backup. The same phones talk to the plain office here and to the real one.

A message is a dictionary as it travels::

    {"protocol": 1, "sent_at": ..., "last": {"id": ..., "number": ...} or None,
     "facts": [{"id", "sequence", "kind", "card", "at", "seen", "payload"}, ...]}

and its reply is ``{"answers": [...], "latest": 7, "knows_last": True}``.
"""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Protocol

import numpy as np

from crossfall.model.field import FieldFact
from crossfall.records.field_sync import answer_fact, fingerprint, numbered

PROTOCOL = 1
_EPOCH = datetime(2026, 5, 12, 6, tzinfo=UTC)

Message = dict[str, Any]


class Office(Protocol):
    """Whoever takes messages in."""

    def receive(self, device: str, message: Message) -> Message:
        """Take one message in, whole or not at all, and answer each fact."""
        ...

    def kept(self) -> list[str]:
        """Ids of the facts that are kept, each as often as it is there."""
        ...


@dataclass
class PlainOffice:
    """The office as the rules of :mod:`crossfall.records.field_sync` have it, in memory."""

    facts: list[FieldFact] = field(default_factory=list)
    refused: frozenset[str] = frozenset()
    """Ids that are refused, as a fact that cannot be is."""

    def receive(self, device: str, message: Message) -> Message:
        """Answer each fact; what is accepted is there afterwards."""
        before = len(self.facts)
        answers = [self._one(device, told) for told in message["facts"]]
        last = message.get("last")
        knows = last is None or any(fact.id == last["id"] for fact in self.facts[:before])
        latest = self.facts[-1].number if self.facts else 0
        return {"answers": answers, "latest": latest, "knows_last": knows}

    def kept(self) -> list[str]:
        """Ids in order of arrival."""
        return [fact.id for fact in self.facts]

    def _one(self, device: str, told: Message) -> Message:
        fact = fact_of(device, told)
        if fact.id in self.refused:
            return {"id": fact.id, "answer": "rejected", "number": 0}
        there = next((each for each in self.facts if each.id == fact.id), None)
        said = answer_fact(
            fact,
            kept_fingerprint=None if there is None else fingerprint(there),
            kept_number=0 if there is None else there.number,
            edits_by_others=[each for each in self.facts if each.kind == "edit"],
        )
        number = said.number
        if said.answer == "accepted":
            number = len(self.facts) + 1
            self.facts.append(numbered(fact, number))
        return {
            "id": fact.id,
            "answer": said.answer,
            "number": number,
            "is_conflict": said.is_conflict,
        }


@dataclass
class Phone:
    """One phone: everything here but ``awaited`` survives its being closed."""

    device: str
    sequence: int = 0
    seen: int = 0
    waiting: dict[str, Message] = field(default_factory=dict)
    delivered: dict[str, Message] = field(default_factory=dict)
    refused: dict[str, Message] = field(default_factory=dict)
    last: Message | None = None

    def tell(self, kind: str, payload: Message, *, key: str, card: str | None = None) -> str:
        """Write a fact into the outbox; from here on it must arrive exactly once."""
        self.sequence += 1
        self.waiting[key] = {
            "id": key,
            "sequence": self.sequence,
            "kind": kind,
            "card": card,
            "at": (_EPOCH + timedelta(seconds=self.sequence)).isoformat(),
            "seen": self.seen,
            "payload": payload,
        }
        return key

    def message(self, keys: Sequence[str]) -> Message:
        """A message with some of what waits."""
        facts = [deepcopy(self.waiting[key]) for key in keys if key in self.waiting]
        sent_at = (_EPOCH + timedelta(hours=9)).isoformat()
        return {"protocol": PROTOCOL, "sent_at": sent_at, "last": self.last, "facts": facts}

    def hear(self, reply: Message) -> None:
        """Take the answers in: only an answer of its own takes a fact out of the outbox."""
        if not reply["knows_last"]:
            # The office is younger than what it once answered: offer everything again
            self.waiting = {**self.delivered, **self.waiting}
            self.delivered, self.last, self.seen = {}, None, 0
        for each in reply["answers"]:
            fact = self.waiting.get(each["id"])
            if fact is None:
                continue
            if each["answer"] == "rejected":
                self.refused[each["id"]] = self.waiting.pop(each["id"])
                continue
            self.delivered[each["id"]] = self.waiting.pop(each["id"])
            if self.last is None or each["number"] > self.last["number"]:
                self.last = {"id": each["id"], "number": each["number"]}

    def look(self, latest: int) -> None:
        """Take in what others told: only what was shown here counts as seen."""
        self.seen = latest


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a run."""

    told: int
    kept: int
    lost: int
    doubled: int
    left_waiting: int
    n_messages: int


def fact_of(device: str, told: Message) -> FieldFact:
    """A fact as it travelled, as a noun."""
    return FieldFact(
        id=str(told["id"]),
        device=device,
        sequence=int(told["sequence"]),
        kind=told["kind"],
        at=datetime.fromisoformat(told["at"]),
        payload=dict(told["payload"]),
        card_id=told.get("card"),
        seen=int(told.get("seen", 0)),
    )


def run_protocol(
    office: Office,
    rng: np.random.Generator,
    *,
    devices: Sequence[str] = ("a", "b"),
    n_facts: int = 60,
    trouble: float = 0.5,
    card: str | None = None,
) -> Outcome:
    """A shift of facts through a network that fails in every way, and then one that works.

    Parameters
    ----------
    office
        Empty of this run's facts; keys are drawn from ``rng``.
    trouble
        Chance that something happens to a message [0 to 1].

    Raises
    ------
    RuntimeError
        If the phones do not come to rest on a network that works: the protocol would be stuck.
    """
    phones = [Phone(device) for device in devices]
    told: list[str] = []
    late: list[tuple[Phone, Message]] = []
    n_messages = 0
    for number in range(n_facts):
        phone = phones[int(rng.integers(len(phones)))]
        told.append(_tell(phone, rng, number, told, card))
        if rng.random() < 0.5:
            n_messages += 1
            _send(office, phones[int(rng.integers(len(phones)))], rng, trouble, late)
        if late and rng.random() < 0.3:
            phone_then, message = late.pop(int(rng.integers(len(late))))
            _deliver(office, phone_then, message, rng, trouble)
        if rng.random() < 0.05:
            # Closed and opened again: only what is stored is left
            at = int(rng.integers(len(phones)))
            phones[at] = deepcopy(phones[at])
    for phone_then, message in late:
        office.receive(phone_then.device, message)
    for _ in range(3 + 2 * n_facts):
        busy = [phone for phone in phones if phone.waiting]
        if not busy:
            break
        for phone in busy:
            keys = list(phone.waiting)[:20]
            n_messages += 1
            phone.hear(office.receive(phone.device, phone.message(keys)))
    else:
        raise RuntimeError("facts still wait on a network that works")
    return _count(office, phones, told, n_messages)


def _tell(
    phone: Phone, rng: np.random.Generator, number: int, told: list[str], card: str | None
) -> str:
    key = str(uuid.UUID(bytes=rng.bytes(16), version=4))
    draw = rng.random()
    if draw < 0.1 and told:
        return phone.tell("undo", {"of": told[int(rng.integers(len(told)))]}, key=key)
    if draw < 0.25:
        payload = {"target": "shift/g1/remark", "value": f"remark {number}"}
        return phone.tell("edit", payload, key=key)
    if draw < 0.5 and card is not None:
        return phone.tell("pass_done", {"pass": number % 6 + 1}, key=key, card=card)
    return phone.tell("note", {"note": f"note {number}"}, key=key)


def _send(
    office: Office,
    phone: Phone,
    rng: np.random.Generator,
    trouble: float,
    late: list[tuple[Phone, Message]],
) -> None:
    keys = list(phone.waiting)
    if not keys:
        return
    if rng.random() < 0.3:
        rng.shuffle(keys)
    message = phone.message(keys[: int(rng.integers(1, 21))])
    if rng.random() < trouble * 0.3:
        # Stuck somewhere on the way; the phone gives up, and it arrives after newer ones
        late.append((phone, message))
        return
    _deliver(office, phone, message, rng, trouble)


def _deliver(
    office: Office, phone: Phone, message: Message, rng: np.random.Generator, trouble: float
) -> None:
    if rng.random() >= trouble:
        reply = office.receive(phone.device, message)
        phone.hear(reply)
        if rng.random() < 0.7:
            phone.look(reply["latest"])
        return
    what = rng.integers(4)
    if what == 0:
        return  # never arrived, or the office was killed before it wrote
    reply = office.receive(phone.device, message)
    if what == 1:
        return  # taken in, and the answer never came back
    if what == 2:
        reply = office.receive(phone.device, message)  # arrived twice
    elif reply["answers"]:
        # Cut off in the middle: only some of the answers can be read
        n_read = int(rng.integers(len(reply["answers"])))
        reply = {**reply, "answers": reply["answers"][:n_read]}
    phone.hear(reply)


def _count(office: Office, phones: list[Phone], told: list[str], n_messages: int) -> Outcome:
    times = Counter(office.kept())
    refused = {key for phone in phones for key in phone.refused}
    expected = [key for key in told if key not in refused]
    return Outcome(
        told=len(told),
        kept=sum(times[key] for key in told),
        lost=sum(times[key] == 0 for key in expected),
        doubled=sum(max(0, times[key] - 1) for key in told),
        left_waiting=sum(len(phone.waiting) for phone in phones),
        n_messages=n_messages,
    )
