"""Rain by the hour, from the record and the forecast to the parts of a day."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.formulas.moisture_class import MoistureClass, rain_between
from crossfall.judgement.forcing import Site, build_timeline
from crossfall.judgement.hindcast import hindcast
from crossfall.judgement.run_days import run_days
from crossfall.judgement.state import surface_state
from crossfall.judgement.stations import group_segments
from crossfall.model import Observation, Station
from crossfall.model.policy import MoisturePolicy
from moisture_case import STATION, TODAY, district, forecast, roads, weather

POLICY = MoisturePolicy()


def by_hour(record, hours=None, hour=0):
    """The record with each day's rain in one hour; ``hours`` says another for days before its end.

    Days are counted backwards from the day after the last.
    """
    rain = np.zeros((record.n_days, 24))
    rain[:, hour] = record.rain_mm
    for days_before, at in (hours or {}).items():
        rain[-days_before] = 0.0
        rain[-days_before, at] = record.rain_mm[-days_before]
    rain[np.isnan(record.rain_mm)] = np.nan
    return replace(record, rain_hour_mm=rain)


def pct(record, **more):
    seen = surface_state(district(record=record, **more), first_day=TODAY, n_days=3)
    return seen.history("s0")[0], seen


def test_hours_and_days_are_the_same_when_it_is_dry():
    record = weather(200)
    days, hours = pct(record)[0], pct(by_hour(record))[0]
    np.testing.assert_allclose(days, hours, atol=1e-9)


def test_an_afternoon_storm_leaves_more_water_than_one_at_night():
    record = weather(rain={1: 20.0})
    night, afternoon = (
        surface_state(
            district(record=by_hour(record, {1: hour})), first_day=TODAY, n_days=1
        ).moisture_pct[:, 0, 0].mean()
        for hour in (1, 16)
    )  # fmt: skip
    # The sun of the day was over: nearly a whole day's drying, 1.15 ET0 over 3.15 mm/%, is missing
    assert 0.7 < afternoon - night < 2.5


def test_a_storm_runs_off_alike_whether_it_crosses_midnight_or_not():
    """The storm's running total counts: 12 mm before and 12 after midnight are one of 24."""
    record = weather(120, rain={3: 12.0, 2: 12.0})
    one_storm = by_hour(record, {3: 23, 2: 0})
    two_storms = by_hour(record, {3: 2, 2: 22})
    road = roads().segments[0]
    together, apart = (hindcast(each, road, POLICY).runoff_mm.sum() for each in
                       (one_storm, two_storms))  # fmt: skip
    # TR-55 Eq. 2-3 for CN 91 by hand: 8.166 mm off 24 mm at once, 1.516 off 12 mm, twice
    assert together == pytest.approx(8.166, abs=0.001)
    assert apart == pytest.approx(2 * 1.516, abs=0.002)


def test_water_is_kept_by_the_hour():
    rng = np.random.default_rng(4)
    record = weather(800, tmin=-3, tmax=9)
    record.rain_mm[:] = np.where(rng.uniform(size=800) < 0.3, rng.gamma(0.8, 9, 800), 0)
    record.tmin_c[:] = record.tmin_c + rng.normal(0, 5, 800)
    record.tmax_c[:] = record.tmin_c + 10
    hours = rng.dirichlet(np.full(24, 0.2), 800) * record.rain_mm[:, None]
    timeline = build_timeline(
        [replace(record, rain_hour_mm=hours)], (), [Site(0)],
        replace(POLICY, warmup_days=800, n_members=1), first_day=TODAY, n_days=1, seed=0,
    )  # fmt: skip
    groups = group_segments(roads().segments, ["fair"], np.zeros(1, dtype=np.int64), POLICY)
    start = groups.layer.field_capacity_mm[None].copy()
    run = run_days(timeline, groups.layer, np.zeros(1, dtype=np.int64), start,
                   rows=[0], days=slice(0, 800))  # fmt: skip
    assert run.imbalance_mm(timeline.weather.part([0], slice(0, 800)), np.zeros(1, int)) <= 1e-9
    assert run.water_mm.shape == (1, 1, 801)
    # Snow fell and melted on the way, so melt was spread over the sun as well
    assert timeline.melt_mm.sum() > 10


def test_a_daily_station_is_not_moved_by_the_hours_of_another():
    far = Station("g2", "Far Gauge", -100.0 + 8 / 78.8, 45.0, 400.0)
    network = roads(8)
    rain = {1: 15.0, 5: 8.0}
    daily = weather(rain=rain)
    both = (daily, by_hour(weather(rain=rain, station=far), {1: 17}))
    alone = (daily, weather(rain=rain, station=far))
    with_hours, without = (
        surface_state(
            district(network=network, weather=each), first_day=TODAY, n_days=4
        ).moisture_pct
        for each in (both, alone)
    )
    np.testing.assert_array_equal(with_hours[:, 0], without[:, 0])
    assert not np.array_equal(with_hours[:, -1], without[:, -1])


def _rainy_afternoon(hour, mm=12.0, n_members=1):
    rain = np.zeros((n_members, 3, 24))
    rain[:, 0, hour] = mm
    made = forecast(rain.sum(axis=-1))
    return replace(made, rain_hour_mm=rain)


def _moist(**more):
    """A road that the morning finds right for the blade."""
    return district(record=weather(rain={1: 25.0, 2: 25.0}, tmin=8.0, tmax=16.0), **more)


@pytest.mark.parametrize(
    ("hour", "classes", "words"),
    [
        # Storm at 17 h: the morning and noon are as good as on a dry day
        (17, ["WORKABLE", "WORKABLE", "TOO_WET"], "Workable until the afternoon, then rain"),
        # At 13 h: noon's part is gone, and late answers for the three hours before 16 h
        (13, ["WORKABLE", "TOO_WET", "TOO_WET"], "Workable early, then rain: be done by noon"),
        (8, ["TOO_WET", "TOO_WET", "TOO_WET"], "Rain on the day, leave it"),
        # After work: rain of the night shuts nothing
        (22, ["WORKABLE", "WORKABLE", "WORKABLE"], "Right for the blade"),
    ],
)
def test_a_storm_shuts_the_parts_of_the_day_it_falls_in(hour, classes, words):
    case = _moist(forecasts=(_rainy_afternoon(hour, n_members=11),))
    state = surface_state(case, first_day=TODAY, n_days=2)
    parts = state.part_classes("s0", TODAY)
    assert [each.name for each, _ in parts.values()] == classes
    assert state.reason("s0", TODAY).startswith(words)


def test_the_same_rain_without_hours_shuts_the_whole_day():
    case = _moist(forecasts=(forecast(np.full((11, 3), 12.0)),))
    state = surface_state(case, first_day=TODAY, n_days=2)
    assert {each for each, _ in state.part_classes("s0", TODAY).values()} == {MoistureClass.TOO_WET}
    assert state.site_rain_share is None


def test_rain_of_the_night_is_in_the_next_mornings_road():
    """What falls after work does not shut its day, and yet none of it is lost."""
    wet = _moist(forecasts=(_rainy_afternoon(22, 30.0, 11),))
    dry = _moist(forecasts=(_rainy_afternoon(22, 0.0, 11),))
    first, second = (
        surface_state(each, first_day=TODAY, n_days=3).moisture_pct[:, 0] for each in (wet, dry)
    )
    np.testing.assert_allclose(first[:, 0], second[:, 0])
    assert (first[:, 1] - second[:, 1]).min() > 1.5


def test_a_gauge_over_an_hourly_record_brings_its_rain():
    record = by_hour(weather(rain={1: 4.0}), {1: 15})
    reading = Observation("o-1", TODAY, -99.99, 45.0, rain_mm=25.0)
    told = district(record=record, observations=(reading,))
    heard, unheard = (
        surface_state(each, first_day=TODAY, n_days=1).moisture_pct[:, 0, 0].mean()
        for each in (told, district(record=record))
    )
    assert heard > unheard + 1.0


def test_a_day_without_hours_in_an_hourly_record_is_unknown_as_ever():
    record = weather(rain={40: 9.0})
    record.rain_mm[-3] = np.nan
    found, state = pct(by_hour(record))
    assert np.isnan(found[-2:]).all()
    assert "1 days without a rain figure" in " ".join(state.notes)
    assert "rain by the hour on" in " ".join(state.notes)


def test_past_weather_that_stands_in_keeps_its_hours():
    """Other years' storms fall when they fell: late in the day, so the morning is let be."""
    record = weather(1100, until=TODAY)
    record.rain_mm[:] = 4.0
    night, noon = (by_hour(record, hour=hour) for hour in (21, 12))
    by_night, by_noon = (
        surface_state(district(record=each), first_day=TODAY, n_days=3) for each in (night, noon)
    )
    late = TODAY + timedelta(days=2)
    assert by_night.site_rain_share is not None
    assert by_noon.likely_surface("s0", late) is MoistureClass.TOO_WET
    assert by_night.likely_surface("s0", late) is not MoistureClass.TOO_WET


def test_rain_between_counts_begun_hours_by_their_share():
    hours = np.zeros((2, 24))
    hours[0, 9], hours[1, 23] = 4.0, 2.0
    assert rain_between(hours, 9.25, 9.75).tolist() == [2.0, 0.0]
    assert rain_between(hours, 0.0, 24.0).tolist() == [4.0, 2.0]
    assert rain_between(hours, -3.0, 9.0).tolist() == [0.0, 0.0]


def test_hours_of_the_wrong_shape_are_refused():
    record = weather(30)
    with pytest.raises(InputError, match=r"rain_hour_mm has shape \(30, 23\)"):
        replace(record, rain_hour_mm=np.zeros((30, 23)))
    with pytest.raises(InputError, match="rain_hour_mm"):
        replace(forecast(np.zeros((2, 3))), rain_hour_mm=np.zeros((2, 24)))
    assert record.station == STATION
