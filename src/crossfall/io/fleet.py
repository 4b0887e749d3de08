"""Machines, people, places, pits and what gravel costs there, as TOML.

Lists ``[[place]]``, ``[[machine]]``, ``[[operator]]`` and ``[[pit]]``; the keys
are the nouns' own fields. A pit names its place and its price in whole units of
money. What cannot be so, and what points to nothing, is refused by name.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, TypeVar

from crossfall.errors import InputError, Problem, refuse
from crossfall.io.toml import read_toml, toml_text, write_text
from crossfall.io.written import likely, noun_of, plain
from crossfall.model import Fleet, GravelPit, Machine, Method, Operator, Place, Rate
from crossfall.model.policy import EntryPolicy

Noun = TypeVar("Noun")

_MINOR = 100


def read_fleet(
    path: str | Path, *, currency: str | None = None, policy: EntryPolicy | None = None
) -> Fleet:
    """Read a fleet; ``currency`` is for pits that do not say theirs.

    Raises
    ------
    InputError
        If a key is unknown or missing, an id is doubled or points to nothing, a shift has no
        hours, a figure cannot be so, or no grader is available.
    """
    path, policy = Path(path), policy or EntryPolicy()
    given = read_toml(path)
    known = ("place", "machine", "operator", "pit")
    problems = [
        Problem(path.name, f"[[{name}]] is unknown{likely(name, known)}")
        for name in given
        if name not in known
    ]
    places = _nouns(given, "place", Place, path, problems)
    machines = _nouns(given, "machine", Machine, path, problems)
    operators = _nouns(given, "operator", Operator, path, problems)
    pits = [
        pit
        for number, told in enumerate(_nouns(given, "pit", _PitAsTold, path, problems), start=1)
        if (pit := _pit(told, f"{path.name} pit {number}", places, currency, problems))
    ]
    refuse(problems)
    fleet = Fleet(tuple(places), tuple(machines), tuple(operators), tuple(pits))
    refuse(check_fleet(fleet, path.name, policy))
    if not fleet.graders:
        raise InputError(f"{path.name} has no grader that is available; add a [[machine]]")
    return fleet


def check_fleet(fleet: Fleet, where: str, policy: EntryPolicy) -> list[Problem]:
    """What cannot be so in a fleet, wherever it came from."""
    problems: list[Problem] = []
    for kind, ids in (
        ("place", [place.id for place in fleet.places]),
        ("machine", [machine.id for machine in fleet.machines]),
        ("operator", [operator.id for operator in fleet.operators]),
    ):
        doubled = [id_ for id_, n in Counter(ids).items() if n > 1]
        problems += [Problem(f"{where} {kind}", f"id {id_!r} is there twice") for id_ in doubled]
    places = {place.id for place in fleet.places}
    for place in fleet.places:
        if not (-180 <= place.lon <= 180 and -90 <= place.lat <= 90):
            words = f"lon {place.lon:g}, lat {place.lat:g} is no place; are they swapped?"
            problems.append(Problem(f"{where} place {place.id}", words))
    for machine in fleet.machines:
        at = f"{where} machine {machine.id}"
        if machine.home_id not in places:
            problems.append(Problem(f"{at}, home_id", f"{machine.home_id!r} is no [[place]]"))
        problems += _machine(machine, at, policy)
    machine_ids = {machine.id for machine in fleet.machines}
    for operator in fleet.operators:
        at = f"{where} operator {operator.id}"
        if operator.machine_id not in machine_ids:
            words = f"{operator.machine_id!r} is no [[machine]]"
            problems.append(Problem(f"{at}, machine_id", words))
        problems += _shift(operator, at, policy)
    return problems


def write_fleet(fleet: Fleet, path: str | Path) -> Path:
    """Write a fleet so that :func:`read_fleet` gives it back, equal.

    Raises
    ------
    InputError
        If the folder is not there, or a pit's place is not among the fleet's places.
    """
    path = Path(path)
    write_text(path, fleet_text(fleet))
    return path


def fleet_text(fleet: Fleet) -> str:
    """What :func:`write_fleet` writes."""
    content: dict[str, Any] = {
        "place": [plain(place) for place in fleet.places],
        "machine": [plain(machine) for machine in fleet.machines],
        "operator": [plain(operator) for operator in fleet.operators],
        "pit": [_pit_told(pit, fleet) for pit in fleet.pits],
    }
    return toml_text({name: rows for name, rows in content.items() if rows})


@dataclass(frozen=True, slots=True)
class _PitAsTold:
    """A pit as a person writes it: its place by id, its price in whole units of money."""

    place: str
    material: str
    stock_m3: float
    price_year: int
    price_per_m3: float | None = None
    """For a loose cubic metre at the gate."""
    price_per_t: float | None = None
    currency: str | None = None
    loading_m3_h: float = 90.0
    source: str = "the agency's fleet file"
    price_name: str | None = None
    price_method: Method = "default"
    price_includes_operator: bool = False


def _pit(
    told: _PitAsTold,
    where: str,
    places: list[Place],
    currency: str | None,
    problems: list[Problem],
) -> GravelPit | None:
    n_before = len(problems)
    place = next((each for each in places if each.id == told.place), None)
    if place is None:
        problems.append(Problem(f"{where}, place", f"{told.place!r} is no [[place]]"))
    price = told.price_per_m3 if told.price_per_m3 is not None else told.price_per_t
    if (told.price_per_m3 is None) == (told.price_per_t is None):
        problems.append(Problem(where, "say price_per_m3 or price_per_t, one of them"))
    if price is not None and price < 0:
        problems.append(Problem(where, f"price is {price:g}; expected 0 or more"))
    currency = told.currency or currency
    if currency is None:
        problems.append(Problem(f"{where}, currency", "is missing; say like 'USD'"))
    if told.stock_m3 < 0:
        problems.append(Problem(f"{where}, stock_m3", f"is {told.stock_m3:g}; expected >= 0"))
    if told.loading_m3_h <= 0:
        problems.append(
            Problem(f"{where}, loading_m3_h", f"is {told.loading_m3_h:g}; expected > 0")
        )
    if len(problems) > n_before or place is None or price is None or currency is None:
        return None
    per: Literal["m3", "t"] = "m3" if told.price_per_m3 is not None else "t"
    rate = Rate(
        told.price_name or told.material,
        round(price * _MINOR),
        per,
        currency,
        told.price_year,
        told.source,
        told.price_includes_operator,
        told.price_method,
    )
    return GravelPit(place, told.material, rate, told.stock_m3, told.loading_m3_h)


def _pit_told(pit: GravelPit, fleet: Fleet) -> dict[str, Any]:
    if pit.place not in fleet.places:
        raise InputError(f"pit at {pit.place.id!r} is not among the places of the fleet")
    if pit.price.per not in ("m3", "t"):
        raise InputError(f"price of pit {pit.place.id!r} is per {pit.price.per}; expected m3 or t")
    price = pit.price.minor / _MINOR
    told = _PitAsTold(
        place=pit.place.id,
        material=pit.material,
        stock_m3=pit.stock_m3,
        price_year=pit.price.year,
        price_per_m3=price if pit.price.per == "m3" else None,
        price_per_t=price if pit.price.per == "t" else None,
        currency=pit.price.currency,
        loading_m3_h=pit.loading_m3_h,
        source=pit.price.source,
        price_name=pit.price.name if pit.price.name != pit.material else None,
        price_method=pit.price.method,
        price_includes_operator=pit.price.includes_operator,
    )
    written: dict[str, Any] = plain(told)
    return written


def _nouns(
    given: Mapping[str, Any], name: str, kind: type[Noun], path: Path, problems: list[Problem]
) -> list[Noun]:
    tables = given.get(name, [])
    if not isinstance(tables, list) or not all(isinstance(each, dict) for each in tables):
        problems.append(Problem(path.name, f"{name} is not a list; write [[{name}]] above each"))
        return []
    found = (
        noun_of(kind, table, f"{path.name} {name} {number}", problems)
        for number, table in enumerate(tables, start=1)
    )
    return [noun for noun in found if noun is not None]


def _machine(machine: Machine, at: str, policy: EntryPolicy) -> list[Problem]:
    limits: dict[str, tuple[float, float, str]] = {
        "travel_km_h": (1.0, policy.travel_max_km_h, ""),
        "mass_t": (0.1, policy.mass_max_t, "; t, not kg or lb"),
        "payload_t": (0.0, policy.mass_max_t, "; t, not kg or lb"),
    }
    if machine.kind == "grader":
        limits["blade_m"] = (policy.blade_min_m, policy.blade_max_m, "; metres, not feet")
    if machine.kind == "water_truck":
        limits["capacity"] = (policy.tank_min_l, policy.tank_max_l, "; litres, not m³")
    if machine.kind == "haul_truck":
        limits["capacity"] = (0.5, policy.body_max_m3, "; m³, not litres")
    return [
        Problem(f"{at}, {name}", f"is {value:g}; expected {low:g} to {high:g}{hint}")
        for name, (low, high, hint) in limits.items()
        if not low <= (value := getattr(machine, name)) <= high
    ]


def _shift(operator: Operator, at: str, policy: EntryPolicy) -> list[Problem]:
    found = []
    if not 0 < operator.shift_h <= policy.shift_max_h:
        words = f"is {operator.shift_h:g}; expected more than 0, up to {policy.shift_max_h:g}"
        found.append(Problem(f"{at}, shift_h", words))
    if not 0 <= operator.shift_start_h < 24:
        words = f"is {operator.shift_start_h:g}; expected 0 to 24, 6.5 is half past six"
        found.append(Problem(f"{at}, shift_start_h", words))
    longest = operator.shift_h + operator.max_overtime_h
    if operator.max_overtime_h < 0 or longest > policy.shift_max_h:
        words = f"is {operator.max_overtime_h:g}; expected 0 or more, {policy.shift_max_h:g} in all"
        found.append(Problem(f"{at}, max_overtime_h", words))
    return found
