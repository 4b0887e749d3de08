"""How a threshold is written down: value, unit, meaning, and what it rests on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import MISSING, dataclass, field, fields, is_dataclass
from typing import Any

from crossfall.model.common import Evidence


def setting(
    default: Any = MISSING,
    *,
    unit: str,
    doc: str,
    evidence: Evidence = "default",
    source: str = "",
    low: float | None = None,
    high: float | None = None,
    factory: Callable[[], Any] | None = None,
) -> Any:
    """A dataclass field that knows its unit, its range and its evidence."""
    metadata = {
        "unit": unit,
        "doc": doc,
        "evidence": evidence,
        "source": source,
        "low": low,
        "high": high,
    }
    if factory is not None:
        return field(default_factory=factory, metadata=metadata)
    return field(default=default, metadata=metadata)


@dataclass(frozen=True, slots=True)
class SettingRow:
    """One threshold as the settings page and the reference list it."""

    path: str
    value: Any
    unit: str
    doc: str
    evidence: str
    source: str
    low: float | None
    high: float | None


def settings_of(part: Any, path: str = "") -> tuple[SettingRow, ...]:
    """All settings below a policy dataclass, in order, with dotted paths."""
    rows: list[SettingRow] = []
    for each in fields(part):
        value = getattr(part, each.name)
        name = f"{path}.{each.name}" if path else each.name
        if is_dataclass(value) and "unit" not in each.metadata:
            rows.extend(settings_of(value, name))
        elif "unit" in each.metadata:
            rows.append(SettingRow(name, value, **each.metadata))
    return tuple(rows)
