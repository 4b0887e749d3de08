"""An office to visit: a workspace folder for its settings, the tests' own store for its facts."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.cache import cache
from django.test import Client

from crossfall_app.store import repository
from crossfall_app.web import built
from crossfall_app.web.guard import OwnChangesFirst
from crossfall_app.workspace import WORKSPACE_VARIABLE, Config, Workspace, create_workspace
from small_district import TODAY, small_district, small_week

_FRONTEND = Path(__file__).resolve().parents[2] / "frontend"


@pytest.fixture(autouse=True)
def built_names(monkeypatch) -> None:
    """Names that the build would give its files, so that these tests need no Node.js."""
    scripts = [f"{page.stem}.js" for page in (_FRONTEND / "pages").glob("*.ts")]
    styles = [page.name for page in (_FRONTEND / "styles").glob("*.css")]
    files = {name: name for name in (*scripts, *styles, "mark.svg", "map-worker.mjs")}
    monkeypatch.setattr(built, "_manifest", lambda: files)
    # As without a server: only the newest desk will do
    monkeypatch.setattr(OwnChangesFirst, "is_on", False)
    # Every test has plans of its own under the same names
    cache.clear()


@pytest.fixture
def empty_office(db, tmp_path: Path, monkeypatch) -> Workspace:
    """A new workspace without roads."""
    from crossfall_app.store.upkeep import bring_up_to_date

    folder = tmp_path / "office"
    made = create_workspace(folder, Config(name="Small district", time_zone="America/Denver"))
    monkeypatch.setenv(WORKSPACE_VARIABLE, str(folder))
    bring_up_to_date(made)
    return made


@pytest.fixture
def office(empty_office: Workspace) -> Workspace:
    """A workspace with three roads, on the morning they were made for."""
    repository.store_district(small_district(), by="tests", invented_today=TODAY)
    return empty_office


@pytest.fixture
def planned_office(office: Workspace) -> Workspace:
    """The same with one planned week and its card."""
    repository.save_week(small_week(), by="tests")
    return office


@pytest.fixture
def stranger() -> Client:
    """Somebody who has not come in."""
    return Client()


@pytest.fixture
def superintendent(db) -> Client:
    """Somebody who has come in."""
    from django.contrib.auth import get_user_model

    visitor = Client()
    visitor.force_login(get_user_model().objects.create(username="superintendent"))
    return visitor
