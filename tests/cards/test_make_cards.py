"""Cards from a plan made by hand: complete, frozen, with the cautions the place calls for."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from crossfall.cards import make_cards
from crossfall.cards.cautions import WORDS, caution
from crossfall.cards.sketch import Sketcher, cut_line
from crossfall.design import design_jobs
from crossfall.design.cautions import ALWAYS
from crossfall.errors import InputError
from crossfall.judgement import judge_gates, surface_state
from crossfall.model import (
    Backdrop,
    District,
    Itinerary,
    Leg,
    Plan,
    Policy,
    Station,
    SupportBooking,
    Treatment,
    WeatherRecord,
)
from crossfall.network import build_graph
from crossroads import TODAY, condition, need, small_fleet, small_network, wetness


@pytest.fixture(scope="module")
def district():
    n_days = 60
    weather = WeatherRecord(
        Station("w", "Yard gauge", -100.0, 45.0),
        date(2026, 4, 17),
        np.where(np.arange(n_days) % 6 == 5, 9.0, 0.0),
        np.full(n_days, 8.0),
        np.full(n_days, 22.0),
        source="invented",
        is_invented=True,
    )
    return District(
        "Crossroads", small_network(), small_fleet(), weather=(weather,), is_invented=True
    )


def planned(district, *treatments, segment="s1"):
    """A plan that does every stage of the given jobs, one a day, and what cards need."""
    needs = [need(treatment, segment) for treatment in treatments]
    jobs = design_jobs(
        needs, [condition(segment)], district.network, build_graph(district.network),
        district.fleet, wetness(district.network, 4.0), Policy(),
    )  # fmt: skip
    itineraries, bookings = [], []
    stages = [stage for job in jobs for stage in job.stages]
    for at, stage in enumerate(stages):
        legs, clock = [], 7.5 * 60
        for number, minutes in enumerate(stage.pass_minutes, start=1):
            is_forward = number % 2 == 1
            ends = ("n0", "n1") if is_forward else ("n1", "n0")
            legs.append(
                Leg(
                    "work", clock, clock + minutes, *ends, stage.segment_id, stage.id, number,
                    is_forward,
                )
            )  # fmt: skip
            clock += minutes
        day = TODAY + timedelta(days=at % 5)
        itineraries.append(Itinerary("g1", "o0", day, tuple(legs)))
        bookings.extend(
            SupportBooking(stage.id, day, "r1", s.hours)
            for s in stage.support
            if s.kind == "roller"
        )
    plan = Plan(
        "P1", datetime(2026, 6, 15, 6, 15, tzinfo=UTC), TODAY, 5, tuple(itineraries),
        tuple(bookings), (), (), 5.0, 6.0, 1,
    )  # fmt: skip
    return plan, jobs, needs


@pytest.fixture(scope="module")
def gates(district):
    state = surface_state(district, first_day=TODAY, n_days=5, seed=1)
    return judge_gates(state, district.fleet, district.policy)


def cards_for(district, gates, *treatments, segment="s1"):
    plan, jobs, needs = planned(district, *treatments, segment=segment)
    return make_cards(plan, jobs, needs, district, gates)


def test_one_card_for_each_stage_numbered_from_one(district, gates):
    plan, jobs, needs = planned(district, Treatment.BLADING, Treatment.REGRAVELLING)
    cards = make_cards(plan, jobs, needs, district, gates)
    assert {card.stage_id for card in cards} == {s.id for job in jobs for s in job.stages}
    assert [card.number for card in cards] == list(range(1, len(cards) + 1))
    assert len({card.id for card in cards}) == len(cards)
    assert all(card.status == "draft" and card.version == 1 for card in cards)
    assert all(card.is_invented for card in cards)


def test_a_card_says_who_where_when_and_in_what_state(district, gates):
    card = cards_for(district, gates, Treatment.RESHAPING)[0]
    assert card.machine == "Grader 1"
    assert card.operator == "Ash"
    assert card.start_clock == "07:30"
    assert card.title == "Reshape: Osier Creek Road"
    assert "0\N{NO-BREAK SPACE}m to 1,609\N{NO-BREAK SPACE}m" in card.where
    assert "Willow Lane" in card.where or "Heron Road" in card.where
    assert "%" in card.moisture
    assert any("eastbound" in step.detail for step in card.steps)
    assert card.cost.low.minor < card.cost.high.minor


@pytest.mark.parametrize("treatment", [t for t in Treatment if t not in {"none", "engineer"}])
def test_every_card_defers_to_local_codes(district, gates, treatment):
    for card in cards_for(district, gates, treatment):
        keys = {each.key for each in card.cautions}
        assert set(ALWAYS) <= keys
        assert any("never replaces" in each.text for each in card.cautions)
        assert len(keys) == len(card.cautions)


@pytest.mark.parametrize(
    ("treatment", "keys"),
    [
        (Treatment.BLADING, {"rail", "bridge_deck", "overhead_line", "water_near", "turning"}),
        (Treatment.RESHAPING, {"utilities_shallow", "open_windrow", "culvert_ends"}),
        (Treatment.REGRAVELLING, {"backing_trucks", "raised_beds", "pit_rules"}),
        (Treatment.DITCH_CLEANING, {"utilities", "trench", "soft_shoulder"}),
        (Treatment.CULVERT_CLEARING, {"trench", "open_culvert", "utilities"}),
        (Treatment.DUST_CONTROL, {"spray"}),
    ],
)
def test_job_and_surroundings_trigger_cautions(district, gates, treatment, keys):
    found = {each.key for card in cards_for(district, gates, treatment) for each in card.cautions}
    assert keys <= found


def test_a_caution_says_where(district, gates):
    card = cards_for(district, gates, Treatment.RESHAPING)[0]
    at = {each.key: each.at for each in card.cautions}
    assert at["rail"] == "1,300\N{NO-BREAK SPACE}m"
    assert at["seat_belt"] == ""


def test_a_caution_elsewhere_on_the_segment_is_not_raised(district, gates):
    plan, jobs, needs = planned(district, Treatment.REGRAVELLING)
    cards = make_cards(plan, jobs, needs, district, gates)
    spans = {stage.id: (stage.from_m, stage.to_m) for job in jobs for stage in job.stages}
    raised = {card.stage_id: any(c.key == "rail" for c in card.cautions) for card in cards}
    assert {True, False} == set(raised.values())
    for stage_id, (from_m, to_m) in spans.items():
        assert raised[stage_id] == (from_m <= 1300.0 <= to_m)


def test_bookings_are_named_on_the_card(district, gates):
    cards = cards_for(district, gates, Treatment.REGRAVELLING)
    lift = next(card for card in cards if card.stakes)
    assert any(row.name == "Roller" and row.unit == "h" for row in lift.quantities)


def test_unknown_caution_and_unknown_stage_are_refused(district, gates):
    with pytest.raises(InputError, match="caution 'bears' is unknown"):
        caution("bears")
    plan, _, needs = planned(district, Treatment.BLADING)
    with pytest.raises(InputError, match="which no job has"):
        make_cards(plan, (), needs, district, gates)


def test_every_caution_is_one_or_two_lines():
    assert all(len(text) < 230 for text in WORDS.values())


def test_the_sketch_shows_the_creek_and_the_railway_nearby(district):
    network, stage = district.network, planned(district, Treatment.BLADING)[1][0].stages[0]
    segment = network.segment_by_id[stage.segment_id]
    (lon, lat), *_ = segment.line
    creek = Backdrop("stream", ((lon - 1.0, lat + 0.001), (lon + 1.0, lat + 0.001)))
    rail = Backdrop("rail", ((lon - 1.0, lat - 0.001), (lon + 1.0, lat - 0.001)))
    far = Backdrop("water", ((lon - 1.0, lat + 5.0), (lon + 1.0, lat + 5.0)))
    drawn = Sketcher.of(replace(network, backdrop=(creek, rail, far))).sketch(segment, stage)
    assert [each[0][1] for each in drawn.water] == [pytest.approx(lat + 0.001)]
    assert [each[0][1] for each in drawn.rail] == [pytest.approx(lat - 0.001)]
    assert max(abs(x - lon) for x, _ in drawn.water[0]) < 0.1, "clipped to the neighbourhood"


def test_the_sketch_is_fitted_to_the_stage(district):
    network = district.network
    segment = network.segment_by_id["s1"]
    (job,) = design_jobs(
        [need(Treatment.REGRAVELLING)], [], network, build_graph(network), district.fleet,
        wetness(network, 4.0), Policy(),
    )  # fmt: skip
    stage = job.stages[-1]
    sketch = Sketcher.of(network).sketch(segment, stage)
    lon = [x for x, _ in sketch.line]
    drawn = max(lon) - min(lon)
    full = segment.line[-1][0] - segment.line[0][0]
    assert drawn == pytest.approx(full * (stage.to_m - stage.from_m) / 1609.3, rel=0.05)
    assert {feature.kind for feature in sketch.features} >= {"start", "end"}


def test_cutting_a_line_keeps_its_ends():
    line = ((0.0, 0.0), (0.003, 0.0), (0.003, 0.004))
    assert np.allclose(cut_line(line, 700.0, 0.0, 700.0), line)
    start, *_, end = cut_line(line, 700.0, 100.0, 600.0)
    assert start == pytest.approx((0.001, 0.0), abs=1e-9)
    assert end == pytest.approx((0.003, 0.003), abs=1e-9)
