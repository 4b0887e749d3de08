"""The import page: shown first, on a map, then accepted or refused; tracks; Open311 at the door."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta

import pytest
from defusedxml.ElementTree import fromstring
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from crossfall.io.export import write_network
from crossfall_app.store import models, repository
from small_district import small_network

pytestmark = pytest.mark.django_db


def roads_file(tmp_path, *, name: str = "roads.geojson"):
    """The district's roads with one changed, one new and one gone."""
    network = small_network()
    first, second, _ = network.segments
    changed = replace(first, width_m=9.0, width_method="measured")
    new = replace(second, id="s9", route="New Road", line=second.line)
    network = replace(network, segments=(changed, second, replace(new, from_node="n2", to_node="n3",
        line=((-103.98, 45.0), (-103.97, 45.0)))))  # fmt: skip
    path = write_network(network, tmp_path / name)
    return SimpleUploadedFile(name, path.read_bytes())


def policy_with(**changes) -> None:
    policy = repository.load_policy()
    repository.save_policy(replace(policy, version="on", **changes), by="tests")


def staged(client, tmp_path, **fields) -> int:
    answer = client.post(reverse("import-roads"), {"file": roads_file(tmp_path), **fields})
    assert answer.status_code == 302
    assert answer.url.startswith("/imports/"), answer.url
    return int(answer.url.strip("/").split("/")[-1])


def test_a_file_is_shown_with_its_difference_and_nothing_is_written(
    superintendent, office, tmp_path
):
    before = repository.load_network()
    number = staged(superintendent, tmp_path)
    page = superintendent.get(reverse("import", args=[number])).content.decode()
    assert "Stays and changes: 2" in page
    assert "width_m" in page
    assert "Nothing is written yet" in page
    assert repository.load_network() == before
    svg = superintendent.get(reverse("import-map", args=[number]))
    assert svg["Content-Type"] == "image/svg+xml"
    assert fromstring(svg.content.decode()).tag.endswith("svg")


def test_accepted_it_is_the_map_and_refused_it_is_gone(superintendent, office, tmp_path):
    number = staged(superintendent, tmp_path)
    superintendent.post(reverse("import-refuse", args=[number]))
    assert repository.load_network() == small_network()
    assert models.ImportStage.objects.get(pk=number).payload == {}
    number = staged(superintendent, tmp_path)
    answer = superintendent.post(reverse("import-accept", args=[number]), follow=True)
    assert "Accepted" in answer.content.decode()
    assert repository.load_network().segment_by_id["s0"].width_m == 9.0
    again = superintendent.post(reverse("import-accept", args=[number]), follow=True)
    assert "was accepted already" in again.content.decode()


def test_a_difference_against_other_roads_is_not_written(superintendent, office, tmp_path):
    number = staged(superintendent, tmp_path)
    other = small_network(s1=replace(small_network().segments[1], adt=77.0))
    repository.replace_network(other, by="somebody")
    page = superintendent.get(reverse("import", args=[number])).content.decode()
    assert "changed after this file was read" in page
    superintendent.post(reverse("import-accept", args=[number]))
    assert repository.load_network() == other


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("x.pdf", b"%PDF", "has a name crossfall does not know"),
        ("x.geojson", b"{", "is not JSON"),
        ("../../etc/x.geojson", b"{}", "expected a GeoJSON FeatureCollection"),
        ("x.zip", b"PK", "not a ZIP"),
    ],
)
def test_what_cannot_be_read_is_said_and_leaves_nothing(
    superintendent, office, name, content, words
):
    answer = superintendent.post(
        reverse("import-roads"), {"file": SimpleUploadedFile(name, content)}, follow=True
    )
    assert words in answer.content.decode()
    assert models.ImportStage.objects.count() == 0
    assert repository.load_network() == small_network()


def test_only_a_superintendent_accepts_roads(superintendent, office, tmp_path, client):
    from django.contrib.auth import get_user_model

    number = staged(superintendent, tmp_path)
    client.force_login(get_user_model().objects.create(username="viewer"))
    assert client.post(reverse("import-accept", args=[number])).status_code == 403
    assert client.get(reverse("import-track", args=[1])).status_code == 403
    assert repository.load_network() == small_network()


def test_a_track_is_off_until_it_is_on_then_proposed_and_accepted(
    superintendent, planned_office, tmp_path
):
    import sys
    from pathlib import Path

    sys.path.insert(0, str(Path(__file__).parents[1] / "app"))
    from test_match_cli import grader_day

    from track_cases import as_gpx

    file = as_gpx(grader_day(), tmp_path / "day.gpx").read_bytes()

    def send():
        sent = {"file": SimpleUploadedFile("day.gpx", file), "machine": "g1"}
        return superintendent.post(reverse("import-track-in"), sent, follow=True)

    told = superintendent.get(reverse("imports")).content.decode()
    assert "Tracks are off" in told
    where = reverse("settings-figures") + "?room=tracks"
    assert where in told
    assert superintendent.get(where).status_code == 200
    assert "racks are off" in send().content.decode()
    assert models.ImportStage.objects.count() == 0
    policy_with(tracks=replace(repository.load_policy().tracks, is_on=True))
    repository.issue_card(1, approved_by="F. Foreman", by="tests")
    page = send().content.decode()
    assert "Reports card 1 as done and closes it" in page
    row = models.ImportStage.objects.get()
    svg = superintendent.get(reverse("import-track-map", args=[row.pk])).content.decode()
    assert fromstring(svg).tag.endswith("svg")
    answer = superintendent.post(reverse("import-track-accept", args=[row.pk]), follow=True)
    assert "1 cards closed" in answer.content.decode()
    assert repository.load_card(1).status == "closed"


# Open311 -----------------------------------------------------------------------------------


def on() -> None:
    policy_with(requests=replace(repository.load_policy().requests, is_open311_on=True))


def test_open311_is_not_there_until_it_is_turned_on(stranger, office):
    for name in ("services.json", "requests.json", "services.xml"):
        assert stranger.get(f"/open311/v2/{name}").status_code == 404
    sent = {"service_code": "dust", "lat": "45", "long": "-104", "description": "dusty"}
    assert stranger.post("/open311/v2/requests.json", sent).status_code == 404
    assert models.ImportStage.objects.count() == 0


def test_open311_lists_services_and_requests_without_signing_in(stranger, office):
    on()
    services = stranger.get("/open311/v2/services.json").json()
    assert {each["service_code"] for each in services} >= {"dust", "potholes", "other"}
    (one,) = stranger.get("/open311/v2/requests.json").json()
    assert (one["service_request_id"], one["address"]) == ("q1", "Road 2")
    xml = fromstring(stranger.get("/open311/v2/requests.xml").content.decode())
    assert xml.findtext("request/service_request_id") == "q1"
    assert stranger.get("/open311/v2/requests/q1.json").json()[0]["status"] == "open"
    assert stranger.get("/open311/v2/requests/q7.json").status_code == 404
    assert stranger.get("/open311/v2/requests.json?status=done").status_code == 400
    assert stranger.get("/open311/v2/requests.json?start_date=soon").status_code == 400
    late = stranger.get("/open311/v2/requests.json?start_date=2027-01-01T00:00:00Z")
    assert late.json() == []


def test_open311_days_are_those_of_the_agency(stranger, office):
    on()
    received = repository.load_district().requests[0].received_on
    after = received + timedelta(days=1)
    # Two in the night of UTC is still the evening before in Denver
    for text in (f"{after}T02:00:00Z", f"{after}T02:00:00%2B00:00", f"{after}T02:00:00+00:00"):
        asked = stranger.get(f"/open311/v2/requests.json?start_date={text}").json()
        assert [each["service_request_id"] for each in asked] == ["q1"], text
    early = stranger.get(f"/open311/v2/requests.json?end_date={received}T02:00:00Z")
    assert early.json() == []


def test_a_request_that_is_sent_waits_for_a_person(superintendent, stranger, office):
    on()
    sent = {
        "service_code": "dust", "lat": "45.0", "long": "-103.975", "description": "<b>dusty</b>",
        "first_name": "Pat", "email": "pat@example.org",
    }  # fmt: skip
    answer = stranger.post("/open311/v2/requests.json", sent)
    assert answer.status_code == 201
    key = answer.json()[0]["service_request_id"]
    assert len(repository.load_district().requests) == 1
    row = models.ImportStage.objects.get()
    assert "Pat" not in json.dumps(row.payload) + json.dumps(row.report)
    page = superintendent.get(reverse("imports")).content.decode()
    assert "&lt;b&gt;dusty" in page
    superintendent.post(reverse("import-request", args=[row.pk]))
    taken = next(each for each in repository.load_district().requests if each.id == key)
    assert (taken.segment_id, taken.source) == ("s2", "Open311")


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        ({"service_code": "pizza", "lat": "45", "long": "-104", "description": "x"}, 400),
        ({"service_code": "dust", "lat": "45", "long": "-104"}, 400),
        ({"service_code": "dust", "description": "x"}, 400),
        ({"service_code": "dust", "lat": "45", "long": "-104", "description": "x" * 60_000}, 413),
    ],
)
def test_requests_that_cannot_be_used_are_turned_away(stranger, office, sent, status):
    on()
    assert stranger.post("/open311/v2/requests.json", sent).status_code == status
    assert models.ImportStage.objects.count() == 0


def test_a_flood_of_requests_is_turned_away(stranger, office):
    rules = repository.load_policy().requests
    policy_with(requests=replace(rules, is_open311_on=True, most_waiting=2))
    sent = {"service_code": "dust", "lat": "45", "long": "-104", "description": "x"}
    codes = [stranger.post("/open311/v2/requests.json", sent).status_code for _ in range(3)]
    assert codes == [201, 201, 503]


def test_json_in_a_body_is_read_and_nonsense_refused(stranger, office):
    on()
    sent = {"service_code": "dust", "lat": 45, "long": -104, "description": "x"}
    good = stranger.post("/open311/v2/requests.json", sent, content_type="application/json")
    assert good.status_code == 201
    for body in ("[1]", "{", "null"):
        bad = stranger.post("/open311/v2/requests.json", body, content_type="application/json")
        assert bad.status_code == 400
