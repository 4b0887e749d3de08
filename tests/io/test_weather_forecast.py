"""Forecast JSON: members, units, probabilities, incomplete days. All figures invented."""

from __future__ import annotations

import json
from datetime import date, datetime, timedelta

import numpy as np
import pytest

from crossfall.errors import InputError, UnitsError
from crossfall.io.weather import import_forecast, read_forecast
from crossfall.model import Station

DAYS = [str(date(2026, 6, 1) + timedelta(days=n)) for n in range(4)]


def _daily(**changes):
    content = {
        "latitude": 44.9,
        "longitude": -98.3,
        "elevation": 400.0,
        "utc_offset_seconds": -18000,
        "timezone": "America/Chicago",
        "daily_units": {
            "time": "iso8601",
            "precipitation_sum": "mm",
            "temperature_2m_max": "°C",
            "temperature_2m_min": "°C",
        },
        "daily": {
            "time": DAYS,
            "precipitation_sum": [0.0, 4.0, 12.5, 0.0],
            "temperature_2m_max": [25.0, 22.0, 18.0, 21.0],
            "temperature_2m_min": [12.0, 11.0, 9.0, 8.0],
        },
    }
    content.update(changes)
    return content


def _members(n: int = 3):
    content = _daily()
    for number in range(1, n + 1):
        for name in ("precipitation_sum", "temperature_2m_max", "temperature_2m_min"):
            values = [value + number for value in content["daily"][name]]
            content["daily"][f"{name}_member{number:02d}"] = values
    return content


@pytest.fixture
def write(tmp_path):
    def write_(content):
        path = tmp_path / "forecast.json"
        path.write_text(content if isinstance(content, str) else json.dumps(content))
        return path

    return write_


def test_single_run(write):
    found = import_forecast(write(_daily()))
    forecast = found.forecast
    assert (forecast.n_members, forecast.n_days) == (1, 4)
    assert forecast.first_day == forecast.issued_on == date(2026, 6, 1)
    assert forecast.rain_mm[0].tolist() == [0.0, 4.0, 12.5, 0.0]
    assert (forecast.station.lon, forecast.station.lat) == (-98.3, 44.9)
    assert forecast.pop is None
    assert found.report.doubts == ()


def test_days_before_the_day_of_issue_are_doubted(write):
    found = import_forecast(write(_daily()), issued_on=date(2026, 6, 3))
    (doubt,) = found.report.doubts
    assert "2 of 4 days, from 2026-06-01 on, lie before 2026-06-03" in str(doubt)
    assert import_forecast(write(_daily()), issued_on=date(2026, 5, 31)).report.doubts == ()


def test_members_follow_the_control_run_in_order(write):
    forecast = read_forecast(write(_members(12)))
    assert forecast.n_members == 13
    assert forecast.rain_mm[:, 0].tolist() == list(range(13))
    assert forecast.tmax_c[5].tolist() == [30.0, 27.0, 23.0, 26.0]


def test_probability_is_kept_beside_the_amount(write):
    content = _daily()
    content["daily"]["precipitation_probability_max"] = [5, 40, 90, 10]
    content["daily_units"]["precipitation_probability_max"] = "%"
    assert read_forecast(write(content)).pop.tolist() == [0.05, 0.4, 0.9, 0.1]


def test_us_units_are_converted_exactly(write):
    content = _daily()
    content["daily_units"].update(
        precipitation_sum="inch", temperature_2m_max="°F", temperature_2m_min="°F"
    )
    content["daily"].update(
        precipitation_sum=[0, 1, 0.1, 0],
        temperature_2m_max=[77, 68, 59, 50],
        temperature_2m_min=[50, 41, 41, 32],
    )
    forecast = read_forecast(write(content))
    assert forecast.rain_mm[0] == pytest.approx([0, 25.4, 2.54, 0])
    assert forecast.tmax_c[0] == pytest.approx([25, 20, 15, 10])
    assert forecast.tmin_c[0] == pytest.approx([10, 5, 5, 0])


def test_nobody_knows_stays_unknown(write):
    content = _daily()
    content["daily"]["precipitation_sum"] = [0.0, None, 12.5, None]
    found = import_forecast(write(content))
    assert np.isnan(found.forecast.rain_mm[0, 1])
    assert found.forecast.n_days == 3
    assert any("last 1 days are incomplete" in str(doubt) for doubt in found.report.doubts)


def _hourly(n_hours: int, *, offset: int = -18000, start: str = "2026-06-01T00:00"):
    first = datetime.fromisoformat(start)
    times = [(first + timedelta(hours=n)).isoformat(timespec="minutes") for n in range(n_hours)]
    return {
        "latitude": 44.9,
        "longitude": -98.3,
        "utc_offset_seconds": offset,
        "hourly_units": {
            "time": "iso8601",
            "precipitation": "mm",
            "temperature_2m": "°C",
            "precipitation_probability": "%",
        },
        "hourly": {
            "time": times,
            "precipitation": [0.5] * n_hours,
            "precipitation_member01": [1.0] * n_hours,
            "temperature_2m": [10 + n % 24 / 2 for n in range(n_hours)],
            "temperature_2m_member01": [9 + n % 24 / 2 for n in range(n_hours)],
            "precipitation_probability": [n % 24 for n in range(n_hours)],
        },
    }


def test_hours_become_days_and_the_broken_last_day_is_left_out(write):
    found = import_forecast(write(_hourly(24 * 3 + 7)))
    forecast = found.forecast
    assert (forecast.n_members, forecast.n_days) == (2, 3)
    assert forecast.rain_mm.tolist() == [[12.0] * 3, [24.0] * 3]
    assert forecast.tmin_c[0].tolist() == [10.0] * 3
    assert forecast.tmax_c[1].tolist() == [20.5] * 3
    assert forecast.pop.tolist() == [0.23] * 3
    assert any("incomplete" in str(doubt) for doubt in found.report.doubts)


def test_greenwich_hours_in_the_prairie_are_doubted_and_can_be_moved(write):
    path = write(_hourly(24 * 4, offset=0))
    assert any("from the sun's" in str(d) for d in import_forecast(path).report.doubts)
    found = import_forecast(path, time_zone="America/Chicago")
    assert found.forecast.first_day == date(2026, 5, 31)
    assert np.isnan(found.forecast.rain_mm[0, 0])
    assert found.forecast.rain_mm[0, 1] == 12.0
    assert not any("from the sun's" in str(d) for d in found.report.doubts)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda c: c.pop("daily_units"), "no daily_units; units are never guessed"),
        (lambda c: c["daily_units"].pop("precipitation_sum"), "unit of precipitation_sum"),
        (
            lambda c: c["daily_units"].update(precipitation_sum="furlong"),
            "'furlong' of rain is unknown",
        ),
        (lambda c: c["daily"]["precipitation_sum"].pop(), "has 3 values; expected 4"),
        (lambda c: c["daily"].pop("precipitation_sum"), "has no rain"),
        (lambda c: c["daily"].update(time=[]), "time is missing or empty"),
        (lambda c: c["daily"].update(time=[*DAYS[:3], DAYS[2]]), "expected every day once"),
        (lambda c: c["daily"].update(time=["soon"] * 4), "not ISO 8601"),
        (lambda c: c["daily"].update(precipitation_sum=["a"] * 4), "not a figure"),
        (lambda c: c.pop("latitude"), "does not say where it is for"),
        (lambda c: c.update(latitude=-98.3, longitude=44.9), "swapped"),
    ],
)
def test_bad_content_is_named(write, change, message):
    content = _daily()
    change(content)
    with pytest.raises(InputError, match=message):
        import_forecast(write(content))


def test_fahrenheit_called_celsius_is_refused(write):
    content = _daily()
    content["daily"].update(temperature_2m_max=[77, 68, 64, 70], temperature_2m_min=[50] * 4)
    with pytest.raises(UnitsError, match="Fahrenheit"):
        import_forecast(write(content))


def test_members_that_do_not_match_are_refused(write):
    content = _members(3)
    del content["daily"]["temperature_2m_max_member02"]
    with pytest.raises(InputError, match="4 members of rain but 3 of temperature_2m_max"):
        import_forecast(write(content))


def test_file_cut_off_or_of_another_kind(write):
    with pytest.raises(InputError, match="not JSON"):
        import_forecast(write(json.dumps(_daily())[:-40]))
    with pytest.raises(InputError, match="not one forecast"):
        import_forecast(write("[1, 2]"))


def test_station_and_day_may_be_given(write):
    station = Station("yard", "Yard", -98.0, 45.0)
    forecast = read_forecast(write(_daily()), station=station, issued_on=date(2026, 5, 31))
    assert forecast.station is station
    assert forecast.issued_on == date(2026, 5, 31)
