"""A district of three roads that tests can read in one glance."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np

from crossfall import model as nouns

TODAY = date(2026, 5, 12)
NOON = datetime(2026, 5, 12, 12, tzinfo=UTC)


def small_network(**changes: nouns.Segment) -> nouns.Network:
    """Three segments in a row; ``changes`` replaces some of them by id."""
    nodes = tuple(nouns.Node(f"n{i}", -104.0 + i / 100, 45.0) for i in range(4))
    segments = [
        nouns.Segment(
            f"s{i}",
            f"Road {i}",
            f"n{i}",
            f"n{i + 1}",
            0.0,
            780.0,
            ((-104.0 + i / 100, 45.0), (-103.99 + i / 100, 45.0)),
            surface="gravel",
            surface_source="agency",
        )
        for i in range(3)
    ]
    features = (nouns.PointFeature("f1", "culvert", -103.995, 45.0, "s0", 390.0),)
    rail = nouns.Backdrop("rail", ((-104.0, 45.01), (-103.97, 44.99)))
    return nouns.Network(
        nodes, tuple(changes.get(each.id, each) for each in segments), features, (rail,)
    )


def small_fleet() -> nouns.Fleet:
    """One grader, one operator, one yard and one pit."""
    yard = nouns.Place("yard", "Yard", "yard", -104.0, 45.0)
    pit = nouns.Place("pit", "Pit", "pit", -103.97, 45.0)
    price = nouns.Rate("surface gravel", 1200, "m3", "USD", 2022, "invented")
    return nouns.Fleet(
        places=(yard,),
        machines=(nouns.Machine("g1", "Grader 1", "grader", "yard"),),
        operators=(nouns.Operator("o1", "First operator", "g1"),),
        pits=(nouns.GravelPit(pit, "surface gravel", price, 4000.0),),
    )


def small_weather(*, first_day: date = date(2026, 5, 1), n_days: int = 11) -> nouns.WeatherRecord:
    """A few dry days of one station."""
    return nouns.WeatherRecord(
        nouns.Station("w1", "Gauge", -104.0, 45.0),
        first_day,
        np.zeros(n_days),
        np.full(n_days, 6.0),
        np.full(n_days, 18.0),
        source="invented",
        is_invented=True,
    )


def small_forecast() -> nouns.Forecast:
    """Two members over five days."""
    shape = (2, 5)
    station = nouns.Station("w1", "Gauge", -104.0, 45.0)
    rain, tmin, tmax = np.zeros(shape), np.full(shape, 6.0), np.full(shape, 18.0)
    return nouns.Forecast(station, TODAY, TODAY, rain, tmin, tmax, "invented", True)


def small_test(**changes: object) -> nouns.MaterialTest:
    """A sheet that meets no specification."""
    passing = ((25.0, 100.0), (19.0, 98.0), (12.5, 80.0), (4.75, 60.0), (2.36, 30.0), (0.075, 10.0))
    sheet = nouns.MaterialTest("t1", "pit", date(2026, 4, 2), passing, 6.0, laboratory="Any lab")
    return replace(sheet, **changes)


def small_condition(segment_id: str = "s0", **changes: object) -> nouns.Condition:
    """A look at a road that wants blading."""
    seen = nouns.Condition(segment_id, date(2026, 5, 2), 4.0, 4.0, 4.0, 2.0, 3.0, "estimated", "me")
    return replace(seen, **changes)


def small_record(key: str = "r1", **changes: object) -> nouns.WorkRecord:
    """Blading that was done."""
    done = nouns.WorkRecord(
        key, "s1", date(2026, 4, 20), nouns.Treatment.BLADING, 2, 1.5, "First operator"
    )
    return replace(done, **changes)


def small_district() -> nouns.District:
    """All of it."""
    return nouns.District(
        name="Small district",
        network=small_network(),
        fleet=small_fleet(),
        conditions=(small_condition(), small_condition("s1")),
        weather=(small_weather(),),
        forecasts=(small_forecast(),),
        observations=(nouns.Observation("ob1", TODAY, -104.0, 45.0, "dust", segment_id="s0"),),
        hazards=(nouns.Hazard("h1", "s2", 12.0, "washout", NOON),),
        requests=(nouns.Request("q1", TODAY, "washboard at the bend", segment_id="s2"),),
        records=(small_record(),),
        clearances=(
            nouns.Clearance("k1", "rail", "s1", "7-112", "The railway", TODAY, date(2026, 6, 30)),
        ),
        material_tests=(small_test(),),
        edges=(nouns.FittedEdge("g1", "plain", date(2026, 4, 1), 480.0, "e1"),),
        dust=(
            nouns.DustApplication(
                "d1", "s2", date(2026, 4, 20), "brine", 1.4, date(2026, 7, 1), "A. Resident"
            ),
        ),
        contracts=(
            nouns.Contract(
                "c1",
                "s2",
                "Regravel Road 2",
                "Any Contractor",
                40,
                640.0,
                80.0,
                (nouns.BidItem(1, "compacted gravel", 300.0, "m3"),),
                (nouns.HoldPoint("clearances in hand"), nouns.HoldPoint("depth and crown")),
            ),
        ),
    )


def money(minor: int) -> nouns.Money:
    """Cents of this year."""
    return nouns.Money(minor, "USD", 2026)


def cost(minor: int) -> nouns.CostRange:
    """A range around an amount."""
    return nouns.CostRange(money(minor // 2), money(minor), money(minor * 2))


def small_week(plan_id: str = "plan-1", **changes: object):
    """A planned week of one card, as the store takes it."""
    from crossfall_app.store.repository import StoredWeek

    stage = nouns.Stage(
        "s0-1", "j1", 1, "blade", "s0", 0.0, 780.0, "light_blading", nouns.Treatment.BLADING,
        (nouns.Operation("smooth", 2, 6.5),), (7.0, 7.0), ("blade",), "passable", cost=cost(9000),
    )  # fmt: skip
    job = nouns.Job(
        "j1", "need-1", "s0", nouns.Treatment.BLADING, (stage,), 4.0,
        (nouns.Quantity("passes", 2.0, "each"),), cost(9000),
    )  # fmt: skip
    need = nouns.Need(
        "need-1", "s0", nouns.Treatment.BLADING, "washboard", (), 0.8,
        (nouns.BenefitPart("ride", 4.0),),
    )  # fmt: skip
    leg = nouns.Leg("work", 420.0, 434.0, "n0", "n1", "s0", "s0-1", 1, length_m=780.0)
    plan = nouns.Plan(
        plan_id, NOON, TODAY, 5, (nouns.Itinerary("g1", "o1", TODAY, (leg,)),), (), ("j1",),
        (nouns.Unserved("j2", "s1", "higher_priorities", "roads in worse state came first"),),
        3.5, 4.0, 1,
    )  # fmt: skip
    card = nouns.JobCard(
        "c1", 1, 1, "draft", NOON, plan_id, "j1", "s0-1", "s0", TODAY, "Grader 1",
        "First operator", "Light blading Road 0", "from n0 to n1", "07:00", "workable",
        (nouns.CardStep("blade"),), (), (), (nouns.Caution("signs", "set signs"),), "passable",
        (), cost(9000), nouns.Sketch(((0.0, 0.0), (1.0, 1.0)), (), ()),
    )  # fmt: skip
    week = StoredWeek(plan, (job,), (need,), (small_condition(),), (card,))
    return replace(week, **changes)
