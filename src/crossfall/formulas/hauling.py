"""Trucks between the pit and the road, matched to the slowest link.

A truck's cycle is loading, hauling, dumping, coming back and backing in. Loader, trucks,
grader, roller and water work as one line: the slowest sets the pace and the others stand
idle for part of it. Naming the slowest is the point.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from crossfall.errors import InputError
from crossfall.formulas.given import Num, at_least, count, positive, share_of_hour


def truck_cycle(
    load_min: Num,
    haul_km: Num,
    loaded_km_h: float,
    empty_km_h: float,
    dump_min: float,
    spot_min: float = 0.0,
) -> Num:
    """Minutes from loading to loading: ``load + haul + dump + return + spot``. [min]

    Examples
    --------
    >>> load = 60 * 12 / 95  # 12 yd3 at 95 yd3/h
    >>> round(truck_cycle(load, 7.0, 30.0, 40.0, 3.0) / 60, 4)  # miles and mph, same ratio
    0.5846
    """
    at_least("load_min", load_min, 0.0)
    at_least("haul_km", haul_km, 0.0)
    positive("loaded_km_h", loaded_km_h)
    positive("empty_km_h", empty_km_h)
    at_least("dump_min", dump_min, 0.0)
    at_least("spot_min", spot_min, 0.0)
    return load_min + haul_km * (60 / loaded_km_h + 60 / empty_km_h) + dump_min + spot_min


def trucks_for_loader(cycle_min: float, load_min: float) -> int:
    """Trucks that keep the loader busy: ``ceil(cycle / load)``.

    One published example prints 9 from another problem; its own data give 4.63, so 5.

    Examples
    --------
    >>> load = 60 * 12 / 95
    >>> trucks_for_loader(truck_cycle(load, 7.0, 30.0, 40.0, 3.0), load)
    5
    """
    positive("load_min", load_min)
    return math.ceil(positive("cycle_min", cycle_min) / load_min - 1e-9)


def truck_rate(n_trucks: int, load_m3: float, cycle_min: float, efficiency: float) -> float:
    """Loose gravel that so many trucks bring in an hour. [m³/h]

    Examples
    --------
    >>> round(truck_rate(4, 10.0, 60.0, 0.83), 1)
    33.2
    """
    count("n_trucks", n_trucks, least=0)
    positive("load_m3", load_m3)
    positive("cycle_min", cycle_min)
    share_of_hour("efficiency", efficiency)
    return n_trucks * load_m3 * 60 / cycle_min * efficiency


def trucks_to_match(wanted_m3_h: float, load_m3: float, cycle_min: float, efficiency: float) -> int:
    """Trucks that feed a spreader or roller: ``ceil(Q / (load 60 / cycle E))``.

    Examples
    --------
    >>> trucks_to_match(52.0, 10.0, 60.0, 0.83)
    7
    """
    at_least("wanted_m3_h", wanted_m3_h, 0.0)
    return math.ceil(wanted_m3_h / truck_rate(1, load_m3, cycle_min, efficiency) - 1e-9)


@dataclass(frozen=True, slots=True)
class Pace:
    """What the line of machines does together."""

    rate: float
    """Output of the slowest, in the unit the rates came in."""
    bottleneck: str
    idle_share: Mapping[str, float]
    """Share of the time each link stands idle, 0 for the slowest."""


def slowest(rates: Mapping[str, float]) -> Pace:
    """The pace of a line of machines, and who waits for whom.

    Raises
    ------
    InputError
        If there is no link, or one of them brings nothing at all.

    Examples
    --------
    >>> pace = slowest({"loader": 90.0, "trucks": 45.0, "roller": 60.0})
    >>> pace.bottleneck, pace.idle_share["loader"]
    ('trucks', 0.5)
    """
    if not rates:
        raise InputError("rates is empty; expected at least one machine")
    for name, rate in rates.items():
        positive(f"rate of {name}", rate)
    bottleneck = min(rates, key=lambda name: rates[name])
    rate = rates[bottleneck]
    return Pace(rate, bottleneck, {name: 1 - rate / each for name, each in rates.items()})
