"""Weather as it comes, at the command line: every fault is found and named, none is repaired."""

from __future__ import annotations

import json
from datetime import date, timedelta

import numpy as np
import pytest

from crossfall import model as nouns
from crossfall_app.store import models, repository
from small_district import TODAY, small_district

pytestmark = pytest.mark.slow

N_DAYS = 200
DAYS = [TODAY - timedelta(days=n) for n in range(N_DAYS, 0, -1)]
HERE = "--at=-103.985,45.0"


@pytest.fixture
def office(crossfall, sqlite_workspace):
    """Three roads, and no weather yet."""
    repository.store_district(small_district(), by="tests", invented_today=TODAY)
    models.WeatherRecord.objects.all().delete()
    models.Forecast.objects.all().delete()
    return sqlite_workspace.path


class Sky:
    """Two hundred days of invented weather, and a file of them with something wrong."""

    def __init__(self, folder) -> None:
        rng = np.random.default_rng(5)
        self.folder = folder
        self.rain = np.where(rng.uniform(size=N_DAYS) < 0.3, rng.gamma(0.8, 8, N_DAYS), 0.0)
        season = np.sin(np.arange(N_DAYS) / 60 - 1)
        self.low = 2 + 8 * season + rng.normal(0, 2, N_DAYS)
        self.high = self.low + 10

    def rows(self, *, rain=1.0, warm=lambda c: c, keep=lambda n: True, more=()):
        rows = [
            f"{day},{self.rain[n] * rain:.1f},{warm(self.low[n]):.1f},{warm(self.high[n]):.1f}"
            for n, day in enumerate(DAYS)
            if keep(n)
        ]
        return rows + list(more)

    def file(self, rows, head="date,rain_mm,tmin_c,tmax_c"):
        path = self.folder / "sky.csv"
        path.write_text("\n".join([head, *rows]) + "\n")
        return path

    def wind(self, mph):
        rows = [f"{row},{mph if n == 30 else 8}" for n, row in enumerate(self.rows())]
        return self.file(rows, "date,rain_mm,tmin_c,tmax_c,wind_mph")

    def hours(self, more=()):
        rows = [
            f"{day}T{hour:02d}:00,{self.rain[n] if hour == 16 else 0:.1f},{self.low[n] + 5:.1f}"
            for n, day in enumerate(DAYS)
            for hour in range(24)
            if not (day == date(2026, 3, 8) and hour == 2)
        ]
        return self.file([*rows, *more], "time,rain_mm,temp_c")


@pytest.fixture
def a_sky(tmp_path):
    return Sky(tmp_path)


def _record() -> nouns.WeatherRecord:
    (record,) = repository.load_district().weather
    return record


def test_gaps_are_refused_or_kept_as_unknown(crossfall, office, a_sky):
    file = a_sky.file(a_sky.rows(keep=lambda n: not 150 <= n < 155))
    refused = crossfall("weather", file, HERE, "-w", office)
    assert refused.is_refused(f"unknown from {DAYS[150]} to {DAYS[154]} (5 days)", "--keep-gaps")
    assert repository.load_district().weather == ()
    kept = crossfall("weather", file, HERE, "--keep-gaps", "-w", office)
    assert "5 days without a row" in kept.out
    assert np.isnan(_record().rain_mm[150:155]).all()


def test_totals_of_several_days_are_named_and_nothing_is_shared_out(crossfall, office, a_sky):
    rows = [
        f"{day},,{a_sky.low[n]:.1f},{a_sky.high[n]:.1f}" if day.weekday() >= 5 else
        f"{day},{12.0 if day.weekday() == 0 else 0.0},{a_sky.low[n]:.1f},{a_sky.high[n]:.1f}"
        for n, day in enumerate(DAYS)
    ]  # fmt: skip
    shown = crossfall("weather", a_sky.file(rows), HERE, "-w", office)
    assert "follows days without a reading and may be their total" in shown.out
    record = _record()
    weekend = np.array([day.weekday() >= 5 for day in DAYS])
    assert np.isnan(record.rain_mm[weekend]).all()
    assert set(record.rain_mm[~weekend].tolist()) == {0.0, 12.0}
    # What it leaves open is unknown on the roads as well, never dry
    answer = crossfall("moisture", office, "--days", 1, "--json").json
    assert "without a rain figure" in answer["summary"]


def test_a_wind_of_1048_mph_is_found_and_only_it_is_unknown(crossfall, office, a_sky):
    shown = crossfall("weather", a_sky.wind(1048), HERE, "-w", office)
    assert f"wind of {DAYS[30]}: 468.5 m/s is impossible; unknown now" in shown.out
    wind = _record().wind_m_s
    assert np.flatnonzero(np.isnan(wind)).tolist() == [30]
    assert not np.isnan(_record().rain_mm).any()


@pytest.mark.parametrize("colder", [0.0, 16.0])
def test_fahrenheit_as_celsius_is_refused_in_a_warm_and_in_a_cool_record(
    crossfall, office, a_sky, colder
):
    """16 degrees colder no figure is impossible any more; its winter is, at 45 degrees north."""
    file = a_sky.file(a_sky.rows(warm=lambda c: (c - colder) * 1.8 + 32))
    refused = crossfall("weather", file, HERE, "-w", office)
    assert refused.is_refused("in Fahrenheit", "=degF")
    assert repository.load_district().weather == ()
    right = crossfall("weather", file, HERE, "-w", office, "--column", "rain=rain_mm", "--unit",
                      "rain=mm", "--column", "tmin=tmin_c", "--unit", "tmin=degF", "--column",
                      "tmax=tmax_c", "--unit", "tmax=degF", "--column", "date=date")  # fmt: skip
    assert right.code == 0, right.err
    assert _record().tmax_c[5] == pytest.approx(a_sky.high[5] - colder, abs=0.1)


def test_rain_in_tenths_is_refused_or_doubted(crossfall, office, a_sky):
    heavy = a_sky.file(a_sky.rows(rain=12.0))
    assert crossfall("weather", heavy, HERE, "-w", office).is_refused("tenths of a millimetre")
    a_sky.rain = a_sky.rain / 1.6
    light = crossfall("weather", a_sky.file(a_sky.rows(rain=10.0)), HERE, "-w", office, "--dry-run")
    assert "a year would bring" in light.out
    assert "the file may be in tenths of a millimetre" in light.out


def test_tenths_in_dry_country_are_doubted_by_their_wet_days(crossfall, office, a_sky):
    # One wet day in ten, 4 mm each: in tenths a year stays below what is doubted
    a_sky.rain = np.where(np.arange(a_sky.rain.size) % 10 == 0, 4.0, 0.0)
    honest = crossfall("weather", a_sky.file(a_sky.rows()), HERE, "-w", office, "--dry-run")
    assert "tenths" not in honest.out
    tenths = crossfall(
        "weather", a_sky.file(a_sky.rows(rain=10.0)), HERE, "-w", office, "--dry-run"
    )
    assert "wet days bring 40 mm on average, more than 25" in tenths.out
    assert "the file may be in tenths of a millimetre" in tenths.out


def test_days_that_are_still_to_come_are_named(crossfall, office, a_sky):
    honest = crossfall("weather", a_sky.file(a_sky.rows()), HERE, "-w", office, "--dry-run")
    assert "after today" not in honest.out
    ahead = [f"{TODAY + timedelta(days=n)},3.0,5.0,15.0" for n in range(30)]
    shown = crossfall(
        "weather", a_sky.file(a_sky.rows(more=ahead)), HERE, "-w", office, "--dry-run"
    )
    assert f"29 days after today {TODAY}, and nobody has seen those" in shown.out
    assert "maybe the year is wrong" in shown.out


def test_negative_rain_is_unknown_and_named(crossfall, office, a_sky):
    a_sky.rain[20] = -5.0
    shown = crossfall("weather", a_sky.file(a_sky.rows()), HERE, "-w", office)
    assert f"rain of {DAYS[20]}: -5 mm is impossible; unknown now" in shown.out
    assert np.flatnonzero(np.isnan(_record().rain_mm)).tolist() == [20]


def test_a_station_200_km_away_is_kept_said_and_not_used(crossfall, office, a_sky):
    file = a_sky.file(a_sky.rows())
    shown = crossfall("weather", file, "--at=-101.4,45.0", "--station", "far", "-w", office)
    assert "stands 202 km from the nearest road" in shown.out
    refused = crossfall("moisture", office)
    assert refused.is_refused("far, is 202 km from segment", "at most 60 km")
    # With one nearby the far one says nothing
    crossfall("weather", file, HERE, "--station", "near", "-w", office)
    answer = crossfall("moisture", office, "--road", "Road 1", "--days", 1, "--json").json
    assert answer["segments"][0]["station"] == "near"


def test_a_station_that_stopped_is_named_and_the_next_one_counts(crossfall, office, a_sky):
    old = a_sky.file(a_sky.rows(keep=lambda n: n < 170))
    shown = crossfall("weather", old, HERE, "--station", "stopped", "-w", office)
    assert f"ends {DAYS[169]}, 30 days before today" in shown.out
    assert crossfall("moisture", office).is_refused("30 days between have neither record")
    crossfall("weather", a_sky.file(a_sky.rows()), "--at=-103.7,45.0", "--station", "going", "-w",
              office)  # fmt: skip
    answer = crossfall("moisture", office, "--days", 1, "--json").json
    assert f"stopped: ends {DAYS[169]} and is not used" in answer["summary"]


def _forecast(folder, first, n_days=3):
    days = [(first + timedelta(days=n)).isoformat() for n in range(n_days)]
    content = {
        "latitude": 45.0, "longitude": -103.985, "utc_offset_seconds": -21600,
        "daily": {
            "time": days, "precipitation_sum": [4.0] * n_days, "temperature_2m_min": [5] * n_days,
            "temperature_2m_max": [15] * n_days,
        },
        "daily_units": {
            "precipitation_sum": "mm", "temperature_2m_min": "°C", "temperature_2m_max": "°C",
        },
    }  # fmt: skip
    path = folder / "forecast.json"
    path.write_text(json.dumps(content))
    return path


def test_a_forecast_of_the_past_is_said_at_once_and_not_used(crossfall, office, a_sky, tmp_path):
    crossfall("weather", a_sky.file(a_sky.rows()), HERE, "-w", office)
    old = _forecast(tmp_path, TODAY - timedelta(days=10))
    shown = crossfall("weather", old, "--forecast", "-w", office)
    assert f"ended {TODAY - timedelta(days=8)}, before today {TODAY}" in shown.out
    answer = crossfall("moisture", office, "--days", 1, "--json").json
    assert "is not used" in answer["summary"]
    early = _forecast(tmp_path, TODAY + timedelta(days=2))
    told = crossfall("weather", early, "--forecast", "-w", office)
    assert "after today" in told.out


def test_days_that_stand_twice_are_named_or_refused(crossfall, office, a_sky):
    rows = a_sky.rows()
    shown = crossfall("weather", a_sky.file([*rows, rows[5]]), HERE, "-w", office)
    assert f"{DAYS[5]}: stands there twice, word for word" in shown.out
    changed = f"{DAYS[5]},99.0,{a_sky.low[5]:.1f},{a_sky.high[5]:.1f}"
    refused = crossfall("weather", a_sky.file([*rows, changed]), HERE, "-w", office)
    assert refused.is_refused(f"rows 7 and 202 give different figures for {DAYS[5]}")
    assert _record().rain_mm[5] != 99.0


def test_hours_of_the_night_the_clock_changes_are_named(crossfall, office, a_sky):
    toml = office / "crossfall.toml"
    lines = [each for each in toml.read_text().splitlines() if not each.startswith("time_zone")]
    toml.write_text("\n".join([*lines, 'time_zone = "America/Chicago"']) + "\n")
    shown = crossfall("weather", a_sky.hours(), HERE, "-w", office)
    assert "2026-03-08: has 23 hours, for the clock was changed" in shown.out
    record = _record()
    assert not np.isnan(record.rain_mm).any()
    assert record.rain_hour_mm.shape == (N_DAYS, 24)
    np.testing.assert_allclose(record.rain_hour_mm.sum(axis=1), record.rain_mm)
    odd = crossfall("weather", a_sky.hours(["2026-03-08T02:00,0.0,1.0"]), HERE, "-w", office)
    assert "2026-03-08 02:00: is an hour that the clock skips" in odd.out
    again = a_sky.hours([f"{DAYS[9]}T16:00,{a_sky.rain[9]:.1f},{a_sky.low[9] + 5:.1f}"])
    twice = crossfall("weather", again, HERE, "-w", office)
    assert f"{DAYS[9]} 16:00: stands there twice, word for word" in twice.out


def test_hours_reach_the_roads(crossfall, office, a_sky):
    """The same rain by the hour, late in the day, leaves the road moister than by the day."""
    a_sky.rain[-1] = 18.0

    def first_day():
        answer = crossfall("moisture", office, "--road", "Road 1", "--days", 1, "--json").json
        return answer["segments"][0]["ahead"][0]["moisture_pct"]["p50"]

    crossfall("weather", a_sky.file(a_sky.rows()), HERE, "--station", "gauge", "-w", office)
    by_day = first_day()
    crossfall("weather", a_sky.hours(), HERE, "--station", "gauge", "-w", office)
    assert first_day() > by_day + 0.3
    text = crossfall("moisture", office, "--days", 1).out
    assert "rain by the hour on 200 of 200 days" in text
    # The days told again without hours: hours of another reading are not kept beside them
    crossfall("weather", a_sky.file(a_sky.rows()), HERE, "--station", "gauge", "-w", office)
    assert np.isnan(_record().rain_hour_mm).all()
    assert first_day() == by_day
