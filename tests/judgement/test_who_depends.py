"""Who depends on a road counts in its worth, as a part of its own; unknown words are refused."""

from dataclasses import replace
from datetime import date

import pytest

from crossfall.demo import osier_valley
from crossfall.errors import InputError
from crossfall.judgement import find_needs
from crossfall.model import Network, Node, Segment
from crossfall.model.network import serves_words
from crossfall.model.policy import NetworkPolicy
from crossfall.network.events import apply_events
from crossfall.network.linear import LineEvent

TODAY = date(2026, 5, 4)
_LINE = ((-107.0, 40.5), (-107.0, 40.51))


def _network(serves: str) -> Network:
    road = Segment("a", "Creek Road", "n1", "n2", 0.0, 1110.4, _LINE, serves=serves)
    return Network((Node("n1", *_LINE[0]), Node("n2", *_LINE[1])), (road,))


def test_the_worth_of_a_road_that_others_depend_on_has_one_more_part() -> None:
    district = osier_valley(seed=1, today=TODAY)
    none = replace(
        district,
        network=replace(
            district.network,
            segments=tuple(replace(each, serves="") for each in district.network.segments),
        ),
    )
    all_served = replace(
        none,
        network=replace(
            none.network,
            segments=tuple(replace(each, serves="school milk") for each in none.network.segments),
        ),
    )
    before = {need.segment_id: need for need in find_needs(none, today=TODAY)[0]}
    after = {need.segment_id: need for need in find_needs(all_served, today=TODAY)[0]}
    assert before.keys() == after.keys()
    assert before
    n_told = 0
    for segment_id, need in after.items():
        was = {part.name: part.hours for part in before[segment_id].benefit}
        told = {part.name: part.hours for part in need.benefit}
        served = told.pop("served", 0.0)
        assert "served" not in was
        assert told == was
        # School 0.8 and milk 0.6 where a collector's standing is 0.8 (settings, both at full lack)
        if district.network.segment_by_id[segment_id].road_class == "collector" and served:
            assert served == pytest.approx(told["road class"] * 1.4 / 0.8, abs=0.002)
            n_told += 1
    assert n_told > 3


def test_a_stretch_that_serves_a_school_makes_the_road_serve_it() -> None:
    events = [
        LineEvent("a", 0.0, 200.0, "serves", "school"),
        LineEvent("a", 5.0, 9.0, "serves", "logs"),
    ]
    network, _ = apply_events(_network("mail"), events, NetworkPolicy())
    assert [each.serves for each in network.segments] == ["school logs mail"]


def test_an_unknown_word_is_refused_by_name() -> None:
    with pytest.raises(InputError, match="segment a: serves is 'circus'; expected words of school"):
        _network("school circus")
    assert serves_words("MAIL; school,mail") == "school mail"
