"""The invented district is whole, plausible, the same every time, and says that it is invented."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import pytest
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from crossfall.demo import osier_valley, section_grid
from crossfall.demo.sheet import draw_sheet
from crossfall.errors import InputError
from crossfall.model import Network

TODAY = date(2026, 6, 10)


def _n_parts(network: Network) -> int:
    index = {node.id: number for number, node in enumerate(network.nodes)}
    a = [index[segment.from_node] for segment in network.segments]
    b = [index[segment.to_node] for segment in network.segments]
    graph = coo_array((np.ones(len(a)), (a, b)), shape=(len(index), len(index)))
    return int(connected_components(graph, directed=False)[0])


@pytest.fixture(scope="module")
def district():
    return osier_valley(seed=1, today=TODAY)


def test_has_the_size_that_was_promised(district):
    network, fleet = district.network, district.fleet
    assert len(network.maintained) == 600
    assert 650 <= network.maintained_km <= 750
    assert len(fleet.graders) == 5
    kinds = [machine.kind for machine in fleet.machines]
    assert [kinds.count(k) for k in ("water_truck", "roller", "haul_truck", "loader")] == [
        2,
        1,
        6,
        1,
    ]
    assert sum(place.kind == "yard" for place in fleet.places) == 3
    assert len(fleet.pits) == 3
    highways = {s.route for s in network.segments if s.surface == "paved" and s.adt > 200}
    assert {route for route in highways if "Highway" in route} == {
        "State Highway 58",
        "State Highway 203",
    }


def test_everything_says_that_it_is_invented(district):
    assert district.is_invented
    assert "invented" in district.name
    assert all(record.is_invented for record in district.weather)
    assert all(forecast.is_invented for forecast in district.forecasts)
    assert {segment.source for segment in district.network.segments} == {"invented for the demo"}
    assert {feature.source for feature in district.network.features} == {"invented for the demo"}
    assert all("invented" in condition.note for condition in district.conditions)
    assert all("invented" in record.note for record in district.records)


def test_same_seed_same_district(district):
    again = osier_valley(seed=1, today=TODAY)
    assert again.network == district.network
    assert again.conditions == district.conditions
    assert again.records == district.records
    assert np.array_equal(again.weather[0].rain_mm, district.weather[0].rain_mm)
    assert np.array_equal(again.forecasts[0].rain_mm, district.forecasts[0].rain_mm)
    assert osier_valley(seed=2, today=TODAY).network != district.network


@pytest.mark.parametrize("seed", range(1, 9))
def test_network_is_one_piece_with_sensible_lengths(seed):
    network = section_grid(600, seed)
    assert _n_parts(network) == 1
    lengths = np.array([segment.length_m for segment in network.maintained])
    assert np.quantile(lengths, [0.1, 0.9]) == pytest.approx([750, 1620], abs=120)
    assert lengths.min() > 200
    assert lengths.max() < 2200


@pytest.mark.parametrize("seed", range(1, 9))
def test_every_village_has_its_streets(seed):
    sheet = draw_sheet(600, seed)
    assert len(sheet.villages) == 5
    streets = {segment.route for segment in sheet.network.segments}
    for village in sheet.villages:
        assert any(route.endswith(village.name) for route in streets)


@pytest.mark.parametrize("n_segments", [12, 13, 40, 119, 200, 800])
def test_section_grid_has_exactly_the_segments_asked_for(n_segments):
    network = section_grid(n_segments, seed=3)
    assert len(network.maintained) == n_segments
    assert _n_parts(network) == 1


@pytest.mark.parametrize("n_segments", [0, 11, 300_001])
def test_impossible_sizes_are_refused(n_segments):
    with pytest.raises(InputError, match="n_segments"):
        section_grid(n_segments, seed=1)


def test_lines_join_their_nodes_and_features_lie_on_their_segments(district):
    network = district.network
    for segment in network.segments:
        start, end = network.node_by_id[segment.from_node], network.node_by_id[segment.to_node]
        assert segment.line[0] == (start.lon, start.lat)
        assert segment.line[-1] == (end.lon, end.lat)
    kinds = {feature.kind for feature in network.features}
    assert {
        "bridge",
        "culvert",
        "rail_crossing",
        "gate",
        "cattle_guard",
        "overhead_line",
        "pipeline",
        "survey_monument",
        "driveway",
        "stream",
    } <= kinds
    for feature in network.features:
        assert 0 <= feature.at_m <= network.segment_by_id[feature.segment_id].length_m


def test_a_storm_came_two_days_ago_and_the_days_are_complete(district):
    for record in district.weather:
        assert record.n_days == 730
        assert record.last_day == TODAY - timedelta(days=1)
        assert 15 <= record.rain_mm[-2] <= 25
        assert np.isfinite(record.rain_mm).all()
        assert (record.tmax_c > record.tmin_c).all()
        july = [(record.first_day + timedelta(days=n)).month == 7 for n in range(730)]
        january = [(record.first_day + timedelta(days=n)).month == 1 for n in range(730)]
        assert record.tmin_c[january].mean() < -5 < 10 < record.tmin_c[july].mean()
        assert 250 < record.rain_mm.sum() / 2 < 700


def test_forecast_has_twenty_members_for_ten_days_from_today(district):
    for forecast in district.forecasts:
        assert (forecast.n_members, forecast.n_days) == (20, 10)
        assert forecast.first_day == TODAY
        share_wet = (forecast.rain_mm > 0.2).mean(axis=0)
        assert share_wet[0] < 0.3
        assert share_wet[2:7].max() > 0.3
        assert (forecast.tmax_c >= forecast.tmin_c).all()


def test_past_weather_does_not_depend_on_today():
    one = osier_valley(seed=4, today=TODAY).weather[0]
    other = osier_valley(seed=4, today=TODAY + timedelta(days=200)).weather[0]
    assert np.allclose(one.rain_mm[200:-5], other.rain_mm[: 730 - 205], atol=0.11)


def test_survey_spreads_over_all_scores_and_knows_when_it_was(district):
    for name in ("crown", "drainage", "gravel", "deformation", "defects"):
        scores = np.array([getattr(condition, name) for condition in district.conditions])
        assert scores.min() <= 2.5
        assert scores.max() == 5
        assert 3.2 < scores.mean() < 4.5
    surveyed = {condition.segment_id for condition in district.conditions}
    assert 0.9 * 600 < len(surveyed) < 600
    for condition in district.conditions:
        assert condition.last_bladed_on <= condition.observed_on <= TODAY


def test_last_records_agree_with_the_survey(district):
    latest = {}
    for record in district.records:
        latest[record.segment_id] = max(latest.get(record.segment_id, date.min), record.done_on)
    for condition in district.conditions:
        if condition.segment_id in latest and condition.last_bladed_on >= TODAY - timedelta(150):
            assert latest[condition.segment_id] >= condition.last_bladed_on
    assert sum(record.windrow_side is not None for record in district.records) == 2
    assert len({record.id for record in district.records}) == len(district.records)


def test_two_hazards_one_barricaded_and_one_open_request(district):
    assert [hazard.barricaded_at is not None for hazard in district.hazards] == [True, False]
    # Nobody has noticed anything later than the morning it is
    morning = datetime.combine(TODAY, time(6), UTC)
    assert all(hazard.noticed_at < morning for hazard in district.hazards)
    assert [request.status for request in district.requests].count("open") == 1
    known = district.network.segment_by_id
    assert all(hazard.segment_id in known for hazard in district.hazards)


def test_creek_and_rail_lie_where_roads_cross_them(district):
    network = district.network
    for kind, feature, count in (("stream", "bridge", 2), ("rail", "rail_crossing", 1)):
        lines = [shapely.LineString(each.line) for each in network.backdrop if each.kind == kind]
        assert len(lines) == count
        crossed = [each for each in network.features if each.kind == feature]
        away = [min(line.distance(shapely.Point(f.lon, f.lat)) for line in lines) for f in crossed]
        # About a hundred metres: a bridge is drawn at the middle of its span
        assert max(away) < 0.001
