"""The demo's office, served on a free port of this computer, and a Chromium to visit it with."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
TODAY = "2026-06-08"
CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
_LINK = re.compile(r"(http://127\.0\.0\.1:\d+)(/enter/\S+)")


@dataclass
class Office:
    """A served workspace: where it is, and the link that lets one person in."""

    folder: Path
    url: str
    link: str
    first_morning_ms: float = 0.0
    """From the click on the link's button to a complete morning page, with a cold server."""
    state: dict[str, Any] = field(default_factory=dict)
    """Cookies of somebody who has come in."""


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory, worker_id: str) -> Path:
    """The invented district with one planned week, made by the command itself.

    Workers that run side by side share one making: the first makes it, the others wait, and each
    takes a copy of its own.
    """
    own = tmp_path_factory.mktemp("demo") / "osier"
    if worker_id == "master":
        _make_demo(own)
        return own
    shared = tmp_path_factory.getbasetemp().parent / "shared-demo"
    try:
        shared.mkdir()
    except FileExistsError:
        _wait_for(shared / "is-made")
    else:
        _make_demo(shared / "osier")
        (shared / "is-made").touch()
    shutil.copytree(shared / "osier", own)
    return own


def _make_demo(folder: Path) -> None:
    _crossfall(
        "demo", str(folder), "--no-serve", "--seconds", "2", "--today", TODAY, "--units", "us"
    )


def _wait_for(sign: Path) -> None:
    until = time.monotonic() + 120
    while not sign.exists():
        assert time.monotonic() < until, "another worker did not finish the demo"
        time.sleep(0.2)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """A headless Chromium: Debian's own, never a downloaded one."""
    from playwright.sync_api import sync_playwright

    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        pytest.fail("no Chromium here; 'make test' brings Debian's, or says which command would")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=CHROMIUM_ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def office(demo_folder: Path, chromium) -> Iterator[Office]:
    """The office with somebody inside; the first page of all is timed on the way."""
    server = subprocess.Popen(
        [sys.executable, "-m", "crossfall_app", "serve", str(demo_folder), "--port", "0"],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1", "COLUMNS": "200"},
    )
    try:
        found = None
        for line in server.stdout:
            found = _LINK.search(line)
            if found:
                break
        assert found, "crossfall serve printed no link"
        made = Office(demo_folder, found[1], found[1] + found[2])
        _come_in(made, chromium)
        yield made
    finally:
        server.terminate()
        server.wait(timeout=10)


@dataclass
class Visit:
    """One open page and everything its console complained about."""

    page: Any
    office: Office
    complaints: list[str] = field(default_factory=list)

    def go(self, address: str) -> None:
        """Open an address of the office and wait until it is complete."""
        self.page.goto(self.office.url + address, wait_until="load")
        if address.startswith("/roads/") and "?" not in address and address.count("/") == 2:
            self.page.wait_for_selector("#map[data-state=ready]")


@pytest.fixture
def visit(office: Office, chromium, request) -> Iterator[Visit]:
    """A signed-in page; parametrise indirectly with (width, scheme) for another window."""
    width, scheme = getattr(request, "param", (1440, "light"))
    context = chromium.new_context(
        storage_state=office.state,
        viewport={"width": width, "height": 844 if width < 600 else 900},
        color_scheme=scheme,
        reduced_motion="reduce",
    )
    made = Visit(context.new_page(), office)
    made.page.set_default_timeout(15_000)
    _listen(made.page, made.complaints)
    yield made
    context.close()
    assert made.complaints == []


def _come_in(office: Office, chromium: Any) -> None:
    context = chromium.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    complaints: list[str] = []
    _listen(page, complaints)
    page.goto(office.link)
    with page.expect_navigation(url=office.url + "/", wait_until="load"):
        page.get_by_role("button", name="Open the office").click()
    office.first_morning_ms = page.evaluate(
        "performance.getEntriesByType('navigation')[0].loadEventEnd"
    )
    office.state = context.storage_state()
    assert complaints == []
    context.close()


def _listen(page: Any, complaints: list[str]) -> None:
    page.on(
        "console",
        lambda each: complaints.append(each.text) if each.type == "error" else None,
    )
    page.on("pageerror", lambda each: complaints.append(str(each)))


def _crossfall(*arguments: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "crossfall_app", *arguments],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
