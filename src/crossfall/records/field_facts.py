"""What may be told from a cab: every kind of fact, the words it needs, and what is believed.

A fact that cannot be so is refused in one sentence, by itself; the phone keeps it in sight and
everything else goes on. Figures are SI, lengths are metres from the segment's start.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, get_args

from crossfall.errors import InputError
from crossfall.model.common import Side
from crossfall.model.condition import Felt
from crossfall.model.field import FactKind
from crossfall.model.policy.cab import CabPolicy

EDITS: dict[str, str] = {
    "expected_back": "when the operator is expected back",
    "start": "when the job starts",
    "n_passes": "how many passes the job takes",
    "remark": "the remark for whoever goes on",
}
"""What can be edited, each about one machine's day or one card; all else is only added."""

REASONS: dict[str, str] = {
    "too_wet": "too wet",
    "too_dry": "too dry",
    "machine": "machine broke down",
    "blocked": "road blocked",
    "no_support": "truck, water or roller did not come",
    "no_time": "ran out of time",
    "unsafe": "not safe",
    "other": "another reason",
}

_MOST = {"hours": 24.0, "loads": 500.0, "stakes": 2000.0, "litres": 500_000.0, "at_m": 1e6}
_PASSES = 200
_FIRST_YEAR, _LAST_YEAR = 1970, 2200
_SHOWN = 60
_WAYS = ("phone", "radio")

Check = Callable[[str, Any, CabPolicy], Any]


@dataclass(frozen=True, slots=True)
class Word:
    """One word of a payload: how it is checked, and whether it may be left out."""

    check: Check
    is_needed: bool = False


def check_fact(
    kind: str, payload: Mapping[str, Any], card_id: str | None, policy: CabPolicy
) -> dict[str, Any]:
    """The payload as it is kept: known words only, each believed.

    Raises
    ------
    InputError
        In one sentence that names the word, its value and what was expected.

    Examples
    --------
    >>> check_fact("hours", {"hours": 3.5}, "c1", CabPolicy())
    {'hours': 3.5}
    >>> check_fact("hours", {"hours": 300}, "c1", CabPolicy())
    Traceback (most recent call last):
    ...
    crossfall.errors.InputError: hours is 300; expected 0 to 24; were minutes meant?
    """
    if kind not in KINDS:
        raise InputError(f"kind is {kind!r}, which this office does not know; is the page newer?")
    words, needs_card = KINDS[kind]
    if needs_card and not card_id:
        raise InputError(f"{kind} names no card; expected the card it is about")
    unknown = sorted(set(payload) - set(words))
    if unknown:
        raise InputError(f"{kind} says {unknown[0]!r}; expected only {', '.join(sorted(words))}")
    kept: dict[str, Any] = {}
    for name, word in words.items():
        if payload.get(name) is None:
            if word.is_needed:
                raise InputError(f"{kind} does not say {name}")
            continue
        kept[name] = word.check(name, payload[name], policy)
    _check_together(kind, kept)
    return kept


def _check_together(kind: str, kept: dict[str, Any]) -> None:
    if kept.get("from_m", 0.0) > kept.get("to_m", math.inf):
        raise InputError(
            f"{kind}: from_m {kept['from_m']:g} lies behind to_m {kept['to_m']:g}; swap them"
        )
    if kind == "hours" and kept["hours"] <= 0:
        raise InputError("hours is 0; expected more, or no hours at all")
    if kind == "edit":
        kept["value"] = _check_edit(kept["target"], kept["value"])


def _check_edit(target: str, value: Any) -> Any:
    name = target.rpartition("/")[2]
    if name not in EDITS:
        raise InputError(
            f"target is {_short(target)}; expected one that ends in {', '.join(EDITS)}"
        )
    if name == "n_passes" and not (isinstance(value, int) and 0 <= value <= _PASSES):
        raise InputError(f"n_passes is {_short(value)}; expected a whole number up to {_PASSES}")
    if name != "n_passes" and not isinstance(value, str):
        raise InputError(f"{name} is {_short(value)}; expected text")
    if name == "expected_back":
        _moment(name, value, CabPolicy())
    return value


def _figure(name: str, value: Any, policy: CabPolicy) -> float:
    most = _MOST.get(name, _MOST["at_m"])
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{name} is {_short(value)}; expected a figure")
    if not 0 <= value <= most:
        hint = "; were minutes meant?" if name == "hours" else ""
        raise InputError(f"{name} is {_short(value)}; expected 0 to {most:g}{hint}")
    return float(value)


def _count(name: str, value: Any, policy: CabPolicy) -> int:
    most = int(_MOST.get(name, _PASSES))
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= most:
        raise InputError(f"{name} is {_short(value)}; expected a whole number, 0 to {most}")
    return value


def _flag(name: str, value: Any, policy: CabPolicy) -> bool:
    if not isinstance(value, bool):
        raise InputError(f"{name} is {_short(value)}; expected yes or no")
    return value


def _text(name: str, value: Any, policy: CabPolicy) -> str:
    if not isinstance(value, str):
        raise InputError(f"{name} is {_short(value)}; expected text")
    if len(value) > policy.note_letters:
        raise InputError(f"{name} has {len(value)} letters; expected at most {policy.note_letters}")
    if "\0" in value or any("\ud800" <= each <= "\udfff" for each in value):
        raise InputError(f"{name} holds half a character; write it again")
    return value


def _moment(name: str, value: Any, policy: CabPolicy) -> str:
    try:
        when = datetime.fromisoformat(value)
    except (TypeError, ValueError):
        raise InputError(f"{name} is {_short(value)}; expected 2026-05-12T15:30Z, say") from None
    if when.tzinfo is None:
        raise InputError(f"{name} is {_short(value)}, which names no time zone")
    if not _FIRST_YEAR <= when.year <= _LAST_YEAR:
        # A shift that ends in the year 9999 would keep nobody waiting, ever
        raise InputError(f"{name} is {value}; expected a year from {_FIRST_YEAR} to {_LAST_YEAR}")
    return str(value)


def _short(value: Any) -> str:
    """A value as a message shows it: nobody reads a figure of a thousand digits."""
    try:
        text = repr(value)
    except (RecursionError, ValueError):
        return "something that cannot be shown"
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"


def _one_of(*allowed: str) -> Check:
    def check(name: str, value: Any, policy: CabPolicy) -> str:
        if value not in allowed:
            raise InputError(f"{name} is {_short(value)}; expected {', '.join(allowed)}")
        return str(value)

    return check


def _degrees(limit: float) -> Check:
    def check(name: str, value: Any, policy: CabPolicy) -> float:
        is_figure = isinstance(value, int | float) and not isinstance(value, bool)
        if not is_figure or not -limit <= value <= limit:
            raise InputError(f"{name} is {_short(value)}; expected -{limit:g} to {limit:g} degrees")
        return float(value)

    return check


def _uuid(name: str, value: Any, policy: CabPolicy) -> str:
    text = str(value).lower()
    if len(text) != 36 or text.count("-") != 4 or set(text) - set("0123456789abcdef-"):
        raise InputError(f"{name} is {_short(value)}; expected the id of a fact")
    return text


def _hash(name: str, value: Any, policy: CabPolicy) -> str:
    if not isinstance(value, str) or len(value) != 64 or set(value) - set("0123456789abcdef"):
        raise InputError(f"{name} is {_short(value)}; expected the SHA-256 of the photo")
    return value


def _bytes(name: str, value: Any, policy: CabPolicy) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 < value <= 50_000_000:
        raise InputError(f"{name} is {_short(value)}; expected the photo's size in bytes")
    return value


def _points(name: str, value: Any, policy: CabPolicy) -> list[list[float]]:
    if not isinstance(value, list) or len(value) > 2000:
        raise InputError(f"{name} is no list of at most 2000 positions")
    try:
        rows = [[float(each) for each in row] for row in value]
    except (TypeError, ValueError, OverflowError):
        raise InputError(f"{name} holds something that is no position") from None
    for row in rows:
        is_place = len(row) == 3 and all(map(math.isfinite, row))
        if not is_place or abs(row[1]) > 180 or abs(row[2]) > 90:
            raise InputError(f"{name} holds {_short(row)}; expected seconds, longitude, latitude")
    return rows


def _value(name: str, value: Any, policy: CabPolicy) -> Any:
    return _text(name, value, policy) if isinstance(value, str) else _count(name, value, policy)


_PLACE = {"lon": Word(_degrees(180.0)), "lat": Word(_degrees(90.0))}
_AT = {"at_m": Word(_figure), **_PLACE}
_STRETCH = {"from_m": Word(_figure), "to_m": Word(_figure)}
_NOTE = {"note": Word(_text)}
_SIDE = Word(_one_of(*get_args(Side)), is_needed=True)

KINDS: dict[str, tuple[dict[str, Word], bool]] = {
    "shift_start": (
        {"expected_back": Word(_moment), "is_alone": Word(_flag), "who": Word(_text), **_PLACE},
        False,
    ),
    "shift_end": ({**_NOTE, **_PLACE}, False),
    "check_in": ({"via": Word(_one_of(*_WAYS)), "who": Word(_text), **_NOTE, **_PLACE}, False),
    "pass_done": ({"pass": Word(_count, True), "is_seen": Word(_flag), **_PLACE}, True),
    "job_done": ({**_NOTE}, True),
    "not_done": (
        {"reason": Word(_one_of(*REASONS), True), "passes": Word(_count), **_STRETCH, **_NOTE},
        True,
    ),
    "hours": ({"hours": Word(_figure, True)}, True),
    "loads": ({"loads": Word(_count, True)}, True),
    "stakes": ({"stakes": Word(_count, True)}, True),
    "water": ({"litres": Word(_figure, True)}, True),
    "windrow": (
        {"side": _SIDE, **_STRETCH, "is_in_travelled_way": Word(_flag), **_NOTE},
        True,
    ),
    "culvert": ({"state": Word(_one_of("blocked", "opened", "open"), True), **_AT, **_NOTE}, True),
    "soft_spot": ({**_AT, **_NOTE}, True),
    "sign_missing": ({**_AT, **_NOTE}, True),
    "rock": ({"is_in_travelled_way": Word(_flag), **_AT, **_NOTE}, True),
    "felt": ({"felt": Word(_one_of(*get_args(Felt)), True), **_AT, **_NOTE}, True),
    "edge": ({"name": Word(_text, True), "life_km": Word(_figure), **_NOTE}, False),
    "photo": (
        {"bytes": Word(_bytes, True), "sha256": Word(_hash, True), "about": Word(_uuid), **_AT,
         **_NOTE},
        False,
    ),
    "note": ({"note": Word(_text, True), **_AT}, False),
    "undo": ({"of": Word(_uuid, True)}, False),
    "edit": ({"target": Word(_text, True), "value": Word(_value, True)}, False),
    "track": ({"points": Word(_points, True)}, False),
}  # fmt: skip
"""Every kind: its words, and whether it must name a card."""

assert set(KINDS) == set(get_args(FactKind))
