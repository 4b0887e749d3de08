"""Fleet snapshots in the shape of ISO 15143-3: counters of hours, idling and fuel.

A snapshot is good for hours and fuel and not for passes: it carries no blade state and few places.
The text of the standard is not free and no open schema was found; names are those of a sample seen
in public, elements are found by name whatever stands around them, and what is missing stays
unknown.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import ParseError

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import parse

from crossfall.errors import InputError, Problem

_LARGEST_BYTES = 100_000_000
_KEYS = ("EquipmentID", "SerialNumber", "PIN")
_LITRES = {"": 1.0, "litre": 1.0, "liter": 1.0, "l": 1.0, "gallon": 3.785411784}
_COUNTERS = {
    "CumulativeOperatingHours": ("hours", ("Hour", "Hours")),
    "CumulativeIdleHours": ("idle_hours", ("Hour", "Hours")),
    "FuelUsed": ("fuel_l", ("FuelConsumed", "Fuel")),
}


@dataclass(frozen=True, slots=True)
class Reading:
    """One counter of one machine at one moment."""

    machine: str
    what: str
    """``hours``, ``idle_hours`` or ``fuel_l``."""
    at: datetime
    value: float


@dataclass(frozen=True, slots=True)
class SnapshotFile:
    """Counters of one file, and what could not be used."""

    file: str
    readings: tuple[Reading, ...]
    problems: tuple[Problem, ...]

    @property
    def machines(self) -> tuple[str, ...]:
        return tuple(sorted({each.machine for each in self.readings}))


@dataclass(frozen=True, slots=True)
class MachineHours:
    """What a machine's counters rose by between two snapshots."""

    machine: str
    start: datetime
    end: datetime
    hours: float
    idle_hours: float | None = None
    fuel_l: float | None = None


def read_snapshots(path: str | Path) -> SnapshotFile:
    """Counters of every machine in an XML snapshot or time series.

    Raises
    ------
    InputError
        If the file is absent, too large, not XML, declares entities, or has no machine.
    """
    path = Path(path)
    if not path.is_file():
        raise InputError(f"{path.name} is not there; expected a fleet snapshot")
    if path.stat().st_size > _LARGEST_BYTES:
        raise InputError(
            f"{path.name} has {path.stat().st_size / 1e6:.0f} MB; a snapshot is read up to"
            f" {_LARGEST_BYTES / 1e6:.0f} MB, ask for fewer days"
        )
    try:
        root = parse(path, forbid_dtd=True).getroot()
    except DefusedXmlException:
        raise InputError(
            f"{path.name} declares a document type or an entity, which no snapshot needs; it was"
            " not read"
        ) from None
    except ParseError as error:
        raise InputError(f"{path.name} is not whole XML ({error}); ask for it again") from None
    readings: list[Reading] = []
    problems: list[Problem] = []
    n_machines = 0
    for number, equipment in enumerate(_named(root, "Equipment"), start=1):
        n_machines += 1
        where = f"{path.name} equipment {number}"
        machine = next((text for key in _KEYS if (text := _text(equipment, key))), "")
        if not machine:
            problems.append(Problem(where, "has no EquipmentID, SerialNumber or PIN"))
            continue
        for element in equipment.iter():
            counter = _COUNTERS.get(_local(element.tag))
            if counter is not None:
                _read(element, machine, *counter, where, readings, problems)
    if not n_machines:
        raise InputError(f"{path.name} has no Equipment; expected a snapshot of a fleet")
    return SnapshotFile(path.name, tuple(readings), tuple(problems))


def hours_between(
    readings: Sequence[Reading],
) -> tuple[tuple[MachineHours, ...], tuple[Problem, ...]]:
    """How far the counters of each machine rose from one snapshot to the next.

    A counter that falls, or rises by more hours than passed, is a problem and gives nothing.

    Examples
    --------
    >>> from datetime import UTC
    >>> def at(day, value):
    ...     return Reading("g1", "hours", datetime(2026, 5, day, 6, tzinfo=UTC), value)
    >>> spans, wrong = hours_between([at(4, 100.0), at(5, 107.5), at(6, 90.0)])
    >>> spans[0].hours, str(wrong[0])
    (7.5, 'g1 2026-05-06: hours fell from 107.5 to 90; was the counter changed?')
    """
    spans: list[MachineHours] = []
    problems: list[Problem] = []
    for machine in sorted({each.machine for each in readings}):
        mine = [each for each in readings if each.machine == machine]
        hours = _in_order(mine, "hours")
        for (start, before), (end, after) in pairwise(hours):
            passed_h = (end - start).total_seconds() / 3600
            where = f"{machine} {end.date()}"
            if after < before:
                problems.append(
                    Problem(
                        where, f"hours fell from {before:g} to {after:g}; was the counter changed?"
                    )
                )
            elif after - before > passed_h + 0.1:
                problems.append(
                    Problem(where, f"{after - before:g} hours were counted in {passed_h:.1f} hours")
                )
            else:
                spans.append(
                    MachineHours(
                        machine, start, end, after - before,
                        _rise(_in_order(mine, "idle_hours"), start, end),
                        _rise(_in_order(mine, "fuel_l"), start, end),
                    )
                )  # fmt: skip
    return tuple(spans), tuple(problems)


def _read(
    element: Any,
    machine: str,
    what: str,
    names: tuple[str, ...],
    where: str,
    readings: list[Reading],
    problems: list[Problem],
) -> None:
    when = element.get("datetime") or element.get("DateTime") or _text(element, "datetime")
    said = next((text for name in names if (text := _text(element, name))), "")
    try:
        at = datetime.fromisoformat(when)
        value = float(said)
        if what == "fuel_l":
            value *= _LITRES[_text(element, "FuelUnits").lower()]
    except (ValueError, TypeError, KeyError):
        problems.append(Problem(where, f"{what} {said!r} at {when!r} cannot be read"))
        return
    if at.tzinfo is None:
        problems.append(Problem(where, f"{what} at {when!r} has no time zone"))
        return
    if not 0 <= value < 1e9:
        problems.append(Problem(where, f"{what} is {said}; expected 0 or more"))
        return
    readings.append(Reading(machine, what, at, value))


def _in_order(readings: Sequence[Reading], what: str) -> list[tuple[datetime, float]]:
    return sorted({each.at: each.value for each in readings if each.what == what}.items())


def _rise(series: list[tuple[datetime, float]], start: datetime, end: datetime) -> float | None:
    """How far another counter rose over the same span; None unless it was read at both ends."""
    at = dict(series)
    if start not in at or end not in at or at[end] < at[start]:
        return None
    return at[end] - at[start]


def _named(root: Any, name: str) -> Iterator[Any]:
    return (element for element in root.iter() if _local(element.tag) == name)


def _text(element: Any, name: str) -> str:
    found = next((each for each in element.iter() if _local(each.tag) == name), None)
    return "" if found is None else (found.text or "").strip()


def _local(tag: Any) -> str:
    return str(tag).rpartition("}")[2]
