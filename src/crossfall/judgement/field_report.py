"""What somebody says of a road or a gauge, made into observations, or refused in one sentence.

A report names a road (or a segment, or metres along a road) or a place. A look at a whole road is
one observation on each of its segments; a gauge stands at one place, so a reading on a road
without metres counts at its middle. Nothing that was told is ever changed: a report that was wrong
is put right, or taken back, by another that names it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from typing import get_args

from crossfall.errors import InputError
from crossfall.judgement.observe import key_of, uncorrected
from crossfall.judgement.stations import distance_km, middle_of
from crossfall.model.condition import Felt, Observation
from crossfall.model.network import Network, Segment
from crossfall.model.policy import Policy
from crossfall.network.linear import LinearReference


@dataclass(frozen=True, slots=True)
class FieldReport:
    """What was said: how the surface felt, or what a gauge caught, or both; and where."""

    observed_on: date
    felt: str | None = None
    """``too_wet``, ``just_right`` or ``dust``."""
    rain_mm: float | None = None
    road: str = ""
    """A road's name or a segment's id."""
    at_m: float | None = None
    """Metres along the road, or from the segment's start [m]."""
    place: tuple[float, float] | None = None
    """(lon, lat), where it is not on a road [degrees]."""
    observer: str = ""
    note: str = ""
    corrects: str = ""
    """The report that this one puts right, by its key or by the id of one of its observations; with
    nothing felt and nothing caught it takes that report back."""


@dataclass(frozen=True, slots=True)
class ToldReport:
    """What was told in one breath, as a list of reports shows it."""

    key: str
    observations: tuple[Observation, ...]
    is_standing: bool
    """Whether no later report corrects it."""
    corrects: str

    @property
    def first(self) -> Observation:
        return self.observations[0]

    @property
    def is_withdrawal(self) -> bool:
        """Whether it only takes another back."""
        return self.first.felt is None and self.first.rain_mm is None


def told_reports(observations: Sequence[Observation]) -> tuple[ToldReport, ...]:
    """The reports behind some observations, the one told last first."""
    together: dict[str, list[Observation]] = {}
    for each in observations:
        together.setdefault(key_of(each.id), []).append(each)
    standing = {each.id for each in uncorrected(observations)}
    reports = [
        ToldReport(
            key,
            tuple(parts),
            any(part.id in standing for part in parts),
            next((part.supersedes for part in parts if part.supersedes), ""),
        )
        for key, parts in together.items()
    ]
    return tuple(reversed(reports))


def observations_of(
    report: FieldReport,
    network: Network,
    policy: Policy,
    *,
    key: str,
    today: date,
    told: Sequence[Observation] = (),
) -> tuple[Observation, ...]:
    """The observations a report stands for; their ids are ``key-1``, ``key-2`` and so on.

    ``told`` are those that are known already, of which it may correct some.

    Raises
    ------
    InputError
        If it says nothing, a figure cannot be, the road is unknown, no road is near enough to
        hear it, its day lies ahead or too far back to count, or what it corrects does not stand.
    """
    corrected = _corrected(report.corrects, told)
    if corrected is not None and report.felt is None and report.rain_mm is None:
        return (_taken_back(report, corrected, key),)
    _check_what(report, policy)
    _check_day(report.observed_on, policy, today)
    if bool(report.road.strip()) == (report.place is not None):
        raise InputError("say where: the name of a road, or a place; one of the two")
    if report.place is not None:
        _check_reach(report, network, policy)
        spots: list[tuple[str | None, tuple[float, float]]] = [(None, report.place)]
    else:
        spots = _on_road(report, network)
    return tuple(
        Observation(
            id=f"{key}-{number}",
            observed_on=report.observed_on,
            lon=lon,
            lat=lat,
            felt=report.felt,  # type: ignore[arg-type]
            rain_mm=report.rain_mm,
            segment_id=segment_id,
            observer=report.observer,
            note=report.note,
            supersedes=report.corrects.strip(),
        )
        for number, (segment_id, (lon, lat)) in enumerate(spots, start=1)
    )


def _corrected(name: str, told: Sequence[Observation]) -> Observation | None:
    """An observation of the report that is to be corrected."""
    name = name.strip()
    if not name:
        return None
    meant = [each for each in told if name in (each.id, key_of(each.id))]
    if not meant:
        raise InputError(f"no report {name!r} was told; name one of the list of reports")
    standing = {each.id for each in uncorrected(told)}
    if not any(each.id in standing for each in meant):
        raise InputError(f"report {name!r} is corrected already; name the one that corrects it")
    return meant[0]


def _taken_back(report: FieldReport, corrected: Observation, key: str) -> Observation:
    """An observation that says nothing but that another is to be forgotten."""
    return Observation(
        id=f"{key}-1",
        observed_on=corrected.observed_on,
        lon=corrected.lon,
        lat=corrected.lat,
        segment_id=corrected.segment_id,
        observer=report.observer,
        note=report.note,
        supersedes=report.corrects.strip(),
    )


def _check_what(report: FieldReport, policy: Policy) -> None:
    if report.felt is None and report.rain_mm is None:
        raise InputError("the report says neither how the surface felt nor what a gauge caught")
    if report.felt is not None and report.felt not in get_args(Felt):
        raise InputError(f"felt is {report.felt!r}; expected {', '.join(get_args(Felt))}")
    most = min(policy.weather.rain_max_mm, policy.weather.typed_rain_max_mm)
    if report.rain_mm is not None and not 0 <= report.rain_mm <= most:
        raise InputError(
            f"rain_mm is {report.rain_mm:g}; expected 0 to {most:g}, in millimetres of rain;"
            " maybe the decimal point slipped"
        )


def _check_day(day: date, policy: Policy, today: date) -> None:
    age = (today - day).days
    if age < 0:
        raise InputError(f"the report is of {day}, and today is {today}; expected a day up to it")
    if age > policy.moisture.observation_days:
        raise InputError(
            f"the report is of {day}, {age} days ago; expected at most"
            f" {policy.moisture.observation_days}, older ones say nothing about today"
        )


def _check_reach(report: FieldReport, network: Network, policy: Policy) -> None:
    assert report.place is not None, "checked by the caller"
    lon, lat = report.place
    if not (math.isfinite(lon) and math.isfinite(lat) and network.maintained):
        raise InputError(f"place is {lon:g}, {lat:g}; expected degrees near the roads")
    moisture = policy.moisture
    ranges = [moisture.observation_range_km] if report.felt is not None else []
    ranges += [moisture.gauge_range_km] if report.rain_mm is not None else []
    reach = moisture.reach_ranges * max(ranges)
    away = float(distance_km(*middle_of(network.maintained), lon, lat).min())
    if away > reach:
        raise InputError(
            f"place is {lon:g}, {lat:g}, {away:.0f} km from the nearest road; expected at most"
            f" {reach:g} km, maybe lon and lat are swapped"
        )


def _on_road(report: FieldReport, network: Network) -> list[tuple[str | None, tuple[float, float]]]:
    road = report.road.strip()
    segments = _segments(road, network)
    lines = LinearReference(network)
    if report.at_m is not None:
        if segments[0].id == road:
            return [(road, lines.place(road, report.at_m))]
        spot = lines.on_route(segments[0].route, report.at_m)
        return [(spot.segment_id, lines.place(spot.segment_id, spot.at_m))]
    if report.felt is None:
        # A gauge stands at one place
        middle = (segments[0].from_m + segments[-1].to_m) / 2
        segments = [min(segments, key=lambda each: abs(each.from_m + each.to_m - 2 * middle))]
    return [(each.id, lines.place(each.id, each.length_m / 2)) for each in segments]


def _segments(road: str, network: Network) -> list[Segment]:
    """The maintained segments of a road, by its id or its name in any case, along the route."""
    wanted = " ".join(road.lower().split())
    found = [each for each in network.maintained if each.id == road or each.route.lower() == wanted]
    if found:
        return sorted(found, key=lambda each: each.from_m)
    by_lower = {each.route.lower(): each.route for each in network.maintained}
    near = [by_lower[each] for each in get_close_matches(wanted, by_lower, n=3)]
    hint = f"; did you mean {' or '.join(near)}" if near else ""
    raise InputError(f"road {road!r} is neither a road we blade nor one of its segments{hint}")
