"""A shift in the cab: a phone of 390 × 844 that is touched, goes out of signal, and comes back.

The office is a server of its own that is killed and started again while the phone sends.
"""

from __future__ import annotations

import gzip
import json
import os
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from pictures import png

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.xdist_group("cab")]

ROOT = Path(__file__).resolve().parents[2]
MACHINE = "G1"
FIRST_LOAD_BYTES = 200_000
LEAST_TEXT_PX = 20
LEAST_CONTRAST = 7.0
LEAST_TARGET_PX = 48
N_FACTS = 60
_NEWER = (
    "import crossfall_app.field.release as r; r._release_of = lambda urls: 'newer';"
    " from crossfall_app.cli import main; main()"
)


@dataclass
class Server:
    """The office of one test: killed without warning, and started again at the same address."""

    folder: Path
    port: int
    process: subprocess.Popen | None = None
    n_kills: int = 0

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self, *, is_newer: bool = False) -> None:
        program = ["-c", _NEWER] if is_newer else ["-m", "crossfall_app"]
        self.process = subprocess.Popen(
            [sys.executable, *program, "serve", str(self.folder), "--port", str(self.port)],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            env={**os.environ, "PYTHONUNBUFFERED": "1", "COLUMNS": "200"},
        )
        for line in self.process.stdout:
            if "/enter/" in line:
                return
        pytest.fail("the office did not open")

    def kill(self) -> None:
        """As a power cut does it."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(timeout=10)
        self.n_kills += 1

    def stop(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()
            self.process.wait(timeout=10)

    def facts(self) -> list[str]:
        """Ids of the facts that are kept, as the store has them."""
        with closing(sqlite3.connect(self.folder / "crossfall.sqlite3", timeout=20)) as store:
            return [key for (key,) in store.execute("SELECT key FROM field_fact ORDER BY number")]

    def photos(self) -> list[str]:
        """Names of the photos that are whole."""
        with closing(sqlite3.connect(self.folder / "crossfall.sqlite3", timeout=20)) as store:
            rows = store.execute("SELECT name FROM field_photo WHERE complete_at IS NOT NULL")
            return [name for (name,) in rows]

    def code(self) -> str:
        answer = _crossfall("phones", "pair", MACHINE, "--name", "A. Alder", "--json", "-w",
                            str(self.folder))  # fmt: skip
        return json.loads(answer)["code"]


@pytest.fixture(scope="module")
def issued_folder(demo_folder: Path, tmp_path_factory) -> Path:
    """The demo with the grader's cards of the day issued."""
    folder = tmp_path_factory.mktemp("cab") / "osier"
    shutil.copytree(demo_folder, folder)
    with closing(sqlite3.connect(folder / "crossfall.sqlite3")) as store:
        rows = store.execute(
            "SELECT number FROM store_jobcard WHERE machine = 'Grader 1' AND status = 'draft'"
            " AND day = (SELECT MIN(day) FROM store_jobcard) ORDER BY number"
        )
        numbers = [str(number) for (number,) in rows]
    for number in numbers[:2]:
        _crossfall("issue", number, "--approved-by", "F. Oreman", "-w", str(folder), is_fine=False)
    return folder


@pytest.fixture
def server(issued_folder: Path, tmp_path: Path) -> Iterator[Server]:
    """An office to kill."""
    folder = tmp_path / "osier"
    shutil.copytree(issued_folder, folder)
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    made = Server(folder, port)
    made.start()
    yield made
    made.stop()


@pytest.fixture
def pocket(chromium) -> Iterator[Any]:
    """A phone's browser: 390 × 844, touched, with a position."""
    context = chromium.new_context(
        viewport={"width": 390, "height": 844},
        has_touch=True,
        is_mobile=True,
        permissions=["geolocation"],
        geolocation={"longitude": -100.0, "latitude": 45.0, "accuracy": 5},
        reduced_motion="reduce",
    )
    context.set_default_timeout(15_000)
    yield context
    context.close()


def test_a_shift_without_signal_arrives_exactly_once(server, pocket, tmp_path):
    page = _paired(pocket, server)
    _controlled(page)
    pocket.set_offline(True)
    page.reload()
    _begin(page)
    _work(page, tmp_path)
    told = _in_outbox(page)
    assert len(told) == N_FACTS
    assert {each["state"] for each in told} == {"waiting"}
    assert len(server.facts()) == 0
    page.close()

    # Closed and opened again, still without signal: everything is there
    page = pocket.new_page()
    page.goto(server.url + "/cab/")
    page.locator("#waiting").wait_for()
    assert page.locator("#waiting").get_attribute("data-waiting") == str(N_FACTS + 3)
    assert len(_in_outbox(page)) == N_FACTS

    # Signal again, and an office that dies: before it took a message in, after it did and before
    # it answered, and in the middle of a photo
    dying = _Dying(server, ["before", "after", "photo"])
    pocket.route("**/cab/api/**", dying.answer)
    pocket.set_offline(False)
    until = time.monotonic() + 90
    # What is planned is taken off before the office is dead: only kills count
    while server.n_kills < 3 and time.monotonic() < until:
        page.evaluate("dispatchEvent(new Event('online'))")
        page.wait_for_timeout(150)
    assert server.n_kills == 3
    _arrived(page)
    facts = _in_outbox(page)
    assert sorted(server.facts()) == sorted(each["id"] for each in facts)
    assert len(set(server.facts())) == N_FACTS
    assert {each["state"] for each in facts} == {"sent"}
    assert len(server.photos()) == 3
    # The same messages once more: nothing is doubled
    _offer_again(page)
    _arrived(page)
    assert len(server.facts()) == N_FACTS
    assert dying.n_reordered > 0


def test_two_phones_of_one_machine_tell_at_once(server, pocket, chromium):
    """Both without signal, both tick the same pass and change the same thing; then both send."""
    first = _paired(pocket, server)
    other = chromium.new_context(viewport={"width": 390, "height": 844}, has_touch=True)
    other.set_default_timeout(15_000)
    second = _paired(other, server)
    for page, remark in ((first, "Soft at the gate"), (second, "Dry at the gate")):
        _controlled(page)
        page.context.set_offline(True)
        _begin(page)
        _tap(page, "Read. Start this job")
        _tap(page, "Pass 1 done")
        page.get_by_role("button", name="Pass 2 done").wait_for()
        _tap(page, "Report something")
        _tap(page, "Remark for whoever goes on")
        page.get_by_label("Remark", exact=True).fill(remark)
        _tap(page, "Keep")
        page.locator("#waiting[data-waiting='3']").wait_for()
    for page in (first, second):
        page.context.set_offline(False)
    for page in (first, second):
        page.evaluate("dispatchEvent(new Event('online'))")
    for page in (first, second, first):
        _arrived(page)
    told = [each["id"] for page in (first, second) for each in _in_outbox(page)]
    assert len(set(told)) == 6
    assert sorted(server.facts()) == sorted(told)
    clashing = [each for page in (first, second) for each in _in_outbox(page) if each["why"]]
    assert [each["kind"] for each in clashing] == ["edit"], "the later one is told of the clash"
    other.close()


def test_an_app_update_while_facts_wait_loses_none(server, pocket):
    page = _paired(pocket, server)
    _controlled(page)
    _begin(page)
    _arrived(page)
    pocket.set_offline(True)
    _tap(page, "Shift")
    _tap(page, "Check in: all well")
    page.locator("#waiting[data-waiting='1']").wait_for()
    server.stop()
    server.start(is_newer=True)
    pocket.set_offline(False)
    # The old page still tells, and finds the newer one
    page.evaluate("dispatchEvent(new Event('online'))")
    _arrived(page)
    assert len(server.facts()) == 2
    pocket.set_offline(True)
    _tap(page, "Check in: all well")
    page.locator("#waiting[data-waiting='1']").wait_for()
    pocket.set_offline(False)
    with page.expect_navigation():
        _tap(page, "A newer page is here: take it")
    assert page.evaluate("document.documentElement.dataset.release") == "newer"
    names = page.evaluate("caches.keys()")
    assert names == ["crossfall-cab-newer"], "the old release's cache is gone"
    _arrived(page)
    assert len(server.facts()) == 3
    assert len(set(server.facts())) == 3


def test_hands_off_while_moving(server, pocket):
    page = _paired(pocket, server)
    _begin(page)
    _tap(page, "Read. Start this job")
    page.get_by_role("button", name="Pass 1 done").wait_for()
    pocket.set_offline(True)
    line = page.evaluate(_LOOSEN)
    page.reload()
    # The first position is none to move from
    page.wait_for_timeout(1000)
    (start, end) = line[0], line[-1]
    for lon, lat in (start, end, start):
        pocket.set_geolocation({"longitude": lon, "latitude": lat, "accuracy": 5})
        page.get_by_text("Moving: hands off").wait_for()
        page.wait_for_timeout(300)
        assert page.get_by_role("button", name=re.compile("done|Report")).count() == 0
        assert page.get_by_role("button", name=re.compile("Stopped")).count() == 0
    # Still, some time after: the page asks, and offers what it saw
    pocket.set_geolocation({"longitude": start[0], "latitude": start[1], "accuracy": 5})
    _tap(page, re.compile("Stopped"))
    _tap(page, re.compile("The phone saw 2 passes"))
    page.get_by_role("button", name="Pass 3 done").wait_for()
    kept = [each for each in _in_outbox(page) if each["kind"] == "pass_done"]
    assert [each["payload"]["is_seen"] for each in kept] == [True, True]


def test_it_is_light_and_can_be_read_and_touched(server, pocket, chromium):
    sizes: dict[str, int] = {}
    pocket.on("response", lambda answer: _weigh(answer, sizes))
    page = _paired(pocket, server)
    _controlled(page)
    page.wait_for_timeout(300)
    assert {"cab.js", "cab.css"} <= {re.sub(r"-\w+\.", ".", each) for each in sizes}
    assert sum(sizes.values()) <= FIRST_LOAD_BYTES, sizes
    worker = page.evaluate("fetch('/cab/worker.js').then((answer) => answer.text())")
    kept = {
        each.rpartition("/")[2]
        for each in json.loads(worker.split("self.SHELL = ")[1].split(";")[0])
    }
    not_kept = set(sizes) - kept - {"page", "worker.js"}
    assert not not_kept, "loaded with signal, and missing without"
    axe = (ROOT / "node_modules" / "axe-core" / "axe.min.js").read_text(encoding="utf-8")
    _measure(page, axe, "begin")
    _tap(page, re.compile("Stopped"))
    _measure(page, axe, "begin, stopped")
    _tap(page, "Start the shift")
    page.get_by_text("Before the first pass").wait_for()
    _measure(page, axe, "cautions")
    _tap(page, "Read. Start this job")
    _measure(page, axe, "next step")
    heading = page.locator(".step-head h1")
    assert heading.bounding_box()["y"] > page.locator(".bar").bounding_box()["y"]
    _tap(page, "Report something")
    _measure(page, axe, "report")
    for name in ("Windrow left", "Not done", "Photo"):
        if name == "Not done":
            continue
        _tap(page, name)
        _measure(page, axe, name)
        _tap(page, "Back")
        _tap(page, "Report something")
    _tap(page, "Back")
    for name in ("List", "Map", "Shift"):
        _tap(page, name)
        _measure(page, axe, name)
    _tap(page, "Next")
    page.set_viewport_size({"width": 844, "height": 390})
    _measure(page, axe, "landscape")
    done = page.get_by_role("button", name="Pass 1 done").bounding_box()
    assert done["y"] + done["height"] <= 390, "the main button without scrolling, lying down too"
    page.set_viewport_size({"width": 390, "height": 844})
    page.emulate_media(color_scheme="dark")
    _measure(page, axe, "dark")


@dataclass
class _Dying:
    """Kills the office at chosen moments, and starts it again."""

    server: Server
    plan: list[str]
    n_reordered: int = 0

    def answer(self, route: Any) -> None:
        is_facts = route.request.url.endswith("/facts")
        is_part = "/photos/" in route.request.url and route.request.method == "PUT"
        moment = self.plan[0] if self.plan else ""
        if moment == "before" and is_facts:
            self.plan.pop(0)
            self.server.kill()
            route.abort("connectionreset")
            self.server.start()
        elif moment == "after" and is_facts:
            self.plan.pop(0)
            # Taken in, an older copy of it arrives late and turned round, and no answer comes back
            message = json.loads(route.request.post_data)
            message["facts"].reverse()
            self.n_reordered += len(message["facts"])
            route.fetch()
            route.fetch(post_data=json.dumps(message))
            self.server.kill()
            route.abort("connectionreset")
            self.server.start()
        elif moment == "photo" and is_part:
            self.plan.pop(0)
            route.fetch()
            self.server.kill()
            route.abort("connectionreset")
            self.server.start()
        else:
            route.continue_()


def _work(page: Any, folder: Path) -> None:
    """A shift of 60 facts by touches: its start, passes, reports, photos, notes, job and hours."""
    picture = folder / "road.png"
    picture.write_bytes(png(width=640, height=480))
    _tap(page, "Read. Start this job")
    n = 1
    passed = re.compile(r"Pass \d+ done")
    page.get_by_role("button", name=passed).wait_for()
    while page.get_by_role("button", name=passed).count():
        label = page.get_by_role("button", name=passed).inner_text()
        _tap(page, label)
        page.get_by_role("button", name=label, exact=True).wait_for(state="detached")
        # A touch right after is taken for the same one
        page.wait_for_timeout(550)
        n += 1
    for _ in range(3):
        _tap(page, "Report something")
        _tap(page, "Photo")
        page.locator("#photo-file").set_input_files(picture)
        _tap(page, "Keep")
        page.get_by_text("Kept: photo").wait_for()
        n += 1
    for name, choice in (
        ("Surface felt", "Just right"),
        ("Windrow left", "Keep"),
        ("Culvert", "Found blocked"),
        ("Soft spot", "Keep"),
        ("Sign missing or down", "Keep"),
        ("Oversize rock", "Off to the side"),
        ("Loads placed", "Keep"),
        ("Stakes set", "Keep"),
        ("Water put down", "Keep"),
    ):
        _tap(page, "Report something")
        _tap(page, name)
        _tap(page, choice)
        n += 1
    for _ in range(10):
        _tap(page, "Report something")
        _tap(page, "Note")
        _tap(page, "Needs gravel")
        n += 1
    # One touch each, and each awaited: what is touched twice at once counts once
    _tap(page, "Shift")
    waiting = page.locator("#waiting")
    while n < N_FACTS - 2:
        _tap(page, "Back 30 min later" if n % 5 == 0 else "Check in: all well")
        n += 1
        page.locator(f"#waiting[data-waiting='{n + 3}']").wait_for()
    assert waiting.inner_text() == f"{n + 3} to send"
    _tap(page, "Next")
    _tap(page, "Job done")
    _tap(page, "Keep")
    page.locator(f"#waiting[data-waiting='{N_FACTS + 3}']").wait_for()


def _paired(pocket: Any, server: Server) -> Any:
    page = pocket.new_page()
    page.goto(f"{server.url}/cab/#pair={server.code()}")
    # The office reads its whole store with the first question
    page.get_by_text("Expected back").wait_for(timeout=45_000)
    return page


def _begin(page: Any) -> None:
    """Say that one has stopped, begin the shift, and see the first job's cautions."""
    _tap(page, re.compile("Stopped"))
    _tap(page, "Start the shift")
    page.get_by_text("Before the first pass").wait_for()


def _controlled(page: Any) -> None:
    """Wait until the service worker has the page, so that it starts without signal."""
    until = time.monotonic() + 15
    while not page.evaluate("navigator.serviceWorker.controller !== null"):
        assert time.monotonic() < until, "no service worker took the page over"
        page.wait_for_timeout(50)


def _tap(page: Any, name: str | re.Pattern[str]) -> None:
    page.get_by_role("button", name=name, exact=isinstance(name, str)).tap()


def _arrived(page: Any) -> None:
    """Wait until nothing waits, asking again as a phone that gets signal does."""
    until = time.monotonic() + 20
    while page.locator("#waiting").get_attribute("data-waiting") != "0":
        assert time.monotonic() < until, page.locator("#cab").inner_text()
        page.evaluate("dispatchEvent(new Event('online'))")
        page.wait_for_timeout(150)


def _in_outbox(page: Any) -> list[dict[str, Any]]:
    facts = page.evaluate(_ALL_FACTS)
    return sorted(facts, key=lambda each: each["sequence"])


def _offer_again(page: Any) -> None:
    """Everything back into the outbox, as after a restore of the office."""
    page.evaluate(_WAIT_AGAIN)
    page.reload()


def _weigh(answer: Any, sizes: dict[str, int]) -> None:
    if "/api/" in answer.url or answer.request.redirected_from:
        return
    body = answer.body()
    is_squeezed = answer.headers.get("content-encoding") == "gzip"
    sizes[answer.url.rpartition("/")[2] or "page"] = (
        len(gzip.compress(body)) if is_squeezed else len(body)
    )


def _measure(page: Any, axe: str, where: str) -> None:
    found = page.evaluate(_MEASURE)
    for text in found["texts"]:
        assert text["px"] >= LEAST_TEXT_PX, (where, text)
        assert text["contrast"] >= LEAST_CONTRAST, (where, text)
    for target in found["targets"]:
        assert min(target["width"], target["height"]) >= LEAST_TARGET_PX, (where, target)
    assert found["texts"], where
    assert found["overflow"] <= 0, (where, "wider than the screen")
    page.evaluate(axe)
    result = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    bad = [each for each in result["violations"] if each["impact"] in {"serious", "critical"}]
    assert not bad, (where, [(each["id"], each["nodes"][0]["html"]) for each in bad])


def _crossfall(*arguments: str, is_fine: bool = True) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "crossfall_app", *arguments],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0 or not is_fine, done.stderr
    return done.stdout


_OPEN = """new Promise((done) => { const asked = indexedDB.open('crossfall-cab');
  asked.onsuccess = () => done(asked.result); })"""
_ALL_FACTS = f"""async () => {{ const db = await {_OPEN};
  const found = await new Promise((done) => {{
    const asked = db.transaction('facts').objectStore('facts').getAll();
    asked.onsuccess = () => done(asked.result); }});
  db.close(); return found; }}"""
_WAIT_AGAIN = f"""async () => {{ const db = await {_OPEN};
  await new Promise((done) => {{
    const work = db.transaction('facts', 'readwrite');
    const store = work.objectStore('facts');
    store.getAll().onsuccess = (event) => {{
      for (const fact of event.target.result) store.put({{...fact, state: 'waiting'}}); }};
    work.oncomplete = done; }});
  db.close(); }}"""
# Positions of a test are far apart in no time; what is a pass and what is travel is loosened for it
_LOOSEN = f"""async () => {{ const db = await {_OPEN};
  const line = await new Promise((done) => {{
    const work = db.transaction('kept', 'readwrite');
    const store = work.objectStore('kept');
    let line;
    store.get('day').onsuccess = (event) => {{
      const day = event.target.result;
      line = day.cards.filter((card) => card.day === day.today)[0].line;
      day.limits.seen_km_h = 1e9;
      store.put(day, 'day'); }};
    work.oncomplete = () => done(line); }});
  db.close(); return line; }}"""
_MEASURE = """() => {
  const luminance = (rgb) => {
    const [r, g, b] = rgb.map((c) => { c /= 255;
      return c <= 0.03928 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4; });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const parse = (text) => text.match(/[\\d.]+/g).map(Number);
  const behind = (node) => { for (let at = node; at; at = at.parentElement) {
      const colour = parse(getComputedStyle(at).backgroundColor);
      if (colour.length < 4 || colour[3] > 0.99) return colour.slice(0, 3); }
    return [255, 255, 255]; };
  const texts = [];
  for (const node of document.querySelectorAll('#cab *')) {
    const own = [...node.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
    if (!own || node.closest('svg') || !node.getClientRects().length) continue;
    const style = getComputedStyle(node);
    const [a, b] = [luminance(parse(style.color).slice(0, 3)), luminance(behind(node))];
    texts.push({text: node.textContent.trim().slice(0, 30), px: parseFloat(style.fontSize),
      contrast: (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05)}); }
  const targets = [...document.querySelectorAll('#cab button, #cab input')]
    .filter((each) => each.getClientRects().length)
    .map((each) => { const box = each.getBoundingClientRect();
      return {text: each.textContent || each.ariaLabel, width: box.width, height: box.height}; });
  return {texts, targets, overflow: document.documentElement.scrollWidth - innerWidth}; }"""
