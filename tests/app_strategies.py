"""Hypothesis strategies for the nouns that the store keeps, built from their own annotations."""

from __future__ import annotations

import enum
import math
import types
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from functools import cache
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import numpy as np
from hypothesis import strategies as st

from crossfall import model as nouns

texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=6)
finite = st.floats(allow_nan=False, allow_infinity=False)
keys = st.text("abcæ0-:/ ", min_size=1, max_size=12)
days = st.dates(date(1900, 1, 1), date(2200, 1, 1))
_ZONES = st.sampled_from([UTC, timezone(timedelta(hours=-7)), timezone(timedelta(hours=5.5))])
moments = st.datetimes(datetime(1900, 1, 2), datetime(2200, 1, 1), timezones=_ZONES)  # noqa: DTZ001
_LEAVES: dict[Any, st.SearchStrategy] = {
    float: finite,
    str: texts,
    int: st.integers(-1000, 1000),
    bool: st.booleans(),
    date: days,
    datetime: moments,
    type(None): st.none(),
}


@cache
def of_type(hint: Any) -> st.SearchStrategy:
    """Values of one annotated type; tuples stay short."""
    if hint in _LEAVES:
        return _LEAVES[hint]
    origin, parts = get_origin(hint), get_args(hint)
    if origin is Literal:
        return st.sampled_from(parts)
    if origin in (Union, types.UnionType):
        return st.one_of(*(of_type(part) for part in parts))
    if origin is tuple and parts[-1] is Ellipsis:
        return st.lists(of_type(parts[0]), max_size=2).map(tuple)
    if origin is tuple:
        return st.tuples(*(of_type(part) for part in parts))
    if isinstance(hint, type) and issubclass(hint, enum.Enum):
        return st.sampled_from(hint)
    assert is_dataclass(hint), hint
    return build(hint)


def build(noun: type, **given: st.SearchStrategy) -> st.SearchStrategy:
    """Nouns of one kind, with some fields given and the others from their types."""
    hints = get_type_hints(noun)
    parts = {
        each.name: given[each.name] if each.name in given else of_type(hints[each.name])
        for each in fields(noun)
        if each.init
    }
    return st.builds(noun, **parts)


_SEGMENT = st.just("s1")
_MAYBE_SEGMENT = st.none() | _SEGMENT

NOUNS: dict[type, st.SearchStrategy] = {
    nouns.Node: build(nouns.Node, id=keys, turn_min=st.none() | finite | st.just(math.inf)),
    nouns.Segment: build(
        nouns.Segment,
        id=keys,
        from_node=st.just("n1"),
        to_node=st.just("n2"),
        length_m=st.floats(min_value=0.001, max_value=1e7),
    ),
    nouns.PointFeature: build(nouns.PointFeature, id=keys, segment_id=_MAYBE_SEGMENT),
    nouns.Condition: build(nouns.Condition, segment_id=_SEGMENT),
    nouns.Observation: build(nouns.Observation, id=keys, segment_id=_MAYBE_SEGMENT),
    nouns.Hazard: build(nouns.Hazard, id=keys, segment_id=_SEGMENT),
    nouns.Request: build(nouns.Request, id=keys, segment_id=_MAYBE_SEGMENT),
    nouns.WorkRecord: build(nouns.WorkRecord, id=keys, segment_id=_SEGMENT, supersedes=st.none()),
    nouns.Place: build(nouns.Place, id=keys),
    nouns.Machine: build(nouns.Machine, id=keys, home_id=st.just("p1")),
    nouns.Operator: build(nouns.Operator, id=keys, machine_id=st.just("m1")),
    nouns.Need: build(nouns.Need, id=keys, segment_id=_SEGMENT),
    nouns.Job: build(nouns.Job, id=keys, segment_id=_SEGMENT),
    nouns.Plan: build(nouns.Plan, id=keys),
    nouns.JobCard: build(nouns.JobCard, id=keys, segment_id=_SEGMENT),
}

pits = build(nouns.GravelPit, place=build(nouns.Place, id=st.just("pit")))
_stations = build(nouns.Station, id=keys)


@st.composite
def _series(draw: Any, shape: tuple[int, ...]) -> np.ndarray:
    size = int(np.prod(shape))
    values = draw(st.lists(st.floats(width=64), min_size=size, max_size=size))
    return np.array(values, dtype=np.float64).reshape(shape)


@st.composite
def _weather_records(draw: Any) -> nouns.WeatherRecord:
    series = _series((draw(st.integers(0, 4)),))
    known = [draw(series) for _ in range(3)]
    perhaps = [draw(st.none() | series) for _ in range(3)]
    head = [draw(_stations), draw(days)]
    return nouns.WeatherRecord(*head, *known, *perhaps, draw(texts), draw(st.booleans()))


@st.composite
def _forecasts(draw: Any) -> nouns.Forecast:
    series = _series((draw(st.integers(0, 2)), draw(st.integers(0, 3))))
    head = [draw(_stations), draw(days), draw(days)]
    known = [draw(series) for _ in range(3)]
    return nouns.Forecast(*head, *known, draw(texts), draw(st.booleans()))


weather_records = _weather_records()
forecasts = _forecasts()
