"""Looks and gauge readings: they win on the spot, and fade with distance and time."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.formulas.moisture_class import MoistureClass
from crossfall.judgement.observe import believe_look
from crossfall.judgement.state import surface_state
from crossfall.model import Observation, Policy
from crossfall.model.policy import MoisturePolicy
from moisture_case import TODAY, district, forecast, roads, weather

POLICY = Policy(moisture=MoisturePolicy(n_members=41))
CALM = (forecast([[0.0] * 4] * 41),)
NETWORK = roads(20)
HERE = NETWORK.segments[0].line[1]


def look(felt=None, rain_mm=None, days_ago=0, segment="s0", at=HERE, key="o1"):
    return Observation(
        key, TODAY - timedelta(days=days_ago), at[0], at[1], felt, rain_mm, segment, "Ann"
    )


def state_of(*observations, record=None, n_days=4, **more):
    case = district(
        network=NETWORK, record=record or weather(rain={30: 9.0}), forecasts=CALM, policy=POLICY,
        observations=observations, **more,
    )  # fmt: skip
    return surface_state(case, first_day=TODAY, n_days=n_days)


def test_a_gauge_reading_brings_last_nights_local_storm():
    # The station saw nothing; a gauge on road 0 caught 32 mm in the night
    state = state_of(look(rain_mm=32.0))
    assert state_of().most_likely("s0", TODAY) is MoistureClass.DRY
    assert state.most_likely("s0", TODAY) is MoistureClass.WORKABLE
    # 19 km away nothing has changed
    assert state.most_likely("s19", TODAY) is MoistureClass.DRY
    moisture = state.moisture_pct[:, :, 0].mean(axis=0)
    assert np.all(np.diff(moisture[:15]) <= 0.02)
    assert any("1 gauge readings" in note for note in state.notes)
    assert "32 mm the day before" in state.reason("s0", TODAY)


def test_between_gauge_and_station_we_are_unsure():
    state = state_of(look(rain_mm=32.0))
    spread = state.moisture_pct[:, :, 0].std(axis=0)
    # Sure at the gauge and far from it, unsure half way, where the storm may have ended
    assert spread[0] < 0.8
    assert spread[19] < 0.8
    assert spread[5] > 1.5


def test_a_reading_fills_a_missing_station_figure():
    record = weather(rain={30: 9.0})
    record.rain_mm[-1] = np.nan
    blind, seen = state_of(record=record), state_of(look(rain_mm=0.0), record=record)
    assert blind.most_likely("s0", TODAY) is MoistureClass.UNKNOWN
    assert seen.most_likely("s0", TODAY) is MoistureClass.DRY
    assert seen.most_likely("s19", TODAY) is MoistureClass.UNKNOWN


@pytest.mark.parametrize(
    ("felt", "expected"),
    [
        ("too_wet", MoistureClass.TOO_WET),
        ("just_right", MoistureClass.WORKABLE),
        ("dust", MoistureClass.DRY),
    ],
)
def test_a_look_settles_its_own_road(felt, expected):
    for record in (weather(rain={30: 9.0}), weather(rain={1: 30.0}, tmin=8, tmax=16)):
        state = state_of(look(felt), record=record)
        assert state.most_likely("s0", TODAY) is expected
        assert state.p_class(expected)[0, 0] > 0.6
        assert f"seen {felt.replace('_', ' ')} by Ann today" in state.reason("s0", TODAY)


def test_a_look_counts_less_far_away_and_on_unlike_roads():
    state = state_of(look("too_wet"))
    wet = state.moisture_pct[:, :, 0].mean(axis=0)
    assert wet[0] > wet[2] > wet[4]
    assert wet[15] == pytest.approx(state_of().moisture_pct[:, 15, 0].mean(), abs=0.05)
    segments = list(NETWORK.segments)
    segments[1] = replace(segments[1], drainage="poor")
    unlike = surface_state(
        district(
            network=replace(NETWORK, segments=tuple(segments)), record=weather(rain={30: 9.0}),
            forecasts=CALM, policy=POLICY, observations=(look("too_wet"),),
        ),
        first_day=TODAY, n_days=2,
    )  # fmt: skip
    assert unlike.moisture_pct[:, 1, 0].mean() < wet[1]


def test_the_next_days_start_from_the_look():
    state = state_of(look("too_wet"))
    mean = state.moisture_pct[:, 0].mean(axis=0)
    assert mean[0] > mean[1] > mean[2] > state_of().moisture_pct[:, 0, 2].mean()


def test_a_look_of_days_ago_is_followed_on_from_then():
    old = state_of(look("too_wet", days_ago=2))
    new = state_of(look("too_wet"))
    assert old.moisture_pct[:, 0, 0].mean() == pytest.approx(
        new.moisture_pct[:, 0, 2].mean(), abs=0.6
    )
    # Too old or from tomorrow: left out
    for days_ago in (30, -1):
        ignored = state_of(look("too_wet", days_ago=days_ago))
        assert ignored.most_likely("s0", TODAY) is MoistureClass.DRY


def test_a_look_makes_us_surer():
    record = weather(rain={2: 25.0}, tmin=10, tmax=20)
    before, after = (
        state.moisture_pct[:, 0, 0].std()
        for state in (state_of(record=record), state_of(look("just_right"), record=record))
    )
    assert after < before


def test_a_look_settles_what_missing_rain_left_open():
    record = weather(rain={30: 9.0})
    record.rain_mm[-2] = np.nan
    state = state_of(look("dust"), record=record)
    assert state.most_likely("s0", TODAY) is MoistureClass.DRY
    assert state.most_likely("s19", TODAY) is MoistureClass.UNKNOWN


def test_a_look_after_the_record_ended_moves_the_members():
    record = weather(rain={30: 9.0}, until=TODAY - timedelta(days=1))
    state = state_of(look("too_wet"), record=record)
    assert state.most_likely("s0", TODAY) is MoistureClass.TOO_WET


def test_two_looks_on_one_day_are_both_heard():
    state = state_of(look("dust", key="a"), look("dust", key="b", segment="s1"))
    assert state.most_likely("s0", TODAY) is MoistureClass.DRY


@settings(max_examples=200, deadline=None)
@given(
    st.floats(1.5, 10.3),
    st.floats(0.2, 2.0),
    st.sampled_from([(1.5, 3.5), (5.0, 8.5), (8.5, 10.3)]),
    st.floats(0, 1),
)
def test_belief_moves_towards_what_was_seen(mean, spread, interval, weight):
    lower, upper = interval
    new, doubt = believe_look(mean, spread, lower, upper, weight, surprise_share=0.5)
    assert np.isfinite(new)
    assert doubt > 0
    target = min(max(mean, lower), upper)
    assert min(mean, lower) - 1e-9 <= new <= max(mean, upper) + 1e-9
    if weight == 1.0:
        assert lower <= new <= upper
    if mean != target:
        assert abs(new - mean) <= abs(mean - lower) + abs(upper - lower) + 1e-9


def test_belief_against_sampling():
    # A normal belief cut to an interval, against two million draws
    rng = np.random.default_rng(1)
    drawn = rng.normal(7.0, 1.0, 2_000_000)
    kept = drawn[(drawn > 5.0) & (drawn < 8.5)]
    mean, spread = believe_look(7.0, 1.0, 5.0, 8.5, 1.0, surprise_share=0.5)
    assert mean == pytest.approx(kept.mean(), abs=0.005)
    assert spread == pytest.approx(kept.std(), abs=0.005)


def test_bad_observations_are_named():
    with pytest.raises(InputError, match="o1 has neither"):
        state_of(look())
    with pytest.raises(InputError, match="rain_mm"):
        state_of(look(rain_mm=-3.0))


@settings(max_examples=12, deadline=None)
@given(st.floats(1.0, 60.0), st.floats(0.0, 30.0), st.integers(1, 4), st.integers(0, 5))
def test_more_in_the_gauge_never_makes_anything_drier(rain_mm, more_mm, days_ago, seed):
    # Every member takes the gauge's rain or the station's: it lies between the two runs, and a
    # member that takes more rain is never drier
    case = district(network=NETWORK, record=weather(rain={30: 9.0}), forecasts=CALM, policy=POLICY)

    def run(*readings):
        return surface_state(
            replace(case, observations=readings), first_day=TODAY, n_days=3, seed=seed
        )

    none = run()
    some = run(look(rain_mm=rain_mm, days_ago=days_ago))
    wetter = run(look(rain_mm=rain_mm + more_mm, days_ago=days_ago))
    full = run(
        *(
            look(None, rain_mm, days_ago, f"s{i}", segment.line[1], f"o{i}")
            for i, segment in enumerate(NETWORK.segments)
        )
    )
    assert np.all(some.moisture_pct >= none.moisture_pct - 1e-9)
    assert np.all(some.moisture_pct <= full.moisture_pct + 1e-9)
    assert np.all(wetter.moisture_pct >= some.moisture_pct - 1e-9)
    dry, damper = some.p_class(MoistureClass.DRY), wetter.p_class(MoistureClass.DRY)
    assert np.all(damper <= dry)
    assert np.all(dry <= none.p_class(MoistureClass.DRY))


def test_the_share_of_members_that_take_a_gauge_is_its_weight():
    state = state_of(look(rain_mm=30.0))
    weights = np.exp(-((np.arange(20) / 6.0) ** 2))
    taken = (state.site_rain_before_mm[:, state.site_of_group] > 0).mean(axis=0)
    share = taken[state.groups.of_segment]
    assert share[0] == 1.0
    assert share[19] == 0.0
    assert np.all(np.diff(share) <= 0)
    assert share == pytest.approx(weights, abs=0.12)


def test_a_corrected_reading_counts_and_the_mistyped_one_does_not():
    # 30 mm was typed for 3 mm, and put right the same day
    state = state_of(look(rain_mm=30.0, key="b"), look(rain_mm=3.0, key="a"))
    assert np.all(state.site_rain_before_mm[:, state.site_of_group[0]] == 3.0)


@pytest.mark.parametrize(("first", "then"), [("too_wet", "dust"), ("dust", "too_wet")])
def test_the_later_look_of_a_day_answers_the_earlier(first, then):
    alone = state_of(look(then))
    both = state_of(look(first, key="b"), look(then, key="a"))
    assert both.most_likely("s0", TODAY) is alone.most_likely("s0", TODAY)
    assert np.array_equal(both.moisture_pct, alone.moisture_pct)


@pytest.mark.parametrize(("here", "there"), [("too_wet", "dust"), ("dust", "too_wet")])
def test_the_look_at_the_road_itself_has_the_last_word(here, there):
    state = state_of(look(here), look(there, segment="s1", at=NETWORK.segments[1].line[1], key="z"))
    expected = {"too_wet": MoistureClass.TOO_WET, "dust": MoistureClass.DRY}
    assert state.most_likely("s0", TODAY) is expected[here]
    assert state.most_likely("s1", TODAY) is expected[there]


def test_what_was_said_in_one_breath_is_heard_once():
    # A look at roads 0 to 4 at once; road 6 hears its nearest part, not five of them
    spoken = tuple(
        look("too_wet", key=f"k-{n}", segment=f"s{n}", at=NETWORK.segments[n].line[1])
        for n in range(5)
    )
    five = tuple(replace(each, id=f"k{n}") for n, each in enumerate(spoken))
    once, nearest, apart = state_of(*spoken), state_of(spoken[-1]), state_of(*five)
    assert np.array_equal(once.moisture_pct[:, 6], nearest.moisture_pct[:, 6])
    assert once.moisture_pct[:, 6].mean() < apart.moisture_pct[:, 6].mean()
    assert once.most_likely("s0", TODAY) is MoistureClass.TOO_WET
    assert any(note.startswith("1 looks") for note in once.notes)
