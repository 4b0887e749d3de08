"""The moisture page: zones, roads, reports from the field, load limits, tables to take away."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from crossfall import model as nouns
from crossfall.judgement import MoistureClass
from crossfall_app.store import models, repository
from crossfall_app.web.desk import this_morning
from small_district import TODAY, small_fleet, small_network, small_weather

pytestmark = pytest.mark.django_db


def _text(client, address: str, status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status, answer.content[:300]
    return _plain(answer)


def _plain(answer) -> str:
    return " ".join(answer.content.decode().replace("\N{NO-BREAK SPACE}", " ").split())


def _table(client, address: str) -> list[dict[str, str]]:
    answer = client.get(address)
    assert answer.status_code == 200
    assert answer.headers["Content-Type"].startswith("text/csv")
    assert "attachment" in answer.headers["Content-Disposition"]
    return list(csv.DictReader(io.StringIO(answer.content.decode())))


def _reports() -> list[nouns.Observation]:
    return [each for each in repository.load_district().observations if each.id != "ob1"]


def test_an_empty_workspace_teaches(empty_office, superintendent):
    assert "There is no road network here yet" in _text(superintendent, "/moisture/")


def test_without_weather_it_says_so(office, superintendent):
    models.WeatherRecord.objects.all().delete()
    models.Forecast.objects.all().delete()
    text = _text(superintendent, "/moisture/")
    assert "No weather yet" in text
    assert "There is no weather record" in text
    assert superintendent.get("/moisture.csv").status_code == 404
    assert superintendent.get("/moisture/s0/").status_code == 404
    assert superintendent.get("/moisture/s0.csv").status_code == 404


def test_zones_and_days(office, superintendent):
    text = _text(superintendent, "/moisture/")
    assert "Of 2.3 km today:" in text
    assert "10 days, by road" in text
    assert "Road 0" in text
    assert "Road 2" in text
    strip = text[text.index('id="strip"') : text.index("Open a zone for its roads")]
    assert strip.count('scope="col"') == 10
    assert "data-road" not in text, "roads are listed once a zone is open"


def test_an_open_zone_lists_its_roads(office, superintendent):
    text = _text(superintendent, "/moisture/?by=drainage&zone=fair")
    assert "Fair drainage" in text
    assert text.count("data-road") == 3
    assert 'href="/moisture/s1/"' in text


def test_roads_are_found_by_name(office, superintendent):
    text = _text(superintendent, "/moisture/?q=road+1")
    assert text.count("data-road") == 1
    assert 'href="/moisture/s1/"' in text
    assert "No road that we blade is called “nowhere”" in _text(
        superintendent, "/moisture/?q=nowhere"
    )


def test_the_strip_as_a_table(office, superintendent):
    rows = _table(superintendent, "/moisture.csv")
    assert len(rows) == 3 * 10
    state = this_morning().sheet.state
    for row in rows[:10]:
        chances = [float(row[f"p_{each.name.lower()}"]) for each in MoistureClass]
        assert sum(chances) == pytest.approx(1.0, abs=0.002)
        day = TODAY.fromisoformat(row["day"])
        assert row["likely"] == state.most_likely(row["segment_id"], day).name.lower()


def test_a_name_that_looks_like_a_formula_is_harmless(office, superintendent):
    network = repository.load_network()
    first = replace(network.segments[0], route="=2+5")
    repository.replace_network(
        replace(network, segments=(first, *network.segments[1:])), by="tests"
    )
    assert _table(superintendent, "/moisture.csv")[0]["route"] == "'=2+5"


def test_one_road_with_its_chart_and_the_figures_behind_it(office, superintendent):
    text = _text(superintendent, "/moisture/s1/")
    assert "Road 1" in text
    assert text.count("<svg") >= 3, "the mark, and the chart drawn twice"
    assert "Workable between 5.0 and 8.5 %" in text
    assert "The figures behind the chart" in text
    assert "Midday" in text
    assert "No water truck is at hand" in text
    rows = _table(superintendent, "/moisture/s1.csv")
    ahead = [row for row in rows if row["is_recorded"] == "0"]
    assert [row["day"] for row in ahead][:2] == ["2026-05-12", "2026-05-13"]
    assert len(ahead) == 10
    state = this_morning().sheet.state
    assert float(ahead[0]["p_workable"]) == pytest.approx(state.p_workable[1, 0], abs=1e-3)
    past = [row for row in rows if row["is_recorded"] == "1"]
    assert past[-1]["day"] == "2026-05-11"
    assert past[-1]["rain_mm"] == "0"
    assert superintendent.get("/moisture/none/").status_code == 404
    assert superintendent.get("/moisture/none.csv").status_code == 404


def test_water_or_wait_where_there_is_a_truck(office, superintendent):
    truck = nouns.Machine("w1", "Water 1", "water_truck", "yard", capacity=15_000.0)
    fleet = small_fleet()
    repository.save_fleet(replace(fleet, machines=(*fleet.machines, truck)), by="tests")
    text = _text(superintendent, "/moisture/s0/")
    assert "Water it, or leave it" in text
    assert "Rain that would do the same" in text
    assert "Loads for this stretch" in text


def test_a_look_at_a_road_resets_it_and_shows_what_changed(office, superintendent):
    assert this_morning().sheet.state.most_likely("s1", TODAY) is not MoistureClass.TOO_WET
    answer = superintendent.post(
        "/moisture-told/", {"segment": "s1", "felt": "too_wet", "note": "at dawn"}
    )
    assert answer.status_code == 302
    assert answer.url.startswith("/moisture/s1/?told=told-")
    (told,) = _reports()
    assert (told.segment_id, told.felt, told.rain_mm) == ("s1", "too_wet", None)
    assert (told.observed_on, told.observer, told.note) == (TODAY, "superintendent", "at dawn")
    assert this_morning().sheet.state.most_likely("s1", TODAY) is MoistureClass.TOO_WET
    text = _text(superintendent, answer.url)
    assert "What that changed" in text
    assert "<strong>Too wet</strong>" in text
    assert "stretches hear it" in text
    assert "What that changed" not in _text(superintendent, "/moisture/s1/?told=told-unknown")
    assert "What that changed" not in _text(superintendent, "/moisture/s1/?told=ob1")


def test_a_gauge_at_a_place(office, superintendent):
    answer = superintendent.post("/moisture-told/", {"place": "yard", "rain": "25,5"}, follow=True)
    (told,) = _reports()
    assert (told.segment_id, told.rain_mm, told.felt) == (None, 25.5, None)
    assert (told.lon, told.lat) == (-104.0, 45.0)
    text = _plain(answer)
    assert "What that changed" in text
    assert "stretches hear it" in text


def test_metres_along_a_road_and_a_day(office, superintendent):
    superintendent.post(
        "/moisture-told/", {"road": "Road 2", "at": "0.5", "felt": "dust", "day": "2026-05-10"}
    )
    (told,) = _reports()
    assert told.segment_id == "s2"
    assert told.observed_on == TODAY.replace(day=10)
    assert told.lon == pytest.approx(-103.98 + 0.01 * 500 / 780, abs=1e-5)


def test_us_agency_types_inches_and_miles(office, superintendent, settings):
    settings.CROSSFALL_UNITS = "us"
    superintendent.post("/moisture-told/", {"road": "Road 2", "at": "0.25", "rain": "0.5"})
    (told,) = _reports()
    assert told.rain_mm == pytest.approx(12.7)
    # 0.25 mile is 402 m of the 780 m
    assert told.lon == pytest.approx(-103.98 + 0.01 * 402.336 / 780, abs=1e-5)
    text = _text(superintendent, "/moisture/s0/")
    assert "rain, in" in text
    assert "Rain in the gauge, in" in text


@pytest.mark.parametrize(
    ("given", "why"),
    [
        ({}, "neither how the surface felt nor what a gauge caught"),
        ({"felt": "dust"}, "Say where"),
        ({"felt": "dust", "road": "Raod 1"}, "did you mean Road 1"),
        ({"felt": "dust", "road": "Road 1", "place": "yard"}, "one of the two"),
        ({"felt": "dust", "place": "moon"}, "choose one of the list"),
        ({"rain": "a lot", "place": "yard"}, "expected a figure in mm"),
        ({"rain": "-3", "place": "yard"}, "expected 0 to 500"),
        ({"felt": "dust", "road": "Road 1", "day": "2026-05-13"}, "expected a day up to it"),
        ({"felt": "dust", "road": "Road 1", "day": "soon"}, "expected a day such as"),
    ],
)
def test_odd_reports_are_refused_and_stay_typed(office, superintendent, given, why):
    answer = superintendent.post("/moisture-told/", {"note": "as typed", **given})
    assert answer.status_code == 400
    text = answer.content.decode()
    assert why in text
    assert 'value="as typed"' in text
    assert _reports() == []


def test_an_odd_report_on_a_road_comes_back_on_that_road(office, superintendent):
    answer = superintendent.post("/moisture-told/", {"segment": "s1", "rain": "wet"})
    assert answer.status_code == 400
    assert "<h1>Road 1</h1>" in answer.content.decode()


def _after_a_hard_winter() -> None:
    """Months of frost, then a warming week ahead: the thaw advises a load limit."""
    n_days, march = 120, TODAY.replace(month=3, day=10)
    station = nouns.Station("w1", "Gauge", -104.0, 45.0)
    mean = np.full(n_days, -9.0)
    record = nouns.WeatherRecord(
        station, march - timedelta(days=n_days),
        np.zeros(n_days), mean - 3, mean + 3, source="invented", is_invented=True,
    )  # fmt: skip
    models.WeatherRecord.objects.all().delete()
    models.Forecast.objects.all().delete()
    repository.merge_weather(record, by="tests")
    ahead = np.tile(np.linspace(-3.0, 9.0, 10), (5, 1))
    repository.save_forecast(
        nouns.Forecast(
            station, march, march,
            np.zeros(ahead.shape), ahead - 3, ahead + 3, "invented", True,
        ),
        by="tests",
    )  # fmt: skip
    owner = repository.agency()
    owner.invented_today = march
    owner.save()


def test_a_load_limit_holds_once_somebody_has_signed_it(office, superintendent):
    _after_a_hard_winter()
    text = _text(superintendent, "/moisture/")
    assert "Ask for a load limit" in text
    assert "Posted at" not in text
    given = {"station": "Gauge", "axle": "6", "authority": "The board", "day": "2026-03-10"}
    refused = superintendent.post("/load-limits/", given, follow=True)
    assert "no signature" in refused.content.decode()
    assert repository.load_district().postings == ()
    answer = superintendent.post("/load-limits/", {**given, "signed_by": "A. Chair"}, follow=True)
    (posting,) = repository.load_district().postings
    assert (posting.axle_t, posting.segment_ids) == (6.0, ("s0", "s1", "s2"))
    assert "Posted at 6 t an axle" in _plain(answer)
    assert this_morning().sheet.state.posted_axle_t[0, 0] == 6.0
    down = superintendent.post(f"/load-limits/{posting.id}/down/", follow=True)
    assert "Posted at" not in down.content.decode()
    assert repository.load_district().postings[0].down_at is not None
    again = superintendent.post(f"/load-limits/{posting.id}/down/", follow=True)
    assert "came down already" in again.content.decode()


@pytest.mark.parametrize(
    ("given", "why"),
    [
        ({"station": "Moon"}, "choose one of the list"),
        ({"axle": ""}, "expected above 0"),
        ({"axle": "heavy"}, "expected a figure in t"),
        ({"day": "soon"}, "expected a day such as"),
    ],
)
def test_odd_load_limits_are_refused(office, superintendent, given, why):
    usual = {"station": "Gauge", "axle": "6", "authority": "The board", "signed_by": "A. Chair"}
    answer = superintendent.post("/load-limits/", {**usual, **given}, follow=True)
    assert why in answer.content.decode()
    assert repository.load_district().postings == ()


def test_no_limit_is_advised_in_summer(office, superintendent):
    assert "No load limit needed" in _text(superintendent, "/moisture/")


def test_the_network_can_lack_districts(office, superintendent):
    named = replace(small_network().segments[0], district="North")
    repository.replace_network(small_network(s0=named), by="tests")
    text = _text(superintendent, "/moisture/")
    assert "10 days, by board district" in text
    assert "North" in text
    assert "No board district" in text


def test_a_road_nobody_can_name_the_state_of_is_headed_not_sure(office, superintendent):
    assert "Not sure today" not in _text(superintendent, "/moisture/s1/")
    # With every share below it, no class is likely enough to be named
    policy = repository.load_policy()
    moisture = replace(policy.moisture, sure_share=1.01)
    unsure = replace(policy, moisture=moisture, version="unsure")
    repository.save_policy(unsure, by="tests", note="tests")
    for page in ("/moisture/s1/", "/roads/s1/"):
        text = _text(superintendent, page)
        assert "Not sure today" in text, page
        assert "Not sure, have a look: " in text, page


def test_zones_and_roads_without_a_class_to_name_carry_a_question_mark(office, superintendent):
    mark = '<span class="unsure" aria-hidden="true">?</span>'
    address = "/moisture/?by=drainage&zone=fair"
    # One stands in the legend, for the reader who meets it elsewhere
    assert _text(superintendent, address).count(mark) == 1
    policy = repository.load_policy()
    unsure = replace(policy.moisture, sure_share=1.01)
    repository.save_policy(
        replace(policy, moisture=unsure, version="unsure"), by="tests", note="tests"
    )
    # A zone and its three roads on ten days
    assert _text(superintendent, address).count(mark) == 1 + 4 * 10
    assert {row["is_unsure"] for row in _table(superintendent, "/moisture.csv")} == {"1"}


def test_weather_that_ended_long_ago_is_not_called_missing(office, superintendent):
    models.WeatherRecord.objects.all().delete()
    models.Forecast.objects.all().delete()
    old = small_weather(first_day=TODAY - timedelta(days=90), n_days=60)
    repository.merge_weather(old, by="tests")
    text = _text(superintendent, "/moisture/")
    assert "The weather does not reach today" in text
    assert "No weather yet" not in text
    assert "The weather of Gauge ends on 2026-04-11" in text
    assert "Bring newer weather in" in text


def test_a_report_is_put_right_on_the_page(office, superintendent):
    superintendent.post("/moisture-told/", {"segment": "s1", "felt": "too_wet"})
    (wrong,) = _reports()
    key = wrong.id.rpartition("-")[0]
    assert this_morning().sheet.state.most_likely("s1", TODAY) is MoistureClass.TOO_WET
    text = _text(superintendent, "/moisture/")
    assert f'<option value="{key}">' in text
    # The other road was meant
    superintendent.post("/moisture-told/", {"road": "Road 2", "felt": "dust", "corrects": key})
    state = this_morning().sheet.state
    assert state.most_likely("s1", TODAY) is not MoistureClass.TOO_WET
    assert state.most_likely("s2", TODAY) is MoistureClass.DRY
    text = _text(superintendent, "/moisture/")
    assert f'<option value="{key}">' not in text
    assert "put right by a later one" in text
    assert [each.supersedes for each in _reports()] == ["", key]
    again = superintendent.post(
        "/moisture-told/", {"segment": "s1", "felt": "dust", "corrects": key}
    )
    assert again.status_code == 400
    assert "is corrected already" in _plain(again)


def test_a_report_is_taken_back_on_a_roads_own_page(office, superintendent):
    before = this_morning().sheet.state.p_workable.copy()
    superintendent.post("/moisture-told/", {"segment": "s1", "felt": "too_wet"})
    (wrong,) = _reports()
    superintendent.post("/moisture-told/", {"segment": "s1", "corrects": wrong.id, "felt": ""})
    assert np.array_equal(this_morning().sheet.state.p_workable, before)
    assert len(_reports()) == 2, "nothing is deleted"
    assert "taken back" in _text(superintendent, "/moisture/")


def test_the_page_goes_on_telling_what_todays_reports_changed(office, superintendent):
    assert "What today's reports changed" not in _text(superintendent, "/moisture/")
    superintendent.post("/moisture-told/", {"segment": "s1", "felt": "too_wet"})
    text = _text(superintendent, "/moisture/")
    assert "What today's reports changed" in text
    assert "stretches hear it" in text
    assert "What today's reports changed" in _text(superintendent, "/moisture/?told=told-unknown")
