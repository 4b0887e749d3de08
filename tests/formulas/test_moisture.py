"""The balance of the layer: published drying, check values of the method, and conservation."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.formulas.drying import evaporate_two_stage, reduction_factor
from crossfall.formulas.layer import make_layer, saturation_pct
from crossfall.formulas.moisture import Weather, run_in_chunks, run_layer
from crossfall.formulas.runoff import snow_and_melt, storm_before
from crossfall.formulas.sun import evaporation_by_hour

MM_PER_PCT = 3.15


def layer(n=1, **change):
    """The layer the check values were computed with: 150 mm at 2100 kg/m3, well drained, open."""
    figures = {
        "thickness_m": 0.15, "dry_density_kg_m3": 2100.0, "specific_gravity": 2.68,
        "optimum_pct": 7.0, "field_capacity_pct": 8.0, "air_dry_pct": 1.5, "rew_mm": 7.0,
        "drain_per_day": 0.6, "curve_number": 91.0, "et_factor": 1.15,
    } | change  # fmt: skip
    arrays = {name: np.broadcast_to(np.asarray(v, float), (n,)) for name, v in figures.items()}
    return make_layer(**arrays, conductivity_w_m_k=2.0)


def sky(rain, et0, frost=0.0, is_weak=False, before=None):
    rain, et0, frost, weak = np.broadcast_arrays(
        np.atleast_1d(np.asarray(rain, float)), et0, frost, is_weak
    )
    shape = (1, 1, rain.size)
    return Weather(
        rain.reshape(shape).astype(float), et0.reshape(shape).astype(float),
        frost.reshape(shape).astype(float), weak.reshape(shape).astype(bool),
        None if before is None else np.asarray(before, float).reshape(shape),
    )  # fmt: skip


def percents(run):
    return run.end_mm[0, 0] / MM_PER_PCT


ONE = np.zeros(1, dtype=np.int64)


# ---------------------------------------------------------------- drying


# Bare loam TEW 20, REW 9, Kc max 1.20 less Kcb 0.15, ETo 4.5: the set-up of FAO-56 Example 34
# [recalled]; depletion recomputed and matched by pyfao56 1.4.3 to three decimals
EXPLICIT = [4.725, 9.450, 13.982, 16.567, 18.042, 18.883, 19.363, 19.636, 19.793, 19.882]
EXACT = [4.725, 9.441, 13.128, 15.528, 17.089, 18.106, 18.767, 19.198, 19.478, 19.660]
FACTOR = [1, 1, 0.959, 0.547, 0.312, 0.178, 0.102, 0.058, 0.033, 0.019]


@pytest.mark.parametrize(("scheme", "expected"), [("explicit", EXPLICIT), ("exact", EXACT)])
def test_drydown_of_fao_56_example_34(scheme, expected):
    depletion, found = 0.0, []
    for _ in expected:
        depletion = float(evaporate_two_stage(depletion, 1.05 * 4.5, 20.0, 9.0, scheme=scheme))
        found.append(depletion)
    assert found == pytest.approx(expected, abs=0.002)


def test_reduction_factors_of_the_same_drydown():
    starts = [0.0, *EXPLICIT[:-1]]
    assert reduction_factor(starts, 20.0, 9.0) == pytest.approx(FACTOR, abs=0.001)
    # FAO-56 Eq. 74 at De 9.45: .9591 (+-1e-4)
    assert reduction_factor(9.45, 20.0, 9.0) == pytest.approx(0.9591, abs=1e-4)


def test_drydown_agrees_with_pyfao56_run_here(tmp_path):
    """The package itself, run on ten rainless days of bare loam (FAO-56 ch. 7)."""
    fao = pytest.importorskip("pyfao56")
    par = fao.Parameters(
        Kcbini=0.15, Kcbmid=0.16, Kcbend=0.15, Lini=20, Ldev=20, Lmid=20, Lend=20, hini=0.05,
        hmax=0.05, thetaFC=0.26, thetaWP=0.12, theta0=0.26, Zrini=0.2, Zrmax=0.2, pbase=0.5,
        Ze=0.10, REW=9.0,
    )  # fmt: skip
    # TEW 20 = 1000 (FC - WP/2) Ze
    weather = fao.Weather()
    weather.rfcrp, weather.z, weather.lat, weather.wndht = "S", 100.0, 40.0, 2.0
    days = [f"2021-{i:03d}" for i in range(150, 161)]
    weather.wdata = pd.DataFrame(
        {
            "Srad": 20.0, "Tmax": 25.0, "Tmin": 12.0, "Vapr": np.nan, "Tdew": np.nan,
            "RHmax": np.nan, "RHmin": 45.0, "Wndsp": 2.0, "Rain": 0.0, "ETref": 4.5,
            "MorP": "M",
        },
        index=days,
    )  # fmt: skip
    weather.wdata.loc[days[0], "Rain"] = 60.0
    irrigation = fao.Irrigation()
    model = fao.Model("2021-150", "2021-160", par, weather, irr=irrigation)
    model.run()
    out = model.odata
    start = float(out.De.iloc[0])
    depletion = start
    for day in range(1, 11):
        potential = float((out.Kcmax.iloc[day] - out.Kcb.iloc[day]) * out.ETref.iloc[day])
        depletion = float(evaporate_two_stage(depletion, potential, 20.0, 9.0, scheme="explicit"))
        assert depletion == pytest.approx(float(out.De.iloc[day]), abs=1e-3), f"day {day}"


@settings(max_examples=200, deadline=None)
@given(
    st.floats(-10, 20), st.floats(0, 15), st.floats(1, 12), st.integers(1, 48)
)  # fmt: skip
def test_exact_drying_does_not_depend_on_the_step(depletion, potential, rew, n_steps):
    tew = 20.0
    at_once = float(evaporate_two_stage(depletion, potential, tew, rew))
    in_steps = depletion
    for _ in range(n_steps):
        in_steps = float(evaporate_two_stage(in_steps, potential / n_steps, tew, rew))
    assert in_steps == pytest.approx(at_once, abs=1e-9)
    assert depletion - 1e-12 <= at_once <= tew + 1e-12


def test_hours_and_day_agree_when_dry():
    # 24 steps and 1 step of Ep 6.9 from 25.2 mm: 18.300 mm both (semigroup)
    day = run_layer(layer(), sky(0.0, 6.0), ONE, np.array([[25.2]]))
    et0 = evaporation_by_hour(np.array([6.0]), 14.0)
    hours = run_layer(layer(), sky(np.zeros(24), et0), ONE, np.array([[25.2]]), step_days=1 / 24)
    assert day.water_mm[0, 0, -1] == pytest.approx(18.300, abs=1e-9)
    assert hours.water_mm[0, 0, -1] == pytest.approx(day.water_mm[0, 0, -1], abs=1e-9)


@settings(deadline=None)
@given(
    st.floats(1.5, 10.3), st.floats(0.0, 9.0), st.sampled_from([0.2, 0.35, 0.6]),
    st.floats(0.0, 60.0), st.booleans(), st.sampled_from(["numpy", "numba"]),
)  # fmt: skip
def test_days_of_hours_end_where_days_end_however_wet(w, et0, drain, rain, is_weak, engine):
    # Ten days in the sun's own hours; rain, if any, stands at the start of the third, as of a day
    # of which only the total is known. Above field capacity drainage and drying meet.
    one, n_days = layer(drain_per_day=drain), 10
    fallen = np.zeros(n_days)
    fallen[2] = rain
    et_hours = evaporation_by_hour(np.full(n_days, et0), 14.0).ravel()
    rain_hours = np.zeros(n_days * 24)
    rain_hours[48] = rain
    start = np.array([[max(w * MM_PER_PCT, one.air_dry_mm[0])]])
    days = run_layer(one, sky(fallen, et0, is_weak=is_weak), ONE, start, engine=engine)
    hours = run_layer(
        one,
        sky(rain_hours, et_hours, is_weak=is_weak, before=np.zeros(n_days * 24)),
        ONE, start, step_days=1 / 24, engine=engine, drains="by_day",
    )  # fmt: skip
    assert hours.water_mm[0, 0, ::24] == pytest.approx(days.water_mm[0, 0], abs=1e-9)
    drained = hours.drainage_mm.reshape(n_days, 24).sum(axis=1)
    assert drained == pytest.approx(days.drainage_mm[0, 0], abs=1e-9)


def test_what_falls_later_drains_on_its_day_and_a_drizzle_changes_little():
    # 8 mm at 10 h: some is gone by midnight. A tenth of a millimetre leaves no more than itself.
    one = layer(drain_per_day=0.6)
    found = {}
    for rain in (0.0, 0.1, 8.0):
        fallen = np.zeros(24)
        fallen[10] = rain
        run = run_layer(
            one, sky(fallen, 0.0, before=np.zeros(24)), ONE, np.array([[28.0]]),
            step_days=1 / 24, drains="by_day",
        )  # fmt: skip
        found[rain] = run
    assert found[0.0].drainage_mm.sum() == pytest.approx(0.6 * 2.8)
    assert found[8.0].drainage_mm.sum() > found[0.0].drainage_mm.sum() + 1.0
    gain = found[0.1].water_mm[0, 0, -1] - found[0.0].water_mm[0, 0, -1]
    assert 0 < gain < 0.1
    with pytest.raises(InputError, match="drains is 'never'; expected evenly or by_day"):
        run_layer(one, sky(0.0, 0.0), ONE, np.array([[28.0]]), drains="never")


# ---------------------------------------------------------------- check values of the method


def test_saturation():
    # 100 (1000/2100 - 1/2.68): 10.306 % (+-.001)
    assert saturation_pct(2100.0, 2.68) == pytest.approx(10.306, abs=0.001)


def test_three_days_of_drying():
    # From field capacity 8 % at ETo 6: 5.81, 4.08, 3.05 % (+-.01), by the method's own arithmetic
    run = run_layer(layer(), sky([0.0] * 3, 6.0), ONE, np.array([[25.2]]))
    assert percents(run) == pytest.approx([5.81, 4.08, 3.05], abs=0.01)


@pytest.mark.parametrize(("rain", "expected"), [(10.0, 4.80), (25.0, 6.90), (40.0, 7.56)])
def test_one_storm_on_a_dry_road(rain, expected):
    # From 2.5 % with ETo 2, curve number 91, drainage .6/d (+-.01), by the method's own arithmetic
    run = run_layer(layer(), sky(rain, 2.0), ONE, np.array([[2.5 * MM_PER_PCT]]))
    assert percents(run)[0] == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize(
    ("et0", "to_band", "to_dry"),
    [(2, 4.22, 7.50), (4, 2.11, 3.75), (6, 1.41, 2.50), (8, 1.05, 1.87)],
)
def test_days_until_it_leaves_the_band(et0, to_band, to_dry):
    # From 8 % to 5 % and to 3.5 % (+-.01 d); hours, since the exact scheme allows them
    fine = 2400
    run = run_layer(
        layer(), sky(np.zeros(10 * fine), et0 / fine), ONE, np.array([[25.2]]), step_days=1 / fine
    )
    percent = percents(run)
    assert np.argmax(percent < 5.0) / fine == pytest.approx(to_band, abs=0.01)
    assert np.argmax(percent < 3.5) / fine == pytest.approx(to_dry, abs=0.01)


@pytest.mark.parametrize(("et0", "to_dry"), [(2, 12.5), (4, 6.25), (6, 4.17), (8, 3.12)])
def test_shade_stretches_the_window(et0, to_dry):
    # Shade .6: the days in the open over .6 (+-.01 d)
    fine = 2400
    run = run_layer(
        layer(et_factor=1.15 * 0.6), sky(np.zeros(14 * fine), et0 / fine), ONE,
        np.array([[25.2]]), step_days=1 / fine,
    )  # fmt: skip
    assert np.argmax(percents(run) < 3.5) / fine == pytest.approx(to_dry, abs=0.01)


# ---------------------------------------------------------------- frost, thaw, storms


def test_a_frozen_layer_neither_drains_nor_dries():
    wet = np.array([[30.0]])
    run = run_layer(layer(), sky(0.0, 5.0, frost=3.2), ONE, wet)
    assert run.water_mm[0, 0, 1] == 30.0
    # Just below 3.196 degC d it is not frozen through
    assert run_layer(layer(), sky(0.0, 5.0, frost=3.19), ONE, wet).water_mm[0, 0, 1] < 30.0


def test_a_thaw_weak_layer_dries_but_does_not_drain():
    run = run_layer(layer(), sky(0.0, 1.0, is_weak=True), ONE, np.array([[30.0]]))
    assert run.drainage_mm.sum() == 0.0
    assert run.water_mm[0, 0, 1] == pytest.approx(30.0 - 1.15)


def test_a_storm_runs_off_alike_in_hours_and_days():
    rain = np.zeros(24)
    rain[3:9] = [2, 6, 9, 4, 3, 1]
    day = run_layer(layer(drain_per_day=0.0), sky(25.0, 0.0), ONE, np.array([[7.875]]))
    hours = run_layer(
        layer(drain_per_day=0.0), sky(rain, 0.0, before=storm_before(rain, 12)), ONE,
        np.array([[7.875]]), step_days=1 / 24,
    )  # fmt: skip
    assert hours.runoff_mm.sum() == pytest.approx(day.runoff_mm.sum(), abs=1e-9)


# ---------------------------------------------------------------- conservation and the two engines


@st.composite
def histories(draw):
    n_days = draw(st.integers(1, 60))
    n_segments = draw(st.integers(1, 6))
    seed = draw(st.integers(0, 2**31))
    return n_days, n_segments, np.random.default_rng(seed)


def random_case(n_days, n_segments, rng, n_members=2, n_stations=2):
    shape = (n_members, n_stations, n_days)
    rain = np.where(rng.uniform(size=shape) < 0.4, rng.gamma(0.8, 12, shape), 0.0)
    weather = Weather(
        rain, rng.uniform(0, 9, shape), np.maximum(rng.normal(0, 3, shape), 0),
        rng.uniform(size=shape) < 0.1, np.maximum(rng.normal(0, 5, shape), 0),
    )  # fmt: skip
    these = layer(
        n_segments, thickness_m=rng.uniform(0.1, 0.15, n_segments),
        drain_per_day=rng.choice([0.6, 0.35, 0.2, 0.0], n_segments),
        rew_mm=rng.uniform(2, 9, n_segments), et_factor=rng.uniform(0.5, 1.3, n_segments),
        curve_number=rng.uniform(60, 100, n_segments),
    )  # fmt: skip
    share = rng.uniform(size=(n_members, n_segments))
    start = these.air_dry_mm + share * (these.saturation_mm - these.air_dry_mm)
    return these, weather, rng.integers(0, n_stations, n_segments), start


@settings(max_examples=60, deadline=None)
@given(
    histories(), st.sampled_from(["exact", "explicit"]), st.booleans(),
    st.sampled_from([(1.0, "evenly"), (1 / 6, "evenly"), (1 / 6, "by_day")]),
)  # fmt: skip
def test_water_is_kept_and_engines_agree(history, scheme, keep_fluxes, step):
    these, weather, station, start = random_case(*history)
    factor = np.array([0.8, 1.2])
    options = {
        "scheme": scheme, "keep_fluxes": keep_fluxes, "rew_factor": factor,
        "step_days": step[0], "drains": step[1],
    }  # fmt: skip
    plain = run_layer(these, weather, station, start, engine="numpy", **options)
    fast = run_layer(these, weather, station, start, engine="numba", **options)
    for name in ("water_mm", "runoff_mm", "evaporation_mm", "drainage_mm"):
        np.testing.assert_allclose(getattr(plain, name), getattr(fast, name), atol=1e-10)
    assert plain.imbalance_mm(weather, station) <= 1e-9
    assert fast.imbalance_mm(weather, station) <= 1e-9
    assert np.all(plain.water_mm <= these.saturation_mm[:, None] + 1e-9)
    assert np.all(plain.water_mm >= these.air_dry_mm[:, None] - 1e-9)
    if keep_fluxes:
        assert min(plain.runoff_mm.min(), plain.drainage_mm.min()) >= -1e-12


def test_water_is_kept_over_37_years():
    # Rain and water at the start = the fluxes, snow and water at the end
    rng = np.random.default_rng(37)
    n_days = 37 * 365
    day = np.arange(n_days)
    tmean = 8 - 14 * np.cos(2 * np.pi * day / 365) + rng.normal(0, 4, n_days)
    rain = np.where(rng.uniform(size=n_days) < 0.3, rng.gamma(0.8, 9, n_days), 0.0)
    snow = snow_and_melt(rain, tmean, snow_below_c=0.0, melt_mm_c_day=3.0)
    weather = sky(snow.liquid_mm, np.maximum(3 + 2.5 * np.sin(day / 58), 0.2))
    run = run_layer(layer(), weather, ONE, np.array([[25.2]]), engine="numba")
    left = (
        rain.sum() + 25.2 - snow.snow_mm[-1] - run.water_mm[0, 0, -1]
        - run.runoff_mm.sum() - run.evaporation_mm.sum() - run.drainage_mm.sum()
    )  # fmt: skip
    assert abs(left) <= 1e-9


def test_chunks_give_the_same_as_one_run():
    these, weather, station, start = random_case(20, 7, np.random.default_rng(5))
    whole = run_layer(these, weather, station, start)
    parts = list(run_in_chunks(these, weather, station, start, n_segments=3, keep_fluxes=True))
    assert [(chunk.start, chunk.stop) for chunk, _ in parts] == [(0, 3), (3, 6), (6, 7)]
    joined = np.concatenate([run.water_mm for _, run in parts], axis=1)
    np.testing.assert_array_equal(joined, whole.water_mm)


def test_memory_is_bounded_by_the_chunk_and_not_by_the_country():
    """Ten times the segments in chunks of one size take the same memory beside their own."""

    def peak(n_segments):
        rng = np.random.default_rng(1)
        these = layer(n_segments, rew_mm=rng.uniform(5, 9, n_segments))
        weather, station, _ = sky(np.zeros(120), 3.0), np.zeros(n_segments, dtype=np.int64), None
        start = these.field_capacity_mm[None].copy()
        tracemalloc.start()
        for _, run in run_in_chunks(these, weather, station, start, n_segments=500, engine="numba"):
            assert run.water_mm.shape[2] == 121
            del run
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    peak(600)  # the kernel is compiled and the modules are loaded
    small, large = peak(2_000), peak(20_000)
    one_chunk = 500 * 121 * 8
    # The layer's parts and the whole's own figures apart, no more than two chunks are ever alive
    assert small < 3 * one_chunk
    assert large < small + one_chunk / 10


# ---------------------------------------------------------------- bad input


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"air_dry_pct": 9.0}, "rise in that order"),
        ({"field_capacity_pct": 11.0}, "rise in that order"),
        ({"drain_per_day": 1.0}, "drain_per_day"),
        ({"curve_number": 0.0}, "curve_number"),
    ],
)
def test_a_layer_that_cannot_be(change, word):
    with pytest.raises(InputError, match=word):
        layer(**change)


def test_bad_weather_and_starts_are_named():
    with pytest.raises(InputError, match="NaN"):
        sky(np.nan, 1.0)
    with pytest.raises(InputError, match="negative"):
        sky(-1.0, 1.0)
    with pytest.raises(InputError, match="percent"):
        run_layer(layer(), sky(0.0, 1.0), ONE, np.array([[2.0]]))
    with pytest.raises(InputError, match="start_mm has shape"):
        run_layer(layer(), sky(0.0, 1.0), ONE, np.zeros((2, 2)))
    with pytest.raises(InputError, match="station_of_segment"):
        run_layer(layer(), sky(0.0, 1.0), np.array([3]), np.array([[25.0]]))
    with pytest.raises(InputError, match="scheme"):
        run_layer(layer(), sky(0.0, 1.0), ONE, np.array([[25.0]]), scheme="euler")
    with pytest.raises(InputError, match="engine"):
        run_layer(layer(), sky(0.0, 1.0), ONE, np.array([[25.0]]), engine="cuda")
    with pytest.raises(InputError, match="step_days"):
        run_layer(layer(), sky(0.0, 1.0), ONE, np.array([[25.0]]), step_days=24.0)
    with pytest.raises(InputError, match="rew_factor"):
        run_layer(layer(), sky(0.0, 1.0), ONE, np.array([[25.0]]), rew_factor=np.zeros(1))
