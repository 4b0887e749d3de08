"""Permissions and signatures at the keyboard, and what they do to the next plan."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from typer.testing import CliRunner

from crossfall_app.cli.entry import build
from crossfall_app.store import repository
from crossfall_app.workspace import WORKSPACE_VARIABLE
from small_district import TODAY, small_district


@pytest.fixture
def say(sqlite_workspace, monkeypatch):
    """Runs a command on a small workspace and gives back its JSON, or the error."""
    monkeypatch.setenv(WORKSPACE_VARIABLE, str(sqlite_workspace.path))
    repository.store_district(small_district(), by="tests", invented_today=TODAY)

    def run(*words: str):
        done = CliRunner().invoke(build(), [*words, "--json"], catch_exceptions=True)
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        return json.loads(done.stdout)

    return run


FILED = ("--reference", "26-77", "--granted-by", "Locating Centre", "--until")


def test_a_permission_is_filed_and_listed(say):
    last = TODAY + timedelta(days=9)
    made = say("clearance", "file", "s0", "--kind", "utilities", *FILED, last.isoformat())
    assert len(made["clearances"]) == 1
    listed = say("clearance", "list")["clearances"]
    (mine,) = [each for each in listed if each["reference"] == "26-77"]
    assert (mine["segment"], mine["from"], mine["until"]) == ("s0", str(TODAY), str(last))
    assert mine["holds"] is True
    after = say("clearance", "list", "--on", (last + timedelta(days=1)).isoformat())
    assert "26-77" not in [each["reference"] for each in after["clearances"]]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("clearance", "file", "moon", "--kind", "rail", *FILED, "2026-06-01"), "road is 'moon'"),
        (("clearance", "file", "s0", "--kind", "moon", *FILED, "2026-06-01"), "kind is 'moon'"),
        (("clearance", "file", "s0", "--kind", "rail", *FILED, "soon"), "expected a day"),
        (("clearance", "file", "s0", "--kind", "rail", *FILED, "2001-01-01"), "before it begins"),
        (
            ("engineer", "sign", "s0", "--treatment", "none", "--by", "A", "--capacity", "P.E."),
            "treatment is 'none'",
        ),
        (
            ("engineer", "sign", "s0", "--treatment", "blading", "--by", " ", "--capacity", "P.E."),
            "signed_by is empty",
        ),
    ],
)
def test_what_cannot_be_is_refused(say, words, said):
    from crossfall.errors import InputError

    with pytest.raises(InputError, match=said):
        say(*words)


def test_an_engineer_signs_and_takes_it_back(say):
    words = ("engineer", "sign", "s2", "--treatment", "regravelling", "--by", "R. Alder")
    say(*words, "--capacity", "P.E. 4711", "--limit-t", "26")
    say(*words, "--capacity", "P.E. 4711", "--take-back")
    first, second = repository.load_district().signatures
    assert (first.limit_t, first.is_withdrawn, second.is_withdrawn) == (26.0, False, True)
    assert say("engineer", "waiting") == {"waiting": []}
