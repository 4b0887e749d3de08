"""Evenings are of the day on the agency's own clock, not of the day in Greenwich."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from crossfall import model as nouns
from crossfall.judgement import open_hazards
from crossfall.judgement.hazards import closed_by_hazard
from crossfall_app.store import repository
from crossfall_app.workspace import DATABASE_VARIABLE, Config, create_workspace, open_workspace
from small_district import small_district

DAY = date(2026, 5, 12)
CLOCKS = [
    ("America/Denver", 22),
    ("America/Denver", 1),
    ("Europe/Berlin", 1),
    ("Europe/Berlin", 23),
]


@pytest.fixture(params=CLOCKS, ids=lambda each: f"{each[0]}-{each[1]:02d}")
def evening(request, tmp_path, doors_open):
    """A stored district and a moment near midnight on its clock."""
    zone, hour = request.param
    os.environ.pop(DATABASE_VARIABLE, None)
    create_workspace(tmp_path / "w", Config(time_zone=zone))
    open_workspace(tmp_path / "w")
    repository.store_district(replace(small_district(), hazards=()), by="test")
    return datetime(2026, 5, 12, hour, 30, tzinfo=ZoneInfo(zone))


def test_a_danger_near_midnight_is_on_the_list_that_day(evening):
    danger = nouns.Hazard("h9", "s0", 40.0, "washout", evening, barricaded_at=evening)
    repository.add_hazards([danger], by="test")
    district = repository.load_district()
    (kept,) = district.hazards
    assert kept == danger
    assert kept.noticed_at.date() == DAY
    (notice,) = open_hazards(district, today=DAY)
    assert f"noticed 12 May {evening:%H:%M}: barricaded 12 May {evening:%H:%M}" in notice.text
    assert closed_by_hazard(district, today=DAY) == {"s0"}
    moved = repository.move_hazard("h9", "repaired_at", evening, by="test")
    assert moved.repaired_at.date() == DAY
    assert open_hazards(repository.load_district(), today=DAY) == ()
    assert open_hazards(repository.load_district(), today=DAY - timedelta(days=1))


def test_a_load_limit_holds_from_its_day_to_its_day(evening):
    down = evening + timedelta(days=2)
    posting = nouns.LoadPosting("p9", ("s0",), 5.0, "The board", "A. Clerk", evening, down)
    repository.add_postings([posting], by="test")
    (kept,) = repository.load_district().postings
    held = [n for n in range(-3, 6) if kept.is_up_on(DAY + timedelta(days=n))]
    assert held == [0, 1, 2]


def test_the_hour_that_comes_twice_is_kept_apart(tmp_path, doors_open):
    os.environ.pop(DATABASE_VARIABLE, None)
    create_workspace(tmp_path / "w", Config(time_zone="Europe/Berlin"))
    open_workspace(tmp_path / "w")
    repository.store_district(replace(small_district(), hazards=()), by="test")
    first = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    second = first + timedelta(hours=1)
    danger = nouns.Hazard("h9", "s0", 40.0, "washout", first, barricaded_at=second)
    repository.add_hazards([danger], by="test")
    (kept,) = repository.load_district().hazards
    assert kept.barricaded_at - kept.noticed_at == timedelta(hours=1)
    assert kept == danger
    assert f"{kept.noticed_at:%H:%M} {kept.barricaded_at:%H:%M}" == "02:30 02:30"


def test_a_danger_is_listed_whatever_date_it_bears():
    late = nouns.Hazard("h9", "s0", 40.0, "washout", datetime(2026, 5, 14, 9, tzinfo=UTC))
    district = replace(small_district(), hazards=(late,))
    assert len(open_hazards(district, today=DAY)) == 1
    assert closed_by_hazard(district, today=DAY) == {"s0"}
