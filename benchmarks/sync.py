"""Whether any fact from the cab is lost or doubled on a network that fails in every way.

Three parts. The plain model of the protocol, thousands of times: random phones, lost, doubled,
delayed and cut-off messages. The same phones against the real office (Django's store on SQLite, the
code that takes messages in), hundreds of times. And one real office process that is killed without
warning while a phone sends to it over HTTP, and started again. The baseline in the same run is an
office that does not know a fact again: the model must see it double.

Run ``python benchmarks/sync.py [--json] [--runs N] [--office-runs N] [--kills N]``.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections import Counter
from contextlib import closing, suppress
from http.client import HTTPException
from pathlib import Path
from typing import Any
from uuid import uuid4

import numpy as np

from crossfall.records.field_protocol import Message, Outcome, Phone, PlainOffice, run_protocol

TARGETS = {"runs": 10_000, "lost": 0, "doubled": 0, "kills": 20}
_FACTS = 60
_DEVICES = ("a", "b")


MOMENTS = ("random", "between facts", "before the commit", "after the commit")
_DYING = """
import os, signal, sys
from django.db.backends.base.base import BaseDatabaseWrapper as Store
moment = sys.argv.pop(1)
kept, commit, n_facts = Store.savepoint_commit, Store._commit, 0
def in_a_message():
    frame = sys._getframe()
    while frame is not None and frame.f_code.co_name != "take_in":
        frame = frame.f_back
    return frame is not None
def die():
    os.kill(os.getpid(), signal.SIGKILL)
def fact_kept(self, sid):
    global n_facts
    kept(self, sid)
    n_facts += in_a_message()
    if moment == "between facts" and n_facts >= 3:
        die()
def committed(self):
    hit = in_a_message()
    if hit and moment == "before the commit":
        die()
    commit(self)
    if hit and moment == "after the commit":
        die()
Store.savepoint_commit, Store._commit = fact_kept, committed
from crossfall_app.cli import main
main()
"""


class Forgetful(PlainOffice):
    """The baseline: an office that takes every fact for a new one."""

    def receive(self, device: str, message: Message) -> Message:
        before, self.facts = self.facts, []
        reply = super().receive(device, message)
        self.facts = [*before, *self.facts]
        return {**reply, "knows_last": True}


class RealOffice:
    """The office's own code on its own store."""

    def __init__(self) -> None:
        from django.utils import timezone

        from crossfall_app.field.models import Device, DeviceMachine
        from crossfall_app.store.models import Machine

        self._timezone = timezone
        machine = Machine.objects.first()
        now = timezone.now()
        self.devices = {}
        for name in _DEVICES:
            row = Device.objects.create(
                key=str(uuid4()), name=name, machine=machine, paired_at=now, paired_by="benchmark"
            )
            DeviceMachine.objects.create(device=row, machine=machine, from_at=now)
            self.devices[name] = row

    def receive(self, device: str, message: Message) -> Message:
        from crossfall_app.field.intake import take_in

        now = self._timezone.now()
        return take_in(self.devices[device], message, now=now, today=now.date())

    def kept(self) -> list[str]:
        from crossfall_app.field.models import Fact

        ids = [row.pk for row in self.devices.values()]
        return list(Fact.objects.filter(device__in=ids).values_list("key", flat=True))


def model_runs(n_runs: int, *, office: type[PlainOffice] = PlainOffice) -> list[Outcome]:
    """The plain model, each run from its own seed."""
    return [
        run_protocol(
            office(),
            np.random.default_rng(seed),
            devices=_DEVICES if seed % 3 else ("a", "b", "c"),
            n_facts=_FACTS,
            trouble=0.2 + 0.7 * (seed % 8) / 7,
        )
        for seed in range(n_runs)
    ]


def office_runs(n_runs: int, folder: Path) -> list[Outcome]:
    """The same against the real office."""
    _small_office(folder)
    return [
        run_protocol(
            RealOffice(),
            np.random.default_rng([seed, 7]),
            devices=_DEVICES,
            n_facts=_FACTS,
            trouble=0.2 + 0.7 * (seed % 8) / 7,
        )
        for seed in range(n_runs)
    ]


def killed_office(n_kills: int, folder: Path) -> dict[str, int]:
    """One phone that sends over HTTP to an office that is killed again and again.

    Every fourth kill falls at a random moment; the others are aimed at the one transaction that a
    message is taken in by: with some of its facts written, before the commit, and after it but
    before the answer.
    """
    _small_office(folder)
    code = _crossfall("phones", "pair", "g1", "--name", "benchmark", "--json", "-w", str(folder))
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    base = f"http://127.0.0.1:{port}"
    office = _serve(folder, port)
    key = _ask(f"{base}/cab/api/pair", {"code": json.loads(code)["code"]})["key"]
    office.terminate()
    office.wait(timeout=20)
    chance, phone, told = random.Random(20), Phone("killed"), []
    n_answered, killed = 0, Counter()
    stop_at = time.monotonic() + 300
    for number in range(n_kills):
        moment = MOMENTS[number % len(MOMENTS)]
        office = _serve(folder, port, dies=moment)
        before, killer = len(_kept(folder)), None
        if moment == "random":
            killer = threading.Timer(
                chance.uniform(0.0, 0.2), office.send_signal, [signal.SIGKILL]
            )  # fmt: skip
            killer.start()
        is_first = True
        while time.monotonic() < stop_at:
            if is_first or not phone.waiting:
                is_first = False
                told += [phone.tell("note", {"note": f"note {len(told) + i}"}, key=str(uuid4()))
                         for i in range(40)]  # fmt: skip
            try:
                # The newest first, so that an aimed kill hits facts that were never sent before
                phone.hear(_ask(f"{base}/cab/api/facts", _fresh(phone, newest=True), key=key))
                n_answered += 1
            except (OSError, HTTPException, ValueError):
                break
        office.wait(timeout=20)
        killed[moment] += office.returncode == -signal.SIGKILL
        # An aimed kill that hit elsewhere would prove nothing
        n_new = len(_kept(folder)) - before
        if moment == "after the commit":
            assert n_new > 0, "taken in, and never answered for"
        elif moment != "random":
            assert n_new == 0, "not taken in"
    office = _serve(folder, port)
    while phone.waiting and time.monotonic() < stop_at:
        phone.hear(_ask(f"{base}/cab/api/facts", _fresh(phone), key=key))
        n_answered += 1
    office.terminate()
    office.wait(timeout=20)
    times = Counter(_kept(folder))
    return {
        "told": len(told),
        "kills": sum(killed.values()),
        "aimed": sum(killed.values()) - killed["random"],
        "answered": n_answered,
        "lost": sum(times[each] == 0 for each in told),
        "doubled": sum(max(0, times[each] - 1) for each in told),
        "left_waiting": len(phone.waiting),
    }


def main() -> None:
    """Measure, and print what was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="one JSON object on the last line")
    parser.add_argument("--runs", type=int, default=10_000, help="of the plain model")
    parser.add_argument("--office-runs", type=int, default=100, help="of the real office")
    parser.add_argument("--kills", type=int, default=20, help="of a real office process")
    chosen = parser.parse_args()
    started = time.perf_counter()
    plain = model_runs(chosen.runs)
    model_s = time.perf_counter() - started
    with tempfile.TemporaryDirectory() as folder:
        started = time.perf_counter()
        real = office_runs(chosen.office_runs, Path(folder) / "office")
        office_s = time.perf_counter() - started
        _close()
        killed = killed_office(chosen.kills, Path(folder) / "killed")
    baseline = model_runs(50, office=Forgetful)
    every = [*plain, *real]
    figures = {
        "runs": len(plain),
        "lost": sum(each.lost for each in every) + killed["lost"],
        "doubled": sum(each.doubled for each in every) + killed["doubled"],
        "left_waiting": sum(each.left_waiting for each in every) + killed["left_waiting"],
        "facts": sum(each.told for each in every) + killed["told"],
        "messages": sum(each.n_messages for each in every) + killed["answered"],
        "office_runs": len(real),
        "kills": killed["kills"],
        "aimed_kills": killed["aimed"],
        "killed_facts": killed["told"],
        "baseline_doubled": sum(each.doubled for each in baseline),
        "model_s": round(model_s, 1),
        "office_s": round(office_s, 1),
    }
    met = {
        "runs": figures["runs"] >= TARGETS["runs"],
        "lost": figures["lost"] == 0,
        "doubled": figures["doubled"] == 0,
        "kills": figures["kills"] >= TARGETS["kills"],
    }
    for name, value in figures.items():
        print(f"{name:18} {value}")
    if chosen.json:
        print(json.dumps({"name": "sync", "figures": figures, "targets": TARGETS, "met": met}))


def _fresh(phone: Phone, *, newest: bool = False) -> Message:
    """A message as the page sends it, with the times of now."""
    keys = list(phone.waiting)
    message = phone.message(keys[-20:] if newest else keys[:20])
    now = time.strftime("%Y-%m-%dT%H:%M:%S+00:00", time.gmtime())
    return {**message, "sent_at": now, "facts": [{**each, "at": now} for each in message["facts"]]}


def _small_office(folder: Path) -> None:
    """A workspace with three roads and one grader, from the tests' own small district."""
    sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
    from crossfall_app.workspace import Config, create_workspace, open_workspace
    from small_district import TODAY, small_district

    create_workspace(folder, Config(name="Benchmark"))
    open_workspace(folder)
    from crossfall_app.store import repository

    repository.store_district(small_district(), by="benchmark", invented_today=TODAY)


def _close() -> None:
    from django.db import connections

    connections["default"].close()


def _serve(folder: Path, port: int, *, dies: str = "") -> subprocess.Popen[str]:
    program = ["-c", _DYING, dies] if dies in MOMENTS[1:] else ["-m", "crossfall_app"]
    office = subprocess.Popen(
        [sys.executable, *program, "serve", str(folder), "--port", str(port)],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert office.stdout is not None
    for line in office.stdout:
        if "/enter/" in line:
            return office
    raise RuntimeError("the office did not open")


def _ask(address: str, given: Any, key: str = "") -> Any:
    request = urllib.request.Request(
        address,
        data=json.dumps(given).encode(),
        headers={"Content-Type": "application/json", "X-Cab-Key": key},
    )
    with urllib.request.urlopen(request, timeout=10) as answer:
        return json.loads(answer.read())


def _kept(folder: Path) -> list[str]:
    import sqlite3

    with closing(sqlite3.connect(folder / "crossfall.sqlite3")) as store:
        return [key for (key,) in store.execute("SELECT key FROM field_fact")]


def _crossfall(*arguments: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "crossfall_app", *arguments],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return done.stdout


if __name__ == "__main__":
    with suppress(KeyboardInterrupt):
        main()
