"""What people say of the surface at the command line, and what crossfall answers."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from crossfall import model as nouns
from crossfall.judgement import MoistureClass, hindcast
from crossfall_app.store import models, repository
from small_district import TODAY, small_district, small_fleet, small_weather

pytestmark = pytest.mark.slow


@pytest.fixture
def office(crossfall, sqlite_workspace):
    """Three roads on the morning they were made for."""
    repository.store_district(small_district(), by="tests", invented_today=TODAY)
    return sqlite_workspace.path


def _told() -> list[nouns.Observation]:
    return [each for each in repository.load_district().observations if each.id != "ob1"]


def test_a_look_at_a_road_says_what_it_changed(crossfall, office):
    answer = crossfall(
        "observe", office, "--road", "road 1", "--felt", "too_wet", "--by", "Ann", "--json"
    ).json
    (told,) = _told()
    assert answer["kept"] == [told.id]
    assert (told.segment_id, told.felt, told.observer) == ("s1", "too_wet", "Ann")
    assert (told.observed_on, told.rain_mm) == (TODAY, None)
    (change,) = [each for each in answer["changes"] if each["segment"] == "s1"]
    assert change["road"] == "Road 1"
    assert change["now"] == "too wet"
    assert "s1" in answer["heard_by"]
    assert "hear it" in answer["summary"]
    shown = crossfall("observe", office, "--road", "Road 2", "--felt", "just_right")
    assert "Kept: 1 observation of 2026-05-12." in shown.out
    assert "1 stretch hears it." in shown.out


def test_a_gauge_at_a_place_or_along_a_road(crossfall, office):
    assert crossfall("observe", office, "--at", "-104.0,45.0", "--rain-mm", 12).code == 0
    assert crossfall("observe", office, "--road", "s2", "--km", 0.39, "--rain-in", 1).code == 0
    first, second = _told()
    assert (first.segment_id, first.rain_mm, first.lon) == (None, 12.0, -104.0)
    assert (second.segment_id, second.rain_mm) == ("s2", pytest.approx(25.4))
    assert second.lon == pytest.approx(-103.975, abs=1e-5)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (("--felt", "dust"), ("say where",)),
        (("--road", "Road 1"), ("neither how the surface felt",)),
        (("--road", "Raod 1", "--felt", "dust"), ("did you mean Road 1",)),
        (("--road", "Road 1", "--felt", "soggy"), ("expected too_wet, just_right, dust",)),
        (("--road", "Road 1", "--rain-mm", "-1"), ("rain-mm",)),
        (("--road", "Road 1", "--rain-mm", "5000"), ("expected 0 to 500",)),
        (("--road", "Road 1", "--rain-mm", "5", "--rain-in", "1"), ("one of the two",)),
        (("--at", "45,-104", "--felt", "dust"), ("longitude comes first",)),
        (("--road", "Road 1", "--felt", "dust", "--day", "2026-05-13"), ("a day up to it",)),
        (("--road", "Road 1", "--felt", "dust", "--day", "soon"), ("expected a day such as",)),
        (("--road", "Road 1", "--km", "4", "--felt", "dust"), ("runs from 0 to 780 m",)),
    ],
)
def test_odd_reports_are_refused_whole(crossfall, office, given, words):
    assert crossfall("observe", office, *given).is_refused(*words)
    assert _told() == []


def test_without_weather_it_is_kept_and_said_so(crossfall, office):
    models.WeatherRecord.objects.all().delete()
    models.Forecast.objects.all().delete()
    answer = crossfall("observe", office, "--road", "Road 1", "--felt", "dust")
    assert answer.code == 0
    assert "not known without weather" in answer.err
    assert len(_told()) == 1
    assert crossfall("moisture", office).is_refused("there is no weather record")


def test_one_road_with_history_outlook_why_and_water(crossfall, office, tmp_path):
    truck = nouns.Machine("w1", "Water 1", "water_truck", "yard", capacity=15_000.0)
    fleet = small_fleet()
    repository.save_fleet(replace(fleet, machines=(*fleet.machines, truck)), by="tests")
    answer = crossfall("moisture", office, "--road", "Road 1", "--days", 3, "--json").json
    (segment,) = answer["segments"]
    assert [each["day"] for each in segment["ahead"]] == ["2026-05-12", "2026-05-13", "2026-05-14"]
    assert segment["history"][-1]["day"] == "2026-05-11"
    assert segment["history"][-1]["rain_mm"] == 0.0
    assert sum(segment["ahead"][0]["chances"].values()) == pytest.approx(1.0, abs=1e-3)
    assert set(segment["ahead"][0]["parts"]) == {"early", "midday", "late"}
    water = segment["water"]
    assert water["verdict"] in {"water", "wait"}
    assert water["loads"] >= 1
    # A road 7 m wide: litres for a kilometre are 7000 for each millimetre of rain
    assert water["litres_per_km"] == pytest.approx(7000 * water["rain_equivalent_mm"], rel=0.01)
    file = tmp_path / "road.svg"
    shown = crossfall("moisture", office, "--road", "Road 1", "--history", 2, "--chart", file)
    assert "Parts of the first day: early" in shown.out
    assert "About USD" in shown.out
    assert ET.parse(file).getroot().tag.endswith("svg")


def test_a_chart_shows_one_road(crossfall, office, tmp_path):
    chart = tmp_path / "road.svg"
    assert crossfall("moisture", office, "--chart", chart).is_refused("name it with --road")
    network = repository.load_network()
    alike = tuple(replace(each, route="Long Road") for each in network.segments)
    repository.replace_network(replace(network, segments=alike), by="tests")
    assert crossfall("moisture", office, "--road", "Long Road", "--chart", chart).is_refused(
        "has 3 stretches and a chart shows one"
    )
    nowhere = tmp_path / "none" / "road.svg"
    assert crossfall("moisture", office, "--road", "s0", "--chart", nowhere).is_refused(
        "the folder"
    )


def test_zones_at_the_command_line(crossfall, office):
    answer = crossfall("moisture", office, "--by", "route", "--days", 2, "--json").json
    assert [each["route"] for each in answer["zones"]] == ["Road 0", "Road 1", "Road 2"]
    shares = answer["zones"][0]["days"][0]["shares"]
    assert sum(shares.values()) == pytest.approx(1.0, abs=1e-3)
    assert answer["load_limits"][0]["advice"] == "none"
    assert "Road 2" in crossfall("moisture", office, "--by", "route").out
    assert crossfall("moisture", office, "--by", "colour").is_refused("district, drainage, route")


def _frozen_until_today() -> None:
    station = nouns.Station("w1", "Gauge", -104.0, 45.0)
    n_days = 120
    cold = np.full(n_days, -9.0)
    models.WeatherRecord.objects.all().delete()
    models.Forecast.objects.all().delete()
    march = TODAY.replace(month=3, day=10)
    record = nouns.WeatherRecord(
        station, march - timedelta(days=n_days), np.zeros(n_days), cold - 3, cold + 3
    )
    repository.merge_weather(record, by="tests")
    warm = np.tile(np.linspace(-3.0, 9.0, 10), (5, 1))
    forecast = nouns.Forecast(station, march, march, np.zeros(warm.shape), warm - 3, warm + 3)
    repository.save_forecast(forecast, by="tests")
    owner = repository.agency()
    owner.invented_today = march
    owner.save()


def test_a_load_limit_is_advice_until_somebody_signs(crossfall, office):
    _frozen_until_today()
    answer = crossfall("load-limit", office, "--json").json
    assert answer["advice"][0]["advice"] == "put_up"
    assert answer["posted"] == []
    assert crossfall("load-limit", office, "--axle-t", 6).is_refused("no signature")
    signed = ("--axle-t", 6, "--authority", "The board", "--signed-by", "A. Chair")
    assert crossfall("load-limit", office, *signed, "--station", "Moon").is_refused("Gauge")
    posted = crossfall("load-limit", office, *signed, "--start", "2026-03-10", "--json").json
    (row,) = posted["posted"]
    assert (row["axle_t"], row["segments"], row["signed_by"]) == (6.0, 3, "A. Chair")
    assert "Posted" in crossfall("load-limit", office).out
    down = crossfall("load-limit", office, "--down", row["id"])
    assert "No load limit is posted." in down.out
    assert crossfall("load-limit", office, "--down", row["id"]).is_refused("came down already")


def test_too_few_looks_to_fit_to_are_refused(crossfall, office):
    assert crossfall("calibrate", office).is_refused("20")


def _wet_spring() -> nouns.WeatherRecord:
    rng = np.random.default_rng(3)
    n_days = 320
    rain = np.where(rng.uniform(size=n_days) < 0.3, rng.gamma(0.8, 11.0, n_days), 0.0)
    record = replace(
        small_weather(first_day=TODAY - timedelta(days=n_days), n_days=n_days), rain_mm=rain
    )
    repository.merge_weather(record, by="tests")
    return record


def _log_looks(record: nouns.WeatherRecord, drying: float) -> None:
    """What an honest observer logs where roads dry ``drying`` times as fast as the policy says."""
    policy = repository.load_policy().moisture
    truth = replace(policy, bare_road_kc=policy.bare_road_kc * drying)
    road = repository.load_network().segments[1]
    seen = hindcast(record, road, truth)
    felt = {
        MoistureClass.TOO_WET: "too_wet",
        MoistureClass.WORKABLE: "just_right",
        MoistureClass.DRY: "dust",
    }
    days = [
        (n, MoistureClass(int(seen.classes[n])))
        for n in range(80, record.n_days, 2)
        if seen.rain_mm[n] <= policy.rain_limit_mm
    ]
    looks = [
        nouns.Observation(
            f"l{n}", record.first_day + timedelta(days=n), -103.985, 45.0, felt[cls], None, road.id
        )
        for n, cls in days
        if cls in felt
    ]
    repository.add_observations(looks, by="tests")


def test_fitting_to_logged_looks_is_a_proposal_until_accepted(crossfall, office):
    _log_looks(_wet_spring(), drying=0.5)
    before = repository.load_policy()
    shown = crossfall("calibrate", office)
    assert shown.code == 0, shown.err
    assert "looks kept out of the fit" in shown.out
    assert "nothing was changed; add --accept" in shown.err
    assert repository.load_policy() == before
    answer = crossfall("calibrate", office, "--accept", "--version", "spring", "--json").json
    assert answer["verdict"] == "better"
    assert answer["likelihood_after"] - answer["likelihood_before"] > answer["least_gain"]
    assert answer["looks_fitted"] + answer["looks_kept_out"] >= 60
    assert answer["policy"] == "spring"
    after = repository.load_policy()
    assert after.version == "spring"
    assert after.moisture.bare_road_kc < before.moisture.bare_road_kc
    assert replace(after, moisture=before.moisture, version=before.version) == before


def test_a_fit_that_cannot_tell_is_not_accepted(crossfall, office):
    _log_looks(_wet_spring(), drying=1.0)
    before = repository.load_policy()
    told = crossfall("calibrate", office, "--json").json
    assert told["verdict"] in {"cannot tell", "worse"}
    assert told["policy"] is None
    refused = crossfall("calibrate", office, "--accept")
    assert refused.code == 3
    assert "nothing was changed" in refused.err
    assert repository.load_policy() == before
    assert "--accept would be refused" in crossfall("calibrate", office).err


def test_a_limit_posted_against_the_advice_is_remarked(crossfall, office):
    signed = ("--axle-t", 6, "--authority", "The board", "--signed-by", "A. Chair")
    posted = crossfall("load-limit", office, *signed)
    assert posted.code == 0
    assert "around Gauge the thaw asks for no limit; it is posted all the same" in posted.err
    (posting,) = repository.load_district().postings
    assert posting.reason.startswith("Signed although")


def test_a_wrong_report_is_put_right_and_stays_on_record(crossfall, office):
    wrong = crossfall("observe", office, "--road", "Road 1", "--felt", "too_wet", "--json").json
    key = wrong["kept"][0].rpartition("-")[0]
    before = crossfall("moisture", office, "--road", "Road 2", "--json").json["days"][0]
    right = crossfall(
        "observe", office, "--road", "Road 2", "--felt", "too_wet", "--corrects", key
    )  # fmt: skip
    assert f"puts {key} right" in right.out
    after = crossfall("moisture", office, "--road", "Road 2", "--json").json["days"][0]
    assert before["surface"] != "too wet"
    assert after["surface"] == "too wet"
    rows = crossfall("observe", office, "--list", "--json").json["reports"]
    assert [(each["where"], each["stands"]) for each in rows[:2]] == [
        ("Road 2", True), ("Road 1", False),
    ]  # fmt: skip
    assert rows[0]["corrects"] == key
    assert "corrected by a later one" in crossfall("observe", office, "--list").out
    again = crossfall("observe", office, "--road", "s0", "--felt", "dust", "--corrects", key)
    assert again.is_refused("is corrected already")
    assert crossfall("observe", office, "--corrects", "told-0").is_refused("no report")


def test_a_report_is_taken_back(crossfall, office):
    asked = ("moisture", office, "--road", "Road 1", "--json")
    before = crossfall(*asked).json["days"]
    told = crossfall("observe", office, "--road", "Road 1", "--felt", "too_wet", "--json").json
    assert crossfall(*asked).json["days"] != before
    answer = crossfall("observe", office, "--corrects", told["kept"][0])
    assert "Taken back" in answer.out
    assert crossfall(*asked).json["days"] == before
    assert len(_told()) == 2, "nothing is ever deleted"


def test_the_next_run_shows_what_todays_report_changed(crossfall, office):
    # The invented district holds no look of today, so nothing is said
    assert crossfall("moisture", office, "--json").json["told_today"] is None
    told = crossfall("observe", office, "--road", "Road 1", "--felt", "too_wet", "--json").json
    news = crossfall("moisture", office, "--json").json["told_today"]
    assert news["heard_by"] == told["heard_by"]
    assert [each["segment"] for each in news["changes"]] == [
        each["segment"] for each in told["changes"]
    ]
    assert f"Told today: {told['summary']}" in crossfall("moisture", office).out
