"""Every noun comes back from both databases as it went in."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import fields, replace
from datetime import UTC, date, datetime

import numpy as np
import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app_strategies import NOUNS, forecasts, pits, texts, weather_records
from crossfall import model as nouns
from crossfall.errors import InputError, WorkspaceError
from crossfall.model.policy.setting import settings_of
from crossfall_app.store import convert, models
from crossfall_app.store.fields import PackedJSONField, canonical_json, columns_of

_SETTINGS = settings(
    max_examples=30,
    deadline=None,
    database=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)


@contextmanager
def undone():
    """Takes the rows of one example out again."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


@pytest.fixture
def a_map(any_workspace):
    """The nodes, segment, place and machine that other rows point to."""
    models.Node.objects.bulk_create(
        [models.Node(id=name, lon=0.0, lat=0.0) for name in ("n1", "n2")]
    )
    segment = nouns.Segment("s1", "Road", "n1", "n2", 0.0, 10.0, ((0.0, 0.0), (1.0, 1.0)))
    convert.SEGMENT.to_row(segment).save()
    convert.PLACE.to_row(nouns.Place("p1", "Yard", "yard", 0.0, 0.0)).save()
    convert.MACHINE.to_row(nouns.Machine("m1", "Grader", "grader", "p1")).save()
    price = nouns.Rate("gravel", 900, "m3", "USD", 2026, "invented")
    pit = nouns.GravelPit(nouns.Place("p1", "Yard", "yard", 0.0, 0.0), "gravel", price, 1.0)
    convert.pit_to_row(pit).save()
    return any_workspace


@pytest.mark.parametrize("mapping", convert.MAPPINGS, ids=lambda mapping: mapping.noun.__name__)
def test_a_noun_survives_the_night(mapping, a_map):
    extra = _extra(mapping)

    @_SETTINGS
    @given(noun=NOUNS[mapping.noun])
    def round_trip(noun):
        with undone():
            row = mapping.to_row(noun, **extra)
            row.save(force_insert=True)
            (back,) = mapping.of(mapping.table.objects.filter(pk=row.pk))
            assert back == noun
            assert type(back) is type(noun)
            for each in fields(noun):
                assert type(getattr(back, each.name)) is type(getattr(noun, each.name)), each.name

    round_trip()


def _extra(mapping):
    if mapping is convert.PLAN:
        return {"conditions": []}
    if mapping in (convert.NEED, convert.JOB):
        plan = nouns.Plan(
            "p", datetime(2026, 5, 1, tzinfo=UTC), date(2026, 5, 1), 1, (), (), (), (), 0.0, 0.0, 1
        )
        row = convert.PLAN.to_row(plan, conditions=[])
        row.save()
        return {"plan": row}
    return {}


@_SETTINGS
@given(card=NOUNS[nouns.JobCard])
def test_a_card_survives_and_is_sealed(card):
    row = convert.card_to_row(card)
    assert convert.card_to_noun(row) == card
    row.status = "closed"
    assert convert.card_to_noun(row) == replace(card, status="closed")
    row.body = row.body.replace('"version":', '"version": ')
    with pytest.raises(WorkspaceError, match="was altered"):
        convert.card_to_noun(row)


def test_weather_survives_with_its_gaps(any_workspace):
    @_SETTINGS
    @given(record=weather_records, forecast=forecasts)
    def round_trip(record, forecast):
        with undone():
            row = convert.weather_to_row(record)
            row.save()
            _same(convert.weather_to_noun(models.WeatherRecord.objects.get(pk=row.pk)), record)
            row = convert.forecast_to_row(forecast)
            row.save()
            _same(convert.forecast_to_noun(models.Forecast.objects.get(pk=row.pk)), forecast)

    round_trip()


def _same(back, given):
    for each in fields(given):
        one, other = getattr(back, each.name), getattr(given, each.name)
        if isinstance(other, np.ndarray):
            np.testing.assert_array_equal(one, other)
            assert one.dtype == np.float64
        else:
            assert one == other, each.name


def test_a_pit_survives(any_workspace):
    @_SETTINGS
    @given(pit=pits)
    def round_trip(pit):
        with undone():
            convert.PLACE.to_row(pit.place).save()
            convert.pit_to_row(pit).save()
            assert convert.pit_to_noun(models.Pit.objects.get()) == pit

    round_trip()


def test_a_policy_survives(any_workspace):
    policy = nouns.Policy(version="odd")
    convert.policy_to_row(policy).save()
    assert convert.policy_to_noun(models.PolicyVersion.objects.get()) == policy


def test_a_policy_from_before_a_setting_takes_its_default(any_workspace):
    row = convert.policy_to_row(nouns.Policy())
    known = settings_of(nouns.Policy())[0].path.split(".")
    part = row.body
    for name in known[:-1]:
        part = part[name]
    del part[known[-1]]
    assert convert.policy_to_noun(row) == nouns.Policy()


@_SETTINGS
@given(words=st.lists(texts, max_size=3))
def test_a_network_survives_as_json(words):
    network = nouns.Network(
        nodes=(nouns.Node("a", 0.0, 0.0, float("inf")), nouns.Node("b", 1.0, 1.0)),
        segments=(
            nouns.Segment("s", "".join(words), "a", "b", 0.0, 5.0, ((0.0, 0.0), (1.0, 1.0))),
        ),
        features=(nouns.PointFeature("f", "culvert", 0.5, 0.5, "s", 2.0),),
        backdrop=(nouns.Backdrop("rail", ((0.0, 1.0), (1.0, 0.0))),),
    )
    assert convert.network_from_json(convert.network_to_json(network)) == network


def test_every_noun_of_the_model_has_a_place_to_stay():
    kept = {mapping.noun for mapping in convert.MAPPINGS}
    kept |= {nouns.JobCard, nouns.GravelPit, nouns.WeatherRecord, nouns.Forecast, nouns.Policy}
    kept |= {nouns.AdoptedYears, nouns.YearsStudy}
    kept |= {nouns.FieldFact}  # a row of the field's own
    bundles = {nouns.CrewCalendar, nouns.District, nouns.Fleet, nouns.Network}
    parts = {
        nouns.BenefitPart, nouns.BidItem, nouns.CardStep, nouns.Caution,
        nouns.ClassTravel, nouns.CostRange,
        nouns.HoldPoint, nouns.Itinerary, nouns.Leg, nouns.Money,
        nouns.Operation, nouns.PlanWish, nouns.Quantity, nouns.Rate, nouns.Reason,
        nouns.ScaleTicket, nouns.Sketch, nouns.SketchFeature, nouns.Stage, nouns.Stake,
        nouns.Station, nouns.Stay, nouns.Support,
        nouns.SupportBooking, nouns.Unserved, nouns.Violation,
        nouns.ProgrammeItem, nouns.YearsLevel, nouns.YearsQuestion, nouns.YearsScenario,
    }  # fmt: skip
    passing = {nouns.FactAnswer, nouns.Strategy}
    everything = {
        each
        for name in nouns.__all__
        if isinstance(each := getattr(nouns, name), type) and hasattr(each, "__dataclass_fields__")
    }
    assert everything == kept | bundles | parts | passing


@pytest.mark.parametrize(
    ("noun", "message"),
    [
        (nouns.Node("n", float("nan"), 0.0), "Node.lon is not a number"),
        (nouns.Node("n\x00", 0.0, 0.0), "Node.id holds a NUL"),
    ],
)
def test_what_no_database_can_hold_is_refused(noun, message):
    with pytest.raises(InputError, match=message):
        convert.NODE.to_row(noun)


def test_a_time_without_a_zone_is_refused():
    hazard = nouns.Hazard("h", "s1", 0.0, "other", datetime(2026, 5, 1, 12))  # noqa: DTZ001
    with pytest.raises(InputError, match="without a zone"):
        convert.HAZARD.to_row(hazard)


def test_nested_text_is_checked_too():
    with pytest.raises(InputError, match="NUL"):
        canonical_json({"a": ["\x00"]})
    with pytest.raises(InputError, match="half a character"):
        canonical_json(["\ud800"])
    with pytest.raises(InputError, match="not finite"):
        canonical_json([float("inf")])


def test_long_nested_columns_are_packed():
    packed = [each for each in columns_of(models.Job) if isinstance(each, PackedJSONField)]
    assert [each.name for each in packed] == ["stages"]
