"""Load limits: advice from the thaw, binding only when signed, obeyed by our own trucks."""

from __future__ import annotations

from datetime import datetime, time, timedelta

import numpy as np
import pytest

from crossfall.errors import InputError, UnitsError
from crossfall.judgement.gate import judge_gates
from crossfall.judgement.load_limit import (
    advise_load_limits,
    heaviest_axle_t,
    legal_payload_t,
    sign_posting,
)
from crossfall.judgement.state import surface_state
from crossfall.model import LoadPosting, Machine, Policy
from crossfall.model.policy import GatePolicy, MoisturePolicy
from moisture_case import FLEET, TODAY, district, forecast, roads, weather

POLICY = Policy(moisture=MoisturePolicy(n_members=21))
MORNING = datetime.combine(TODAY, time(6, 0))


def state_of(tmean, ahead=(6.0,) * 5, **more):
    tmean = np.asarray(tmean)
    rain = np.zeros((21, len(ahead)))
    later = forecast(rain)
    later.tmin_c[:] = np.asarray(ahead) - 3
    later.tmax_c[:] = np.asarray(ahead) + 3
    case = district(
        record=weather(tmean.size, tmin=tmean - 3, tmax=tmean + 3), forecasts=(later,),
        policy=POLICY, **more,
    )  # fmt: skip
    return surface_state(case, first_day=TODAY, n_days=len(ahead))


WINTER = np.concatenate([np.full(100, 8.0), np.full(100, -9.0)])
SPRING = np.concatenate([np.full(100, 8.0), np.full(90, -9.0), np.full(10, 6.0)])


def test_a_coming_thaw_is_advised_on_its_day():
    (advice,) = advise_load_limits(state_of(WINTER, ahead=(-3.0, 6.0, 7.0, 8.0, 8.0)))
    assert advice.advice == "put_up"
    # 10.4 degrees above the late reference of -4.44 each day: passed on the second warm day
    assert advice.on == TODAY + timedelta(days=2)
    assert advice.thawing_c_day >= 13.9
    assert "thawing index" in advice.reason
    assert advice.segment_ids == ("s0",)


def test_winter_strength_is_said():
    # Published threshold: CFI 280 F d, that is 155.6 degC d; 100 days at -9 are far beyond it
    (hard,) = advise_load_limits(state_of(WINTER, ahead=(-6.0,) * 5))
    assert hard.has_winter_strength
    assert pytest.approx(155.6, abs=0.05) == 280 * 5 / 9
    (summer,) = advise_load_limits(state_of(np.full(300, 16.0), ahead=(16.0,) * 5))
    (spring,) = advise_load_limits(state_of(SPRING))
    assert not summer.has_winter_strength
    assert not spring.has_winter_strength


def test_no_advice_in_deep_winter_or_when_it_freezes_again():
    for ahead in ((-6.0,) * 5, (5.0, -9.0, -9.0, -9.0, -9.0)):
        (advice,) = advise_load_limits(state_of(WINTER, ahead=ahead))
        assert advice.advice == "none"
        assert advice.on is None


def posting(axle_t=5.0, **change):
    figures = {
        "posting_id": "p1", "axle_t": axle_t, "authority": "Osier Valley District board",
        "signed_by": "R. Example", "up_at": MORNING,
    } | change  # fmt: skip
    (advice,) = advise_load_limits(state_of(SPRING))
    return sign_posting(advice, **figures)


def test_it_binds_only_when_a_named_person_signs():
    assert posting().segment_ids == ("s0",)
    for change in ({"signed_by": " "}, {"authority": ""}):
        with pytest.raises(InputError, match="signs it"):
            posting(**change)
    with pytest.raises(InputError, match="axle_t"):
        posting(axle_t=0.0)
    # Kilograms, pounds or no limit at all would bind nobody
    for typed in (6000.0, 13_000.0, np.inf):
        with pytest.raises(UnitsError, match="expected at most 15 t an axle"):
            posting(axle_t=typed)
    with pytest.raises(InputError, match="axle_t nan"):
        posting(axle_t=np.nan)
    with pytest.raises(InputError, match="before it goes up"):
        posting(down_at=MORNING - timedelta(days=1))


def test_keep_it_up_while_weak_and_take_it_down_after():
    up = posting(up_at=MORNING - timedelta(days=5))
    (advice,) = advise_load_limits(state_of(SPRING, postings=(up,)))
    assert advice.advice == "keep_up"
    over = np.concatenate([np.full(100, 8.0), np.full(60, -5.0), np.full(40, 9.0)])
    (advice,) = advise_load_limits(state_of(over, ahead=(9.0,) * 5, postings=(up,)))
    assert advice.advice == "take_down"


def test_our_own_trucks_obey_it():
    dry = np.full(300, 16.0)
    free = state_of(dry, ahead=(16.0,) * 5)
    assert judge_gates(free, FLEET, POLICY).verdict("s0", TODAY, "hauling").decision == "allowed"
    strict = state_of(dry, ahead=(16.0,) * 5, postings=(posting(axle_t=4.0),))
    table = judge_gates(strict, FLEET, POLICY)
    verdict = table.verdict("s0", TODAY, "hauling")
    assert verdict.decision == "refused"
    assert "Posted at 4 t" in verdict.reason
    # The water truck of 15 kL may not go there either
    assert not table.needs_water("cutting").any()
    part = state_of(dry, ahead=(16.0,) * 5, postings=(posting(axle_t=6.5),))
    verdict = judge_gates(part, FLEET, POLICY).verdict("s0", TODAY, "hauling")
    assert verdict.decision == "allowed"
    assert "part loads" in verdict.reason
    axle = judge_gates(part, FLEET, POLICY).verdict("s0", TODAY, "hauling", axle_t=8.0)
    assert axle.decision == "refused"


def test_a_posting_holds_from_up_to_down():
    short = posting(down_at=MORNING + timedelta(days=2))
    state = state_of(np.full(300, 16.0), ahead=(16.0,) * 5, postings=(short,))
    assert np.isfinite(state.posted_axle_t[0]).tolist() == [True, True, True, False, False]
    with pytest.raises(InputError, match="no maintained segment"):
        state_of(
            np.full(300, 16.0),
            postings=(LoadPosting("p9", ("x",), 5.0, "Board", "R. Example", MORNING),),
        )


def test_axles_and_legal_payloads():
    policy = GatePolicy(truck_axle_share=0.4, grader_axle_share=0.35)
    truck = Machine("t", "T", "haul_truck", "y", payload_t=12.0, mass_t=9.0)
    assert heaviest_axle_t(truck, policy) == pytest.approx(8.4)
    assert heaviest_axle_t(truck, policy, load_t=0.0) == pytest.approx(3.6)
    assert legal_payload_t(truck, 6.0, policy) == pytest.approx(6.0)
    assert legal_payload_t(truck, 3.0, policy) == 0.0
    assert legal_payload_t(truck, np.inf, policy) == 12.0
    tank = Machine("w", "W", "water_truck", "y", capacity=15_000.0, mass_t=9.0)
    assert heaviest_axle_t(tank, policy) == pytest.approx(9.6)
    grader = Machine("g", "G", "grader", "y", mass_t=18.0)
    assert heaviest_axle_t(grader, policy) == pytest.approx(6.3)


def test_posted_and_unposted_roads_around_a_station_are_advised_apart():
    up = posting(up_at=MORNING - timedelta(days=5))
    free, held = advise_load_limits(state_of(SPRING, network=roads(3), postings=(up,)))
    # Only s0 is posted: the other two still need one
    assert (free.advice, free.segment_ids, free.is_posted) == ("put_up", ("s1", "s2"), False)
    assert (held.advice, held.segment_ids, held.is_posted) == ("keep_up", ("s0",), True)
    assert "that have none up" in free.reason
    over = np.concatenate([np.full(100, 8.0), np.full(60, -5.0), np.full(40, 9.0)])
    free, held = advise_load_limits(
        state_of(over, ahead=(9.0,) * 5, network=roads(3), postings=(up,))
    )
    assert (free.advice, held.advice) == ("none", "take_down")


def test_a_limit_signed_against_the_advice_says_so():
    (advice,) = advise_load_limits(state_of(np.full(300, 16.0), ahead=(16.0,) * 5))
    assert advice.advice == "none"
    signed = sign_posting(
        advice, posting_id="p2", axle_t=5.0, authority="Osier Valley District board",
        signed_by="R. Example", up_at=MORNING,
    )  # fmt: skip
    assert signed.reason.startswith("Signed although the thaw indices ask for none")
    assert not posting().reason.startswith("Signed although")
