"""Hypothesis strategies for the nouns that the store keeps, built from their own annotations."""

from __future__ import annotations

import enum
import math
import types
from dataclasses import fields, is_dataclass, replace
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
_clock = st.tuples(st.integers(0, 700), st.integers(701, 1440))
reservations = st.builds(
    lambda at, **given: nouns.Reservation(start_min=float(at[0]), end_min=float(at[1]), **given),
    _clock,
    id=keys,
    day=days,
    kind=st.sampled_from(nouns.DUTY_KINDS),
    machine_id=keys,
    operator_id=st.none() | keys,
    note=texts,
)
_LEAVES[nouns.Reservation] = reservations


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
_ROUTES = st.lists(keys, min_size=1, max_size=3, unique=True).map(tuple)
_above_zero = st.floats(min_value=0.001, max_value=1e9)

NOUNS: dict[type, st.SearchStrategy] = {
    nouns.Node: build(nouns.Node, id=keys, turn_min=st.none() | finite | st.just(math.inf)),
    nouns.Segment: build(
        nouns.Segment,
        id=keys,
        from_node=st.just("n1"),
        to_node=st.just("n2"),
        length_m=st.floats(min_value=0.001, max_value=1e7),
        serves=st.sampled_from(("", "school", "milk logs", "school mail emergency")),
    ),
    nouns.PointFeature: build(nouns.PointFeature, id=keys, segment_id=_MAYBE_SEGMENT),
    nouns.Backdrop: build(nouns.Backdrop),
    nouns.Condition: build(nouns.Condition, segment_id=_SEGMENT),
    nouns.Observation: build(nouns.Observation, id=keys, segment_id=_MAYBE_SEGMENT),
    nouns.Hazard: build(nouns.Hazard, id=keys, segment_id=_SEGMENT),
    nouns.Request: build(nouns.Request, id=keys, segment_id=_MAYBE_SEGMENT),
    nouns.LoadPosting: build(
        nouns.LoadPosting,
        id=keys,
        axle_t=st.floats(min_value=0.1, max_value=99.0),
        authority=keys.filter(str.strip),
        signed_by=keys.filter(str.strip),
        down_at=st.none(),
    ),
    nouns.Clearance: st.builds(
        lambda given, days: replace(given, valid_from=min(days), expires_on=max(days)),
        build(nouns.Clearance, id=keys, segment_id=_SEGMENT, expires_on=st.just(date(2300, 1, 1))),
        st.tuples(days, days),
    ),
    nouns.DesignSignature: st.builds(
        lambda given, days: replace(given, signed_on=min(days), expires_on=max(days)),
        build(
            nouns.DesignSignature,
            id=keys,
            segment_id=_SEGMENT,
            treatment=st.sampled_from(
                [t for t in nouns.Treatment if t.value not in ("none", "engineer")]
            ),
            signed_by=keys.filter(str.strip),
            capacity=keys.filter(str.strip),
            expires_on=st.none(),
            limit_t=st.none() | st.floats(min_value=0.5, max_value=150.0),
        ),
        st.tuples(days, days),
    ),
    nouns.HaulAgreement: st.builds(
        lambda given, days: replace(given, first_day=min(days), last_day=max(days)),
        build(
            nouns.HaulAgreement,
            id=keys,
            segment_ids=_ROUTES,
            tonnes=_above_zero,
            payload_t=st.none() | _above_zero,
            last_day=st.just(date(2300, 1, 1)),
        ),
        st.tuples(days, days),
    ),
    nouns.LoadExemption: st.builds(
        lambda given, days: replace(given, first_day=min(days), last_day=max(days)),
        build(
            nouns.LoadExemption,
            id=keys,
            segment_ids=_ROUTES,
            granted_by=keys.filter(str.strip),
            last_day=st.just(date(2300, 1, 1)),
        ),
        st.tuples(days, days),
    ),
    nouns.DustApplication: st.builds(
        lambda given, days: replace(given, applied_on=min(days), no_blade_until=max(days)),
        build(
            nouns.DustApplication,
            id=keys,
            segment_id=_SEGMENT,
            paid_by=keys.filter(str.strip),
            no_blade_until=st.just(date(2300, 1, 1)),
        ),
        st.tuples(days, days),
    ),
    nouns.MaterialTest: build(
        nouns.MaterialTest,
        id=keys,
        pit_id=st.just("p1"),
        passing_pct=st.tuples(
            st.floats(50.0, 100.0), st.floats(2.0, 49.0), st.floats(0.0, 1.9)
        ).map(lambda p: tuple(zip((19.0, 4.75, 0.075), p, strict=True))),
        plasticity=st.none() | st.floats(0.0, 60.0),
        is_non_plastic=st.just(False),
        liquid_limit=st.none() | st.floats(0.0, 90.0),
        linear_shrinkage_pct=st.none() | st.floats(0.0, 30.0),
        loose_t_m3=st.none() | st.floats(1.0, 2.5),
    ),
    nouns.PileEntry: build(nouns.PileEntry, id=keys, pit_id=st.just("p1"), supersedes=st.none()),
    nouns.FittedEdge: build(nouns.FittedEdge, id=keys, machine_id=st.just("m1")),
    nouns.MachineDay: build(
        nouns.MachineDay,
        id=keys,
        machine_id=st.just("m1"),
        **dict.fromkeys(
            ("work_h", "travel_h", "standing_h", "work_km", "travel_km"),
            st.floats(0.0, 1e6),
        ),
    ),
    nouns.Contract: build(
        nouns.Contract,
        id=keys,
        segment_id=_SEGMENT,
        tickets=st.lists(
            build(nouns.ScaleTicket), max_size=2, unique_by=lambda each: each.number
        ).map(tuple),
        accepted_by=st.just(""),
        accepted_on=st.none(),
    ),
    nouns.WorkRecord: build(nouns.WorkRecord, id=keys, segment_id=_SEGMENT, supersedes=st.none()),
    nouns.Place: build(nouns.Place, id=keys),
    nouns.Machine: build(nouns.Machine, id=keys, home_id=st.just("p1")),
    nouns.Operator: build(nouns.Operator, id=keys, machine_id=st.just("m1")),
    nouns.Need: build(nouns.Need, id=keys, segment_id=_SEGMENT),
    nouns.Job: build(nouns.Job, id=keys, segment_id=_SEGMENT),
    nouns.Plan: build(nouns.Plan, id=keys),
    nouns.Reservation: reservations,
    nouns.OtherWork: st.builds(
        lambda span, **given: nouns.OtherWork(first_day=min(span), last_day=max(span), **given),
        st.tuples(days, days),
        id=keys,
        kind=st.sampled_from(nouns.DUTY_KINDS),
        hours=st.floats(0.1, 24.0),
        who=_ROUTES,
        note=texts,
    ),
    nouns.RoadBan: st.builds(
        lambda at, span, **given: nouns.RoadBan(
            start_min=float(at[0]),
            end_min=float(at[1]),
            first_day=min(span),
            last_day=max(span),
            **given,
        ),
        _clock,
        st.tuples(days, days),
        id=keys,
        segment_ids=_ROUTES,
        reason=texts,
        weekdays=st.lists(st.integers(0, 6), min_size=1, max_size=7, unique=True).map(tuple),
    ),
    nouns.JobCard: build(nouns.JobCard, id=keys, segment_id=_SEGMENT),
}

pits = build(nouns.GravelPit, place=build(nouns.Place, id=st.just("pit")))
_stations = build(nouns.Station, id=keys)


@st.composite
def _with_arrays(draw: Any, noun: type, n_dims: int) -> Any:
    """Weather nouns: arrays of one shape, except where a quantity has one figure a day."""
    shape = tuple(draw(st.integers(0, 3)) for _ in range(n_dims))
    hints = get_type_hints(noun)
    given = {"station": _stations}
    for each in fields(noun):
        if "ndarray" in str(hints[each.name]):
            longer = {"pop": shape[-1:], "rain_hour_mm": (*shape, nouns.HOURS)}
            series = _series(longer.get(each.name, shape))
            given[each.name] = series if each.name in _ALWAYS else st.none() | series
    return draw(build(noun, **given))


_ALWAYS = {"rain_mm", "tmin_c", "tmax_c"}


def _series(shape: tuple[int, ...]) -> st.SearchStrategy:
    size = int(np.prod(shape))
    figures = st.lists(st.floats(width=64), min_size=size, max_size=size)
    return figures.map(lambda values: np.array(values, dtype=np.float64).reshape(shape))


weather_records = _with_arrays(nouns.WeatherRecord, 1)
forecasts = _with_arrays(nouns.Forecast, 2)
