"""What people say of a road or a gauge becomes observations, or is refused with a reason."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from crossfall.errors import InputError
from crossfall.judgement import FieldReport, MoistureClass, observations_of, surface_state
from crossfall.judgement.stations import distance_km
from crossfall.model import Policy
from moisture_case import TODAY, district, roads, weather

POLICY = Policy()


def network():
    """Mill Road in two segments, 0 to 1 and 1 to 2 km, then Creek Road, then one of others."""
    plain = roads(4)
    names = (("Mill Road", 0.0), ("Mill Road", 1000.0), ("Creek Road", 0.0), ("State Road", 0.0))
    segments = [
        replace(segment, route=route, from_m=from_m, is_maintained=route != "State Road")
        for segment, (route, from_m) in zip(plain.segments, names, strict=True)
    ]
    return replace(plain, segments=tuple(segments))


NETWORK = network()


def told(**said):
    report = FieldReport(**({"observed_on": TODAY} | said))
    return observations_of(report, NETWORK, POLICY, key="k", today=TODAY)


def test_a_look_at_a_whole_road_is_one_for_each_segment():
    made = told(felt="dust", road="  mill  ROAD ", observer="Ann", note="at dawn")
    assert [(each.id, each.segment_id) for each in made] == [("k-1", "s0"), ("k-2", "s1")]
    assert {(each.felt, each.rain_mm, each.observer, each.note) for each in made} == {
        ("dust", None, "Ann", "at dawn")
    }
    for each, segment in zip(made, NETWORK.segments, strict=False):
        assert distance_km(each.lon, each.lat, *segment.line[1]) < 0.002


def test_metres_along_a_road_find_the_segment():
    (made,) = told(felt="too_wet", road="Mill Road", at_m=1250.0)
    assert made.segment_id == "s1"
    start = NETWORK.segments[1].line[0]
    assert distance_km(made.lon, made.lat, *start) == pytest.approx(0.25, abs=0.002)
    (made,) = told(felt="too_wet", road="s1", at_m=1000.0)
    assert (made.lon, made.lat) == pytest.approx(NETWORK.segments[1].line[-1])


def test_a_gauge_without_metres_counts_at_the_middle_of_the_road():
    (made,) = told(rain_mm=12.5, road="Mill Road")
    assert made.segment_id in {"s0", "s1"}
    (made,) = told(rain_mm=12.5, road="Creek Road")
    assert (made.segment_id, made.rain_mm, made.felt) == ("s2", 12.5, None)


def test_a_place_needs_no_road():
    (made,) = told(rain_mm=0.0, place=(-100.0, 45.01))
    assert (made.segment_id, made.lon, made.lat) == (None, -100.0, 45.01)


def test_a_report_resets_the_surface():
    made = told(felt="too_wet", road="Creek Road")
    case = district(network=NETWORK, record=weather(), observations=made)
    state = surface_state(case, first_day=TODAY, n_days=1)
    assert state.most_likely("s2", TODAY) is MoistureClass.TOO_WET


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ({"road": "Mill Road"}, "neither how the surface felt nor what a gauge caught"),
        ({"felt": "soggy", "road": "Mill Road"}, "expected too_wet, just_right, dust"),
        ({"rain_mm": -1.0, "road": "Mill Road"}, "rain_mm is -1; expected 0 to 500"),
        ({"rain_mm": 2540.0, "road": "Mill Road"}, "rain_mm is 2540"),
        ({"rain_mm": 900.0, "road": "Mill Road"}, "maybe the decimal point slipped"),
        ({"rain_mm": float("nan"), "road": "Mill Road"}, "rain_mm is nan"),
        ({"felt": "dust"}, "say where"),
        ({"felt": "dust", "road": "Mill Road", "place": (-100.0, 45.0)}, "one of the two"),
        ({"felt": "dust", "road": "Mil Road"}, "did you mean Mill Road"),
        ({"felt": "dust", "road": "State Road"}, "neither a road we blade"),
        ({"felt": "dust", "road": "Mill Road", "at_m": 2500.0}, "runs from 0 to 2000 m"),
        ({"felt": "dust", "road": "s0", "at_m": -5.0}, "lies beyond segment s0"),
        ({"felt": "dust", "place": (45.0, -100.0)}, "maybe lon and lat are swapped"),
        ({"felt": "dust", "place": (float("nan"), 45.0)}, "expected degrees near the roads"),
        ({"felt": "dust", "road": "s0", "observed_on": TODAY + timedelta(days=1)}, "up to it"),
        ({"felt": "dust", "road": "s0", "observed_on": TODAY - timedelta(days=11)}, "11 days ago"),
    ],
)  # fmt: skip
def test_odd_reports_are_refused(said, why):
    with pytest.raises(InputError, match=why):
        told(**said)
