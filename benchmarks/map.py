"""How soon the map of a very large network can be used, in headless Chromium; loopback only.

Run ``python benchmarks/map.py`` for a table, with ``--json`` for one JSON object on the last line.
An invented square of ``--segments`` roads is stored, served and visited with Chromium: once when no
tile has been made yet, then warm. *Usable* is when the map has drawn what is in view and
rests. The baseline in the same run is the page's own text without its map.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

TARGETS = {"map_s": 5.0}
_LINK = re.compile(r"(http://127\.0\.0\.1:\d+)(/enter/\S+)")
_CHROMIUM = ["--no-sandbox", "--disable-quic", "--no-first-run", "--disable-sync"]
_STEP = 0.0145
"""Degrees between junctions: about a mile."""
_VISITS = 3


def invented_square(n: int):
    """About ``n`` roads, a mile each, in a square."""
    from crossfall.model import Network, Node, Segment

    side = int((n / 2) ** 0.5)
    at = {
        (i, j): (-97 + j * _STEP * 1.3, 42 + i * _STEP)
        for i in range(side + 1)
        for j in range(side + 1)
    }
    segments = []
    for (i, j), start in at.items():
        for k, (di, dj) in enumerate(((0, 1), (1, 0))):
            end = at.get((i + di, j + dj))
            if end is None:
                continue
            middle = (
                (start[0] + end[0]) / 2 + 0.0008 * ((i * 7 + j) % 5 - 2),
                (start[1] + end[1]) / 2 + 0.0006 * ((j * 3 + i) % 5 - 2),
            )
            segments.append(
                Segment(
                    f"G{len(segments):06d}", f"Road {j if k else i}", f"{i}-{j}",
                    f"{i + di}-{j + dj}", 0.0, 1609.0, (start, middle, end),
                    surface="gravel", surface_source="agency",
                )
            )  # fmt: skip
    nodes = tuple(Node(f"{i}-{j}", *place) for (i, j), place in at.items())
    return Network(nodes, tuple(segments))


def store(folder: Path, n: int) -> int:
    """Make a workspace with the square; returns how many roads it has."""
    from crossfall_app.workspace import Config, create_workspace, open_workspace

    create_workspace(folder, Config("Invented square", "UTC"))
    open_workspace(folder)
    from crossfall_app.store import repository

    owner = repository.agency()
    owner.is_invented = True
    owner.save()
    network = invented_square(n)
    repository.replace_network(network, by="benchmark", source="invented")
    return len(network.segments)


def visit(folder: Path) -> dict[str, float]:
    """Serve the workspace and time the map."""
    server = subprocess.Popen(
        [sys.executable, "-m", "crossfall_app", "serve", str(folder), "--port", "0"],
        stdout=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1", "COLUMNS": "200"},
    )  # fmt: skip
    try:
        found = next(filter(None, map(_LINK.search, server.stdout)))
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=_CHROMIUM)
            page = browser.new_page(viewport={"width": 1440, "height": 900})
            page.set_default_timeout(180_000)
            page.goto(found[1] + found[2])
            page.get_by_role("button", name="Open the office").click()
            page.wait_for_url(found[1] + "/")
            times = [_time(page, found[1]) for _ in range(1 + _VISITS)]
            browser.close()
    finally:
        server.terminate()
        server.wait(timeout=20)
    warm = times[1:]
    return {
        "first_map_s": round(times[0][1], 2),
        "map_s": round(sorted(each[1] for each in warm)[len(warm) // 2], 2),
        "text_s": round(sorted(each[0] for each in warm)[len(warm) // 2], 2),
    }


def _time(page, url: str) -> tuple[float, float]:
    began = time.perf_counter()
    page.goto(url + "/roads/", wait_until="domcontentloaded")
    text_s = time.perf_counter() - began
    page.wait_for_selector("#map[data-state=ready]")
    return text_s, time.perf_counter() - began


def main() -> None:
    """Measure and tell."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--segments", type=int, default=100_000)
    parser.add_argument("--folder", type=Path, help="a workspace that is there already")
    parser.add_argument("--json", action="store_true")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as room:
        folder, n = chosen.folder, chosen.segments
        if folder is None:
            folder = Path(room) / "square"
            n = store(folder, chosen.segments)
        figures = {"segments": n, **visit(folder)}
    for name, value in figures.items():
        print(f"{name:14s} {value}")
    met = {name: figures[name] <= target for name, target in TARGETS.items()}
    if chosen.json:
        print(json.dumps({"name": "map", "figures": figures, "targets": TARGETS, "met": met}))


if __name__ == "__main__":
    main()
