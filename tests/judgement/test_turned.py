"""What opened and closed from one day to the next, against the gate's own answers."""

from __future__ import annotations

from datetime import timedelta

import pytest

from crossfall.errors import InputError
from crossfall.judgement import judge_gates, surface_state
from crossfall.judgement.turned import turned_between, turned_since_yesterday
from small_district import TODAY, small_district


def _gates():
    district = small_district()
    state = surface_state(district, first_day=TODAY - timedelta(days=1), n_days=4, seed=0)
    return judge_gates(state, district.fleet, district.policy)


def test_every_turn_is_what_the_gate_says_of_both_days():
    gates, yesterday = _gates(), TODAY - timedelta(days=1)
    for turn in turned_between(gates, yesterday, TODAY):
        for segment_id in gates.segment_ids:
            was, now = (
                gates.verdict(segment_id, day, turn.task).decision != "refused"
                for day in (yesterday, TODAY)
            )
            assert (segment_id in turn.opened) == (now and not was)
            assert (segment_id in turn.closed) == (was and not now)


def test_one_day_with_itself_turns_nothing():
    assert all(not (each.opened or each.closed) for each in turned_between(_gates(), TODAY, TODAY))


def test_days_outside_the_gates_are_refused():
    with pytest.raises(InputError, match="the gates cover 4"):
        turned_between(_gates(), TODAY, TODAY + timedelta(days=9))


def test_without_weather_nothing_is_said():
    from dataclasses import replace

    blank = replace(small_district(), weather=(), forecasts=())
    assert turned_since_yesterday(blank, today=TODAY) == ()
