"""The map's colourings: for every road a colour name and what it says, and the legends."""

from __future__ import annotations

from base64 import b64encode
from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
from shapely import LineString

from crossfall.judgement.rating import RATING_NAMES, SCORES, overall_rating
from crossfall.judgement.state import MoistureState
from crossfall.model import Condition, District, Need
from crossfall_app.store.repository import StoredWeek
from crossfall_app.web.present.measures import Measures, day_name
from crossfall_app.web.present.plan import where_on
from crossfall_app.web.present.words import (
    BACKDROP_LABEL,
    FAMILY,
    FAMILY_LABEL,
    SURFACE,
    SURFACE_LABEL,
)

_SINCE_WEEKS = (2, 4, 8, 16)
"""Steps of the legend only; nothing is decided by them."""
_GRAVEL_MM = (100, 75, 50, 25)
"""Steps of the legend only."""
_MACHINE_COLOURS = 8


@dataclass(frozen=True, slots=True)
class Theme:
    """One colouring."""

    key: str
    label: str
    entries: tuple[dict[str, Any], ...]


@dataclass(frozen=True, slots=True)
class MapRoads:
    """Every road coloured in every way, and the legends that belong to it."""

    features: dict[str, dict[str, str]]
    """By segment id: for each theme its colour, and under ``<theme>_says`` the words."""
    themes: tuple[Theme, ...]


def colour_roads(
    district: District,
    needs: tuple[Need, ...],
    conditions: tuple[Condition, ...],
    state: MoistureState | None,
    week: StoredWeek | None,
    today: date,
    measures: Measures | None = None,
) -> MapRoads:
    """All themes at once, for the segments that are maintained."""
    makers: tuple[tuple[str, str, dict[str, tuple[str, str]], list[tuple[str, str]]], ...] = (
        ("need", "What it needs", _by_need(needs), list(FAMILY_LABEL.items())),
        ("rating", "Condition", *_by_rating(conditions)),
        ("surface", "Surface today", _by_surface(state, today), _surface_legend()),
        ("gravel", "Gravel left", *_by_gravel(district, conditions, measures)),
        ("since", "Last bladed", *_by_age(district, conditions, today)),
        ("plan", "Plan", *_by_plan(district, week, today)),
    )
    features: dict[str, dict[str, str]] = {}
    counts: dict[str, Counter[str]] = {key: Counter() for key, *_ in makers}
    for segment in district.network.maintained:
        found = features.setdefault(segment.id, {})
        for key, _, colours, legend in makers:
            colour, says = colours.get(segment.id, legend[-1])
            found[key], found[f"{key}_says"] = colour, says
            counts[key][colour] += 1
    themes = tuple(
        Theme(
            key,
            label,
            tuple(
                {"colour": colour, "label": says, "n": counts[key][colour]}
                for colour, says in legend
                if counts[key][colour]
            ),
        )
        for key, label, _, legend in makers
    )
    return MapRoads(features, themes)


def segments_geojson(district: District, roads: MapRoads, measures: Measures) -> dict[str, Any]:
    """All roads as GeoJSON: those we blade with their colours, the others to find one's way by."""
    features = []
    for segment in district.network.segments:
        own = roads.features.get(segment.id)
        properties: dict[str, Any] = {
            "id": segment.id,
            "route": segment.route,
            "where": where_on(segment, measures),
            "is_ours": own is not None,
            **(own or {}),
        }
        features.append(
            {
                "type": "Feature",
                "properties": properties,
                "geometry": {
                    "type": "LineString",
                    # About a tenth of a metre, to keep the answer small
                    "coordinates": [[round(x, 6), round(y, 6)] for x, y in segment.line],
                },
            }
        )
    return {"type": "FeatureCollection", "features": features}


def theme_codes(district: District, roads: MapRoads) -> dict[str, dict[str, Any]]:
    """For each theme its colour names, and one byte for each segment in the network's order.

    255 stands for a road that is not ours.
    """
    found: dict[str, dict[str, Any]] = {}
    for theme in roads.themes:
        names = list(dict.fromkeys(entry["colour"] for entry in theme.entries))
        code = {name: n for n, name in enumerate(names)}
        codes = bytes(
            code[own[theme.key]] if own is not None else _NOT_OURS
            for own in (roads.features.get(segment.id) for segment in district.network.segments)
        )
        found[theme.key] = {"names": names, "codes": b64encode(codes).decode("ascii")}
    return found


_NOT_OURS = 255


def backdrop_geojson(district: District) -> dict[str, Any]:
    """Creeks and railways, to find one's way by."""
    features = [
        {
            "type": "Feature",
            "properties": {"kind": each.kind},
            "geometry": {
                "type": "LineString",
                # About a metre: nothing is measured on them
                "coordinates": [[round(x, 5), round(y, 5)] for x, y in each.line],
            },
        }
        for each in district.network.backdrop
    ]
    return {"type": "FeatureCollection", "features": features}


def backdrop_kinds(district: District) -> list[dict[str, str]]:
    """What is drawn behind the roads, for the legend."""
    there = {each.kind for each in district.network.backdrop}
    return [
        {"colour": key, "label": label} for key, label in BACKDROP_LABEL.items() if key in there
    ]


def places_geojson(district: District) -> dict[str, Any]:
    """Yards, pits and open dangers as points."""
    places = {place.id: place for place in district.fleet.places}
    places.update({pit.place.id: pit.place for pit in district.fleet.pits})
    features = [_point(place.lon, place.lat, place.kind, place.name) for place in places.values()]
    for hazard in district.hazards:
        if hazard.is_open:
            segment = district.network.segment_by_id[hazard.segment_id]
            share = hazard.at_m / segment.length_m
            at = LineString(segment.line).interpolate(share, normalized=True)
            features.append(_point(at.x, at.y, "hazard", hazard.note or hazard.kind))
    return {"type": "FeatureCollection", "features": features}


def road_list(
    district: District, needs: tuple[Need, ...], roads: MapRoads, measures: Measures
) -> list[dict[str, str]]:
    """The roads we blade for the list beside the map, most pressing first."""
    urgency = {need.segment_id: need.urgency for need in needs}
    ordered = sorted(
        district.network.maintained,
        key=lambda each: (-urgency.get(each.id, -1.0), each.route, each.from_m),
    )
    return [
        {
            "id": segment.id,
            "route": segment.route,
            "where": where_on(segment, measures),
            "colour": roads.features[segment.id]["need"],
            "says": roads.features[segment.id]["need_says"],
            "search": f"{segment.route} {segment.external_id} {segment.id}".lower(),
        }
        for segment in ordered
    ]


def rating_of(condition: Condition) -> int:
    """The 1 to 5 rating of one condition."""
    return int(overall_rating(_scores((condition,)))[0])


def _by_need(needs: tuple[Need, ...]) -> dict[str, tuple[str, str]]:
    return {
        need.segment_id: (FAMILY[need.treatment], f"{need.treatment.label}: {need.cause}")
        for need in needs
    }


def _by_rating(
    conditions: tuple[Condition, ...],
) -> tuple[dict[str, tuple[str, str]], list[tuple[str, str]]]:
    best = max(RATING_NAMES)
    legend = [
        (f"s{best + 1 - rating}", f"{rating} {name}") for rating, name in RATING_NAMES.items()
    ]
    legend.append(("snone", "Not known"))
    if not conditions:
        return {}, legend
    found = {}
    for condition, rating in zip(
        conditions, overall_rating(_scores(conditions)).tolist(), strict=True
    ):
        how = "" if condition.method == "measured" else f" ({condition.method})"
        found[condition.segment_id] = (
            f"s{best + 1 - rating}",
            f"{rating} {RATING_NAMES[rating]}{how}",
        )
    return found, legend


def _by_surface(state: MoistureState | None, today: date) -> dict[str, tuple[str, str]]:
    if state is None:
        return {}
    found = {}
    for segment_id in state.segment_ids:
        key = SURFACE[state.most_likely(segment_id, today)]
        found[segment_id] = (key, SURFACE_LABEL[key])
    return found


def _surface_legend() -> list[tuple[str, str]]:
    return list(SURFACE_LABEL.items())


def _by_gravel(
    district: District, conditions: tuple[Condition, ...], measures: Measures | None
) -> tuple[dict[str, tuple[str, str]], list[tuple[str, str]]]:
    units = measures or Measures()
    shown = [units.show(float(edge), "mm") for edge in _GRAVEL_MM]
    words = [
        f"{shown[0]} or more",
        *(f"{low} to {high}" for high, low in pairwise(shown)),
        f"under {shown[-1]}",
    ]
    legend = [(f"s{n + 1}", each) for n, each in enumerate(words)]
    legend.append(("snone", "Not known"))
    believed = {each.segment_id: each for each in conditions}
    found = {}
    for segment in district.network.maintained:
        condition = believed.get(segment.id)
        measured = condition.gravel_mm if condition is not None else None
        thickness = measured if measured is not None else segment.gravel_mm
        if thickness is None or (measured is None and segment.gravel_method == "default"):
            continue
        step = sum(thickness < edge for edge in _GRAVEL_MM)
        how = "measured" if measured is not None else segment.gravel_method
        found[segment.id] = (f"s{step + 1}", f"{units.show(thickness, 'mm')} ({how})")
    return found, legend


def _by_age(
    district: District, conditions: tuple[Condition, ...], today: date
) -> tuple[dict[str, tuple[str, str]], list[tuple[str, str]]]:
    edges = (0, *_SINCE_WEEKS)
    legend = [
        (f"s{n + 1}", f"{low} to {high} weeks ago" if low else f"within {high} weeks")
        for n, (low, high) in enumerate(pairwise(edges))
    ]
    legend.append((f"s{len(edges)}", f"over {edges[-1]} weeks ago"))
    legend.append(("snone", "Not known"))
    believed = {each.segment_id: each for each in conditions}
    latest = {key: each.last_bladed_on for key, each in believed.items() if each.last_bladed_on}
    for record in district.records:
        latest[record.segment_id] = max(
            record.done_on, latest.get(record.segment_id, record.done_on)
        )
    found = {}
    for segment_id, day in latest.items():
        age = today - day
        step = sum(age > timedelta(weeks=weeks) for weeks in _SINCE_WEEKS)
        found[segment_id] = (f"s{step + 1}", f"{age.days} days ago, {day_name(day)}")
    return found, legend


def _by_plan(
    district: District, week: StoredWeek | None, today: date
) -> tuple[dict[str, tuple[str, str]], list[tuple[str, str]]]:
    nothing = ("knone", "Not in this plan" if week else "No plan yet")
    if week is None:
        return {}, [nothing]
    stages = {stage.id: stage for job in week.jobs for stage in job.stages}
    names = {machine.id: machine.name for machine in district.fleet.machines}
    used = sorted({each.machine_id for each in week.plan.itineraries}, key=list(names).index)
    colour = {key: f"k{n % _MACHINE_COLOURS + 1}" for n, key in enumerate(used)}
    found = {}
    for itinerary in sorted(week.plan.itineraries, key=lambda each: each.day, reverse=True):
        for stage_id in itinerary.stage_ids:
            machine_id = itinerary.machine_id
            found[stages[stage_id].segment_id] = (
                colour[machine_id],
                f"{names[machine_id]}, {day_name(itinerary.day, today)}",
            )
    return found, [*((colour[key], names[key]) for key in used), nothing]


def _scores(conditions: tuple[Condition, ...]) -> np.ndarray:
    rows = [[getattr(each, name) for name in SCORES] for each in conditions]
    return np.array(rows, dtype=np.float64).T


def _point(lon: float, lat: float, kind: str, name: str) -> dict[str, Any]:
    return {
        "type": "Feature",
        "properties": {"kind": kind, "name": name},
        "geometry": {"type": "Point", "coordinates": [round(lon, 6), round(lat, 6)]},
    }
