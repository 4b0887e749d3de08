"""Weather CSVs whose columns carry our names, and figures that look like a mistake as a whole."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from crossfall.errors import InputError, UnitsError
from crossfall.io.weather import import_weather
from crossfall.model import Station

GAUGE = Station("yard", "Yard gauge", -98.3, 44.9)


@pytest.fixture
def csv(tmp_path):
    def write(header: str, *rows: str):
        path = tmp_path / "gauge.csv"
        path.write_text("\n".join([header, *rows]) + "\n")
        return path

    return write


def _days(n: int, cells) -> list[str]:
    return [f"{date(2025, 3, 1) + timedelta(days=i)},{cells(i)}" for i in range(n)]


def test_our_own_names_need_no_mapping(csv):
    path = csv("date,rain_mm,tmin_c,tmax_c,wind_m_s", "2025-03-01,4,1,9,3")
    record = import_weather(path, station=GAUGE).record
    assert (record.rain_mm[0], record.tmin_c[0], record.tmax_c[0], record.wind_m_s[0]) == (
        4, 1, 9, 3,
    )  # fmt: skip


def test_our_own_names_in_us_units(csv):
    path = csv("date,rain_in,tmin_f,tmax_f,wind_mph", "2025-03-01,1,32,50,10")
    record = import_weather(path, station=GAUGE).record
    assert record.rain_mm[0] == pytest.approx(25.4)
    assert record.tmin_c[0] == pytest.approx(0)
    assert record.tmax_c[0] == pytest.approx(10)
    assert record.wind_m_s[0] == pytest.approx(4.4704)


def test_a_column_called_date_is_the_date(csv):
    path = csv("date,Rain", "2025-03-01,0.5")
    found = import_weather(path, station=GAUGE, columns={"rain": "Rain"}, units={"rain": "in"})
    assert found.record.first_day == date(2025, 3, 1)
    assert found.record.rain_mm[0] == pytest.approx(12.7)


def test_what_is_said_counts_before_our_names(csv):
    path = csv("date,rain_mm,gauge", "2025-03-01,4,7")
    found = import_weather(path, station=GAUGE, columns={"rain": "gauge"}, units={"rain": "mm"})
    assert found.record.rain_mm[0] == 7


def test_a_dry_season_is_taken_when_somebody_vouches_for_it(csv):
    path = csv("date,rain_mm", *_days(70, lambda i: "5" if i == 9 else "0"))
    with pytest.raises(UnitsError, match=r"wettest of 70 days brings 5.0 mm.*--believe"):
        import_weather(path, station=GAUGE)
    assert import_weather(path, station=GAUGE, believe=True).record.rain_mm.sum() == 5
    short = csv("date,rain_mm", *_days(40, lambda i: "0"))
    assert import_weather(short, station=GAUGE).record.n_days == 40


def test_hardly_any_rain_in_a_year_is_doubted_too(csv):
    path = csv("date,rain_mm", *_days(300, lambda i: "9" if i in (9, 99) else "0"))
    with pytest.raises(UnitsError, match="a year would bring 22 mm"):
        import_weather(path, station=GAUGE)


def test_exchanged_temperatures_are_named(csv):
    path = csv("date,rain_mm,tmin_c,tmax_c", *_days(30, lambda i: "9,20,8"))
    with pytest.raises(InputError, match="tmin is above tmax on 30 of 30 days; the two columns"):
        import_weather(path, station=GAUGE)
