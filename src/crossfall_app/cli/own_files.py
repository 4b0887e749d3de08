"""The files an agency writes by hand: fleet, policy, conditions, and the list of bad roads."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, get_type_hints

from crossfall.errors import InputError, Problem, refuse
from crossfall.model import (
    Condition,
    Fleet,
    GravelPit,
    Machine,
    Network,
    Operator,
    Place,
    Policy,
    Rate,
)
from crossfall_app.cli.hand_files import noun_of, read_csv, value_of

_LISTS = {"place": Place, "machine": Machine, "operator": Operator}
_PIT_NEEDS = ("place", "material", "stock_m3", "price_per_m3", "price_year")
_PIT_KEYS = (*_PIT_NEEDS, "loading_m3_h", "source")
_LONGEST_SHIFT_H = 16.0


def read_fleet(path: Path, *, currency: str) -> Fleet:
    """A fleet from TOML: lists ``[[place]]``, ``[[machine]]``, ``[[operator]]`` and ``[[pit]]``.

    Keys are the nouns' own fields; a pit names its place and its price in whole currency units for
    a loose cubic metre.

    Raises
    ------
    InputError
        If a key is unknown or missing, a shift has no hours, or there is no grader.
    """
    given = _toml(path)
    unknown = [key for key in given if key not in (*_LISTS, "pit")]
    if unknown:
        raise InputError(
            f"{path.name}: [[{unknown[0]}]] is unknown; expected place, machine, operator, pit"
        )
    problems: list[Problem] = []
    found: dict[str, list[Any]] = {}
    for name, noun in _LISTS.items():
        found[name] = [
            noun_of(noun, table, f"{path.name} {name} {number}", problems)
            for number, table in enumerate(_tables(given, name, path), start=1)
        ]
    for number, operator in enumerate(found["operator"], start=1):
        if operator is not None and not 0 < operator.shift_h <= _LONGEST_SHIFT_H:
            message = f"is {operator.shift_h:g}; expected more than 0, up to {_LONGEST_SHIFT_H:g}"
            problems.append(Problem(f"{path.name} operator {number}, shift_h", message))
    refuse(problems)
    places = {place.id: place for place in found["place"]}
    pits = tuple(
        _pit(table, f"{path.name} pit {number}", places, currency)
        for number, table in enumerate(_tables(given, "pit", path), start=1)
    )
    fleet = Fleet(tuple(found["place"]), tuple(found["machine"]), tuple(found["operator"]), pits)
    if not fleet.graders:
        raise InputError(f"{path.name} has no grader that is available; add a [[machine]]")
    return fleet


def assumed_fleet(network: Network, n_graders: int, yard: tuple[float, float] | None) -> Fleet:
    """Graders that somebody counted, with everything else about them assumed and said so.

    They stand at ``yard`` (lon, lat), or at the junction in the middle of the maintained roads.
    """
    if not 1 <= n_graders <= 200:
        raise InputError(f"graders is {n_graders}; expected 1 to 200")
    lon, lat = yard or middle_of(network)
    note = "assumed from the number of graders; describe it in a fleet file"
    return Fleet(
        places=(Place("yard", "Yard (assumed)", "yard", lon, lat),),
        machines=tuple(
            Machine(f"grader-{n}", f"Grader {n}", "grader", "yard", note=note)
            for n in range(1, n_graders + 1)
        ),
        operators=tuple(
            Operator(f"operator-{n}", f"Operator {n}", f"grader-{n}")
            for n in range(1, n_graders + 1)
        ),
    )


def middle_of(network: Network) -> tuple[float, float]:
    """The junction nearest to the mean place of the maintained roads."""
    ends = [network.node_by_id[each.from_node] for each in network.maintained or network.segments]
    lon = sum(node.lon for node in ends) / len(ends)
    lat = sum(node.lat for node in ends) / len(ends)
    nearest = min(ends, key=lambda node: (node.lon - lon) ** 2 + (node.lat - lat) ** 2)
    return nearest.lon, nearest.lat


def read_policy(path: Path, current: Policy) -> Policy:
    """The policy in force with the settings of a TOML file laid over it.

    Raises
    ------
    InputError
        If ``version`` is missing or a setting is unknown, of the wrong kind or out of its range.
    """
    given = _toml(path)
    version = given.pop("version", None)
    if not isinstance(version, str) or not version.strip():
        raise InputError(f"{path.name}: version is missing; give the changed policy a new one")
    changed: Policy = _overlaid(current, given, path.name, "")
    return replace(changed, version=version)


def read_conditions(path: Path) -> tuple[Condition, ...]:
    """Conditions from a CSV whose columns are the fields of a condition.

    Raises
    ------
    InputError
        If a column or a value is not what a condition has.
    """
    names = [each.name for each in fields(Condition)]
    needed = ("segment_id", "observed_on", "crown", "drainage", "gravel", "deformation", "defects")
    problems: list[Problem] = []
    found = []
    for row in read_csv(path, known=names, needed=needed):
        where = f"{path.name} row {row.pop('')}"
        condition = noun_of(Condition, row, where, problems)
        if condition is None:
            continue
        for name in needed[2:]:
            score = getattr(condition, name)
            if not 1 <= score <= 5:
                message = f"is {score:g}; expected 1 (failed) to 5 (excellent)"
                problems.append(Problem(f"{where}, {name}", message))
        # A row in a survey file was looked at, unless it says how else it is known
        found.append(condition if "method" in row else replace(condition, method="estimated"))
    refuse(problems)
    return tuple(found)


@dataclass(frozen=True, slots=True)
class RoadsAsTold:
    """Which roads are bad, and when roads were last bladed, by id or by name."""

    bad: tuple[str, ...]
    last_bladed: Mapping[str, date]


def read_bad_roads(path: Path) -> RoadsAsTold:
    """The answer to "which roads are bad, and when were they last bladed?" from a CSV.

    Columns: ``road`` (a segment's id or a road's name), ``is_bad`` (yes when left out) and
    ``last_bladed_on``.
    """
    problems: list[Problem] = []
    bad, last_bladed = [], {}
    for row in read_csv(path, known=("road", "is_bad", "last_bladed_on"), needed=("road",)):
        where = f"{path.name} row {row['']}"
        if "road" not in row:
            problems.append(Problem(f"{where}, road", "is missing"))
            continue
        try:
            if value_of(bool, row.get("is_bad", "yes")):
                bad.append(row["road"])
        except InputError as error:
            problems.append(Problem(f"{where}, is_bad", str(error)))
        try:
            if "last_bladed_on" in row:
                last_bladed[row["road"]] = value_of(date, row["last_bladed_on"])
        except InputError as error:
            problems.append(Problem(f"{where}, last_bladed_on", str(error)))
    refuse(problems)
    return RoadsAsTold(tuple(bad), last_bladed)


def _toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError(f"{path.name} does not exist") from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise InputError(f"{path.name} is not TOML: {error}") from None


def _tables(given: dict[str, Any], name: str, path: Path) -> list[dict[str, Any]]:
    tables = given.get(name, [])
    if not isinstance(tables, list) or not all(isinstance(each, dict) for each in tables):
        raise InputError(f"{path.name}: {name} is not a list; write [[{name}]] above each")
    return tables


def _pit(
    given: dict[str, Any], where: str, places: Mapping[str, Place], currency: str
) -> GravelPit:
    problems = [
        Problem(f"{where}, {key}", f"is unknown; expected {', '.join(_PIT_KEYS)}")
        for key in given
        if key not in _PIT_KEYS
    ]
    problems += [Problem(f"{where}, {key}", "is missing") for key in _PIT_NEEDS if key not in given]
    refuse(problems)
    if given["place"] not in places:
        raise InputError(f"{where}, place: {given['place']!r} is not the id of a [[place]]")
    try:
        price = Rate(
            "surface gravel",
            round(value_of(float, given["price_per_m3"]) * 100),
            "m3",
            currency,
            value_of(int, given["price_year"]),
            str(given.get("source", "the agency's fleet file")),
        )
        return GravelPit(
            places[given["place"]],
            value_of(str, given["material"]),
            price,
            value_of(float, given["stock_m3"]),
            value_of(float, given.get("loading_m3_h", 90.0)),
        )
    except InputError as error:
        raise InputError(f"{where}: a figure {error}") from error


def _overlaid(part: Any, given: dict[str, Any], file: str, path: str) -> Any:
    hints, known = get_type_hints(type(part)), {each.name: each for each in fields(part)}
    changed: dict[str, Any] = {}
    for name, value in given.items():
        dotted = f"{path}.{name}" if path else name
        if name not in known:
            raise InputError(f"{file}, {dotted}: is unknown; expected {', '.join(known)}")
        current = getattr(part, name)
        if is_dataclass(current) and isinstance(value, dict):
            changed[name] = _overlaid(current, value, file, dotted)
            continue
        changed[name] = _setting(hints[name], value, known[name].metadata, f"{file}, {dotted}")
    return replace(part, **changed)


def _setting(hint: Any, value: Any, about: Mapping[str, Any], where: str) -> Any:
    from cattrs.errors import BaseValidationError

    from crossfall_app.store.convert import CONVERTER

    low, high = about.get("low"), about.get("high")
    if hint in (float, int, bool, str):
        try:
            value = value_of(hint, value)
        except InputError as error:
            raise InputError(f"{where}: {error}") from None
    else:
        try:
            value = CONVERTER.structure(value, hint)
        except (BaseValidationError, TypeError, ValueError, KeyError):
            raise InputError(f"{where}: is not of the kind this setting has") from None
    if isinstance(value, float | int) and not isinstance(value, bool):
        is_low, is_high = low is not None and value < low, high is not None and value > high
        if is_low or is_high:
            raise InputError(f"{where}: is {value:g}; expected {low} to {high} {about['unit']}")
    return value
