"""The main job on real input: import, weather, plan, cards, with no hand-editing in between.

Nobody surveyed these roads for us, so their condition is the documented default and has to be
shown as such. The weather is Seattle's daily record of 2012 to 2015 (NOAA, in vega_datasets),
which is real but not these places' own.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from vega_datasets import data

_LARGE_NETWORK = (
    Path(__file__).resolve().parents[1]
    / "node_modules"
    / "geojson-path-finder"
    / "test"
    / "large-network.json"
)
_COLUMNS = {"date": "date", "rain": "precipitation", "tmax": "temp_max", "tmin": "temp_min"}
_UNITS = {"rain": "mm", "tmax": "degC", "tmin": "degC"}


def _crossfall(*arguments: str | Path) -> dict:
    run = subprocess.run(
        [sys.executable, "-m", "crossfall_app", *map(str, arguments), "--json"],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    assert run.stdout.count("\n") == 1, "--json prints one object and nothing else"
    return json.loads(run.stdout)


@pytest.fixture(scope="module")
def seattle(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("weather") / "seattle.csv"
    data.seattle_weather().to_csv(path, index=False)
    return path


def _plan_from(roads: Path, weather: Path, workspace: Path, *yard: str) -> tuple[dict, dict]:
    _crossfall("init", workspace)
    _crossfall("import", roads, "--graders", "2", *yard, "--accept", "--workspace", workspace)
    mapped = [f"--column={ours}={theirs}" for ours, theirs in _COLUMNS.items()]
    units = [f"--unit={ours}={unit}" for ours, unit in _UNITS.items()]
    _crossfall("weather", weather, *mapped, *units, "--workspace", workspace)
    plan = _crossfall("plan", workspace, "--days=5", "--seconds=4", "--start=2015-06-04")
    cards = _crossfall("cards", "--workspace", workspace)
    return plan, cards


def _check(plan: dict, cards: dict) -> None:
    assert plan["checker_violations"] == 0
    assert plan["jobs_served"] > 0
    assert plan["benefit"] <= plan["benefit_bound"] + 1e-6
    assert len(plan["unserved"]) == plan["jobs_unserved"]
    assert all(left["reason"].strip() for left in plan["unserved"])
    assert plan["itineraries"]
    assert cards["cards"] > 0
    pdf = Path(cards["file"])
    assert pdf.read_bytes().startswith(b"%PDF-")


@pytest.mark.slow
@pytest.mark.parametrize("name", ["north-bayreuth.osm.gz", "colorado-routt.osm"])
def test_a_real_network_is_planned(name, shared_data, seattle, tmp_path):
    plan, cards = _plan_from(shared_data / "nets" / name, seattle, tmp_path / "workspace")
    _check(plan, cards)
    needs = _crossfall("needs", "--workspace", tmp_path / "workspace")
    assert "default" in json.dumps(needs), "a condition that nobody saw is shown as default"


@pytest.mark.slow
def test_the_road_network_of_a_routing_library_is_planned(seattle, tmp_path):
    if not _LARGE_NETWORK.is_file():
        pytest.skip("npm's geojson-path-finder is not installed")
    # Few and far gravel roads in a town: without a yard among them no drive would be worth it
    yard = ("--yard", "12.0268,57.6822")
    plan, cards = _plan_from(_LARGE_NETWORK, seattle, tmp_path / "workspace", *yard)
    _check(plan, cards)
