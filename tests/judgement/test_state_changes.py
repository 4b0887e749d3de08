"""What a look changed from one run to the next."""

from __future__ import annotations

from datetime import timedelta

import pytest

from crossfall.errors import InputError
from crossfall.formulas.moisture_class import MoistureClass
from crossfall.judgement.changes import changes_sentence, state_changes, surface_difference
from crossfall.judgement.state import surface_state
from crossfall.model import Observation, Policy
from crossfall.model.policy import MoisturePolicy
from moisture_case import TODAY, district, forecast, roads, weather

POLICY = Policy(moisture=MoisturePolicy(n_members=21))
NETWORK = roads(20)


def state_of(*observations, first_day=TODAY):
    case = district(
        network=NETWORK, record=weather(rain={30: 9.0}), forecasts=(forecast([[0.0] * 9] * 21),),
        policy=POLICY, observations=observations,
    )  # fmt: skip
    return surface_state(case, first_day=first_day, n_days=3)


def test_a_look_changes_its_neighbourhood_and_says_so():
    look = Observation("o1", TODAY, *NETWORK.segments[0].line[1], "too_wet", None, "s0")
    changes = state_changes(state_of(), state_of(look))
    by_id = {each.segment_id: each for each in changes}
    assert by_id["s0"].was is MoistureClass.DRY
    assert by_id["s0"].now is MoistureClass.TOO_WET
    assert "s19" not in by_id
    n_wet = sum(each.now is MoistureClass.TOO_WET for each in changes)
    assert f"{n_wet} road" in changes_sentence(changes)
    assert "from dry to too wet" in changes_sentence(changes)


def test_the_same_run_changes_nothing():
    assert state_changes(state_of(), state_of()) == ()
    assert changes_sentence(()) == "No road is called otherwise than before."


def test_states_without_a_common_day():
    with pytest.raises(InputError, match="share no day"):
        state_changes(state_of(), state_of(first_day=TODAY + timedelta(days=3)))
    with pytest.raises(InputError, match="outside"):
        state_changes(state_of(), state_of(), day=TODAY + timedelta(days=9))


def test_the_difference_says_how_far_the_news_reached():
    look = Observation("o1", TODAY, *NETWORK.segments[0].line[1], "too_wet", None, "s0")
    found = surface_difference(state_of(), state_of(look))
    assert "s0" in found.touched_ids
    assert "s19" not in found.touched_ids
    assert found.changes == state_changes(state_of(), state_of(look))
    first = found.of("s0", TODAY)
    assert (first.was, first.now) == (MoistureClass.DRY, MoistureClass.TOO_WET)
    last = found.of("s19", TODAY)
    assert last.was is last.now
    n = len(found.touched_ids)
    assert found.summary().startswith(f"{n} stretches hear it. ")
    with pytest.raises(InputError, match="expected the same days"):
        surface_difference(state_of(), state_of(first_day=TODAY + timedelta(days=1)))
