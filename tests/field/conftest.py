"""An office with a planned and issued week, and phones that are paired with its grader."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone

from crossfall_app.field.pairing import make_code
from crossfall_app.store import models, repository
from crossfall_app.web import built
from crossfall_app.workspace import WORKSPACE_VARIABLE, Config, Workspace, create_workspace
from small_district import TODAY, small_district, small_week


@pytest.fixture(autouse=True)
def built_names(monkeypatch, tmp_path) -> None:
    """Names of built files, so that these tests need no Node.js."""
    names = (
        "office.css", "map.css", "morning.js", "moisture.js", "plan.js", "roads.js", "mark.svg",
        "replay.js", "cab.js", "cab.css", "cab-worker.js", "cab-icon.svg", "map-worker.mjs",
        "cab-icon-180.png", "cab-icon-192.png", "cab-icon-512.png",
    )  # fmt: skip
    files = {name: name for name in names}
    folder = tmp_path / "built"
    folder.mkdir()
    (folder / "cab-worker.js").write_text("void 0;")
    monkeypatch.setattr(built, "_manifest", lambda: files)
    monkeypatch.setattr(built, "BUILT", folder)


@pytest.fixture
def office(db, tmp_path: Path, monkeypatch) -> Workspace:
    """Three roads, one planned week, its card issued."""
    from crossfall_app.store.upkeep import bring_up_to_date

    folder = tmp_path / "office"
    made = create_workspace(folder, Config(name="Small district", time_zone="America/Denver"))
    monkeypatch.setenv(WORKSPACE_VARIABLE, str(folder))
    bring_up_to_date(made)
    repository.store_district(small_district(), by="tests", invented_today=TODAY)
    repository.save_week(small_week(), by="tests")
    # Straight into the row: what stands against issuing is another room's matter
    models.JobCard.objects.update(status="issued", approved_by="F. Oreman", day=TODAY)
    return made


@pytest.fixture
def card_id(office) -> str:
    """The id of the one card."""
    return str(models.JobCard.objects.get().key)


@dataclass
class Phone:
    """A phone that was paired, as the page in the cab speaks."""

    client: Client
    key: str
    device: str
    sequence: int = 0

    def fact(self, kind: str, payload: Any = None, **more: Any) -> dict[str, Any]:
        """A fact that was not sent yet."""
        self.sequence += 1
        return {
            "id": str(uuid4()),
            "sequence": self.sequence,
            "kind": kind,
            "card": None,
            "at": datetime.now(UTC).isoformat(),
            "seen": 0,
            "payload": payload or {},
            **more,
        }

    def send(self, *facts: Any, **more: Any) -> Any:
        """Send facts and give back the reply."""
        message = {
            "protocol": 1,
            "sent_at": datetime.now(UTC).isoformat(),
            "last": None,
            "facts": list(facts),
            **more,
        }
        return self.post("/cab/api/facts", json.dumps(message))

    def post(self, address: str, body: str | bytes) -> Any:
        return self.client.post(
            address, body, content_type="application/json", headers={"X-Cab-Key": self.key}
        )

    def get(self, address: str) -> Any:
        return self.client.get(address, headers={"X-Cab-Key": self.key})

    def put(self, address: str, body: bytes) -> Any:
        return self.client.put(
            address, body, content_type="application/octet-stream", headers={"X-Cab-Key": self.key}
        )

    def answers(self, *facts: Any, **more: Any) -> list[str]:
        """What the office says to each fact."""
        reply = self.send(*facts, **more)
        assert reply.status_code == 200, reply.content
        return [each["answer"] for each in reply.json()["answers"]]


@pytest.fixture
def pair_phone(office) -> Callable[..., Phone]:
    """Pairs a phone with the grader."""

    def pair(machine: str = "g1", name: str = "First operator") -> Phone:
        code = make_code(machine, name, by="tests", now=timezone.now())
        client = Client(SERVER_NAME="localhost")
        answer = client.post(
            "/cab/api/pair", json.dumps({"code": code}), content_type="application/json"
        )
        assert answer.status_code == 200, answer.content
        given = answer.json()
        return Phone(client, given["key"], given["device"])

    return pair


@pytest.fixture
def phone(pair_phone) -> Phone:
    """One paired phone."""
    return pair_phone()


@pytest.fixture
def foreman(office) -> Client:
    """Somebody who has come in and may do everything."""
    from django.contrib.auth import get_user_model

    visitor = Client(SERVER_NAME="localhost")
    visitor.force_login(
        get_user_model().objects.create(username="superintendent"),
        backend="django.contrib.auth.backends.ModelBackend",
    )
    return visitor
