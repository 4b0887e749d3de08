"""What people write in tables and settings, read against the noun it becomes.

A key that the noun does not have is an error, with the likely one named; so is a
missing key, a value of another kind, or a figure out of its setting's range.
Everything wrong is found before anything is refused.
"""

from __future__ import annotations

import difflib
import math
import types
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import MISSING, Field, fields, is_dataclass
from datetime import date, datetime
from enum import Enum
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from crossfall.errors import InputError, Problem

Noun = TypeVar("Noun")

_YES, _NO = {"yes", "y", "true", "1"}, {"no", "n", "false", "0"}


def noun_of(
    kind: type[Noun],
    given: Mapping[str, Any],
    where: str,
    problems: list[Problem],
    *,
    base: Noun | None = None,
    is_text: bool = False,
) -> Noun | None:
    """One ``kind`` from keys and values; None when something is wrong, which is in ``problems``.

    ``base`` lends what is not given; without it the defaults of ``kind`` do. ``is_text`` is for
    cells of a table, where everything is text and an empty cell says nothing.
    """
    n_before = len(problems)
    hints, known = get_type_hints(kind), {each.name: each for each in fields(kind)}  # type: ignore[arg-type]
    values: dict[str, Any] = {}
    for key, value in given.items():
        if key not in known:
            problems.append(Problem(f"{where}, {key}", f"is unknown{likely(key, known)}"))
            continue
        lent = getattr(base, key) if base is not None else _default(known[key])
        try:
            values[key] = _value(hints[key], value, f"{where}, {key}", problems, lent, is_text)
        except InputError as error:
            problems.append(Problem(f"{where}, {key}", str(error)))
            continue
        _check_range(values[key], known[key].metadata, f"{where}, {key}", problems)
    for key, each in known.items():
        if key in values or key in given:
            continue
        if base is not None:
            values[key] = getattr(base, key)
        elif each.default is MISSING and each.default_factory is MISSING:
            problems.append(Problem(f"{where}, {key}", "is missing"))
    if len(problems) > n_before:
        return None
    try:
        return kind(**values)
    except InputError as error:
        problems.append(Problem(where, str(error)))
        return None


def plain(value: Any) -> Any:
    """A noun as dictionaries, lists, text, figures and dates; what is None is left out."""
    if is_dataclass(value) and not isinstance(value, type):
        pairs = ((each.name, getattr(value, each.name)) for each in fields(value))
        return {name: plain(part) for name, part in pairs if part is not None}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Mapping):
        return {str(plain(key)): plain(part) for key, part in value.items()}
    if isinstance(value, tuple | list):
        return [plain(part) for part in value]
    return value


def likely(word: str, known: Mapping[str, Any] | tuple[str, ...]) -> str:
    """``; did you mean blade_m?``, or what is known when nothing is near.

    Examples
    --------
    >>> likely("blad_m", ("blade_m", "mass_t"))
    '; did you mean blade_m?'
    >>> likely("colour", ("blade_m", "mass_t"))
    '; expected blade_m, mass_t'
    """
    near = difflib.get_close_matches(word, list(known), n=1, cutoff=0.7)
    return f"; did you mean {near[0]}?" if near else f"; expected {', '.join(known)}"


def _default(each: Field[Any]) -> Any:
    if each.default is not MISSING:
        return each.default
    return each.default_factory() if each.default_factory is not MISSING else None


def _value(
    hint: Any, value: Any, where: str, problems: list[Problem], lent: Any, is_text: bool
) -> Any:
    """``value`` as the annotation wants it. ``lent`` is laid under tables."""
    origin, parts = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        inner = [part for part in parts if part is not type(None)]
        return _value(inner[0], value, where, problems, lent, is_text)
    if origin is Literal:
        return _one_of(value, parts)
    if origin is tuple:
        return _row(parts, value, where, problems, is_text)
    if origin is dict:
        return _table(parts, value, where, problems, lent)
    if isinstance(hint, type) and is_dataclass(hint):
        if not isinstance(value, Mapping):
            raise InputError(f"is {value!r}; expected a table of {', '.join(_names(hint))}")
        base = lent if isinstance(lent, hint) else None
        return noun_of(hint, value, where, problems, base=base)
    if isinstance(hint, type) and issubclass(hint, Enum):
        return hint(_one_of(value, tuple(each.value for each in hint)))
    return _simple(hint, value, is_text)


def _row(
    parts: tuple[Any, ...], value: Any, where: str, problems: list[Problem], is_text: bool
) -> tuple[Any, ...]:
    if is_text and isinstance(value, str):
        value = value.split()
    if not isinstance(value, list | tuple):
        raise InputError(f"is {value!r}; expected a list in brackets")
    if len(parts) == 2 and parts[1] is Ellipsis:
        kinds = [parts[0]] * len(value)
    elif len(parts) == len(value):
        kinds = list(parts)
    else:
        raise InputError(f"has {len(value)} entries; expected {len(parts)}")
    return tuple(
        _value(kind, each, f"{where} entry {number}", problems, None, is_text)
        for number, (kind, each) in enumerate(zip(kinds, value, strict=True), start=1)
    )


def _table(
    parts: tuple[Any, ...], value: Any, where: str, problems: list[Problem], lent: Any
) -> dict[Any, Any]:
    """A dictionary laid over the one that is lent: named entries change, the others stay."""
    if not isinstance(value, Mapping):
        raise InputError(f"is {value!r}; expected a table")
    laid: dict[Any, Any] = dict(lent or {})
    for name, each in value.items():
        key = _value(parts[0], name, where, problems, None, is_text=False)
        laid[key] = _value(parts[1], each, f"{where}.{name}", problems, laid.get(key), False)
    return laid


def _simple(hint: Any, value: Any, is_text: bool) -> Any:
    if hint is bool:
        return _yes_or_no(value, is_text)
    if hint in (float, int):
        return _figure(hint, value, is_text)
    if hint is datetime:
        return _moment(value)
    if hint is date:
        return _day(value)
    if hint is str and isinstance(value, str):
        return value
    raise InputError(f"is {value!r}; expected text in quotes")


def _figure(hint: type[float] | type[int], value: Any, is_text: bool) -> float | int:
    figure = math.nan
    if is_text and isinstance(value, str):
        with suppress(ValueError):
            figure = float(value)
    elif not is_text and isinstance(value, int | float) and not isinstance(value, bool):
        figure = float(value)
    if not math.isfinite(figure) or (hint is int and figure != int(figure)):
        words = "a whole number" if hint is int else "a figure"
        comma = "; write a decimal point, not a comma" if is_text and "," in str(value) else ""
        raise InputError(f"is {value!r}; expected {words}{comma}")
    return int(figure) if hint is int else figure


def _yes_or_no(value: Any, is_text: bool) -> bool:
    if isinstance(value, bool):
        return value
    told = str(value).strip().lower()
    if is_text and told in _YES | _NO:
        return told in _YES
    raise InputError(f"is {value!r}; expected {'yes or no' if is_text else 'true or false'}")


def _day(value: Any) -> date:
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    try:
        return date.fromisoformat(value)
    except (TypeError, ValueError):
        raise InputError(f"is {value!r}; expected a day such as 2026-05-12") from None


def _moment(value: Any) -> datetime:
    try:
        moment = value if isinstance(value, datetime) else datetime.fromisoformat(value)
    except (TypeError, ValueError):
        raise InputError(f"is {value!r}; expected like 2026-05-12T07:30:00-05:00") from None
    if moment.tzinfo is None:
        raise InputError(f"is {value}; expected a time with its offset, like -05:00")
    return moment


def _one_of(value: Any, expected: tuple[Any, ...]) -> Any:
    if value not in expected:
        words = tuple(str(each) for each in expected)
        raise InputError(f"is {value!r}{likely(str(value), words)}")
    return value


def _check_range(value: Any, about: Mapping[str, Any], where: str, problems: list[Problem]) -> None:
    if not isinstance(value, int | float) or isinstance(value, bool):
        return
    low, high = about.get("low"), about.get("high")
    is_out = (low is not None and value < low) or (high is not None and value > high)
    if is_out:
        unit = f" {about['unit']}" if about.get("unit") else ""
        problems.append(Problem(where, f"is {value:g}; expected {_span(low, high)}{unit}"))


def _span(low: float | None, high: float | None) -> str:
    if low is None:
        return f"at most {high:g}"
    return f"at least {low:g}" if high is None else f"{low:g} to {high:g}"


def _names(kind: type) -> list[str]:
    return [each.name for each in fields(kind)]
