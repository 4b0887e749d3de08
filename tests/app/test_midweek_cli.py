"""After the plan is made, at the keyboard: anew, what if, why, turn by turn; and the calendar."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import timedelta

import pytest
from typer.testing import CliRunner

from crossfall.errors import InfeasibleError
from crossfall_app.cli.entry import build
from crossfall_app.store import repository
from crossfall_app.workspace import WORKSPACE_VARIABLE
from small_district import TODAY, small_condition, small_district


@pytest.fixture
def say(sqlite_workspace, monkeypatch):
    """Runs a command on a small workspace with a plan; gives back its JSON."""
    monkeypatch.setenv(WORKSPACE_VARIABLE, str(sqlite_workspace.path))
    looks = tuple(small_condition(f"s{n}") for n in range(3))
    small = small_district()
    rain = replace(small.weather[0], rain_mm=small.weather[0].rain_mm + 6.0)
    district = replace(
        small, conditions=looks, hazards=(), dust=(), observations=(), weather=(rain,)
    )
    repository.store_district(district, by="tests", invented_today=TODAY)

    def run(*words: str, plain: bool = False):
        given = [str(word) for word in words]
        done = CliRunner().invoke(build(), given if plain else [*given, "--json"])
        if not isinstance(done.exception, SystemExit | InfeasibleError | None):
            raise done.exception
        return done.stdout if plain else json.loads(done.stdout)

    run("plan", "--days", 3, "--iterations", 50)
    return run


def first_day():
    return repository.latest_week().plan.itineraries[0].day


def test_the_same_plan_comes_again_with_rounds(say) -> None:
    one = say("plan", "--days", 3, "--iterations", 60, "--seed", 4)
    two = say("plan", "--days", 3, "--iterations", 60, "--seed", 4)
    assert one["itineraries"] == two["itineraries"]
    assert one["benefit"] == two["benefit"]


def test_a_breakdown_takes_the_machine_out_and_says_what_moved(say) -> None:
    day = first_day()
    before = repository.latest_week().plan
    tried = say("replan", "--on", day, "--at", "05:00", "--down", f"g1:{day}", "--try")
    assert not tried["kept"]
    assert repository.latest_week().plan.id == before.id
    told = say("replan", "--on", day, "--at", "05:00", "--down", f"g1:{day}")
    after = repository.latest_week().plan
    assert told["kept"]
    assert after.id == told["plan"] != before.id
    assert not [each for each in after.itineraries if each.day == day]
    assert {move["kind"] for move in told["moves"]} <= {"day", "left_out", "added"}
    assert told["moves"]
    assert all(move["reason"] for move in told["moves"])
    held = repository.load_calendar().reservations
    assert [(each.machine_id, each.note) for each in held] == [("g1", "broken down")]
    assert not say("plan", "--start", day, "--days", 1, "--iterations", 5)["itineraries"]


def test_cards_that_do_not_hold_any_more_are_named(say) -> None:
    cards = repository.list_cards(status="draft")
    for card in cards:
        repository.issue_card(card.number, approved_by="R. Foreman", by="tests")
    day = first_day()
    told = say("replan", "--on", day, "--at", "05:00", "--down", f"g1:{day + timedelta(days=9)}")
    assert set(told["cards_to_take_back"]) == {card.number for card in cards}
    assert told["jobs_served"] == 0


def test_rain_at_noon_and_an_operator_away(say) -> None:
    day = first_day()
    told = say("replan", "--on", day, "--at", "05:00", "--rain", "today")
    after = repository.latest_week().plan
    tasks = {s.id: s.task for job in repository.latest_week().jobs for s in job.stages}
    done = {tasks[key] for each in after.itineraries if each.day == day for key in each.stage_ids}
    assert done <= {"hand_work", "emergency"}
    assert told["checker_violations"] == 0
    told = say("replan", "--on", day, "--at", "05:30", "--away", "o1")
    assert not [each for each in repository.latest_week().plan.itineraries if each.day == day]


def test_what_if_answers_in_json_and_in_words(say) -> None:
    answers = say("what-if", "--seconds", 0)["answers"]
    assert [each["question"].split(" on ")[0] for each in answers] == [
        "One more grader", "One more hour a day", "Rain all day",
    ]  # fmt: skip
    assert answers[0]["change"] >= -1e-6
    assert answers[2]["change"] <= 1e-6
    words = say("what-if", "--overtime", "--seconds", 0, plain=True)
    assert words.startswith("With overtime: worth ")


def test_why_a_road_waits(say) -> None:
    day = first_day()
    say("replan", "--on", day, "--at", "05:00", "--down", f"g1:{day + timedelta(days=9)}")
    told = say("why", "s1")
    assert told["planned"] == []
    (left,) = told["left_out"]
    assert left["reason"].endswith(".")
    assert left["would_change"]
    assert "What would change it: " in say("why", "s1", plain=True)


def test_the_way_turn_by_turn_and_as_a_track(say, tmp_path) -> None:
    told = say("itinerary", "--gpx", tmp_path / "tracks")
    days = told["itineraries"]
    passes = [s for each in days for s in each["steps"] if s["kind"] == "work"]
    assert passes
    assert all(1 <= s["pass"] <= s["passes"] for s in passes)
    assert len(told["files"]) == len(days)
    for file in told["files"]:
        assert ET.parse(file).getroot().tag.endswith("gpx")
    assert "Blade down" in say("itinerary", plain=True)


def test_the_calendar_is_gone_around_and_dropped(say) -> None:
    day = first_day()
    entry = say("calendar", "reserve", "--day", day, "--from", "00:00", "--until", "24:00",
                "--kind", "snow", "--machine", "g1", "--note", "Snow duty")  # fmt: skip
    assert not say("plan", "--start", day, "--days", 1, "--iterations", 5)["itineraries"]
    (row,) = say("calendar", "list")["entries"]
    assert (row["what"], row["who"]) == ("Snow duty", "g1")
    assert say("calendar", "drop", entry["id"])
    assert say("plan", "--start", day, "--days", 1, "--iterations", 5)["itineraries"]
    assert say("calendar", "list")["entries"] == []


def test_other_work_and_barred_roads(say) -> None:
    day = first_day()
    say("calendar", "work", "--hours", 2, "--who", "g1", "--from", day, "--by", day,
        "--kind", "mowing")  # fmt: skip
    for n in range(3):
        say("calendar", "bar", f"s{n}", "--from", "00:00", "--until", "23:59", "--reason",
            "harvest", "--weekdays", "mon,tue,wed,thu,fri")  # fmt: skip
    told = say("plan", "--start", day, "--days", 1, "--iterations", 5)
    assert {each["binding"] for each in told["unserved"]} == {"barred_hours"}
    (held,) = repository.latest_week().plan.reserved
    assert (held.kind, held.end_min - held.start_min) == ("mowing", 120)


REFUSED = (
    ("replan --down zz", "machine 'zz' is unknown"),
    ("replan --at noon", "--at is 'noon'"),
    ("replan --on 2031-01-01", "expected one of the 3 days"),
    ("what-if --rain 2031-01-01", "expected a day of the plan"),
    ("what-if --helper crane", "no available crane"),
    ("why nowhere", "road is 'nowhere'"),
    ("itinerary --machine zz", "no such day or machine"),
    ("calendar drop zz", "no entry 'zz'"),
    (
        "calendar reserve --day 2026-05-12 --from noon --until 10:00 --machine g1",
        "--from is 'noon'",
    ),
    ("calendar reserve --day 2026-05-12 --from 09:00 --until 10:00 --machine zz", "no machine"),
    ("calendar work --hours 2 --who g1 --from 2026-05-12 --by 2026-05-01", "before it begins"),
    ("calendar bar s0 --from 07:00 --until 08:00 --reason bus --weekdays no", "holds 'no'"),
)


def test_what_cannot_be_is_told(say, crossfall, sqlite_workspace) -> None:
    for words, told in REFUSED:
        refused = crossfall(*words.split(), "-w", sqlite_workspace.path)
        assert refused.code == 2, words
        assert told in refused.err
