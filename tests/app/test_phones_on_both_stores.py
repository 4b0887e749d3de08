"""Phones and their facts on SQLite and on PostgreSQL, from the command line, through a restore."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest

from crossfall.errors import InputError
from small_district import TODAY, small_district, small_week


def _fact(number: int, kind: str, payload: dict, **more) -> dict:
    return {
        "id": str(uuid4()),
        "sequence": number,
        "kind": kind,
        "card": None,
        "at": datetime.now(UTC).isoformat(),
        "seen": 0,
        "payload": payload,
        **more,
    }


def _message(*facts: dict, **more) -> dict:
    return {"protocol": 1, "sent_at": datetime.now(UTC).isoformat(), "facts": list(facts), **more}


def _fill() -> None:
    from crossfall_app.store import models, repository

    repository.store_district(small_district(), by="tests", invented_today=TODAY)
    repository.save_week(small_week(), by="tests")
    models.JobCard.objects.update(status="issued", day=TODAY)


def _paired(name: str):
    from django.utils import timezone

    from crossfall_app.field.pairing import make_code, pair

    return pair(make_code("g1", name, by="tests", now=timezone.now()), now=timezone.now())


def test_a_shift_is_kept_approved_and_survives_a_restore(any_workspace):
    from django.utils import timezone

    from crossfall.model import Policy
    from crossfall_app.field import approve
    from crossfall_app.field.day import day_of
    from crossfall_app.field.intake import take_in
    from crossfall_app.field.models import DeviceKey, Fact
    from crossfall_app.field.pairing import device_of
    from crossfall_app.field.shift_replay import replay_of
    from crossfall_app.store import models, repository
    from crossfall_app.store.backup import back_up, restore

    _fill()
    card = models.JobCard.objects.get()
    first, second = _paired("First operator"), _paired("Second operator")

    def send(paired, *facts, **more):
        return take_in(
            paired.device, _message(*facts, **more), now=timezone.now(), today=TODAY
        )  # fmt: skip

    told = [
        _fact(1, "shift_start", {"is_alone": True}),
        _fact(2, "pass_done", {"pass": 1}, card=card.key),
        _fact(3, "note", {"note": "half \ud800"}),
        _fact(4, "job_done", {"note": "müde"}, card=card.key),
        _fact(5, "hours", {"hours": 1.5}, card=card.key),
    ]
    answers = [each["answer"] for each in send(first, *told)["answers"]]
    assert answers == ["accepted", "accepted", "rejected", "accepted", "accepted"]
    target = "shift/g1/expected_back"
    later = [(timezone.now() + timedelta(hours=n)).isoformat() for n in (1, 2)]
    send(first, _fact(6, "edit", {"target": target, "value": later[0]}))
    clash = send(second, _fact(1, "edit", {"target": target, "value": later[1]}))["answers"][0]
    assert clash["is_conflict"]
    assert len(approve.clashes()) == 1
    shown = day_of(second.device, today=TODAY, now=timezone.now(), policy=Policy())
    assert [each["kind"] for each in shown["told"]] == ["pass_done", "job_done", "edit"]
    approve.radio_report("g1", "check_in", by="foreman", now=timezone.now(), today=TODAY)
    assert approve.people_out(now=timezone.now())[0].heard_by == "radio"
    assert not replay_of("g1", TODAY).is_empty

    kept = back_up(any_workspace)
    send(first, last_fact := _fact(7, "note", {"note": "after the backup"}))
    record = approve.take_over(
        card.number, by="foreman", actuals={"by_whom": "First operator", "hours": 1.5}
    )
    assert repository.load_district().records[-1].id == record.id
    restore(any_workspace, kept)
    assert DeviceKey.objects.count() == 0, "a copy of the store lets no phone in"
    assert device_of(first.key, now=timezone.now()) is None
    assert Fact.objects.filter(key=told[1]["id"]).count() == 1
    again = _paired("First operator")
    reply = send(again, *told[:2], last={"id": last_fact["id"], "number": 99})
    assert reply["knows_last"] is False, "so the phone offers everything again"
    assert [each["answer"] for each in reply["answers"]] == ["duplicate", "duplicate"]
    assert send(again, last_fact)["answers"][0]["answer"] == "accepted"
    assert Fact.objects.count() == len(set(Fact.objects.values_list("key", flat=True)))


def test_phones_from_the_command_line(crossfall, sqlite_workspace):
    _fill()
    folder = str(sqlite_workspace.path)
    assert "No phone is paired" in crossfall("phones", "list", "-w", folder).out
    made = crossfall("phones", "pair", "g1", "--name", "Pat", "--json", "-w", folder).json
    assert len(made["code"]) == 11
    assert crossfall("phones", "pair", "g9", "--name", "Pat", "-w", folder).is_refused("g9", "g1")
    from django.utils import timezone

    from crossfall_app.field.pairing import pair

    device = pair(made["code"], now=timezone.now()).device
    (row,) = crossfall("phones", "list", "--json", "-w", folder).json["phones"]
    assert (row["phone"], row["name"], row["is_revoked"]) == (device.key, "Pat", False)
    assert "Pat" in crossfall("phones", "list", "-w", folder).out
    assert crossfall("phones", "revoke", device.key, "-w", folder).code == 0
    assert crossfall("phones", "revoke", str(uuid4()), "-w", folder).is_refused("unknown")
    with pytest.raises(InputError, match="wrong, used or too old"):
        pair(made["code"], now=timezone.now())
