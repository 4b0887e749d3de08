"""Wetness of roads from weather: classes, chances, unknown days, members, bad input."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
import vega_datasets

from crossfall.errors import InputError, UnitsError
from crossfall.formulas.moisture_class import MoistureClass
from crossfall.judgement.road_days import road_days
from crossfall.judgement.state import surface_state
from crossfall.model import (
    Condition,
    Policy,
    Segment,
    Station,
    Treatment,
    WeatherRecord,
    WorkRecord,
)
from crossfall.model.policy import MoisturePolicy
from moisture_case import STATION, TODAY, district, forecast, roads, weather

FEW = Policy(moisture=MoisturePolicy(n_members=21))


def state_of(n_days=5, seed=0, **more):
    return surface_state(
        district(**({"policy": FEW} | more)), first_day=TODAY, n_days=n_days, seed=seed
    )


def likely(state, day=0, segment="s0"):
    return state.most_likely(segment, state.first_day + timedelta(days=day))


# ---------------------------------------------------------------- what it says


def test_a_dry_spell_is_dry():
    state = state_of(record=weather(rain={40: 20.0}))
    assert likely(state) is MoistureClass.DRY
    assert state.p_class(MoistureClass.DRY)[0, 0] == 1.0
    assert "Dry" in state.reason("s0", TODAY)


def test_the_day_after_a_storm_is_workable():
    state = state_of(
        record=weather(rain={1: 30.0}, tmin=10, tmax=18), forecasts=(forecast([[0.0] * 5] * 9),)
    )
    assert likely(state) is MoistureClass.WORKABLE
    assert "30 mm the day before" in state.reason("s0", TODAY)
    assert "optimum of 7 %" in state.reason("s0", TODAY)


def test_rain_of_the_day_makes_it_too_wet():
    state = state_of(
        record=weather(rain={1: 15.0}), forecasts=(forecast([[12.0, 0, 0, 0, 0]] * 9),)
    )
    assert likely(state) is MoistureClass.TOO_WET
    assert state.reason("s0", TODAY).startswith("Rain on the day")


def test_poor_drainage_and_shade_stay_wet_longer():
    network = roads(3)
    segments = tuple(
        replace(segment, drainage=drainage, shade=shade)
        for segment, (drainage, shade) in zip(
            network.segments, [("good", "open"), ("poor", "open"), ("poor", "forest")], strict=True
        )
    )
    state = state_of(
        network=replace(network, segments=segments),
        record=weather(rain={1: 40.0, 2: 40.0}),
        forecasts=(forecast([[0.0] * 5] * 9),),
    )
    good, poor, dark = state.moisture_pct.mean(axis=0)
    assert np.all(poor > good)
    assert np.all(dark[1:] > poor[1:])


def test_a_blocked_ditch_drains_worse_until_it_is_cleaned():
    look = Condition("s0", TODAY - timedelta(days=9), 3, 3, 3, 3, 3, is_ditch_blocked=True)
    clean = WorkRecord(
        "w", "s0", TODAY - timedelta(days=5), Treatment.DITCH_CLEANING, 1, 2.0, "Ann"
    )
    wet = weather(rain={1: 40.0, 2: 40.0})
    plain = state_of(record=wet).moisture_pct[:, 0, 0].mean()
    blocked = state_of(record=wet, conditions=(look,)).moisture_pct[:, 0, 0].mean()
    cleaned = (
        state_of(record=wet, conditions=(look,), records=(clean,)).moisture_pct[:, 0, 0].mean()
    )
    assert blocked > plain
    assert cleaned == pytest.approx(plain)


def test_frost_and_the_thaw_after_it():
    n = 200
    cold = np.concatenate([np.full(80, 8.0), np.full(100, -9.0), np.full(20, -12.0)])
    frozen = state_of(
        record=weather(n, tmin=cold - 3, tmax=cold + 3),
        forecasts=(forecast([[0.0] * 5] * 9, -9, -4),),
    )
    assert likely(frozen) is MoistureClass.FROZEN
    assert "Frozen" in frozen.reason("s0", TODAY)
    spring = np.concatenate([np.full(80, 8.0), np.full(107, -9.0), np.full(13, 6.0)])
    weak = state_of(
        record=weather(n, tmin=spring - 3, tmax=spring + 3),
        forecasts=(forecast([[0.0] * 5] * 9, 3, 9),),
    )
    assert weak.thaw_weak[0].all()
    assert likely(weak) is MoistureClass.TOO_WET
    assert "Thaw-weak" in weak.reason("s0", TODAY)
    # By the surface alone it would have been dry enough
    assert weak.likely_surface("s0", TODAY) is not MoistureClass.TOO_WET


def test_parts_of_the_day_follow_the_sun():
    # Just above the band in the morning, inside it by noon
    rain = {1: 60.0, 2: 30.0}
    policy = Policy(moisture=MoisturePolicy(n_members=21, start_spread_pct=0.05, et_spread=0.01))
    state = state_of(
        record=weather(rain=rain, tmin=4, tmax=8), forecasts=(forecast([[0.0] * 5] * 9, 14, 33),),
        network=roads(drainage="poor"), policy=policy,
    )  # fmt: skip
    parts = state.part_classes("s0", TODAY)
    assert list(parts) == ["early", "midday", "late"]
    assert parts["early"][0] is MoistureClass.TOO_WET
    assert parts["late"][0] is MoistureClass.WORKABLE
    assert "Still greasy" in state.reason("s0", TODAY)


def test_shapes_and_chances():
    state = state_of(network=roads(4), record=weather(rain={3: 25.0}))
    assert state.classes.shape == state.moisture_pct.shape == state.rain_mm.shape == (21, 4, 5)
    total = sum(state.p_class(cls) for cls in MoistureClass)
    np.testing.assert_allclose(total, 1.0)
    assert state.p_workable.shape == (4, 5)
    # Alike roads share a group
    assert state.group_classes.shape[1] == 1
    assert state.fan("s0").shape == (5, 5)
    assert np.all(np.diff(state.fan("s0"), axis=0) >= 0)
    moisture, rain = state.history("s0")
    assert moisture.shape == rain.shape == (45,)
    assert rain[-3] == 25.0


def test_the_same_seed_gives_the_same_state():
    a, b, c = (
        state_of(record=weather(rain=dict.fromkeys(range(1, 400, 5), 6.0)), seed=s)
        for s in (1, 1, 2)
    )
    np.testing.assert_array_equal(a.group_moisture_pct, b.group_moisture_pct)
    assert not np.array_equal(a.group_moisture_pct, c.group_moisture_pct)


def test_unmaintained_roads_are_left_out():
    network = roads(2)
    paved = replace(network.segments[1], is_maintained=False, surface="paved")
    state = state_of(network=replace(network, segments=(network.segments[0], paved)))
    assert state.segment_ids == ("s0",)
    with pytest.raises(InputError, match="s1"):
        state.index("s1")
    with pytest.raises(InputError, match="outside"):
        state.most_likely("s0", TODAY + timedelta(days=5))


# ---------------------------------------------------------------- what is not known


def test_missing_rain_is_unknown_and_never_dry():
    record = weather(rain={30: 20.0})
    record.rain_mm[-2] = np.nan
    state = state_of(record=record)
    assert likely(state) is MoistureClass.UNKNOWN
    assert "Nobody knows" in state.reason("s0", TODAY)
    assert any("1 days without a rain figure" in note for note in state.notes)
    assert np.isnan(state.history("s0")[0][-1])


def test_a_soaking_storm_settles_it_again():
    record = weather(rain={1: 80.0, 2: 80.0})
    record.rain_mm[-9] = np.nan
    assert likely(state_of(record=record)) is not MoistureClass.UNKNOWN


def test_a_long_drought_settles_it_again():
    record = weather(tmin=12, tmax=32)
    record.rain_mm[-40] = np.nan
    assert likely(state_of(record=record)) is MoistureClass.DRY


def test_a_gap_in_temperature_is_unknown_too():
    record = weather(rain={6: 30.0})
    record.tmax_c[-5:] = np.nan
    assert likely(state_of(record=record)) is MoistureClass.UNKNOWN


def test_missing_rain_in_the_forecast_is_unknown_from_then_on():
    state = state_of(
        record=weather(rain={2: 25.0}), forecasts=(forecast([[0.0, np.nan, 0.0, 0.0, 0.0]] * 9),)
    )
    assert likely(state, 0) is not MoistureClass.UNKNOWN
    assert likely(state, 1) is MoistureClass.UNKNOWN
    assert likely(state, 2) is MoistureClass.UNKNOWN


def test_a_short_record_is_said_and_unknown_until_settled():
    mild = weather(20, tmin=1, tmax=3, rain={9: 2.0})
    state = state_of(record=mild, forecasts=(forecast([[0.0] * 5] * 9, 1, 3),))
    assert any("only 20 days" in note for note in state.notes)
    assert likely(state) is MoistureClass.UNKNOWN


def test_impossible_wind_is_left_out_and_named():
    record = weather(wind_m_s=np.full(500, 3.0))
    record.wind_m_s[-7] = 468.5
    state = state_of(record=record)
    day = TODAY - timedelta(days=7)
    assert any("impossible figures of wind" in note and str(day) in note for note in state.notes)
    assert likely(state) is not MoistureClass.UNKNOWN


def test_a_minimum_above_its_maximum_is_left_out_and_named():
    record = weather()
    record.tmin_c[-3] = 40.0
    state = state_of(record=record)
    assert any("minimum temperature" in note for note in state.notes)
    assert likely(state) is MoistureClass.UNKNOWN or likely(state) is MoistureClass.DRY


# ---------------------------------------------------------------- what may come


def test_forecast_members_are_used_as_they_are():
    rain = np.zeros((10, 5))
    rain[:4, 1] = 20.0
    state = state_of(record=weather(rain={1: 20.0}), forecasts=(forecast(rain),))
    assert state.n_members == 10
    assert (state.rain_mm[:, 0, 1] > 3).mean() == pytest.approx(0.4)


def test_beyond_the_forecast_past_weather_stands_in():
    record = weather(800, rain=dict.fromkeys(range(1, 800, 4), 12.0))
    state = state_of(record=record, forecasts=(forecast([[0.0, 0.0]] * 9),), n_days=7)
    assert (state.rain_mm[:, 0, :2] == 0).all()
    assert (state.rain_mm[:, 0, 2:] > 0).any()
    assert any("past weather of the season" in note for note in state.notes)


def test_one_line_is_trusted_less_each_day():
    record = weather(800, rain=dict.fromkeys(range(1, 800, 3), 12.0))
    state = state_of(record=record, forecasts=(forecast([[0.0] * 7]),), n_days=7)
    other = (state.rain_mm[:, 0] > 0).mean(axis=0)
    assert other[0] <= 0.1
    assert other[6] > other[0]


def test_probability_and_amount_make_members():
    # The worked week of the method: a single line shows no workable day, members do
    pop = [0.1, 0.2, 0.8, 0.7, 0.3, 0.1, 0.1]
    qpf = [0.1, 0.5, 9.0, 6.0, 1.0, 0.2, 0.1]
    record = weather(rain={40: 5.0}, tmin=9, tmax=19)
    policy = Policy(moisture=MoisturePolicy(n_members=200))
    week = state_of(
        record=record, forecasts=(forecast([qpf], 9, 19, pop=pop),), n_days=7, policy=policy
    )
    wet = (week.rain_mm[:, 0] > 0).mean(axis=0)
    np.testing.assert_allclose(wet, pop, atol=0.12)
    assert week.p_workable[0, 0] == 0.0
    assert 0.1 < week.p_workable[0].max() < 0.6
    assert int(np.argmax(week.p_workable[0])) in (3, 4, 5)


def test_a_short_gap_before_the_first_day_is_filled_and_said():
    record = weather(
        800, until=TODAY - timedelta(days=2), rain=dict.fromkeys(range(3, 700, 4), 8.0)
    )
    state = state_of(record=record)
    assert any("2 days before" in note for note in state.notes)
    # Members already differ on the first day
    assert np.nanstd(state.moisture_pct[:, 0, 0]) > 0


def test_an_old_forecast_is_not_used_and_said():
    old = forecast(
        [[50.0] * 3] * 9, first=TODAY - timedelta(days=9), issued=TODAY - timedelta(days=9)
    )
    state = state_of(forecasts=(old,))
    assert any("is not used" in note for note in state.notes)
    assert state.rain_mm.max() == 0.0


def test_a_plan_for_a_past_day_does_not_see_what_came():
    record = weather(until=TODAY + timedelta(days=5), rain={5: 60.0, 4: 60.0})
    state = state_of(record=record)
    assert state.rain_mm.max() == 0.0


# ---------------------------------------------------------------- stations


def test_the_nearest_station_counts():
    far = Station("g2", "Heron Gauge", -99.5, 45.0, 400.0)
    network = roads(2)
    moved = replace(network.segments[1], line=((-99.52, 45.0), (-99.51, 45.0), (-99.50, 45.0)))
    state = state_of(
        network=replace(network, segments=(network.segments[0], moved)),
        weather=(weather(), weather(station=far, rain={1: 30.0})),
    )
    assert likely(state, segment="s0") is MoistureClass.DRY
    assert likely(state, segment="s1") is not MoistureClass.DRY


def test_a_road_out_of_reach_is_unknown_and_said():
    network = roads(2)
    moved = replace(network.segments[1], line=((-96.0, 45.0), (-95.9, 45.0)))
    state = state_of(network=replace(network, segments=(network.segments[0], moved)))
    assert likely(state, segment="s1") is MoistureClass.UNKNOWN
    assert any("1 segments have no weather station" in note for note in state.notes)


def test_a_station_200_km_away_is_refused():
    away = Station("g9", "Far Gauge", -97.4, 45.0)
    with pytest.raises(InputError, match=r"Far Gauge, is 20\d km"):
        state_of(record=weather(station=away))


# ---------------------------------------------------------------- bad input


@pytest.mark.parametrize(
    ("change", "error", "word"),
    [
        ({"record": weather(until=TODAY - timedelta(days=30))}, InputError, "read newer weather"),
        ({"record": weather(until=TODAY + timedelta(days=900))}, InputError, "begins on"),
        ({"record": weather(rain={5: -9999.0})}, InputError, "NaN where missing"),
        ({"record": weather(tmin=60.0, tmax=85.0)}, UnitsError, "Fahrenheit"),
        ({"weather": ()}, InputError, "no weather record"),
        ({"network": roads(material="moon dust")}, InputError, "moon dust"),
        ({"network": roads(gravel_mm=-5.0)}, InputError, "gravel_mm"),
        ({"network": roads(is_maintained=False)}, InputError, "no maintained segment"),
        ({"forecasts": (forecast([[-1.0] * 5] * 3),)}, InputError, "rain_mm"),
        ({"forecasts": (forecast([[0.0] * 5] * 3, 20, 10),)}, InputError, "swapped"),
    ],
)
def test_bad_input_is_named(change, error, word):
    with pytest.raises(error, match=word):
        state_of(**change)


def test_n_days_has_limits():
    with pytest.raises(InputError, match="n_days"):
        state_of(n_days=0)


# ---------------------------------------------------------------- real weather


@pytest.fixture(scope="module")
def seattle():
    table = vega_datasets.data.seattle_weather()
    return WeatherRecord(
        Station("sea", "Seattle", -122.31, 47.45, 130.0), date(2012, 1, 1),
        table.precipitation.to_numpy(float), table.temp_min.to_numpy(float),
        table.temp_max.to_numpy(float), table.wind.to_numpy(float), source="vega_datasets 0.9.0",
    )  # fmt: skip


def seattle_road(**change):
    network = roads(**change)
    line = ((-122.31, 47.45), (-122.30, 47.45), (-122.29, 47.45))
    return replace(network, segments=(replace(network.segments[0], line=line),))


def test_seattle_day_after_ten_millimetres(seattle):
    """Regression of the method's figures: 6 of 7 summer days after 10 mm or more are workable."""
    rain = seattle.rain_mm
    days = [
        i for i in range(400, rain.size - 1)
        if rain[i] >= 10 and rain[i + 1] < 1
        and (seattle.first_day + timedelta(days=i)).month in (6, 7, 8)
    ]  # fmt: skip
    found = []
    for i in days:
        day = seattle.first_day + timedelta(days=i + 1)
        state = surface_state(
            district(network=seattle_road(), record=seattle, policy=FEW), first_day=day, n_days=1
        )
        found.append(state.most_likely("s0", day))
    assert len(days) >= 4
    n_workable = sum(cls is MoistureClass.WORKABLE for cls in found)
    assert n_workable >= len(days) - 1


def test_seattle_winter_is_wet_where_drainage_is_poor(seattle):
    january = [date(2015, 1, d) for d in range(3, 31, 3)]
    share = {}
    for drainage, shade in (("good", "open"), ("poor", "forest")):
        network = seattle_road(drainage=drainage, shade=shade)
        wet = [
            surface_state(
                district(network=network, record=seattle, policy=FEW), first_day=day, n_days=1
            ).p_class(MoistureClass.TOO_WET)[0, 0]
            for day in january
        ]
        share[drainage] = float(np.mean(wet))
    assert share["poor"] > share["good"]


def test_summary_is_a_paragraph():
    text = state_of(network=roads(3)).summary()
    assert text.startswith("2026-06-10: 3 segments, 3 dry")
    assert "Hargreaves" in text


def test_station_is_named(seattle):
    assert STATION.name in state_of().notes[0] or STATION.name in state_of().summary()


def test_segment_defaults_have_a_material():
    assert Segment.__dataclass_fields__["material"].default in MoisturePolicy().materials


# ---------------------------------------------------------------- when nobody can be sure


def test_the_headline_is_the_middle_of_all_members():
    # A storm in a third of the members: the class of the others does not choose its own moisture
    rain = np.zeros((21, 5))
    rain[:9, 0] = 40.0
    state = state_of(record=weather(rain={3: 25.0}), forecasts=(forecast(rain),))
    day = TODAY + timedelta(days=1)
    figures = state.figures("s0", day)
    assert figures.moisture_pct == pytest.approx(np.median(state.moisture_pct[:, 0, 1]))
    assert figures.moisture_pct == pytest.approx(float(state.fan("s0")[2, 1]))


def test_no_class_with_half_the_members_is_said_to_be_unsure():
    state = state_of(record=weather(rain={3: 25.0}), forecasts=(forecast([[0.0] * 5] * 21),))
    classes = state.group_classes.copy()
    classes[:9, 0, 0], classes[9:16, 0, 0] = MoistureClass.DRYING, MoistureClass.WORKABLE
    classes[16:, 0, 0] = MoistureClass.TOO_WET
    split = replace(state, group_classes=classes)
    assert split.reason("s0", TODAY).startswith("Not sure, have a look: ")
    assert "4 in 10 drying, 3 in 10 workable" in split.reason("s0", TODAY)
    assert split.headline().endswith(f"{len(split.segment_ids)} not sure")
    assert split.is_unsure("s0", TODAY)
    days = road_days(split, "s0")
    assert days.today.is_unsure
    assert days.summary() == split.reason("s0", TODAY)
    assert not state.is_unsure("s0", TODAY)


# ---------------------------------------------------------------- forecasts that are odd or many


def test_rain_with_a_chance_of_nought_is_named_and_its_amount_counts():
    odd = forecast([[20.0, 0, 0, 0, 0]], 9, 19, pop=[0.0, 0, 0, 0, 0])
    state = state_of(record=weather(800), forecasts=(odd,))
    assert any("20 mm on 2026-06-10 with a chance of 0" in note for note in state.notes)
    # As a line without a chance: 0.95 of the members follow it on the first day
    assert (state.site_rain_mm[:, 0, 0] > 0).mean() == pytest.approx(0.95, abs=0.03)
    assert likely(state) is MoistureClass.TOO_WET
    assert not (state.site_rain_mm[:, 0, 1:] > 0).any()


def test_the_forecast_brought_in_last_wins_a_tie_and_all_are_named():
    dry, wet = forecast([[0.0] * 5] * 9), forecast([[30.0] + [0.0] * 4] * 9)
    old = forecast([[0.0] * 5] * 9, issued=TODAY - timedelta(days=1))
    assert likely(state_of(forecasts=(old, dry, wet))) is MoistureClass.TOO_WET
    state = state_of(forecasts=(wet, dry, old))
    assert likely(state) is MoistureClass.DRY
    told = [note for note in state.notes if "forecast of Willow Gauge" in note]
    assert any(note.endswith("2026-06-10 is used") for note in told)
    assert any("a later one of that day was brought in" in note for note in told)
    assert any("2026-06-09 is not used, an older one" in note for note in told)


def test_how_the_days_ahead_evaporate_is_said():
    state = state_of(forecasts=(forecast([[0.0] * 5] * 9),))
    (note,) = [each for each in state.notes if "evaporation of the days ahead" in each]
    assert "(5 days)" in note
