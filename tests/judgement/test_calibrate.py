"""Fitting the layer to logged looks: a known truth is found again, noise is not taken for one."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.formulas.moisture import run_layer
from crossfall.judgement.calibrate import calibrate_moisture
from crossfall.judgement.forcing import Site, build_timeline
from crossfall.judgement.stations import group_segments
from crossfall.model import Observation, Policy
from crossfall.model.policy import MoisturePolicy
from moisture_case import TODAY, district, roads, weather

N_DAYS = 900


@pytest.fixture(scope="module")
def sky():
    rng = np.random.default_rng(11)
    rain = np.where(rng.uniform(size=N_DAYS) < 0.3, rng.gamma(0.8, 12, N_DAYS), 0.0)
    record = weather(N_DAYS, tmin=9.0, tmax=21.0)
    record.rain_mm[:] = rain
    return record


def looks(record, truth, n=120, slip=0.0):
    """What honest observers log where the road behaves as ``truth`` says."""
    network = roads()
    groups = group_segments(network.segments, ["good"], np.zeros(1, dtype=np.int64), truth)
    line = build_timeline(
        [record], (), [Site(0)], replace(truth, warmup_days=N_DAYS, n_members=1, et_spread=0.0),
        first_day=TODAY, n_days=1, seed=0,
    )  # fmt: skip
    start = groups.layer.field_capacity_mm[None].copy()
    run = run_layer(groups.layer, line.weather, np.zeros(1, dtype=np.int64), start)
    percent = groups.layer.percent(run.water_mm)[0, 0]
    rng = np.random.default_rng(4)
    found = []
    for i in np.sort(rng.choice(np.arange(90, N_DAYS), n, replace=False)):
        bands = groups.bands
        felt = None
        if percent[i] > bands.upper_pct[0]:
            felt = "too_wet"
        elif percent[i] >= bands.lower_pct[0]:
            felt = "just_right"
        elif percent[i] < bands.dry_pct[0]:
            felt = "dust"
        if rng.uniform() < slip:
            felt = str(rng.choice(["too_wet", "just_right", "dust"]))
        if felt:
            day = record.first_day + timedelta(days=int(i))
            found.append(Observation(f"o{i}", day, -100.0, 45.0, felt, None, "s0"))
    return tuple(found)


def propose(record, observations):
    case = district(
        record=record, policy=Policy(moisture=MoisturePolicy()), observations=observations
    )
    return calibrate_moisture(case, until=TODAY - timedelta(days=1))


def test_a_fast_drying_road_is_found(sky):
    truth = MoisturePolicy(bare_road_kc=0.75)
    found = propose(sky, looks(sky, truth, 200))
    kc = next(row for row in found.rows if row.setting == "moisture.bare_road_kc")
    assert kc.before == 1.15
    assert kc.after == pytest.approx(0.75, abs=0.15)
    assert found.is_better
    assert found.hits_after >= found.hits_before
    assert "kept out of the fit" in found.summary()


def test_the_present_settings_stay_when_they_are_right(sky):
    found = propose(sky, looks(sky, MoisturePolicy(), 150))
    kc = next(row for row in found.rows if row.setting == "moisture.bare_road_kc")
    assert kc.after == pytest.approx(1.15, abs=0.15)
    assert found.hits_before > 0.9


def test_slips_do_not_rule_the_fit(sky):
    found = propose(sky, looks(sky, MoisturePolicy(), 150, slip=0.15))
    kc = next(row for row in found.rows if row.setting == "moisture.bare_road_kc")
    assert kc.after == pytest.approx(1.15, abs=0.3)


def test_too_few_looks_are_refused(sky):
    with pytest.raises(InputError, match="at least 20"):
        propose(sky, looks(sky, MoisturePolicy(), 10))


def test_one_report_of_a_whole_road_is_one_look(sky):
    # Said once of a long road and stored for each of its parts
    (first, *_) = looks(sky, MoisturePolicy(), 30)
    parts = tuple(replace(first, id=f"key-{n}") for n in range(1, 41))
    with pytest.raises(InputError, match=r"^1 looks"):
        propose(sky, parts)


def test_looks_of_a_few_days_are_not_enough(sky):
    told = looks(sky, MoisturePolicy(), 60)[:3]
    many = tuple(
        replace(each, id=f"{each.id}x{n}", segment_id=f"s{n}") for each in told for n in range(10)
    )
    case = district(
        network=roads(10), record=sky, policy=Policy(moisture=MoisturePolicy()), observations=many
    )
    with pytest.raises(InputError, match="the looks are of 3 days"):
        calibrate_moisture(case, until=TODAY - timedelta(days=1))


def test_a_gain_within_chance_is_no_gain(sky):
    found = propose(sky, looks(sky, MoisturePolicy(), 60, slip=0.4))
    same = replace(found, likelihood_before=-0.5, likelihood_after=-0.49, least_gain=0.02)
    assert same.verdict == "cannot tell"
    assert not same.is_better
    assert "cannot tell" in same.summary()
    assert replace(same, likelihood_after=-0.4).verdict == "better"
    assert replace(same, likelihood_after=-0.6).verdict == "worse"
    assert found.least_gain >= 0.02
    assert found.verdict != "better"


def test_looks_that_missing_weather_leaves_open_are_not_used(sky):
    told = looks(sky, MoisturePolicy(), 120)
    gappy = replace(sky, rain_mm=sky.rain_mm.copy())
    gappy.rain_mm[-300::3] = np.nan
    whole, holed = propose(sky, told), propose(gappy, told)
    assert holed.n_fitted + holed.n_kept_out < whole.n_fitted + whole.n_kept_out - 20
