"""How fast the office answers while many people work in it; loopback only.

Run ``python benchmarks/web.py`` for a table, with ``--json`` for one JSON object on the last line.
It makes the invented district in a temporary folder, serves it, lets ``--users`` people come in,
and has each ask for one page every ``--pause`` seconds; one in ten of them changes something (the
word for an operator, a look at a road, or how a surface feels). The baseline in the same run is one
person alone.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import random
import re
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote, urlencode

TODAY = "2026-06-08"
TARGETS = {"p95_ms": 200.0, "errors": 0}
_LINK = re.compile(r"https?://(127\.0\.0\.1):(\d+)(/enter/\S+)")
_TOKEN = re.compile(r'name="csrfmiddlewaretoken" value="([^"]+)"')
_PAGES = (
    "/", "/", "/", "/plan/", "/plan/", "/roads/", "/roads.json", "/moisture/", "/cards/",
    "/cards/", "/ledger/", "/ledger/work/", "/ledger/open/", "/gravel/", "/settings/", "/road",
    "/road", "/card",
)  # fmt: skip
"""What people look at, the morning most; ``/road`` and ``/card`` stand for any of them."""
_WRITE_SHARE = 0.1


@dataclass
class Tally:
    """Answers of one run: address kind, milliseconds, whether it was right."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    times: list[tuple[str, float]] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    def add(self, kind: str, ms: float, status: int) -> None:
        with self.lock:
            self.times.append((kind, ms))
            if status >= 400:
                self.errors.append(f"{kind} answered {status}")


class Person:
    """One browser: cookies, a connection that stays open, and the token of its forms."""

    def __init__(self, host: str, port: int, link: str) -> None:
        self.host, self.port = host, port
        self.connection = http.client.HTTPConnection(host, port, timeout=30)
        self.cookies: dict[str, str] = {}
        page = self.ask("GET", link)[1]
        self.token = _TOKEN.search(page)[1]
        self.ask("POST", link, {})
        self.token = _TOKEN.search(self.ask("GET", "/")[1])[1]

    def ask(self, method: str, path: str, form: dict[str, str] | None = None) -> tuple[int, str]:
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        headers["Accept-Encoding"] = "gzip"
        body = None
        if form is not None:
            body = urlencode({"csrfmiddlewaretoken": self.token, **form})
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        for attempt in (1, 2):
            try:
                self.connection.request(method, path, body, headers)
                answer = self.connection.getresponse()
                content = answer.read()
                break
            except (http.client.HTTPException, ConnectionError):
                # The server may close a connection that rested; a browser opens another
                self.connection.close()
                if attempt == 2:
                    raise
        for name, value in answer.getheaders():
            if name.lower() == "set-cookie":
                key, _, rest = value.partition("=")
                self.cookies[key] = rest.partition(";")[0]
        text = (
            ""
            if answer.getheader("Content-Encoding") == "gzip"
            else content.decode("utf-8", "replace")
        )
        return answer.status, text


def main() -> None:
    """Measure and tell."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--users", type=int, default=50)
    parser.add_argument("--pause", type=float, default=5.0, help="seconds between two pages")
    parser.add_argument("--seconds", type=float, default=60.0, help="how long all of them work")
    parser.add_argument("--folder", type=Path, help="a demo that is there already")
    parser.add_argument("--json", action="store_true")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as room:
        folder = chosen.folder or _demo(Path(room) / "osier")
        server, host, port = _serve(folder)
        try:
            links = _links(folder, chosen.users)
            roads, cards, people = _known(folder)
            first = Person(host, port, links[0])
            for path in dict.fromkeys(_PAGES):
                first.ask("GET", _address(path, roads, cards, random.Random(1)))
            alone = _run([first], 0.05, min(10.0, chosen.seconds), roads, cards, people, writes=0.0)
            visitors = [first, *(Person(host, port, link) for link in links[1:])]
            many = _run(visitors, chosen.pause, chosen.seconds, roads, cards, people)
        finally:
            server.terminate()
            server.wait(timeout=20)
    _tell(chosen, alone, many)


def _run(
    visitors: list[Person],
    pause: float,
    seconds: float,
    roads: list[str],
    cards: list[int],
    people: list[str],
    *,
    writes: float = _WRITE_SHARE,
) -> Tally:
    tally, until = Tally(), time.monotonic() + seconds

    def work(number: int, visitor: Person) -> None:
        draw = random.Random(number)
        time.sleep(draw.uniform(0, pause))
        while time.monotonic() < until:
            began = time.perf_counter()
            if draw.random() < writes:
                kind, path, form = _write(roads, people, draw)
                status, _ = visitor.ask("POST", path, form)
            else:
                kind = draw.choice(_PAGES)
                status, _ = visitor.ask("GET", _address(kind, roads, cards, draw))
            ms = 1000 * (time.perf_counter() - began)
            tally.add(kind, ms, status)
            time.sleep(max(0.0, pause - ms / 1000))

    threads = [
        threading.Thread(target=work, args=(n, visitor)) for n, visitor in enumerate(visitors)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return tally


def _address(kind: str, roads: list[str], cards: list[int], draw: random.Random) -> str:
    if kind == "/road":
        return f"/roads/{quote(draw.choice(roads))}/"
    if kind == "/card":
        return f"/cards/{draw.choice(cards)}/"
    return kind


def _write(
    roads: list[str], people: list[str], draw: random.Random
) -> tuple[str, str, dict[str, str]]:
    which = draw.randrange(3)
    if which == 0:
        call = draw.choice(["go", "hold", "wet"])
        return "write crew", f"/crew/{quote(draw.choice(people))}/", {"call": call}
    road = draw.choice(roads)
    if which == 1:
        form = {"state": draw.choice(["bad", "usual"]), "reach": "segment"}
        return "write look", f"/tell/{quote(road)}/", form
    form = {
        "segment": road, "day": TODAY, "part": draw.choice(["early", "midday", "late"]),
        "felt": draw.choice(["too_wet", "just_right", "dust"]),
    }  # fmt: skip
    return "write surface", "/moisture-told/", form


def _demo(folder: Path) -> Path:
    arguments = ["demo", str(folder), "--no-serve", "--seconds", "3", "--today", TODAY]
    subprocess.run([sys.executable, "-m", "crossfall_app", *arguments], check=True,
                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # fmt: skip
    return folder


def _serve(folder: Path) -> tuple[subprocess.Popen[str], str, int]:
    server = subprocess.Popen(
        [sys.executable, "-m", "crossfall_app", "serve", str(folder), "--port", "0"],
        stdout=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1", "COLUMNS": "200"},
    )  # fmt: skip
    for line in server.stdout:
        found = _LINK.search(line)
        if found:
            return server, found[1], int(found[2])
    raise SystemExit("crossfall serve printed no link")


def _open(folder: Path) -> None:
    from crossfall_app.workspace import open_workspace

    open_workspace(folder)


def _links(folder: Path, n: int) -> list[str]:
    """One-time links for so many accounts, all of them superintendents."""
    _open(folder)
    from django.utils import timezone

    from crossfall_app.web.models import Member
    from crossfall_app.web.signin import make_link

    links = [make_link(now=timezone.now(), username=f"person-{number}") for number in range(n)]
    from django.contrib.auth import get_user_model

    for user in get_user_model().objects.filter(username__startswith="person-"):
        Member.objects.get_or_create(
            user=user, defaults={"name": user.username, "role": "superintendent"}
        )
    return links


def _known(folder: Path) -> tuple[list[str], list[int], list[str]]:
    from crossfall_app.store import repository

    district = repository.load_district()
    roads = [segment.id for segment in district.network.maintained]
    cards = [card.number for card in repository.list_cards()]
    return roads, cards, [person.id for person in district.fleet.operators]


def _p95(times: list[float]) -> float:
    ordered = sorted(times)
    return ordered[max(0, round(0.95 * len(ordered)) - 1)] if ordered else float("nan")


def _tell(chosen: argparse.Namespace, alone: Tally, many: Tally) -> None:
    for name, tally in (("one person", alone), (f"{chosen.users} people", many)):
        every = [ms for _, ms in tally.times]
        print(f"{name}: {len(every)} answers, p95 {_p95(every):.0f} ms, {len(tally.errors)} errors")
        for kind in sorted({kind for kind, _ in tally.times}):
            mine = [ms for each, ms in tally.times if each == kind]
            print(f"  {kind:16s} {len(mine):5d}  median {sorted(mine)[len(mine) // 2]:7.1f} ms"
                  f"  p95 {_p95(mine):7.1f} ms")  # fmt: skip
    for error in sorted(set(many.errors)):
        print("  ", error)
    figures = {
        "users": chosen.users,
        "p95_ms": round(_p95([ms for _, ms in many.times]), 1),
        "errors": len(many.errors),
        "answers": len(many.times),
        "alone_p95_ms": round(_p95([ms for _, ms in alone.times]), 1),
        "seconds": chosen.seconds,
    }
    met = {name: figures[name] <= target for name, target in TARGETS.items()}
    if chosen.json:
        print(json.dumps({"name": "web", "figures": figures, "targets": TARGETS, "met": met}))


if __name__ == "__main__":
    main()
