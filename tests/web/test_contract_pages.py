"""Work that is let: ordered, ticketed, dug up, looked at and signed for."""

from __future__ import annotations

from dataclasses import replace

import pytest

from crossfall import model as nouns
from crossfall.design.alone import Piece, design_alone
from crossfall_app.store import models, repository
from small_district import small_week

pytestmark = pytest.mark.django_db


def _text(client, address: str = "/contracts/") -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.content[:300]
    return " ".join(answer.content.decode().replace("\N{NO-BREAK SPACE}", " ").split())


def _post(client, address: str, **given: object) -> str:
    answer = client.post(address, given, follow=True)
    assert answer.status_code == 200, answer.content[:300]
    return " ".join(answer.content.decode().replace("\N{NO-BREAK SPACE}", " ").split())


@pytest.fixture
def gravel_office(office):
    """A plan with one regravel that could be let, and no contract yet."""
    models.Contract.objects.all().delete()
    designed = design_alone(
        nouns.Treatment.REGRAVELLING, Piece(200, 7, depth_mm=160, edge_slope=0, body_m3=10)
    )
    stages = tuple(replace(each, segment_id="s0") for each in designed.stages)
    week = small_week()
    job = replace(designed, id="j2", need_id="need-1", segment_id="s0", stages=stages)
    repository.save_week(replace(week, jobs=(*week.jobs, job)), by="tests")
    return office


def test_a_job_is_let_and_taken_over(gravel_office, superintendent):
    assert "Nothing is let" in _text(superintendent)
    assert (
        "contractor is empty"
        in _post(superintendent, "/contracts/let/", job="j2", contractor=" ").lower()
    )
    text = _post(superintendent, "/contracts/let/", job="j2", contractor="A. Haul", moisture="5")
    (made,) = repository.load_district().contracts
    # 7.0 m by 160 mm by 200 m in two lifts, 2.1 t/m3 dry
    assert made.ordered_dry_t == pytest.approx(7 * 0.16 * 200 * 2.1)
    assert made.wanted_mm == pytest.approx(160.0)
    assert [item.name for item in made.items][:1] == ["compacted gravel"]
    assert "nobody has looked yet" in text
    each_t = made.ordered_dry_t * 1.05 / made.ordered_loads
    lines = "\n".join(f"{n} {each_t:.4f}" for n in range(made.ordered_loads))
    address = f"/contracts/{made.id}"
    assert "expected its number and its net mass" in _post(
        superintendent, f"{address}/tickets/", tickets="17"
    )
    _post(superintendent, f"{address}/tickets/", tickets=lines)
    assert "it would be paid twice" in _post(
        superintendent, f"{address}/tickets/", tickets="0 16.0"
    )
    text = _post(superintendent, f"{address}/depths/", depths="158 162 140")
    assert "140 mm at the thinnest, 160 mm are wanted" in text
    for point in made.hold_points:
        _post(superintendent, f"{address}/hold/", name=point.name, seen_by="R. Foreman")
    refused = _post(superintendent, f"{address}/accept/", accepted_by="R. Foreman")
    assert "say in the note why" in refused
    text = _post(
        superintendent, f"{address}/accept/", accepted_by="R. Foreman", note="mended at 140"
    )
    assert "accepted" in text
    assert "by R. Foreman" in text
    assert repository.load_district().contracts[0].note == "mended at 140"


def test_hold_points_come_in_order(gravel_office, superintendent):
    _post(superintendent, "/contracts/let/", job="j2", contractor="A. Haul")
    (made,) = repository.load_district().contracts
    text = _post(
        superintendent,
        f"/contracts/{made.id}/hold/",
        name=made.hold_points[1].name,
        seen_by="R. F.",
    )
    assert "is not the next one" in text
    assert (
        "nobody has looked at"
        in _post(
            superintendent,
            f"/contracts/{made.id}/accept/",
            accepted_by="R. F.",
            note="all the same",
        ).lower()
    )


def test_what_is_unknown_is_refused(gravel_office, superintendent, stranger):
    assert "not in the latest plan" in _post(
        superintendent, "/contracts/let/", job="j9", contractor="A. Haul"
    )
    assert "is unknown" in _post(superintendent, "/contracts/c9/depths/", depths="80")
    assert "expected a figure" in _post(superintendent, "/contracts/c9/depths/", depths="deep")
    assert stranger.get("/contracts/").status_code == 302
