"""GHCN-Daily in both shapes. The lines here are invented; the layout is the archive's."""

from __future__ import annotations

import gzip
from datetime import date

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.io.weather import import_weather
from crossfall.model import Station

GAUGE = Station("", "Invented gauge", -98.3, 44.9)
ID = "XX000000001"


def _line(element: str, year: int, month: int, values: dict[int, str]) -> str:
    """One line; ``values`` holds value and the three flags, eight characters, by day."""
    cells = [values.get(day, "-9999   ") for day in range(1, 32)]
    return f"{ID}{year:04d}{month:02d}{element}" + "".join(cells) + "\n"


def _cell(value: int, mflag: str = " ", qflag: str = " ", sflag: str = "7") -> str:
    return f"{value:5d}{mflag}{qflag}{sflag}"


@pytest.fixture
def dly(tmp_path):
    def write(*lines: str):
        path = tmp_path / f"{ID}.dly"
        path.write_text("".join(lines))
        return path

    return write


def test_tenths_become_millimetres_and_degrees(dly):
    path = dly(
        _line("PRCP", 2020, 2, {1: _cell(0), 2: _cell(253), 29: _cell(14)}),
        _line("TMAX", 2020, 2, {1: _cell(-56), 2: _cell(31)}),
        _line("TMIN", 2020, 2, {1: _cell(-117), 2: _cell(-20)}),
        _line("AWND", 2020, 2, {1: _cell(42)}),
    )
    record = import_weather(path, station=GAUGE).record
    assert record.station.id == ID
    assert (record.first_day, record.last_day) == (date(2020, 2, 1), date(2020, 2, 29))
    assert record.rain_mm[[0, 1, 28]].tolist() == [0.0, 25.3, 1.4]
    assert record.tmax_c[:2].tolist() == [-5.6, 3.1]
    assert record.tmin_c[:2].tolist() == [-11.7, -2.0]
    assert record.wind_m_s[0] == 4.2


def test_missing_rain_is_unknown_never_zero(dly):
    path = dly(_line("PRCP", 2020, 1, {1: _cell(10), 31: _cell(20)}))
    found = import_weather(path, station=GAUGE)
    assert np.isnan(found.record.rain_mm[1:30]).all()
    assert found.report.n_unknown["rain_mm"] == 29
    assert found.report.n_gap_days == 29


def test_flagged_readings_are_dropped_and_counted_by_flag(dly):
    path = dly(
        _line(
            "PRCP",
            2020,
            7,
            {
                1: _cell(10),
                2: _cell(9000, qflag="X"),
                3: _cell(5, qflag="X"),
                4: _cell(7, qflag="D"),
            },
        )
    )
    found = import_weather(path, station=GAUGE)
    assert found.report.n_dropped == {"flag X": 2, "flag D": 1}
    assert found.record.n_days == 1


def test_traces_are_zero_and_presumed_zeros_are_unknown(dly):
    path = dly(
        _line("PRCP", 2020, 7, {1: _cell(0, mflag="T"), 2: _cell(0, mflag="P"), 3: _cell(0)})
    )
    found = import_weather(path, station=GAUGE)
    assert found.report.n_trace == 1
    assert found.report.n_dropped == {"presumed zero": 1}
    assert np.array_equal(found.record.rain_mm, [0.0, np.nan, 0.0], equal_nan=True)


def test_totals_of_several_days_are_reported_not_used(dly):
    path = dly(
        _line("PRCP", 2020, 7, {1: _cell(0), 5: _cell(0)}),
        _line("MDPR", 2020, 7, {4: _cell(120)}),
        _line("DAPR", 2020, 7, {4: _cell(3)}),
    )
    found = import_weather(path, station=GAUGE)
    assert found.report.n_multi_day == 1
    assert np.isnan(found.record.rain_mm[1:4]).all()
    assert "several days" in found.report.summary()
    assert any("2020-07-04" in str(doubt) for doubt in found.report.doubts)


def test_other_elements_are_counted(dly):
    path = dly(_line("PRCP", 2020, 1, {1: _cell(0)}), _line("SNWD", 2020, 1, {1: _cell(50)}))
    assert import_weather(path, station=GAUGE).report.n_other == 1


def test_cut_off_line_is_named(dly):
    path = dly(_line("PRCP", 2020, 1, {1: _cell(0)}), _line("TMAX", 2020, 1, {})[:120] + "\n")
    with pytest.raises(InputError, match=r"dly line 2: has 120 characters; .*cut off"):
        import_weather(path, station=GAUGE)


def test_a_value_on_a_day_that_is_not_there_is_named(dly):
    path = dly(_line("PRCP", 2021, 2, {30: _cell(10)}))
    with pytest.raises(InputError, match="day 30 of 2021-02"):
        import_weather(path, station=GAUGE)


def test_file_that_is_something_else(dly):
    path = dly("x" * 269 + "\n")
    with pytest.raises(InputError, match="not of the GHCN-Daily layout"):
        import_weather(path, station=GAUGE)


CSV = f"""{ID},20200101,PRCP,10,,,7,0700
{ID},20200101,TMAX,-56,,,7,
{ID},20200101,TMIN,-117,,,7,
{ID},20200102,PRCP,-9999,,,7,0700
{ID},20200103,PRCP,33,,G,7,0700
{ID},20200104,PRCP,0,T,,7,0700
"""


def test_by_station_csv_says_the_same_as_dly(tmp_path, dly):
    csv = tmp_path / f"{ID}.csv"
    csv.write_text(CSV)
    from_csv = import_weather(csv, station=GAUGE)
    path = dly(
        _line("PRCP", 2020, 1, {1: _cell(10), 3: _cell(33, qflag="G"), 4: _cell(0, mflag="T")}),
        _line("TMAX", 2020, 1, {1: _cell(-56)}),
        _line("TMIN", 2020, 1, {1: _cell(-117)}),
    )
    from_dly = import_weather(path, station=GAUGE)
    for name in ("rain_mm", "tmin_c", "tmax_c"):
        assert np.array_equal(
            getattr(from_csv.record, name), getattr(from_dly.record, name), equal_nan=True
        )
    assert from_csv.report.n_dropped == from_dly.report.n_dropped == {"flag G": 1}


def test_zipped_csv_reads_alike(tmp_path):
    path = tmp_path / f"{ID}.csv.gz"
    path.write_bytes(gzip.compress(CSV.encode()))
    assert import_weather(path, station=GAUGE).record.rain_mm[0] == 1.0
    path.write_bytes(gzip.compress(CSV.encode() * 200)[:-20])
    with pytest.raises(InputError, match="cut off"):
        import_weather(path, station=GAUGE)


def test_morning_readings_are_doubted_and_can_be_moved(tmp_path):
    path = tmp_path / f"{ID}.csv"
    path.write_text(CSV)
    found = import_weather(path, station=GAUGE)
    assert any("in the morning" in str(doubt) for doubt in found.report.doubts)
    moved = import_weather(path, station=GAUGE, reading="day_before").record
    assert moved.first_day == date(2019, 12, 31)
    assert moved.rain_mm[0] == 1.0
    assert moved.tmax_c[1] == -5.6
    assert np.isnan(moved.rain_mm[-1])


@pytest.mark.parametrize(
    ("line", "message"),
    [
        (f"{ID},20200101,PRCP,10,,,7\n", "row 2: has 7 fields; expected 8"),
        (f"{ID},20201301,PRCP,10,,,7,\n", "row 2: 20201301, 10: expected YYYYMMDD"),
        (f"{ID},20200102,PRCP,1.5,,,7,\n", "row 2: .*whole number"),
        (f"{ID},20200101,PRCP,11,,,7,\n", "rows 1 and 2 give different PRCP for 2020-01-01"),
        ("XX000000002,20200101,PRCP,11,,,7,\n", "row 2 brings a second station, XX000000002"),
    ],
)
def test_bad_csv_rows_are_named(tmp_path, line, message):
    path = tmp_path / "gauge.csv"
    path.write_text(f"{ID},20200101,PRCP,10,,,7,\n" + line)
    with pytest.raises(InputError, match=message):
        import_weather(path, station=GAUGE, format="ghcn_csv")


def test_one_station_of_several_is_picked_by_its_id(tmp_path):
    path = tmp_path / "gauges.csv"
    path.write_text(f"{ID},20200101,PRCP,10,,,7,\nXX000000002,20200101,PRCP,20,,,7,\n")
    station = Station("XX000000002", "Second", -98.3, 44.9)
    assert import_weather(path, station=station).record.rain_mm.tolist() == [2.0]
    with pytest.raises(InputError, match="no station XX000000003"):
        import_weather(path, station=Station("XX000000003", "Third", -98.3, 44.9))
