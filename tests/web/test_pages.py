"""What stands on the pages: of an empty workspace, of three roads, of a planned week."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from django.utils import timezone

from crossfall_app.store import repository
from small_district import TODAY, small_record, small_week

pytestmark = pytest.mark.django_db


def _text(client, address: str, status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status, answer.content[:300]
    return " ".join(answer.content.decode().replace("\N{NO-BREAK SPACE}", " ").split())


@pytest.mark.parametrize("address", ["/", "/roads/", "/plan/"])
def test_empty_workspace_teaches(empty_office, superintendent, address):
    text = _text(superintendent, address)
    assert "There is no road network here yet" in text
    assert "crossfall import roads.gpkg" in text
    assert "crossfall weather station.dly -w office" in text


def test_empty_cards(empty_office, superintendent):
    assert "No cards yet" in _text(superintendent, "/cards/")
    assert superintendent.get("/cards.pdf").status_code == 404


def test_morning_before_the_first_plan(office, superintendent):
    text = _text(superintendent, "/")
    assert "Tuesday 12 May 2026" in text
    assert "Nothing is planned yet" in text
    assert "1 danger on the road" in text
    assert "Washout" in text
    assert "Close or barricade it now" in text
    assert "washboard at the bend" in text
    assert "Surface and sky" in text


def test_morning_without_weather_says_so(office, superintendent):
    from crossfall_app.store import models

    models.WeatherRecord.objects.all().delete()
    models.Forecast.objects.all().delete()
    text = _text(superintendent, "/")
    assert "is not known" in text.lower()
    assert "What the roads need" in text
    assert "<h3>No weather yet</h3>" in text


def test_morning_with_old_weather_does_not_say_there_is_none(office, superintendent):
    from datetime import date

    from crossfall_app.store import models

    models.Forecast.objects.all().delete()
    models.WeatherRecord.objects.update(first_day=date(2024, 3, 1))
    text = _text(superintendent, "/")
    assert "<h3>The weather does not reach today</h3>" in text
    assert "No weather yet" not in text
    assert "without weather up to today." in text
    assert ". Bring a station's record in" in text.replace("&#x27;", "'")


def test_each_half_of_a_split_road_shows_its_own_stretch(office, superintendent):
    week = small_week()
    first, second = (
        replace(week.jobs[0].stages[0], id=f"half-{n}", name=f"Reshape, part {n + 1} of 2",
                from_m=390.0 * n, to_m=390.0 * (n + 1))
        for n in range(2)
    )  # fmt: skip
    job = replace(week.jobs[0], stages=(first, second))
    leg = week.plan.itineraries[0].legs[0]
    legs = tuple(replace(leg, stage_id=each.id) for each in (first, second))
    itinerary = replace(week.plan.itineraries[0], legs=legs)
    plan = replace(week.plan, itineraries=(itinerary,))
    card = replace(week.cards[0], stage_id="half-0")
    repository.save_week(replace(week, plan=plan, jobs=(job,), cards=(card,)), by="tests")
    for address in ("/", "/plan/"):
        text = _text(superintendent, address)
        assert "0–0.4 km" in text
        assert "0.4–0.8 km" in text


def test_a_road_that_is_only_reported_says_nobody_has_looked(office, superintendent):
    from crossfall.judgement import first_week_conditions

    told = first_week_conditions(repository.load_network(), ["s0"], today=TODAY)
    mine = [each for each in told if each.segment_id == "s0"]
    repository.add_conditions(mine, by="tests", source="as told")
    text = _text(superintendent, "/roads/s0/")
    assert "nobody has looked yet" in text
    assert "The scores are assumed." in text
    assert "Last looked at" not in text


def test_hazard_times_are_those_of_the_roads(office, superintendent):
    # Noticed at noon UTC; Denver is six hours behind in May
    with timezone.override("America/Denver"):
        assert "noticed Tue 12 May 06:00" in _text(superintendent, "/")


def test_morning_with_a_plan(planned_office, superintendent):
    text = _text(superintendent, "/")
    assert "The crew today" in text
    assert "Grader 1" in text
    assert "First operator" in text
    assert "$90" in text
    assert "after more pressing work" in text
    assert "roads in worse state came first" in text


def test_morning_lists_what_was_left_open(office, superintendent):
    left = small_record("r2", done_on=TODAY, windrow_side="left", is_windrow_in_travelled_way=True)
    repository.add_records([left], by="tests")
    text = _text(superintendent, "/")
    assert "Windrow left in the travelled way, left: pick it up the same day." in text


def test_a_change_is_seen_at_once(office, superintendent):
    assert "Culvert left open" not in _text(superintendent, "/")
    left = small_record("r2", done_on=TODAY, is_culvert_open=True)
    repository.add_records([left], by="tests")
    assert "Culvert left open" in _text(superintendent, "/")


def test_board(planned_office, superintendent):
    text = _text(superintendent, "/plan/")
    assert "Tue 12 May to Sat 16 May" in text
    assert "Grader 1" in text
    assert "0.2 h, 2 passes" in text
    assert "No work for it" in text
    assert "at most, by our own bound" in text
    assert "<dd>12 %" in text, "a plan worth 3.5 h of at most 4.0 h could be better by 12.5 %"


def test_board_says_who_is_off(office, superintendent):
    fleet = repository.load_fleet()
    away = replace(fleet.operators[0], off_days=(TODAY.replace(day=13),))
    repository.save_fleet(replace(fleet, operators=(away,)), by="tests")
    repository.save_week(small_week(), by="tests")
    assert "First operator is off" in _text(superintendent, "/plan/")


def test_machine_day(planned_office, superintendent):
    text = _text(superintendent, "/plan/g1/2026-05-12/")
    assert "07:00" in text
    assert "07:14" in text
    assert "blade, pass 1 of 2" in text
    assert superintendent.get("/plan/g1/2026-05-13/").status_code == 404
    assert superintendent.get("/plan/g9/2026-05-12/").status_code == 404
    assert superintendent.get("/plan/g1/2026-13-45/").status_code == 404


def test_roads_list_and_map_data(planned_office, superintendent):
    text = _text(superintendent, "/roads/")
    assert "3 stretches" in text
    assert "What it needs" in text
    answer = json.loads(superintendent.get("/roads.json").content)
    features = answer["segments"]["features"]
    assert [each["properties"]["id"] for each in features] == ["s0", "s1", "s2"]
    first = features[0]["properties"]
    assert first["plan"] == "k1"
    assert first["plan_says"] == "Grader 1, Today"
    assert {"need", "rating", "surface", "since", "plan"} <= first.keys()
    assert features[1]["properties"]["since_says"] == "22 days ago, Mon 20 Apr"
    assert [each["properties"]["kind"] for each in answer["backdrop"]["features"]] == ["rail"]
    assert "Railway" in text
    assert "River" not in text
    kinds = {each["properties"]["kind"] for each in answer["places"]["features"]}
    assert kinds == {"yard", "pit", "hazard"}


def test_hazard_lies_on_its_road(office, superintendent):
    answer = json.loads(superintendent.get("/roads.json").content)
    hazard = next(
        each for each in answer["places"]["features"] if each["properties"]["kind"] == "hazard"
    )
    lon, lat = hazard["geometry"]["coordinates"]
    # 12 m along s2, which is 780 m from -103.98 to -103.97
    assert lon == pytest.approx(-103.98 + 0.01 * 12 / 780, abs=1e-6)
    assert lat == pytest.approx(45.0)


def test_road_page(planned_office, superintendent):
    text = _text(superintendent, "/roads/s0/")
    assert "Road 0" in text
    assert "Culvert" in text
    assert "390 m" in text
    assert "Today" in text
    assert "Last looked at Sat 2 May by me" in text
    assert '<a href="/cards/1/">card&nbsp;1</a>' in text
    text = _text(superintendent, "/roads/s1/")
    assert "Left out of the plan" in text
    assert "roads in worse state came first" in text
    assert superintendent.get("/roads/none/").status_code == 404


def test_us_agency_reads_feet(planned_office, superintendent, settings):
    settings.CROSSFALL_UNITS = "us"
    text = _text(superintendent, "/roads/s0/")
    # 390 m / 0.3048 m
    assert "1,280 ft" in text
    assert "390 m" not in text


def test_cards_and_paper(planned_office, superintendent):
    assert "Light blading Road 0" in _text(superintendent, "/cards/")
    text = _text(superintendent, "/cards/1/")
    assert "Before you start" in text
    assert "set signs" in text
    for address in ("/cards/1.pdf", "/cards.pdf", "/cards.pdf?day=2026-05-12"):
        answer = superintendent.get(address)
        assert answer.headers["Content-Type"] == "application/pdf"
        assert answer.content.startswith(b"%PDF-")
    assert superintendent.get("/cards.pdf?day=2026-05-13").status_code == 404
    assert superintendent.get("/cards.pdf?day=tomorrow").status_code == 400
    assert superintendent.get("/cards/1/map.svg").headers["Content-Type"] == "image/svg+xml"
    assert superintendent.get("/cards/1/other.svg").status_code == 404
    assert superintendent.get("/cards/9/").status_code == 404


def test_a_withdrawn_card_warns(planned_office, superintendent):
    repository.move_card(1, "withdrawn", by="tests")
    assert "This card is withdrawn" in _text(superintendent, "/cards/1/")
    assert "No cards yet" in _text(superintendent, "/cards/")


def test_trouble_pages(office, superintendent):
    assert "There is nothing here" in _text(superintendent, "/nothing-here/", 404)


def test_what_people_know_of_a_road_nobody_surveyed(office, superintendent):
    """The first week: a click and a date instead of a survey."""
    assert "Nobody has looked at this road yet" in _text(superintendent, "/roads/s2/")
    answer = superintendent.post("/tell/s2/", {"state": "bad", "bladed": "2026-04-30"})
    assert answer.url == "/roads/?road=s2"
    told = [each for each in repository.load_district().conditions if each.segment_id == "s2"]
    assert len(told) == 1
    assert told[0].method == "estimated"
    assert told[0].last_bladed_on == TODAY.replace(month=4, day=30)
    assert "Nobody has looked at this road yet" not in _text(superintendent, "/roads/s2/")


def test_a_survey_outweighs_a_word_in_passing(office, superintendent):
    assert "Nobody has looked" not in _text(superintendent, "/roads/s0/")
    before = repository.load_district().conditions
    superintendent.post("/tell/s0/", {"state": "bad"})
    assert repository.load_district().conditions == before


@pytest.mark.parametrize(
    ("bladed", "words"),
    [("soon", "expected a day such as"), ("2026-05-13", "expected a day up to 2026-05-12")],
)
def test_odd_days_of_blading_are_refused(office, superintendent, bladed, words):
    before = repository.load_district().conditions
    answer = superintendent.post("/tell/s2/", {"state": "bad", "bladed": bladed}, follow=True)
    assert words in answer.content.decode()
    assert repository.load_district().conditions == before
