"""`crossfall match` and `crossfall rates`: off by default, shown first, accepted by a person."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from crossfall.network import LocalPlane
from crossfall.network.fixes import Fixes
from crossfall_app.store import models, repository, tracks
from small_district import TODAY, small_district, small_week
from track_cases import as_gpx

DAY_S = 1_778_587_200.0
"""2026-05-12 12:00 UTC, the day the card is for."""


def grader_day(*, km_h: float = 6.0, shift_s: float = 0.0) -> Fixes:
    """Road 0 once there and once back with the blade down, then away along Road 1."""
    plane = LocalPlane.of(small_district().network)
    places = [-104.0, -103.99, -104.0, -103.98]
    x, y = plane.to_plane(places, [45.0] * 4)
    times, xs, ys, down = [], [], [], []
    now = DAY_S + shift_s
    for k, (speed, is_down) in enumerate(((km_h, 1), (km_h, 1), (30.0, 0))):
        seconds = float(np.hypot(x[k + 1] - x[k], y[k + 1] - y[k])) / (speed / 3.6)
        share = np.arange(0.0, seconds, 2.0) / seconds
        times.append(now + share * seconds)
        xs.append(x[k] + (x[k + 1] - x[k]) * share)
        ys.append(y[k] + (y[k + 1] - y[k]) * share)
        down.append(np.full(share.size, is_down))
        now += seconds + 40
        halt = np.arange(0.0, 40.0, 2.0)
        times.append(now - 40 + halt)
        xs.append(np.full(halt.size, x[k + 1]))
        ys.append(np.full(halt.size, y[k + 1]))
        down.append(np.zeros(halt.size))
    rng = np.random.default_rng(1)
    xs, ys = np.concatenate(xs), np.concatenate(ys)
    lon, lat = plane.to_lonlat(xs + rng.normal(0, 2, xs.size), ys + rng.normal(0, 2, ys.size))
    return Fixes(np.concatenate(times), lon, lat, np.concatenate(down).astype(np.int8))


@pytest.fixture
def office(sqlite_workspace):
    """A district with one issued card on Road 0."""
    repository.store_district(small_district(), by="test")
    repository.save_week(small_week(), by="test")
    repository.issue_card(1, approved_by="F. Foreman", by="test")
    return sqlite_workspace.path


@pytest.fixture
def gpx(tmp_path):
    return as_gpx(grader_day(), tmp_path / "day.gpx")


def turn_on() -> None:
    policy = repository.load_policy()
    on = replace(policy, version="2", tracks=replace(policy.tracks, is_on=True))
    repository.save_policy(on, by="test")


def test_a_track_is_shown_and_nothing_is_kept_while_tracks_are_off(crossfall, office, gpx):
    told = crossfall("match", gpx, "--machine", "g1", "-w", office)
    assert told.code == 0, told.err
    assert "1+1" in told.out
    assert "reports card 1 as done" in " ".join(told.out.split())
    assert "nothing was written" in told.err
    refused = crossfall("match", gpx, "--machine", "g1", "--accept", "-w", office)
    assert refused.is_refused("tracks are off")
    assert models.ImportStage.objects.count() == 0
    assert models.MachineDay.objects.count() == 0
    assert repository.load_card(1).status == "issued"


def test_accepting_closes_the_card_and_keeps_the_day(crossfall, office, gpx):
    turn_on()
    told = crossfall("match", gpx, "--machine", "Grader 1", "--accept", "-w", office)
    assert told.code == 0, told.err
    assert "1 cards closed" in told.out
    assert repository.load_card(1).status == "closed"
    district = repository.load_district()
    (record,) = [each for each in district.records if each.card_id == "c1"]
    assert (record.n_passes, record.done_on, record.by) == (2, TODAY, "First operator")
    assert "from a track" in record.note
    (day,) = district.machine_days
    assert day.work_km == pytest.approx(1.57, abs=0.06)
    assert day.travel_km == pytest.approx(1.57, abs=0.06)
    again = crossfall("match", gpx, "--machine", "g1", "--accept", "-w", office)
    assert again.is_refused("was accepted already")
    assert len(repository.load_district().machine_days) == 1


def test_days_since_blading_begin_anew(crossfall, office, gpx):
    from crossfall.records import conditions_after

    turn_on()
    crossfall("match", gpx, "--machine", "g1", "--accept", "-w", office)
    district = repository.load_district()
    (before,) = [each for each in district.conditions if each.segment_id == "s0"]
    (after,) = [
        each
        for each in conditions_after(
            district.conditions, district.records, network=district.network
        )
        if each.segment_id == "s0"
    ]
    assert before.last_bladed_on != TODAY
    assert after.last_bladed_on == TODAY


def test_the_cutting_edge_wears_by_what_was_measured(crossfall, office, gpx):
    from crossfall.design.ledger import edge_forecast

    turn_on()
    crossfall("match", gpx, "--machine", "g1", "--accept", "-w", office)
    district = repository.load_district()
    worn = edge_forecast(
        district.edges[0],
        district.records,
        length_km={segment.id: 0.78 for segment in district.network.segments},
        machine_of={"c1": "g1"},
        today=TODAY,
        machine_days=district.machine_days,
    )
    assert worn.worn_km == pytest.approx(district.machine_days[0].work_km)


def test_a_row_can_be_left_out(crossfall, office, gpx):
    turn_on()
    wrong = crossfall("match", gpx, "--machine", "g1", "--accept", "--without", "s9", "-w", office)
    assert wrong.is_refused("--without names 's9'")
    told = crossfall("match", gpx, "--machine", "g1", "--accept", "--without", "s0", "-w", office)
    assert told.code == 0, told.err
    assert repository.load_card(1).status == "issued"
    assert len(repository.load_district().machine_days) == 1


def test_fast_work_is_marked_as_a_check(crossfall, office, tmp_path):
    file = as_gpx(grader_day(km_h=11.0), tmp_path / "fast.gpx")
    told = crossfall("match", file, "--machine", "g1", "-w", office, "--json").json
    (work,) = told["work"]
    assert work["fast_legs"] == 2
    assert any("check: risk of corrugation" in doubt for doubt in work["doubts"])


def test_without_a_blade_bit_the_work_is_inferred(crossfall, office, tmp_path):
    file = as_gpx(grader_day(), tmp_path / "plain.gpx", with_blade=False)
    told = crossfall("match", file, "--machine", "g1", "-w", office, "--json").json
    (work,) = told["work"]
    assert (work["blade"], work["passes_forward"], work["passes_backward"]) == ("inferred", 1, 1)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "nothing to match"),
        (("day.gpx",), "whose track is it"),
        (("day.gpx", "--machine", "g7"), "machine 'g7' is not in the fleet"),
        (("none.gpx", "--machine", "g1"), "none.gpx is not there"),
        (("day.gpx", "--machine", "g1", "--zone", "Mars/Base"), "zone is 'Mars/Base'"),
        (("day.gpx", "--machine", "g1", "--column", "speed=V"), "columns names 'speed'"),
        (("bomb.gpx", "--machine", "g1"), "declares a document type"),
    ],
)
def test_what_cannot_be_used_is_refused_and_leaves_the_store(
    crossfall, office, gpx, tmp_path, monkeypatch, arguments, words
):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bomb.gpx").write_text('<!DOCTYPE gpx [<!ENTITY a "b">]><gpx>&a;</gpx>')
    turn_on()
    before = repository.load_district()
    assert crossfall("match", *arguments, "-w", office).is_refused(words)
    after = repository.load_district()
    assert after.records == before.records
    assert after.machine_days == ()
    assert models.ImportStage.objects.count() == 0


def test_a_proposal_is_purged_when_its_time_is_over(office, crossfall, gpx):
    turn_on()
    policy = repository.load_policy()
    from zoneinfo import ZoneInfo

    from crossfall.io.tracks import TrackProfile
    from crossfall_app.store.track_intake import TrackIntake

    intake = TrackIntake.read(
        gpx, machine_id="g1", profile=TrackProfile(), zone=ZoneInfo("America/Denver")
    )
    number = intake.stage(by="test")
    assert len(tracks.load_track(number).work) == 1
    assert tracks.purge_tracks(by="test") == 0
    row = models.ImportStage.objects.get(pk=number)
    text = str(row.payload) + str(row.report)
    # Neither a fix nor a time of day is kept
    assert "-103.99" not in text
    assert "T12:" not in text
    from datetime import timedelta

    row.created_at -= timedelta(days=policy.tracks.keep_days + 1)
    row.save()
    # Whatever is opened next lets it go
    assert crossfall("rates", "-w", office).code == 0
    kept = tracks.load_track(number)
    assert (kept.work, kept.days, kept.status) == ((), (), "purged")
    with pytest.raises(Exception, match="was purged already"):
        tracks.accept_track(number, by="test")
    assert crossfall("match", "--purge", "-w", office).out.startswith("0 proposals")


def test_snapshots_alone_keep_hours_and_fuel(crossfall, office, tmp_path):
    turn_on()
    file = tmp_path / "fleet.xml"
    file.write_text(
        "<Fleet><Equipment><EquipmentHeader><EquipmentID>g1</EquipmentID></EquipmentHeader>"
        '<CumulativeOperatingHours datetime="2026-05-12T12:00:00Z"><Hour>100</Hour>'
        '</CumulativeOperatingHours><CumulativeOperatingHours datetime="2026-05-12T22:00:00Z">'
        "<Hour>107.5</Hour></CumulativeOperatingHours></Equipment></Fleet>"
    )
    told = crossfall("match", file, "--machine", "g1", "--accept", "-w", office)
    assert told.code == 0, told.err
    (day,) = repository.load_district().machine_days
    assert (day.engine_h, day.work_km) == (7.5, 0.0)


def test_rates_are_shown_and_need_enough_to_stand_on(crossfall, office):
    told = crossfall("rates", "-w", office)
    assert told.code == 0, told.err
    assert "stays" in told.out
    assert crossfall("rates", "--accept", "-w", office).is_refused("too few records")
