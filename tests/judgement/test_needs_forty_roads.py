"""The rules against eighty described roads whose treatment was written down first."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from crossfall.judgement.needs import find_needs
from crossfall.model import Condition, District, Fleet, Need, Network, Node, Segment

TODAY = date(2026, 5, 18)
TABLES = {
    name: tomllib.loads((Path(__file__).parent / f"{name}.toml").read_text("utf-8"))["road"]
    for name in ("forty_roads", "forty_more_roads")
}
ROADS = [road for table in TABLES.values() for road in table]
MUST_AGREE = 38


def _need(road: dict) -> Need | None:
    segment = replace(
        Segment("s", road["name"], "a", "b", 0.0, 1600.0, ((0.0, 45.0), (0.02, 45.0)), "local"),
        **road.get("segment", {}),
    )
    scores = dict.fromkeys(("crown", "drainage", "gravel", "deformation", "defects"), 4.0)
    condition = Condition(
        "s",
        TODAY,
        **(scores | road["scores"]),
        method="measured",
        last_bladed_on=TODAY - timedelta(days=road.get("days_since_blading", 30)),
        **road.get("measured", {}),
        **road.get("flags", {}),
    )
    district = District(
        "forty",
        Network((Node("a", 0.0, 45.0), Node("b", 0.02, 45.0)), (segment,)),
        Fleet((), (), ()),
        conditions=(condition,),
    )
    needs, _ = find_needs(district, today=TODAY)
    return needs[0] if needs else None


def _treatment(road: dict) -> str:
    need = _need(road)
    return need.treatment.value if need else "none"


@pytest.mark.parametrize("table", TABLES)
def test_thirty_eight_of_forty_agree(table: str) -> None:
    roads = TABLES[table]
    differing = {
        road["name"]: (road["treatment"], _treatment(road))
        for road in roads
        if _treatment(road) != road["treatment"]
    }
    assert len(roads) == 40
    assert len(roads) - len(differing) >= MUST_AGREE, differing


@pytest.mark.parametrize(
    "road", [road for road in ROADS if "cause" in road], ids=lambda road: road["name"]
)
def test_the_cause_is_named(road: dict) -> None:
    need = _need(road)
    assert need is not None
    assert road["cause"] in need.cause, need.cause


@pytest.mark.parametrize("road", ROADS, ids=lambda road: road["name"])
def test_every_road_is_described(road: dict) -> None:
    assert road["words"]
    assert set(road["scores"]) <= {"crown", "drainage", "gravel", "deformation", "defects"}
