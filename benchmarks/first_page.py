"""How long the first page of the demo takes, from the click on the link to a complete page.

A fresh demo workspace is served by ``crossfall serve`` on this computer and visited with Debian's
headless Chromium: once with a cold server (nothing computed yet), once warm, and the map of all
roads. The baseline in the same run is the warm page.

Run ``python benchmarks/first_page.py [--json]``.
"""

from __future__ import annotations

import argparse
import json
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

TARGETS = {"first_page_s": 3.0, "map_s": 3.0}
_CHROMIUM = [
    "--no-sandbox",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


def visit(link: str) -> dict[str, float]:
    """Come in by the one-time link and time the pages."""
    base = link.split("/enter/")[0]
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=_CHROMIUM)
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        page.goto(link)
        first = _timed(lambda: _click_in(page))
        warm = _timed(lambda: page.goto(base + "/", wait_until="load"))
        on_map = _timed(lambda: _open_map(page, base))
        browser.close()
    return {"first_page_s": first, "warm_page_s": warm, "map_s": on_map}


def main() -> None:
    """Measure, and print what was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="one JSON object on the last line")
    parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        workspace = Path(folder) / "demo"
        crossfall = [sys.executable, "-m", "crossfall_app"]
        subprocess.run(
            [*crossfall, "demo", str(workspace), "--no-serve", "--seconds", "5", "--json"],
            check=True,
            capture_output=True,
        )
        server = subprocess.Popen(
            [*crossfall, "serve", str(workspace), "--port", "0"], stdout=subprocess.PIPE, text=True
        )
        try:
            figures = visit(_link_of(server))
        finally:
            server.terminate()
            server.wait(timeout=10)
    met = {name: figures[name] <= limit for name, limit in TARGETS.items()}
    print(json.dumps({"name": "first_page", "figures": figures, "targets": TARGETS, "met": met}))


def _link_of(server: subprocess.Popen[str]) -> str:
    assert server.stdout is not None
    for line in server.stdout:
        found = re.search(r"http://\S+/enter/\S+", line)
        if found:
            return found[0]
    raise SystemExit("crossfall serve printed no link")


def _click_in(page: Any) -> None:
    page.click("main button")
    page.wait_for_load_state("load")


def _open_map(page: Any, base: str) -> None:
    page.goto(base + "/roads/")
    page.wait_for_selector("#map[data-state=ready]")


def _timed(act: Any) -> float:
    started = time.perf_counter()
    act()
    return time.perf_counter() - started


if __name__ == "__main__":
    main()
