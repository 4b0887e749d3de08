"""A ride from a file becomes a measured look, and every slip in the file is named."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from app_files import fleet_toml, roads_geojson
from crossfall.formulas.profile_iri import slope_gain
from crossfall_app.store import repository

DEPTH_M, SPACING_M = 0.024, 0.75


@pytest.fixture
def office(crossfall, tmp_path):
    """Four roads of about 790 m."""
    roads_geojson(tmp_path / "roads.geojson")
    fleet_toml(tmp_path / "fleet.toml")
    folder = tmp_path / "office"
    assert crossfall("init", folder).code == 0
    told = crossfall(
        "import", tmp_path / "roads.geojson", "--accept", "-w", folder,
        "--fleet", tmp_path / "fleet.toml",
    )  # fmt: skip
    assert told.code == 0, told.err
    return folder


def _file(path: Path, columns: dict[str, np.ndarray]) -> Path:
    with path.open("w", newline="") as out:
        table = csv.writer(out)
        table.writerow(columns)
        table.writerows(zip(*(map(repr, each.tolist()) for each in columns.values()), strict=True))
    return path


def _washboard(length_m: float, step_m: float = 0.05) -> dict[str, np.ndarray]:
    at = np.arange(0, length_m, step_m)
    return {
        "distance_m": at.round(4),
        "elevation_m": DEPTH_M / 2 * np.sin(2 * np.pi * at / SPACING_M),
    }


def test_a_profile_becomes_a_measured_look(crossfall, office, tmp_path):
    file = _file(tmp_path / "profile.csv", _washboard(160.0))
    ride = ("roughness", file, "--segment", "R1", "-w", office)
    shown = crossfall(*ride, "--json").json
    # Mean slope of a sine is 4 A / L; the gain is that of the reference car at this wavelength
    expected = 1000 * slope_gain(SPACING_M) * 2 * DEPTH_M / SPACING_M
    assert shown["iri_m_km"] == pytest.approx(expected, rel=0.02)
    assert shown["corrugation_mm"] == pytest.approx(1000 * DEPTH_M, rel=0.02)
    assert shown["corrugation_spacing_m"] == pytest.approx(SPACING_M, rel=0.02)
    assert shown["method"] == "measured"
    assert shown["driven_km_h"] is None
    assert (shown["from_m"], shown["to_m"]) == (0.0, pytest.approx(159.95, abs=0.1))
    assert not shown["accepted"]
    assert repository.load_district().conditions == ()
    assert "IRI" in crossfall(*ride, "--accept").out
    (look,) = repository.load_district().conditions
    assert (look.segment_id, look.method) == ("R1", "measured")
    assert look.iri_m_km == shown["iri_m_km"]
    assert "stay as believed" in look.note
    assert crossfall(*ride, "--accept").is_refused("R1")
    assert len(repository.load_district().conditions) == 1


def test_a_ride_over_the_whole_stands_for_the_whole(crossfall, office, tmp_path):
    length = repository.load_network().segment_by_id["R1"].length_m
    file = _file(tmp_path / "whole.csv", _washboard(length, 0.1))
    shown = crossfall("roughness", file, "--segment", "R1", "-w", office, "--json").json
    assert (shown["from_m"], shown["to_m"]) == (None, None)


def test_a_trace_keeps_the_speed_it_was_driven_at(crossfall, office, tmp_path):
    speed, rate = 30.0, 400.0
    time = np.arange(0, 12, 1 / rate)
    angular = 2 * np.pi * speed / 3.6 / SPACING_M
    trace = {
        "time_s": time.round(5),
        "acceleration_m_s2": DEPTH_M / 2 * angular**2 * np.sin(angular * time) + 9.81,
    }
    file = _file(tmp_path / "trace.csv", trace)
    ride = ("roughness", file, "--segment", "R2", "-w", office)
    shown = crossfall(*ride, "--speed-km-h", 30, "--json").json
    assert shown["driven_km_h"] == speed
    assert shown["iri_m_km"] is None
    assert shown["corrugation_mm"] == pytest.approx(1000 * DEPTH_M, rel=0.05)
    assert shown["corrugation_spacing_m"] == pytest.approx(SPACING_M, rel=0.03)
    assert crossfall(*ride).is_refused("does not say how fast")
    assert crossfall(*ride, "--speed-km-h", 300).is_refused("speed_km_h is 300")
    logged = trace | {"speed_km_h": np.full(time.size, speed)}
    _file(file, logged)
    assert crossfall(*ride, "--json").json["driven_km_h"] == speed
    assert crossfall(*ride, "--speed-km-h", 30).is_refused("its own column speed_km_h")
    _file(file, trace | {"speed_km_h": np.linspace(20, 50, time.size)})
    assert crossfall(*ride).is_refused("steady")


def test_slips_in_a_ride_are_named(crossfall, office, tmp_path):
    good = _washboard(100.0)
    slips = {
        "even steps": {name: np.delete(each, slice(500, 540)) for name, each in good.items()},
        "row 2, elevation_m": good | {"elevation_m": good["elevation_m"] * np.nan},
        "millimetres": good | {"elevation_m": 1000 * good["elevation_m"]},
        "column 'height' is unknown": {
            "distance_m": good["distance_m"],
            "height": good["distance_m"],
        },
        "is 78": _washboard(1000.0, 0.1),
        "fewer than two points": {name: each[:1] for name, each in good.items()},
        "at least 11 m": {name: each[:100] for name, each in good.items()},
        "expected distance_m and elevation_m": {"time_s": good["distance_m"]},
        "does not rise": good | {"distance_m": good["distance_m"] * 0},
    }
    for words, columns in slips.items():
        file = _file(tmp_path / "slip.csv", columns)
        told = crossfall("roughness", file, "--segment", "R1", "--accept", "-w", office)
        assert told.is_refused(words), (words, told.err)
    file = _file(tmp_path / "good.csv", good)
    for words, more in {
        "after today": ("--day", "2099-01-01"),
        "is a profile": ("--speed-km-h", "40"),
        "cut it": ("--from-m", "760"),
    }.items():
        told = crossfall("roughness", file, "--segment", "R1", *more, "--accept", "-w", office)
        assert told.is_refused(words), (words, told.err)
    assert crossfall("roughness", file, "--segment", "R9", "-w", office).is_refused("you maintain")
    assert repository.load_district().conditions == ()
