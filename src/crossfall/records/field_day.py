"""From what a cab told to what the records say: work, looks, feelings of the surface, dangers.

Facts are gathered by card and day. What the foreman approves becomes a work record by the same
road as a paper card (:func:`crossfall.records.close_card`); hours come from the operator, never
from the plan. A missing sign or a rock where traffic runs is a danger at once and waits for nobody.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

from crossfall.judgement.stations import middle_of
from crossfall.model import Condition, FieldFact, Hazard, JobCard, Network, Observation, Segment
from crossfall.model.common import Side
from crossfall.records.field_facts import REASONS
from crossfall.records.field_sync import standing


@dataclass(frozen=True, slots=True)
class CardReport:
    """What a cab told about one card, undone facts left out."""

    card_id: str
    facts: tuple[FieldFact, ...]
    n_passes: int
    """Different passes that were ticked."""
    is_done: bool
    is_given_up: bool
    """Told as not done, or not done any further."""
    reason: str
    hours: float | None
    n_loads: int
    n_stakes: int
    water_l: float
    windrow_side: Side | None
    is_windrow_in_travelled_way: bool
    is_culvert_open: bool
    from_m: float | None
    to_m: float | None
    notes: tuple[str, ...]
    first_at: datetime
    last_at: datetime
    by: str
    photo_ids: tuple[str, ...] = ()

    @property
    def is_told(self) -> bool:
        """Whether there is work to record: something done, or the reason why not."""
        return self.is_done or self.is_given_up or self.n_passes > 0

    def summary(self) -> str:
        """One sentence for the foreman."""
        if self.is_done:
            head = "done"
        elif self.is_given_up:
            head = f"not done: {self.reason}" if not self.n_passes else f"left: {self.reason}"
        else:
            head = "under way" if self.n_passes else "not begun"
        parts = [f"{self.n_passes} passes"] if self.n_passes else []
        parts += [f"{self.hours:g} h"] if self.hours else []
        parts += [f"{self.n_loads} loads"] if self.n_loads else []
        parts += [f"{self.n_stakes} stakes"] if self.n_stakes else []
        parts += [f"{self.water_l:g} L of water"] if self.water_l else []
        parts += [f"windrow left, {self.windrow_side}"] if self.windrow_side else []
        parts += ["culvert left open"] if self.is_culvert_open else []
        return f"{head}; {', '.join(parts)}" if parts else head


@dataclass
class _Sum:
    passes: set[int] = field(default_factory=set)
    words: dict[str, Any] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


def card_reports(facts: Iterable[FieldFact]) -> tuple[CardReport, ...]:
    """One report for each card that the facts speak of, in the order they were begun."""
    by_card: dict[str, list[FieldFact]] = {}
    for fact in standing(facts):
        if fact.card_id:
            by_card.setdefault(fact.card_id, []).append(fact)
    return tuple(_report(card_id, tuple(told)) for card_id, told in by_card.items())


def _report(card_id: str, told: tuple[FieldFact, ...]) -> CardReport:
    total = _Sum()
    words = total.words
    for fact in told:
        say = fact.payload
        if fact.kind == "pass_done":
            total.passes.add(int(say["pass"]))
        elif fact.kind in {"loads", "stakes", "water"}:
            name = {"loads": "loads", "stakes": "stakes", "water": "litres"}[fact.kind]
            words[name] = words.get(name, 0) + say[name]
        elif fact.kind == "culvert":
            words["is_culvert_open"] = say["state"] == "open"
        elif fact.kind == "windrow":
            words["windrow"] = say
        elif fact.kind in {"hours", "job_done", "not_done"}:
            words |= {fact.kind: say}
        if say.get("note"):
            total.notes.append(str(say["note"]))
    windrow, left = words.get("windrow", {}), words.get("not_done", {})
    ends = [fact.kind for fact in told if fact.kind in {"job_done", "not_done"}]
    return CardReport(
        card_id=card_id,
        facts=told,
        n_passes=max(len(total.passes), int(left.get("passes", 0))),
        is_done=ends[-1:] == ["job_done"],
        is_given_up=ends[-1:] == ["not_done"],
        reason=REASONS.get(str(left.get("reason", "")), ""),
        hours=words.get("hours", {}).get("hours"),
        n_loads=words.get("loads", 0),
        n_stakes=words.get("stakes", 0),
        water_l=words.get("litres", 0.0),
        windrow_side=windrow.get("side"),
        is_windrow_in_travelled_way=bool(windrow.get("is_in_travelled_way")),
        is_culvert_open=bool(words.get("is_culvert_open")),
        from_m=left.get("from_m"),
        to_m=left.get("to_m"),
        notes=tuple(dict.fromkeys(total.notes)),
        first_at=told[0].at,
        last_at=told[-1].at,
        by=told[-1].by,
        photo_ids=tuple(fact.id for fact in told if fact.kind == "photo"),
    )


def hazard_of(fact: FieldFact, card: JobCard | None) -> Hazard | None:
    """The danger a fact tells of, known at once and not only after approval; None for others.

    A missing sign, a rock in the travelled way, a culvert left open where traffic runs.
    """
    if card is None:
        return None
    said = fact.payload
    kind: Any = None
    if fact.kind == "sign_missing":
        kind, note = "sign_missing", "sign missing"
    elif fact.kind == "rock" and said.get("is_in_travelled_way"):
        kind, note = "obstruction", "oversize rock in the travelled way"
    elif fact.kind == "culvert" and said["state"] == "open":
        kind, note = "other", "culvert left open"
    if kind is None:
        return None
    more = f": {said['note']}" if said.get("note") else ""
    return Hazard(
        id=f"HZ-{fact.id}",
        segment_id=card.segment_id,
        at_m=_within(said.get("at_m"), card),
        kind=kind,
        noticed_at=fact.at,
        note=f"{note}{more}, told from the cab",
        noticed_by=fact.by,
    )


def observations_of_facts(
    facts: Iterable[FieldFact], cards: dict[str, JobCard], network: Network, day: date
) -> tuple[Observation, ...]:
    """How the surface felt, as the moisture model takes it in: the last word for each card."""
    found: dict[tuple[str, float | None], Observation] = {}
    for fact in standing(facts):
        card = cards.get(fact.card_id or "")
        if fact.kind != "felt" or card is None or card.segment_id not in network.segment_by_id:
            continue
        segment = network.segment_by_id[card.segment_id]
        lon, lat = _place(fact, segment)
        found[card.id, fact.payload.get("at_m")] = Observation(
            id=f"cab-{fact.id}",
            observed_on=day,
            lon=lon,
            lat=lat,
            felt=fact.payload["felt"],
            segment_id=segment.id,
            observer=fact.by,
            note=str(fact.payload.get("note", "")),
        )
    return tuple(found.values())


def looks_of_facts(
    facts: Iterable[FieldFact],
    cards: dict[str, JobCard],
    conditions: Iterable[Condition],
    day: date,
) -> tuple[Condition, ...]:
    """Looks at roads on which a blocked culvert, a soft spot or rocks were told from the cab.

    Everything else about the road stays as it was last believed; the look says what was seen.
    """
    believed = {each.segment_id: each for each in conditions}
    told: dict[str, list[FieldFact]] = {}
    for fact in standing(facts):
        card = cards.get(fact.card_id or "")
        is_seen = fact.kind in {"soft_spot", "rock"} or (
            fact.kind == "culvert" and fact.payload["state"] in {"blocked", "opened"}
        )
        if is_seen and card is not None and card.segment_id in believed:
            told.setdefault(card.segment_id, []).append(fact)
    looks = []
    for segment_id, seen in told.items():
        was = believed[segment_id]
        states = [fact.payload["state"] for fact in seen if fact.kind == "culvert"]
        looks.append(
            replace(
                was,
                observed_on=day,
                method="estimated",
                observer=seen[-1].by,
                is_culvert_blocked=states[-1] == "blocked" if states else was.is_culvert_blocked,
                note="; ".join(dict.fromkeys(_seen_words(fact) for fact in seen)),
                photos=(),
                from_m=None,
                to_m=None,
                side="both",
            )
        )
    return tuple(looks)


def _seen_words(fact: FieldFact) -> str:
    said = fact.payload
    what = {"soft_spot": "soft spot", "rock": "oversize rock"}.get(
        fact.kind, f"culvert {said.get('state', '')}"
    )
    at = f" at {said['at_m']:.0f} m" if "at_m" in said else ""
    more = f" ({said['note']})" if said.get("note") else ""
    return f"{what}{at}{more}"


def _within(at_m: float | None, card: JobCard) -> float:
    """Where on the segment; the card's middle when nobody said."""
    if at_m is None:
        return round((card.from_m + card.to_m) / 2, 1)
    return round(at_m, 1)


def _place(fact: FieldFact, segment: Segment) -> tuple[float, float]:
    said = fact.payload
    if "lon" in said and "lat" in said:
        return float(said["lon"]), float(said["lat"])
    lons, lats = middle_of((segment,))
    return float(lons[0]), float(lats[0])
