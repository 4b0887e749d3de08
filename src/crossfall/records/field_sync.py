"""How facts from phones come together: what the office answers to each, and when edits clash.

Facts are only added, so their order does not matter and none can overwrite another. Three rules
are all there is:

1. A fact that is there already, word for word, is a *duplicate*; the phone may forget it.
2. The same id with other words is *rejected*: one of the two phones is a copy of the other.
3. An edit is a *conflict* when another phone (or the office) edited the same thing after the last
   fact of the office that this phone had seen. Both are kept; the first stays in force until the
   foreman decides. A phone never clashes with itself.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from crossfall.model.field import FactAnswer, FieldFact


@dataclass(frozen=True, slots=True)
class Clash:
    """Two edits of one thing, neither of which knew of the other."""

    target: str
    first: FieldFact
    """The one that came earlier to the office and is in force."""
    second: FieldFact


def fingerprint(fact: FieldFact) -> str:
    """What a fact says, as one hash: all of it but who carries it and when it arrived.

    The phone's device is left out: a phone that is paired anew still carries what it told before.
    """
    told = [fact.id, fact.sequence, fact.kind, fact.card_id, plain(fact.payload)]
    text = json.dumps(told, sort_keys=True, ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def answer_fact(
    fact: FieldFact,
    *,
    kept_fingerprint: str | None,
    kept_number: int = 0,
    edits_by_others: Iterable[FieldFact] = (),
    own_fingerprint: str | None = None,
) -> FactAnswer:
    """What the office answers to one fact, before it is kept.

    Parameters
    ----------
    kept_fingerprint, kept_number
        Of the fact with this id that is there already; None when there is none.
    edits_by_others
        Edits of the same target that other devices made, with their numbers.
    own_fingerprint
        Of the fact as it was sent, where that is not word for word as it is kept.
    """
    if kept_fingerprint is not None:
        if kept_fingerprint == (own_fingerprint or fingerprint(fact)):
            return FactAnswer(fact.id, "duplicate", kept_number)
        return FactAnswer(
            fact.id, "rejected", 0,
            "this id was used for another fact; is one phone a copy of another? pair it anew",
        )  # fmt: skip
    clash = first_unseen(fact, edits_by_others)
    if clash is None:
        return FactAnswer(fact.id, "accepted")
    return FactAnswer(
        fact.id, "accepted", 0,
        "somebody else changed the same thing meanwhile; the foreman sees both and decides", True,
    )  # fmt: skip


def first_unseen(fact: FieldFact, edits_by_others: Iterable[FieldFact]) -> FieldFact | None:
    """The newest edit of the same thing by another device that this phone had not seen."""
    if fact.kind != "edit":
        return None
    unseen = [
        each
        for each in edits_by_others
        if each.device != fact.device
        and each.payload["target"] == fact.payload["target"]
        and each.number > fact.seen
        and each.payload["value"] != fact.payload["value"]
    ]
    return max(unseen, key=lambda each: each.number, default=None)


def standing(facts: Iterable[FieldFact]) -> tuple[FieldFact, ...]:
    """The facts that are not undone, in the order they were told; arrival does not matter.

    An undo counts wherever it arrives, also before what it undoes, for facts of the same phone or
    machine; an undo cannot be undone: tell the thing again instead.
    """
    known = tuple({fact.id: fact for fact in facts}.values())
    undos: dict[str, list[FieldFact]] = {}
    for fact in known:
        if fact.kind == "undo":
            undos.setdefault(str(fact.payload["of"]), []).append(fact)
    left = [
        fact
        for fact in known
        if fact.kind != "undo"
        and not any(
            undo.device == fact.device or undo.machine_id == fact.machine_id
            for undo in undos.get(fact.id, ())
        )
    ]
    return tuple(sorted(left, key=lambda fact: (fact.at, fact.device, fact.sequence, fact.id)))


def edits_in_force(
    facts: Iterable[FieldFact], settled: Mapping[str, str] | None = None
) -> tuple[dict[str, FieldFact], tuple[Clash, ...]]:
    """For every target the edit in force, and the clashes that nobody has settled.

    Edits count in the order the office numbered them. One that clashes with the edit in force
    stays aside until ``settled`` (the id of the losing fact, to that of the winner) says more.
    """
    chosen = dict(settled or {})
    in_force: dict[str, FieldFact] = {}
    open_clashes: list[Clash] = []
    edits = sorted((f for f in facts if f.kind == "edit"), key=lambda fact: fact.number)
    seen_by_target: dict[str, list[FieldFact]] = {}
    for fact in edits:
        target = str(fact.payload["target"])
        earlier = seen_by_target.setdefault(target, [])
        other = first_unseen(fact, earlier)
        earlier.append(fact)
        if fact.id in chosen:
            continue
        if other is not None and chosen.get(other.id) != fact.id:
            open_clashes.append(Clash(target, in_force.get(target, other), fact))
            continue
        in_force[target] = fact
    return in_force, tuple(open_clashes)


def numbered(fact: FieldFact, number: int) -> FieldFact:
    """The fact with the office's own number."""
    return replace(fact, number=number)


def plain(value: Any) -> Any:
    """Nested values as JSON has them: whole figures are the same as a float or an int.

    Examples
    --------
    >>> plain({"hours": 3.0, "of": ("a",)})
    {'hours': 3, 'of': ['a']}
    """
    if isinstance(value, Mapping):
        return {str(key): plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    if isinstance(value, float) and value.is_integer():
        return int(value)
    return value
