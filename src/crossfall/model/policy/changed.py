"""Changing a policy: a setting by its dotted path, within its range, and what differs after it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

from crossfall.errors import InputError
from crossfall.model.policy.setting import SettingRow, settings_of


@dataclass(frozen=True, slots=True)
class Difference:
    """One setting that two policies have not in common."""

    path: str
    before: Any
    after: Any


def with_values(policy: Any, values: Mapping[str, Any]) -> Any:
    """The policy with some settings replaced; what is not named stays.

    Raises
    ------
    InputError
        If a setting is unknown, or a value is of another kind or outside the setting's range.

    Examples
    --------
    >>> from crossfall.model import Policy
    >>> with_values(Policy(), {"dispatch.turn_min": 3.0}).dispatch.turn_min
    3.0
    """
    known = {row.path: row for row in settings_of(policy)}
    for path, value in values.items():
        if path not in known:
            raise InputError(f"setting {path!r} is unknown")
        _refuse(known[path], value)
        policy = _replaced(policy, path.split("."), value)
    return policy


def differences(before: Any, after: Any) -> tuple[Difference, ...]:
    """Settings whose values differ, in order."""
    new = {row.path: row.value for row in settings_of(after)}
    return tuple(
        Difference(row.path, row.value, new[row.path])
        for row in settings_of(before)
        if row.path in new and new[row.path] != row.value
    )


def _refuse(row: SettingRow, value: Any) -> None:
    if isinstance(row.value, bool) or isinstance(value, bool):
        if not (isinstance(row.value, bool) and isinstance(value, bool)):
            raise InputError(f"{row.path} is {value!r}; expected yes or no")
        return
    if isinstance(row.value, int | float):
        if not isinstance(value, int | float) or not math.isfinite(value):
            raise InputError(f"{row.path} is {value!r}; expected a figure in {row.unit}")
        if isinstance(row.value, int) and value != int(value):
            raise InputError(f"{row.path} is {value:g}; expected a whole number of {row.unit}")
        low = -math.inf if row.low is None else row.low
        high = math.inf if row.high is None else row.high
        if not low <= value <= high:
            raise InputError(
                f"{row.path} is {value:g}; expected {low:g} to {high:g} {row.unit}".rstrip()
            )
        return
    if type(value) is not type(row.value):
        raise InputError(f"{row.path} is {value!r}; expected a {type(row.value).__name__}")


def _replaced(part: Any, path: list[str], value: Any) -> Any:
    name, rest = path[0], path[1:]
    if not is_dataclass(part) or name not in {each.name for each in fields(part)}:
        raise InputError(f"setting {'.'.join(path)!r} is unknown")
    new = _replaced(getattr(part, name), rest, value) if rest else value
    if not rest and isinstance(getattr(part, name), int) and not isinstance(value, bool):
        new = int(value)
    return replace(part, **{name: new})  # type: ignore[type-var]
