"""What the guide prints works as printed."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from crossfall.demo import section_grid
from crossfall.io.export import write_network
from crossfall.io.fleet import read_fleet

_GUIDE = Path(__file__).resolve().parents[1] / "docs" / "guide"


def _blocks(page: str, language: str = "") -> list[str]:
    text = (_GUIDE / page).read_text(encoding="utf-8")
    return re.findall(rf"^```{language}\n(.*?)^```", text, flags=re.DOTALL | re.MULTILINE)


def _run(line: str, folder: Path) -> None:
    words = shlex.split(line, comments=True)
    assert words[0] == "crossfall", line
    run = subprocess.run(
        [sys.executable, "-m", "crossfall_app", *words[1:]],
        cwd=folder,
        # A workspace that another test opened in this process is not the reader's
        env={
            name: value for name, value in os.environ.items() if not name.startswith("CROSSFALL_")
        },
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, f"{line}\n{run.stderr}"


def _write_gauge(path: Path, *, n_days: int = 120) -> None:
    """A mild invented season up to yesterday, in inches and Fahrenheit."""
    draw = np.random.default_rng(1)
    today = datetime.now(tz=UTC).date()
    rows = ["Day,Rain,Low,High"]
    for ago in range(n_days, 0, -1):
        rain = draw.gamma(0.8, 0.35) if draw.uniform() < 0.3 else 0.0
        day = today - timedelta(days=ago)
        rows.append(f"{day},{rain:.2f},{draw.uniform(48, 55):.0f},{draw.uniform(64, 72):.0f}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


@pytest.mark.slow
def test_the_first_week_works_as_printed(tmp_path):
    grid = section_grid(40, seed=1)
    names = {"Mill Road", "County Road 7"}
    roads = sorted({segment.route for segment in grid.maintained})
    renamed = dict(zip(roads, sorted(names), strict=False))
    network = replace(
        grid,
        segments=tuple(
            replace(each, route=renamed.get(each.route, each.route)) for each in grid.segments
        ),
    )
    lines = [
        line
        for block in _blocks("first-week.md")
        for line in block.replace("\\\n", " ").splitlines()
        if line.startswith("crossfall")
    ]
    first, *others = lines
    assert "init" in first
    _run(first, tmp_path)
    folder = tmp_path / "my-county"
    write_network(network, folder / "roads.gpkg")
    _write_gauge(folder / "gauge.csv")
    bad = next(block for block in _blocks("first-week.md") if block.startswith("road,is_bad"))
    (folder / "bad.csv").write_text(bad.replace("2026-", "2025-"), encoding="utf-8")
    for line in others:
        _run(line.replace("--last-bladed 2026-", "--last-bladed 2025-"), folder)


def test_the_fleet_file_is_read_as_printed(tmp_path):
    text = next(block for block in _blocks("bring-your-own.md", "toml") if "[[place]]" in block)
    path = tmp_path / "fleet.toml"
    path.write_text(text, encoding="utf-8")
    fleet = read_fleet(path)
    assert [pit.place.name for pit in fleet.pits] == ["North pit"]
    assert {machine.kind for machine in fleet.machines} == {"grader", "water_truck"}
    assert len(fleet.operators) == len(fleet.machines)
