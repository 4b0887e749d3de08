"""A district comes out of the store as it went in, and every change is whole."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import date, timedelta

import numpy as np
import pytest

from crossfall import model as nouns
from crossfall.errors import InputError, WorkspaceError
from crossfall_app.store import audit, models, repository
from small_district import (
    NOON,
    TODAY,
    small_condition,
    small_district,
    small_fleet,
    small_forecast,
    small_network,
    small_record,
    small_weather,
    small_week,
)


@pytest.fixture
def district(any_workspace):
    """A small district, stored."""
    given = small_district()
    repository.store_district(given, by="test")
    return given


def test_a_district_survives_the_night(district):
    back = repository.load_district()
    for each in fields(district):
        if each.name not in {"weather", "forecasts"}:
            assert getattr(back, each.name) == getattr(district, each.name), each.name
    np.testing.assert_array_equal(back.weather[0].tmax_c, district.weather[0].tmax_c)
    assert back.weather[0].wind_m_s is None
    np.testing.assert_array_equal(back.forecasts[0].rain_mm, district.forecasts[0].rain_mm)
    assert audit.first_break() is None


def test_a_second_district_is_refused(district):
    with pytest.raises(WorkspaceError, match="holds a network already"):
        repository.store_district(district, by="test")


def test_a_map_without_creeks_leaves_those_that_are_there(district):
    creek = nouns.Backdrop("stream", ((0.0, 0.0), (1.0, 1.0)))
    rail = nouns.Backdrop("rail", ((0.0, 1.0), (1.0, 0.0)))
    network = replace(small_network(), backdrop=())
    repository.replace_network(replace(network, backdrop=(creek,)), by="test")
    repository.replace_network(network, by="test")
    assert repository.load_network().backdrop == (creek,)
    merged = replace(network, backdrop=(rail, creek))
    repository.replace_network(merged, by="test", is_merge=True)
    assert repository.load_network().backdrop == (creek, rail)
    repository.replace_network(replace(network, backdrop=(rail,)), by="test")
    assert repository.load_network().backdrop == (rail,)


def test_a_signed_load_limit_goes_up_and_comes_down_once(district):
    limit = nouns.LoadPosting("p1", ("s0", "s1"), 6.0, "The board", "A. Chair", NOON)
    assert repository.add_postings([limit], by="test") == 1
    assert repository.load_district().postings == (limit,)
    with pytest.raises(InputError, match="before it goes up"):
        repository.take_down_posting("p1", NOON - timedelta(days=1), by="test")
    down = repository.take_down_posting("p1", NOON + timedelta(days=30), by="test")
    assert repository.load_district().postings == (down,)
    with pytest.raises(InputError, match="came down already"):
        repository.take_down_posting("p1", NOON + timedelta(days=31), by="test")
    unknown = replace(limit, id="p2", segment_ids=("s9",))
    with pytest.raises(InputError, match="'s9' is not on the map"):
        repository.add_postings([unknown], by="test")


def test_an_import_says_what_it_did(district):
    wider = replace(district.network.segments[1], width_m=9.0)
    network = small_network(s1=wider)
    network = replace(network, nodes=network.nodes[:3], segments=network.segments[:2])
    change = repository.replace_network(network, by="test", source="roads.gpkg")
    assert (change.n_added, change.n_changed, change.n_vanished, change.n_same) == (0, 1, 1, 1)
    back = repository.load_district()
    assert back.network == network
    assert back.hazards == ()  # it lay on the segment that vanished; still in the store
    assert models.Hazard.objects.count() == 1
    before = models.Audit.objects.get(action="change", table="segment").before
    assert (before["id"], before["width_m"]) == ("s1", 7.0)
    again = repository.replace_network(small_network(s1=wider), by="test")
    assert (again.n_added, again.n_vanished) == (1, 0)
    assert repository.load_district().hazards == district.hazards
    assert audit.first_break() is None


def test_a_merge_leaves_what_it_does_not_mention(district):
    new = replace(district.network.segments[0], id="s9", route="Road 9")
    part = nouns.Network(district.network.nodes[:2], (new,))
    change = repository.replace_network(part, by="test", is_merge=True)
    assert (change.n_added, change.n_vanished) == (1, 0)
    back = repository.load_network()
    assert [each.id for each in back.segments] == ["s0", "s1", "s2", "s9"]
    assert back.features == district.network.features


def test_an_empty_network_does_not_wipe_the_map(district):
    with pytest.raises(InputError, match="no segment"):
        repository.replace_network(nouns.Network((), ()), by="test")
    assert repository.load_network() == district.network


def test_an_import_that_fails_half_way_changes_nothing(district, monkeypatch):
    def fail(*_, **__):
        raise RuntimeError("the disk went away")

    monkeypatch.setattr(repository.audit, "note", fail)
    wider = replace(district.network.segments[1], width_m=9.0)
    with pytest.raises(RuntimeError, match="disk"):
        repository.replace_network(small_network(s1=wider), by="test")
    monkeypatch.undo()
    assert repository.load_network() == district.network
    assert audit.first_break() is None


def test_a_staged_import_is_accepted_once(any_workspace):
    network = small_network()
    number = repository.stage_network(
        network, file_name="roads.geojson", sha256="0" * 64, report={"added": 3}, by="test"
    )
    assert not repository.has_network()
    assert repository.accept_stage(number, by="test").n_added == 3
    assert repository.load_network() == network
    with pytest.raises(InputError, match="was accepted already"):
        repository.accept_stage(number, by="test")
    with pytest.raises(InputError, match="unknown"):
        repository.drop_stage(number + 1)


def test_a_fleet_can_shrink_and_grow(district):
    fleet = small_fleet()
    second = replace(fleet.machines[0], id="g2", name="Grader 2")
    bigger = replace(fleet, machines=(second, fleet.machines[0]))
    repository.save_fleet(bigger, by="test")
    assert repository.load_fleet() == bigger
    repository.save_fleet(fleet, by="test")
    assert repository.load_fleet() == fleet
    assert models.Machine.objects.filter(is_current=False).count() == 1


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"machines": (nouns.Machine("g1", "G", "grader", "moon"),)}, "home_id 'moon'"),
        ({"operators": (nouns.Operator("o1", "O", "g7"),)}, "machine_id 'g7'"),
    ],
)
def test_a_fleet_that_points_nowhere_is_refused(district, change, message):
    with pytest.raises(InputError, match=message):
        repository.save_fleet(replace(small_fleet(), **change), by="test")
    assert repository.load_fleet() == small_fleet()


def test_weather_is_laid_over_weather(district):
    later = small_weather(first_day=date(2026, 5, 10), n_days=5)
    later.rain_mm[:] = [np.nan, 7.0, 1.0, 2.0, 3.0]
    assert repository.merge_weather(later, by="test") == 1
    (record,) = repository.load_district().weather
    assert (record.first_day, record.n_days) == (date(2026, 5, 1), 14)
    np.testing.assert_array_equal(record.rain_mm[8:], [0, 0, 7, 1, 2, 3])
    gap = small_weather(first_day=date(2026, 5, 20), n_days=1)
    repository.merge_weather(gap, by="test")
    (record,) = repository.load_district().weather
    assert np.isnan(record.rain_mm[14:19]).all()
    assert not np.isnan(record.rain_mm[19])


def test_the_latest_forecast_counts(district):
    tomorrow = replace(small_forecast(), issued_on=TODAY + timedelta(days=1), source="next")
    repository.save_forecast(tomorrow, by="test")
    (forecast,) = repository.load_district().forecasts
    assert forecast.source == "next"
    repository.save_forecast(replace(tomorrow, source="again"), by="test")
    (forecast,) = repository.load_district().forecasts
    assert forecast.source == "again"


def test_a_policy_version_never_changes(district):
    policy = nouns.Policy(version="2")
    repository.save_policy(policy, by="test")
    repository.save_policy(policy, by="test")
    assert repository.load_policy().version == "2"
    changed = replace(policy, design=replace(policy.design, drain=_other(policy.design.drain)))
    with pytest.raises(InputError, match="new version"):
        repository.save_policy(changed, by="test")
    assert repository.load_policy() == policy


def _other(part):
    name = fields(part)[0].name
    return replace(part, **{name: getattr(part, name) + 1})


def test_a_correction_takes_the_place_of_the_record(district):
    right = small_record("r2", hours=2.5, supersedes="r1")
    repository.add_records([right], by="test")
    assert repository.load_district().records == (right,)
    assert models.WorkRecord.objects.count() == 2


def test_facts_about_unknown_roads_are_refused(district):
    with pytest.raises(InputError, match="segment 'nowhere' is not on the map"):
        repository.add_conditions([small_condition(), small_condition("nowhere")], by="test")
    assert len(repository.load_district().conditions) == 2
    with pytest.raises(InputError, match="already or corrects an unknown one"):
        repository.add_records([small_record("r3"), small_record("r1")], by="test")
    assert repository.load_district().records == (small_record(),)


def test_a_hazard_takes_its_course(district):
    repository.move_hazard("h1", "barricaded_at", NOON + timedelta(minutes=40), by="test")
    with pytest.raises(InputError, match="already"):
        repository.move_hazard("h1", "barricaded_at", NOON + timedelta(hours=1), by="test")
    with pytest.raises(InputError, match="before the hazard was noticed"):
        repository.move_hazard("h1", "repaired_at", NOON - timedelta(hours=1), by="test")
    done = repository.move_hazard("h1", "repaired_at", NOON + timedelta(days=2), by="test")
    assert not done.is_open
    assert repository.load_district().hazards == (done,)


def test_a_week_is_kept_whole(district):
    given = small_week()
    kept = repository.save_week(given, by="test")
    assert repository.latest_week() == kept
    assert kept == given
    (line,) = repository.list_plans()
    assert (line.id, line.n_served, line.n_unserved, line.made_by) == ("plan-1", 1, 1, "test")
    assert repository.load_week("plan-1") == kept
    with pytest.raises(InputError, match="unknown"):
        repository.load_week("plan-7")


def test_a_new_plan_gets_new_numbers_and_withdraws_old_drafts(district):
    repository.save_week(small_week(), by="test")
    repository.move_card(1, "issued", by="test")
    repository.save_week(small_week(), by="test")
    third = repository.save_week(small_week(), by="test")
    assert third.plan.id == "plan-1-3"
    assert [(card.number, card.status) for card in repository.list_cards()] == [
        (1, "issued"),
        (2, "withdrawn"),
        (3, "draft"),
    ]
    assert repository.list_cards(plan_id="plan-1-3", day=TODAY, status="draft") == third.cards
    assert third.cards[0].plan_id == "plan-1-3"


def test_a_new_plan_takes_the_place_of_old_drafts_for_the_same_roads(district):
    old = repository.save_week(small_week(), by="test")
    later = TODAY + timedelta(days=21)
    card = replace(old.cards[0], id="c2", day=later, plan_id="plan-2")
    other = replace(card, id="c3", segment_id="s1")
    plan = replace(old.plan, id="plan-2", first_day=later)
    repository.save_week(small_week(plan=plan, cards=(other,)), by="test")
    assert repository.load_card(1).status == "draft"
    plan = replace(plan, id="plan-3", first_day=later + timedelta(days=21))
    card = replace(card, day=plan.first_day, plan_id="plan-3")
    repository.save_week(small_week(plan=plan, cards=(card,)), by="test")
    states = [(each.number, each.status) for each in repository.list_cards()]
    assert states == [(1, "withdrawn"), (2, "draft"), (3, "draft")]
    assert repository.load_card(1).withdrawn_because == "plan plan-3 took its place"


def test_a_card_moves_only_forward(district):
    repository.save_week(small_week(), by="test")
    with pytest.raises(InputError, match="is draft and cannot become closed"):
        repository.move_card(1, "closed", by="test")
    repository.move_card(1, "issued", by="test")
    assert repository.move_card(1, "closed", by="test").status == "closed"
    with pytest.raises(InputError, match="unknown"):
        repository.move_card(9, "issued", by="test")


def test_a_plan_that_breaks_a_rule_is_not_kept(district):
    broken = (nouns.Violation("shift", "Grader 1, Tuesday", "the shift is 9.2 h of 8.0 h"),)
    with pytest.raises(InputError, match="breaks 1 rule"):
        repository.save_week(small_week(violations=broken), by="test")
    assert repository.latest_week() is None


def test_a_week_that_fails_half_way_leaves_nothing(district):
    card = replace(small_week().cards[0], segment_id="nowhere")
    with pytest.raises(Exception, match=r"(?i)foreign key"):
        repository.save_week(small_week(cards=(card,)), by="test")
    assert repository.latest_week() is None
    assert models.Need.objects.count() == 0


def test_a_tampered_card_is_noticed(district):
    repository.save_week(small_week(), by="test")
    row = models.JobCard.objects.get()
    row.body = row.body.replace("set signs", "no signs ")
    row.save()
    with pytest.raises(WorkspaceError, match="card 1 was altered"):
        repository.load_card(1)


def test_a_tampered_audit_is_noticed(district):
    assert audit.first_break() is None
    line = models.Audit.objects.order_by("pk")[1]
    models.Audit.objects.filter(pk=line.pk).update(who="somebody else")
    assert audit.first_break() == line.pk


@pytest.mark.slow
def test_six_hundred_segments_load_in_half_a_second(any_workspace):
    n = 600
    nodes = tuple(nouns.Node(f"n{i}", -104 + i / 1000, 45.0) for i in range(n + 1))
    segments = tuple(
        nouns.Segment(
            f"s{i}", f"Road {i}", f"n{i}", f"n{i + 1}", 0.0, 1600.0,
            tuple((-104 + i / 1000 + j / 20000, 45.0) for j in range(20)),
        )
        for i in range(n)
    )  # fmt: skip
    network = nouns.Network(nodes, segments)
    repository.replace_network(network, by="test")
    seen = [small_condition(f"s{i}") for i in range(n) for _ in range(2)]
    repository.add_conditions(seen, by="test")
    assert repository.load_district().network == network
