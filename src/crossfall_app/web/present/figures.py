"""The settings as a person reads them: value, unit, meaning, and what each rests on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from crossfall.errors import InputError
from crossfall.model import Policy
from crossfall.model.policy.changed import Difference, differences
from crossfall.model.policy.costs import RateRange
from crossfall.model.policy.setting import SettingRow, settings_of
from crossfall_app.web.present.measures import moment

ROOM_LABEL = {
    "costs": "Rates and prices",
    "moisture": "Moisture",
    "gate": "When work may go ahead",
    "needs": "What a road needs",
    "design": "Design of the work",
    "dispatch": "Planning the week",
    "programme": "Years ahead",
    "network": "The network",
    "weather": "Weather files",
    "records": "Records",
    "learning": "Learning from records",
    "entry": "What is typed in",
    "requests": "Requests",
    "haul": "Hauls",
    "tracks": "Tracks",
    "cab": "In the cab",
    "retention": "How long records are kept",
}
_YES = {"1": True, "0": False}


@dataclass(frozen=True, slots=True)
class FigureLine:
    """One setting."""

    path: str
    name: str
    kind: str
    """``figure``, ``yes``, ``rate``, or ``fixed`` for what only a file can change."""
    value: str
    unit: str
    doc: str
    evidence: str
    source: str
    span: str
    usual: str
    """The program's own value, when it is another one."""
    rate: dict[str, str] | None = None


def rooms(policy: Policy) -> list[tuple[str, str, int]]:
    """Rooms with their label and how many settings differ from the program's own."""
    usual = {each.path for each in differences(Policy(), policy)}
    keys = dict.fromkeys(row.path.split(".")[0] for row in settings_of(policy))
    first = [key for key in ROOM_LABEL if key in keys]
    ordered = [*first, *(key for key in keys if key not in first)]
    return [
        (
            key,
            ROOM_LABEL.get(key, key.replace("_", " ").capitalize()),
            sum(path.startswith(f"{key}.") for path in usual),
        )
        for key in ordered
    ]


def figure_lines(policy: Policy, room: str, wanted: str = "") -> tuple[FigureLine, ...]:
    """Settings of one room, or those whose name or meaning holds a word."""
    usual = {row.path: row.value for row in settings_of(Policy())}
    word = wanted.strip().lower()
    return tuple(
        _line(row, usual.get(row.path))
        for row in settings_of(policy)
        if (
            word in f"{row.path} {row.doc} {row.source}".lower().replace("_", " ")
            if word
            else row.path.split(".")[0] == room
        )
    )


def read_values(policy: Policy, given: Mapping[str, str]) -> dict[str, Any]:
    """What a form changes, as values; fields that stand as they were are not among them.

    Raises
    ------
    InputError
        If what was typed is no figure.
    """
    found: dict[str, Any] = {}
    for row in settings_of(policy):
        typed = given.get(f"v:{row.path}")
        if isinstance(row.value, RateRange):
            new = _rate(row, given)
            if new != row.value:
                found[row.path] = new
        elif typed is not None and typed.strip() != _plain(row.value):
            found[row.path] = _value(row, typed.strip())
    return found


def next_version(known: Iterable[str], day: str) -> str:
    """A name for a changed policy: the day, and a number when there are several."""
    taken = set(known)
    if day not in taken:
        return day
    return next(f"{day}.{n}" for n in range(2, len(taken) + 3) if f"{day}.{n}" not in taken)


def history_rows(
    history: tuple[tuple[Policy, str, str, Any], ...], in_force: str
) -> list[dict[str, Any]]:
    """Versions with what each changed against the one before it."""
    rows = []
    for n, (policy, note, who, when) in enumerate(history):
        before = history[n + 1][0] if n + 1 < len(history) else Policy()
        turned = differences(before, policy)
        rows.append(
            {
                "version": policy.version,
                "note": note,
                "who": who,
                "when": moment(when),
                "is_in_force": policy.version == in_force,
                "turned": [_turned(each) for each in turned],
            }
        )
    return rows


def _turned(each: Difference) -> dict[str, str]:
    return {"name": _name(each.path), "before": _said(each.before), "after": _said(each.after)}


def _line(row: SettingRow, usual: Any) -> FigureLine:
    value = row.value
    kind = "fixed"
    if isinstance(value, bool):
        kind = "yes"
    elif isinstance(value, int | float):
        kind = "figure"
    elif isinstance(value, RateRange):
        kind = "rate"
    return FigureLine(
        row.path,
        _name(row.path),
        kind,
        _plain(value),
        row.unit.replace("money/", "per "),
        row.doc,
        row.evidence,
        row.source,
        _span(row),
        _said(usual) if usual is not None and usual != value else "",
        _rate_fields(value) if isinstance(value, RateRange) else None,
    )


def _rate_fields(value: RateRange) -> dict[str, str]:
    rate = value.likely
    return {
        "likely": f"{rate.minor / 100:.2f}",
        "low": f"{value.low_minor / 100:.2f}",
        "high": f"{value.high_minor / 100:.2f}",
        "currency": rate.currency,
        "year": str(rate.year),
        "source": rate.source,
        "method": rate.method,
    }


def _rate(row: SettingRow, given: Mapping[str, str]) -> RateRange:
    value: RateRange = row.value
    now = _rate_fields(value)
    typed = {name: given.get(f"{name}:{row.path}", now[name]).strip() for name in now}
    if typed == now:
        return value
    minor = {name: _minor(row, name, typed[name]) for name in ("low", "likely", "high")}
    if not minor["low"] <= minor["likely"] <= minor["high"]:
        raise InputError(f"{_name(row.path)}: expected low, likely and high in this order")
    if not (typed["year"].isdigit() and len(typed["year"]) == 4):
        raise InputError(f"{_name(row.path)}: year is {typed['year']!r}; expected such as 2026")
    if not typed["source"]:
        raise InputError(f"{_name(row.path)}: say where the figure comes from")
    is_same_source = typed["source"] == now["source"]
    likely = replace(
        value.likely,
        minor=minor["likely"],
        year=int(typed["year"]),
        source=typed["source"],
        method=value.likely.method if is_same_source else "measured",
    )
    return RateRange(likely, minor["low"], minor["high"])


def _minor(row: SettingRow, name: str, typed: str) -> int:
    try:
        minor = round(100 * float(typed))
    except (ValueError, OverflowError):
        raise InputError(f"{_name(row.path)}, {name}: {typed!r} is no amount") from None
    if minor < 0:
        raise InputError(f"{_name(row.path)}, {name}: {typed} is below 0")
    return minor


def _value(row: SettingRow, typed: str) -> Any:
    if isinstance(row.value, bool):
        if typed not in _YES:
            raise InputError(f"{_name(row.path)} is {typed!r}; expected yes or no")
        return _YES[typed]
    if isinstance(row.value, int | float):
        try:
            return float(typed)
        except ValueError:
            raise InputError(
                f"{_name(row.path)} is {typed!r}; expected a figure in {row.unit}"
            ) from None
    raise InputError(f"{_name(row.path)} cannot be changed here")


def _name(path: str) -> str:
    words = path.split(".")[1:] or [path]
    return " · ".join(word.replace("_", " ") for word in words)


def _span(row: SettingRow) -> str:
    if row.low is None and row.high is None:
        return ""
    if row.high is None:
        return f"{row.low:g} or more"
    return f"{row.low:g} to {row.high:g}" if row.low is not None else f"up to {row.high:g}"


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "1" if value else "0"
    if isinstance(value, float):
        return repr(value) if value != int(value) or abs(value) >= _LARGE else f"{value:g}"
    return str(value)


_LARGE = 1e6


def _said(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, RateRange):
        told = _rate_fields(value)
        return (
            f"{told['likely']} ({told['low']} to {told['high']}) {told['currency']} {told['year']}"
        )
    if isinstance(value, int | float):
        return f"{value:g}"
    text = str(value)
    return text if len(text) <= _LONG else "a list"


_LONG = 40
