"""Long work is followed, stopped, and found again through its row."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from dataclasses import replace
from datetime import timedelta

import pytest
from django.utils import timezone

from crossfall.demo import section_grid
from crossfall.errors import Cancelled, InputError
from crossfall.model import District
from crossfall_app import runs
from crossfall_app.runs import desk, work
from crossfall_app.runs.work import _teller
from crossfall_app.store import repository
from crossfall_app.store.models import Run
from small_district import TODAY, small_condition, small_district


@pytest.fixture
def district(any_workspace):
    """A small district on each database; no child outlives the test."""
    repository.store_district(small_district(), by="test")
    yield any_workspace
    _end_children()


@pytest.fixture
def busy_district(any_workspace):
    """Enough roads to be searching for a while."""
    small = small_district()
    network = section_grid(60, seed=1)
    yards = tuple(
        replace(place, lon=network.nodes[0].lon, lat=network.nodes[0].lat)
        for place in small.fleet.places
    )
    station = replace(small.weather[0].station, lon=yards[0].lon, lat=yards[0].lat)
    bad = tuple(small_condition(each.id, deformation=2.5) for each in network.maintained)
    given = District(
        name="Busy district",
        network=network,
        fleet=replace(small.fleet, places=yards),
        conditions=bad,
        weather=(replace(small.weather[0], station=station),),
        forecasts=(replace(small.forecasts[0], station=station),),
    )
    repository.store_district(given, by="test")
    yield any_workspace
    _end_children()


def _end_children():
    for child in list(desk._CHILDREN.values()):
        child.kill()
    for thread in threading.enumerate():
        if thread.name.startswith(desk.THREAD_NAME):
            thread.join(timeout=10)


@pytest.fixture
def no_child(monkeypatch):
    """Runs stay queued: the child process is not started."""
    monkeypatch.setattr(desk, "_spawn", lambda run: None)


def _started(**changes):
    given = {"first_day": TODAY, "n_days": 3, "seconds": 0.3, "by": "ann"}
    return runs.start_plan(**(given | changes))


def _wait(run, *statuses, seconds=60.0):
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        row = runs.load(run.id)
        if row.status in statuses:
            return row
        time.sleep(0.02)
    pytest.fail(f"the run is still {runs.load(run.id).status}: {runs.load(run.id).message}")


@pytest.mark.slow
def test_a_week_is_planned_in_the_background(district):
    run = _started()
    row = _wait(run, "done", "failed")
    assert (row.status, row.error) == ("done", "")
    assert row.fraction == 1.0
    assert repository.latest_week().plan.id == row.result
    assert repository.list_plans()[0].made_by == "ann"
    assert row.started_at <= row.seen_at <= row.finished_at


@pytest.mark.slow
def test_a_run_stops_when_asked(busy_district):
    run = _started(seconds=60.0)
    _wait(run, "running")
    _until_it_says_something(run)
    runs.cancel(run.id, by="ann")
    row = _wait(run, "cancelled", seconds=20.0)
    assert row.finished_at is not None
    assert repository.latest_week() is None
    runs.cancel(run.id, by="ann")
    assert runs.load(run.id).status == "cancelled"


def _until_it_says_something(run):
    until = time.monotonic() + 60
    while not runs.load(run.id).message and time.monotonic() < until:
        time.sleep(0.02)


@pytest.mark.slow
def test_a_killed_run_is_interrupted(busy_district):
    run = _started(seconds=60.0)
    row = _wait(run, "running")
    os.kill(row.pid, signal.SIGKILL)
    assert _wait(run, "interrupted", seconds=5.0).finished_at is not None
    assert repository.latest_week() is None


def test_a_deaf_run_is_ended(sqlite_workspace, monkeypatch):
    deaf = [sys.executable, "-c", "import time; time.sleep(60)"]
    plain_popen = subprocess.Popen
    monkeypatch.setattr(desk.subprocess, "Popen", lambda _, **options: plain_popen(deaf, **options))
    run = _started()
    Run.objects.filter(pk=run.id).update(status="running")
    runs.cancel(run.id, by="ann")
    assert _wait(run, "cancelled", seconds=20.0)
    _end_children()


def test_one_run_at_a_time(sqlite_workspace, no_child):
    run = _started()
    assert runs.at_work() == run
    with pytest.raises(InputError, match="a plan by ann is under way"):
        _started(by="bob")
    runs.cancel(run.id, by="ann")
    assert runs.load(run.id).status == "cancelled"
    assert runs.at_work() is None
    assert _started(by="bob").status == "queued"
    assert len(runs.list_runs()) == 2


def test_leftovers_of_a_dead_server_are_settled(sqlite_workspace, no_child):
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    now, here = timezone.now(), desk.socket.gethostname()
    dead = Run.objects.create(kind="plan", status="running", pid=gone.pid, host=here)
    # A process of somebody else's that got the number of one of ours
    reused = Run.objects.create(kind="plan", status="running", pid=os.getppid(), host=here)
    far = Run.objects.create(
        kind="plan", status="running", pid=1, host="another", seen_at=now - timedelta(minutes=2)
    )
    silent = Run.objects.create(
        kind="plan", status="running", pid=1, host="another", seen_at=now - timedelta(hours=1)
    )
    fresh = Run.objects.create(kind="plan", status="queued")
    stale = Run.objects.create(kind="plan", created_at=now - timedelta(minutes=5))
    done = Run.objects.create(kind="plan", status="done", pid=gone.pid, host=here)
    runs.settle_leftovers()
    found = [runs.load(each.id).status for each in (dead, reused, far, silent, fresh, stale, done)]
    assert found[0] == "interrupted"
    assert found[2:] == ["running", "interrupted", "queued", "interrupted", "done"]
    if os.path.isdir("/proc/self"):
        assert found[1] == "interrupted" or "crossfall_app" in _command(os.getppid())


def _command(pid):
    with open(f"/proc/{pid}/cmdline", "rb") as command:
        return command.read().decode()


def test_what_is_wrong_with_the_district_becomes_one_sentence(sqlite_workspace, no_child):
    run = _started(n_days=0)
    assert work.work(sqlite_workspace, run.id) == "failed"
    assert "n_days is 0" in runs.load(run.id).error
    with pytest.raises(InputError, match="is failed, not waiting"):
        work.work(sqlite_workspace, run.id)


def test_a_mistake_of_our_own_is_written_down(sqlite_workspace, no_child, monkeypatch):
    def fail(*_):
        raise ZeroDivisionError("by nought")

    monkeypatch.setitem(work._KINDS, "plan", fail)
    run = _started()
    assert work.work(sqlite_workspace, run.id) == "failed"
    assert "ZeroDivisionError: by nought" in runs.load(run.id).error
    assert "Traceback" in (sqlite_workspace.path / "errors.log").read_text()


def test_progress_is_written_four_times_a_second_at_most(sqlite_workspace, no_child, monkeypatch):
    run = _started()
    Run.objects.filter(pk=run.id).update(status="running")
    clock = iter([100.0, 100.1, 100.2, 100.3, 100.6])
    monkeypatch.setattr(work.time, "monotonic", lambda: next(clock))
    tell = _teller(run.id)
    seen = []
    for fraction in (0.1, 0.2, 0.3, 0.4):
        tell(fraction, "searching")
        seen.append(runs.load(run.id).fraction)
    assert seen == [0.1, 0.1, 0.1, 0.4]
    Run.objects.filter(pk=run.id).update(is_cancel_wanted=True)
    with pytest.raises(Cancelled, match="stopped as asked"):
        tell(0.5, "searching")
