"""Job cards as PDF, A4 or Letter, metric or US customary.

The typesetter gets the cards as one JSON text and a template from this package; it uses only
the fonts it carries, so the same card looks the same on every machine.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from crossfall.design.words import metres
from crossfall.errors import InputError
from crossfall.model import Caution, CostRange, JobCard, Quantity, Stake
from crossfall.report.card_fit import fitted, split_evenly
from crossfall.report.figures import System, check_system, figure, number, reword
from crossfall.report.qr import qr_svg
from crossfall.report.sketch import key_of, map_height, sketch_svg
from crossfall.report.strip import strip_svg
from crossfall.report.typesetting import paper_name, typeset
from crossfall.units import convert

_FRAME_MM = {"a4": (186.0, 274.0), "letter": (191.9, 256.4)}
"""Width and height between the margins of a paper [mm]."""

_LAW = "local_codes"
_STAKE_COLUMNS = 6
_MAP_MM = 76.0
_SAID_ABOVE = frozenset({"length"})
"""Quantities that the card's heading and strip already show."""


def cards_pdf(
    cards: Sequence[JobCard], *, paper: str = "a4", units: str = "metric", link: str = ""
) -> bytes:
    """Typeset job cards, each beginning on its own page.

    Parameters
    ----------
    cards : sequence of JobCard
        In the order to print.
    paper : {'a4', 'letter'}
    units : {'metric', 'us'}
    link : str
        Address under which a card is found by its number, for example
        ``https://roads.example/cards/``; each card then carries a square code to scan.

    Returns
    -------
    bytes
        One PDF.

    Raises
    ------
    InputError
        If there is no card, or ``paper`` or ``units`` is unknown.
    """
    system = check_system(units)
    name = paper_name(paper)
    if not cards:
        raise InputError("cards is empty; expected at least one card to print")
    width_mm, height_mm = _FRAME_MM[paper]
    book = {
        "title": "Job cards" if len(cards) > 1 else f"{cards[0].title}, card {cards[0].number}",
        "paper": name,
        "cards": [
            fitted(card_data(card, units=system, width_mm=width_mm), height_mm)
            | {"code": qr_svg(f"{link}{card.number}") if link else ""}
            for card in cards
        ],
    }
    made = max(card.made_at for card in cards)
    return typeset("card.typ", book, made_at=made)


def card_data(
    card: JobCard, *, units: System = "metric", width_mm: float = 186.0
) -> dict[str, Any]:
    """Everything on a card in the words it is shown in; the screen shows the same.

    Raises
    ------
    InputError
        If ``units`` is unknown.
    """
    system = check_system(units)
    why = [step.text for step in card.steps if step.text.startswith("Why: ")]
    to_m = card.to_m if card.to_m > card.from_m else None
    map_mm = map_height(card.sketch, _MAP_MM)
    left, right = _two_columns(card.cautions, system)
    law = next((each.text for each in card.cautions if each.key == _LAW), "")
    return {
        "number": f"{card.number:03d}",
        "version": str(card.version),
        "status": card.status,
        "tag": "card" if card.status == "issued" else card.status,
        "invented": card.is_invented,
        "title": card.title,
        "where": _where(card, system),
        "day": f"{card.day:%a} {card.day.day} {card.day:%b %Y}",
        "date": card.day.isoformat(),
        "start": card.start_clock,
        "machine": card.machine,
        "operator": card.operator,
        "cautions_left": left,
        "cautions_right": right,
        "law": law,
        "steps": [
            {"text": reword(step.text, system), "detail": reword(step.detail, system)}
            for step in card.steps
            if not step.text.startswith("Why: ")
        ],
        "why": _sentence(why[0].removeprefix("Why: ")) if why else "",
        "moisture": reword(card.moisture, system),
        "quantities": [
            _row(row, system) for row in card.quantities if row.name not in _SAID_ABOVE
        ],
        "checks": [reword(each, system) for each in card.checks],
        "end": reword(card.end_state, system),
        "actuals": _actuals(card),
        "stakes": _stake_columns(card, system),
        "stake_note": _stake_note(card, system),
        "cost": cost_words(card.cost),
        "issued": _issued(card),
        "withdrawn": _withdrawn(card),
        "assumed": reword("; ".join(each.rstrip(".") for each in card.assumed), system),
        "map": sketch_svg(
            card.sketch,
            width_mm=_MAP_MM,
            height_mm=map_mm,
            units=system,
            from_m=card.from_m,
            to_m=to_m,
        ),
        "map_mm": map_mm,
        "map_alt": f"Map of {card.title}",
        "key": key_of(card.sketch),
        "strip": ""
        if to_m is None
        else strip_svg(
            card.sketch,
            from_m=card.from_m,
            to_m=to_m,
            stakes=card.stakes,
            width_mm=width_mm,
            units=system,
        ),
        "strip_alt": f"The road drawn straight, from {card.from_m:.0f} m",
        "foot": f"crossfall · {card.id} · made {card.made_at:%Y-%m-%d %H:%M}"
        f" · policy {card.policy_version or '-'}",
    }  # fmt: skip


def cost_words(cost: CostRange) -> str:
    """A cost as it should be spoken: likely, from low to high, with currency and year.

    Examples
    --------
    >>> from crossfall.model import Money
    >>> cost_words(CostRange(*(Money(each, "USD", 2026) for each in (80000, 95050, 130000))))
    'about USD 950, from 800 to 1,300 (2026 prices)'
    """
    low, likely, high = (f"{each.major:,.0f}" for each in (cost.low, cost.likely, cost.high))
    return (
        f"about {cost.likely.currency} {likely}, from {low} to {high} ({cost.likely.year} prices)"
    )


def _where(card: JobCard, system: System) -> str:
    """The heading's from and to, converted from the exact chainages and not from whole metres."""
    text = card.where
    for at_m in (card.from_m, card.to_m):
        text = text.replace(metres(at_m), "\N{NO-BREAK SPACE}".join(figure(at_m, "m", system)))
    return reword(text, system)


def _issued(card: JobCard) -> str:
    """Who stands for the card, since when, and the first digits of its seal."""
    if not card.approved_by or card.approved_at is None:
        return ""
    day = f"{card.approved_at:%a} {card.approved_at.day} {card.approved_at:%b %Y %H:%M}"
    confirmed = f", confirmed by {card.confirmed_by}" if card.confirmed_by else ""
    seal = f", seal {card.seal[:12]}" if card.seal else ""
    return f"by {card.approved_by} on {day}{confirmed}{seal}"


def _withdrawn(card: JobCard) -> str:
    if card.status != "withdrawn":
        return ""
    return card.withdrawn_because or "no reason was given"


def _head(text: str) -> str:
    head, dot, _ = text.partition(". ")
    return head + dot.strip()


def _rest(text: str) -> str:
    return text.partition(". ")[2]


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def _row(row: Quantity, system: System) -> dict[str, str]:
    value, sign = figure(row.value, row.unit, system)
    return {
        "name": row.name[:1].upper() + row.name[1:],
        "value": value,
        "unit": sign,
        "note": reword(row.note, system),
    }


def _two_columns(
    cautions: Sequence[Caution], system: System
) -> tuple[list[dict[str, str]], list[dict[str, str]]]:
    """Cautions in reading order, cut where both columns are about equally long."""
    rows = [
        {
            "key": each.key,
            "head": _head(each.text),
            "text": reword(_rest(each.text), system),
            "at": reword(each.at, system),
        }
        for each in cautions
        if each.key != _LAW
    ]
    cut = split_evenly([row["head"] + row["text"] + row["at"] for row in rows])
    return rows[:cut], rows[cut:]


def _stake_columns(card: JobCard, system: System) -> list[list[dict[str, str]]]:
    """Stakes in columns of equal height, numbered down."""
    rows = [_stake(stake, card.from_m, system) for stake in card.stakes]
    high = math.ceil(len(rows) / _STAKE_COLUMNS)
    return [rows[start : start + high] for start in range(0, len(rows), max(high, 1))]


def _stake(stake: Stake, from_m: float, system: System) -> dict[str, str]:
    value, _ = figure(from_m + stake.at_m, "m", system)
    return {"number": str(stake.number), "at": value, "load": stake.load}


def _stake_note(card: JobCard, system: System) -> str:
    if not card.stakes:
        return ""
    _, sign = figure(1.0, "m", system)
    gap = (card.to_m - card.from_m) / len(card.stakes)
    spacing = number(gap if system == "metric" else convert(gap, "m", "ft"), "km/h")
    return (
        f"Chainage in {sign} from the start of the segment. Each load begins at its marker; about"
        f" {spacing} {sign} to a load, all alike, the last up to the end. None on a bridge deck,"
        " pavement or rails."
    )


def _actuals(card: JobCard) -> list[str]:
    rows = ["start", "end", "passes", "blade hours"]
    names = {row.name for row in card.quantities}
    if "loads" in names:
        rows.extend(("loads", "scale tons"))
    if any("water" in name for name in names):
        rows.append("water tanks")
    rows.append("surface felt")
    return rows
