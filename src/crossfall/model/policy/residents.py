"""How residents' requests are tied to roads and to each other, and what a haul is taken to be."""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.model.policy.setting import setting


@dataclass(frozen=True, slots=True)
class RequestsPolicy:
    """Matching and merging of requests. All figures are ours."""

    nearest_m: float = setting(
        200.0,
        unit="m",
        doc="A request further than this from every road is left for a person to place",
        low=20.0,
        high=2000.0,
    )
    merge_days: int = setting(
        21,
        unit="day",
        doc="Requests about one segment that come within so many days of the last are one matter",
        low=0,
        high=365,
    )
    is_open311_on: bool = setting(
        False,
        unit="-",
        doc="Whether requests are given out, and taken in to be looked at, without signing in,"
        " at /open311/v2/. Off until the agency decides.",
    )
    most_waiting: int = setting(
        200,
        unit="requests",
        doc="So many requests from outside may wait to be looked at; more are turned away.",
        low=1,
        high=10_000,
    )


@dataclass(frozen=True, slots=True)
class HaulPolicy:
    """What is assumed of a haul when its agreement does not say."""

    payload_t: float = setting(20.0, unit="t", doc="Load of one haul truck", low=5.0, high=60.0)
    passes_per_load: float = setting(
        2.0, unit="-", doc="Passes of the road for each load: there and back", low=1.0, high=4.0
    )
    survey_days: int = setting(
        30,
        unit="day",
        doc="Looks within so many days before and after a haul count as its surveys",
        low=1,
        high=365,
    )
