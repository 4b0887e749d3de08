"""The morning in one call: with weather, without it, and what a look changes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from crossfall.demo import osier_valley
from crossfall.errors import InputError
from crossfall.model import Observation
from crossfall.workflow import morning, road_surface, what_changed
from moisture_case import FLEET, TODAY, district, forecast, roads, weather

CALM = (forecast([[0.0] * 5] * 10),)


def case(**more):
    return district(network=roads(20), record=weather(rain={30: 9.0}), forecasts=CALM, **more)


def test_a_morning_with_weather():
    sheet = morning(case(), today=TODAY, n_days=3)
    assert sheet.trouble == ""
    assert sheet.state is not None
    assert sheet.gates is not None
    assert sheet.state.n_days == 3
    assert {each.segment_id for each in sheet.conditions} == {f"s{n}" for n in range(20)}
    assert [each.advice for each in sheet.limits] == ["none"]


def test_a_morning_without_weather_says_why_and_still_knows_the_needs():
    sheet = morning(case(weather=()), today=TODAY)
    assert sheet.state is None
    assert "no weather record" in sheet.trouble
    assert len(sheet.conditions) == 20
    with pytest.raises(InputError, match="no weather record"):
        road_surface(case(weather=()), sheet, "s0")


def test_water_or_wait_is_judged_for_the_depth_that_is_cut():
    given = case()
    sheet = morning(given, today=TODAY)
    surface = road_surface(given, sheet, "s0")
    assert surface.water is not None
    assert surface.water.verdict == "water"
    assert surface.water.n_loads >= 1
    assert surface.days.today.likely.label == "dry"
    dry_fleet = replace(FLEET, machines=tuple(m for m in FLEET.machines if m.kind != "water_truck"))
    assert road_surface(replace(given, fleet=dry_fleet), sheet, "s0").water is None


def test_a_sheet_of_one_day_still_waits_for_the_rain_of_the_next_ones():
    wet = (forecast([[0.0, 25.0, 0.0, 0.0, 0.0]] * 10),)
    given = district(network=roads(2), record=weather(rain={30: 9.0}), forecasts=wet)
    verdicts = [
        road_surface(given, morning(given, today=TODAY, n_days=n), "s0").water for n in (1, 2, 10)
    ]
    assert [each and each.verdict for each in verdicts] == ["wait"] * 3
    assert {each and each.reason for each in verdicts[:2]} == {verdicts[2] and verdicts[2].reason}


def test_water_is_reckoned_on_thin_roads_too():
    given = osier_valley(today=TODAY)
    sheet = morning(given, today=TODAY, n_days=4)
    thin = sorted(given.network.maintained, key=lambda each: each.gravel_mm)[:15]
    for segment in (*thin, *given.network.maintained[::40]):
        assert road_surface(given, sheet, segment.id).water is not None, segment.id


def test_a_road_with_an_odd_figure_keeps_its_moisture():
    given = case()
    odd = replace(given.network.segments[0], width_m=0.5)
    network = replace(given.network, segments=(odd, *given.network.segments[1:]))
    given = replace(given, network=network)
    surface = road_surface(given, morning(given, today=TODAY), "s0")
    assert surface.days.today.likely.label == "dry"
    assert surface.water is None
    assert "width_m is 0.5" in surface.no_water


def test_what_one_look_changed():
    place = roads(20).segments[0].line[1]
    old = Observation("o1", TODAY, *place, "dust", None, "s0")
    new = Observation("o2", TODAY, *roads(20).segments[19].line[1], "too_wet", None, "s19")
    found = what_changed(case(observations=(old, new)), {"o2"}, today=TODAY, n_days=2)
    assert "s19" in {each.segment_id for each in found.changes}
    assert "s0" not in found.touched_ids
    nothing = what_changed(case(observations=(old, new)), set(), today=TODAY, n_days=2)
    assert nothing.touched_ids == ()
