"""The audit in plain words: who did what, and which figures stood there before."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from crossfall_app.web.present.measures import moment

TABLE_LABEL = {
    "account": "an account",
    "agency": "the agency",
    "clearance": "a clearance",
    "condition": "a look at a road",
    "fleet": "machines and people",
    "forecast": "a forecast",
    "hazard": "a danger",
    "jobcard": "a card",
    "card": "a card",
    "loadposting": "a load limit",
    "network": "the network",
    "observation": "a word on the surface",
    "plan": "a plan",
    "policy": "the settings",
    "request": "a request",
    "run": "a run",
    "weather": "the weather",
    "workrecord": "a work record",
}

_MOST_SHOWN = 8


def change_rows(lines: Iterable[Any]) -> list[dict[str, Any]]:
    """Lines of the audit for the page."""
    return [
        {
            "number": line.pk,
            "at": moment(line.at),
            "who": line.who,
            "what": f"{line.action} · {TABLE_LABEL.get(line.table, line.table)}",
            "row": line.row,
            "turned": turned(line.before, line.after),
        }
        for line in lines
    ]


def turned(before: Any, after: Any) -> list[dict[str, str]]:
    """Figures that changed, each with what stood there before.

    Examples
    --------
    >>> turned({"role": "viewer", "name": "A"}, {"role": "foreman", "name": "A"})
    [{'name': 'role', 'before': 'viewer', 'after': 'foreman'}]
    """
    old = before if isinstance(before, dict) else {"": before}
    new = after if isinstance(after, dict) else {"": after}
    rows = [
        {
            "name": key.replace("_", " "),
            "before": _plain(old.get(key)),
            "after": _plain(new.get(key)),
        }
        for key in dict.fromkeys([*old, *new])
        if old.get(key) != new.get(key)
    ]
    return rows[:_MOST_SHOWN]


def _plain(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(map(_plain, value))
    return str(value)
