"""Facts about stretches of road, gathered to segments."""

from __future__ import annotations

import pytest

from crossfall.errors import InputError
from crossfall.model import Network, Segment
from crossfall.network import LineEvent, apply_events, make_segments
from roads_on_paper import POLICY, lines, noded


def _road() -> tuple[Network, Segment]:
    edges, _ = noded(lines([(0, 0), (1000, 0)]))
    network = Network(*make_segments(edges, POLICY))
    return network, network.segments[0]


def test_a_width_is_the_mean_by_length() -> None:
    """6 m over 250 m and 8 m over 750 m is 7.5 m."""
    network, s = _road()
    after, lineage = apply_events(
        network,
        [
            LineEvent(s.id, 0.0, 250.0, "width_m", "6"),
            LineEvent(s.id, 250.0, 1000.0, "width_m", "8"),
        ],
        POLICY,
    )
    assert lineage == ()
    assert after.segments[0].width_m == pytest.approx(7.5, abs=1e-4)
    assert after.segments[0].width_method == "measured"


def test_where_nothing_was_said_the_segment_speaks() -> None:
    network, s = _road()
    after, _ = apply_events(network, [LineEvent(s.id, 0.0, 500.0, "gravel_mm", "40")], POLICY)
    assert after.segments[0].gravel_mm == pytest.approx((40 + s.gravel_mm) / 2, abs=1e-3)
    assert after.segments[0].gravel_method == "estimated"


def test_a_change_of_surface_starts_a_segment() -> None:
    network, s = _road()
    after, lineage = apply_events(
        network, [LineEvent(s.id, 400.0, 1000.0, "surface", "paved")], POLICY
    )
    assert [(x.surface, x.is_maintained, round(x.length_m)) for x in after.segments] == [
        ("gravel", True, 400),
        ("paved", False, 600),
    ]
    assert {each.parent_id for each in lineage} == {s.id}
    assert after.segments[1].surface_source == "agency"


def test_a_change_at_the_very_end_does_not_leave_a_sliver() -> None:
    network, s = _road()
    after, _ = apply_events(network, [LineEvent(s.id, 3.0, 1000.0, "surface", "earth")], POLICY)
    assert [x.surface for x in after.segments] == ["earth"]


def test_the_word_that_holds_for_most_of_it_wins_and_the_lowest_limit_counts() -> None:
    network, s = _road()
    events = [
        LineEvent(s.id, 0.0, 300.0, "drainage", "poor"),
        LineEvent(s.id, 300.0, 1000.0, "drainage", "good"),
        LineEvent(s.id, 0.0, 100.0, "shade", "forest"),
        LineEvent(s.id, 100.0, 120.0, "max_mass_t", "9"),
        LineEvent(s.id, 500.0, 520.0, "max_mass_t", "15"),
    ]
    road = apply_events(network, events, POLICY)[0].segments[0]
    assert (road.drainage, road.shade, road.max_mass_t) == ("good", s.shade, 9.0)


@pytest.mark.parametrize(("event", "message"), [
    (("nowhere", 0.0, 1.0, "shade", "open"), "not in this network"),
    ((None, 5.0, 5.0, "shade", "open"), "no stretch"),
    ((None, 0.0, 1200.0, "shade", "open"), "lies beyond"),
    ((None, 0.0, 9.0, "colour", "red"), "expected one of"),
    ((None, 0.0, 9.0, "serves", "school circus"), "serves is 'circus'"),
    ((None, 0.0, 9.0, "shade", "dark"), "expected open, partial, forest"),
    ((None, 0.0, 9.0, "width_m", "wide"), "expected a figure"),
    ((None, 0.0, 9.0, "width_m", "24000"), "expected a figure"),
])  # fmt: skip
def test_an_event_that_does_not_fit_is_named(event: tuple, message: str) -> None:  # type: ignore[type-arg]
    network, s = _road()
    segment_id, *rest = event
    with pytest.raises(InputError, match=message):
        apply_events(network, [LineEvent(segment_id or s.id, *rest)], POLICY)
