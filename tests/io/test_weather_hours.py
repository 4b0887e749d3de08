"""Hourly files: hours kept, clock changes and doubled rows named, nothing repaired."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.io.weather import import_forecast, import_weather
from crossfall.model import Station

GAUGE = Station("gauge", "Yard gauge", -98.3, 44.9, 400.0)
ZONE = "America/Chicago"


@pytest.fixture
def hourly(tmp_path):
    """Write an hourly CSV in our own column names and read it."""

    def read(rows, **more):
        path = tmp_path / "hours.csv"
        path.write_text("time,rain_mm,temp_c\n" + "\n".join(rows) + "\n")
        return import_weather(path, station=GAUGE, **more)

    return read


def _rows(day, hours=range(24), rain=None):
    return [f"{day}T{h:02d}:00,{(rain or {}).get(h, 0.0)},10" for h in hours]


def test_the_hours_of_rain_are_kept(hourly):
    found = hourly(_rows("2026-06-01", rain={14: 8.0, 15: 2.5}))
    record = found.record
    assert record.rain_mm.tolist() == [10.5]
    assert record.rain_hour_mm[0, 14:16].tolist() == [8.0, 2.5]
    assert np.nansum(record.rain_hour_mm) == 10.5


def test_a_day_with_too_few_hours_has_none(hourly):
    rows = _rows("2026-06-01", rain={3: 4.0}) + _rows("2026-06-02", range(10), {3: 4.0})
    record = hourly(rows).record
    assert record.rain_mm[0] == 4.0
    assert np.isnan(record.rain_mm[1])
    assert np.isnan(record.rain_hour_mm[1]).all()


def test_a_day_that_lacks_an_hour_counts_and_is_told(hourly):
    found = hourly(_rows("2026-06-01", [h for h in range(24) if h != 5], {3: 4.0}))
    assert found.record.rain_mm.tolist() == [4.0]
    assert found.report.n_part_days == 1
    assert "1 days whose rain lacks an hour or two" in found.report.summary()


def test_quarter_hours_make_hours_and_six_hours_of_them_no_day(hourly):
    rows = [
        f"2026-06-01T{h:02d}:{m:02d},0.5,10" for h in range(24) for m in (0, 15, 30, 45)
    ]  # fmt: skip
    record = hourly(rows).record
    assert record.rain_hour_mm[0].tolist() == [2.0] * 24
    # 24 rows are not 24 hours
    assert np.isnan(hourly(rows[:24]).record.rain_mm[0])


def test_the_night_the_clock_is_set_back_is_named_and_counts_whole(hourly):
    rows = _rows("2026-11-01", rain={1: 2.0})
    rows.insert(2, "2026-11-01T01:00,3.0,10")
    found = hourly(rows, home_zone=ZONE)
    assert found.record.rain_mm.tolist() == [5.0]
    assert found.record.rain_hour_mm[0, 1] == 5.0
    doubts = [str(each) for each in found.report.doubts]
    assert any("2026-11-01 01:00" in each and "set back; both count" in each for each in doubts)
    assert any("2026-11-01: has 25 hours" in each for each in doubts)
    assert found.report.n_clock_days == 1


def test_the_night_the_clock_is_set_forward_misses_no_hour(hourly):
    found = hourly(_rows("2026-03-08", [h for h in range(24) if h != 2]), home_zone=ZONE)
    assert found.record.rain_mm.tolist() == [0.0]
    assert found.report.n_part_days == 0
    assert any("2026-03-08: has 23 hours" in str(each) for each in found.report.doubts)


def test_an_hour_the_clock_skips_is_named(hourly):
    """A logger that keeps one time all year writes 02:00 on the night of spring."""
    found = hourly(_rows("2026-03-08", rain={2: 1.5}), home_zone=ZONE)
    (said,) = [str(each) for each in found.report.doubts if "skips" in str(each)]
    assert "2026-03-08 02:00" in said
    assert found.record.rain_mm.tolist() == [1.5]


def test_a_second_hour_on_another_night_is_no_clock(hourly):
    """With a zone at hand only its own night may have an hour twice; 2026-10-25 is Europe's."""
    rows = _rows("2026-10-25", rain={1: 2.0})
    rows.insert(2, "2026-10-25T01:00,3.0,10")
    with pytest.raises(InputError, match="rows 3 and 4 give different figures for 2026-10-25"):
        hourly(rows, home_zone=ZONE)


def test_rows_that_stand_twice_are_named_and_count_once(hourly):
    rows = _rows("2026-06-01", rain={14: 8.0})
    rows.insert(15, rows[14])
    found = hourly(rows)
    assert found.record.rain_mm.tolist() == [8.0]
    assert found.report.n_duplicated == 1
    (said,) = [str(each) for each in found.report.doubts]
    assert "2026-06-01 14:00" in said
    assert "twice, word for word" in said


def test_zoned_hours_fall_in_their_local_hour(hourly):
    stamp = datetime(2026, 6, 1, 5, tzinfo=UTC)
    rows = [
        f"{(stamp + timedelta(hours=n)).isoformat()},{4.0 if n == 15 else 0.0},10"
        for n in range(24)
    ]  # fmt: skip
    record = hourly(rows, time_zone=ZONE).record
    # 20 UTC is 15 h in Chicago's summer
    assert record.rain_mm.tolist() == [4.0]
    assert record.rain_hour_mm[0, 15] == 4.0


def test_hours_are_not_moved_to_the_day_before(hourly):
    with pytest.raises(InputError, match="--read-in-the-morning"):
        hourly(_rows("2026-06-01"), reading="day_before")


def test_an_impossible_hour_is_unknown_and_so_is_its_day_only_if_too_many(hourly):
    found = hourly(_rows("2026-06-01", rain={14: 8.0, 15: 9999.0}))
    assert found.record.rain_mm.tolist() == [8.0]
    assert found.report.n_part_days == 1
    assert any("15:00" in str(each) and "impossible" in str(each) for each in found.report.doubts)


@pytest.mark.parametrize("doubled", [False, True])
def test_a_forecast_by_the_hour_keeps_its_hours(tmp_path, doubled):
    times = [f"2026-06-{1 + n // 24:02d}T{n % 24:02d}:00" for n in range(48)]
    if doubled:
        times[16] = times[15]
    rain = [6.0 if n == 15 else 0.0 for n in range(48)]
    hourly = {"time": times, "precipitation": rain, "temperature_2m": [12.0] * 48}
    hourly["precipitation_member01"] = [0.0] * 48
    content = {
        "latitude": 44.9, "longitude": -98.3, "utc_offset_seconds": -18000, "hourly": hourly,
        "hourly_units": {"time": "iso8601", "precipitation": "mm", "temperature_2m": "°C"},
    }  # fmt: skip
    path = tmp_path / "forecast.json"
    path.write_text(json.dumps(content))
    if doubled:
        with pytest.raises(InputError, match="2026-06-01 15:00 stands there 2 times"):
            import_forecast(path)
        return
    forecast = import_forecast(path).forecast
    assert forecast.rain_hour_mm.shape == (2, 2, 24)
    assert forecast.rain_hour_mm[0, 0, 15] == 6.0
    np.testing.assert_allclose(forecast.rain_hour_mm.sum(axis=-1), forecast.rain_mm)
