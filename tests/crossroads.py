"""A few invented roads, machines and needs, for tests that need a whole job by hand."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from crossfall.model import (
    BenefitPart,
    Condition,
    Fleet,
    GravelPit,
    Machine,
    Need,
    Network,
    Node,
    Operator,
    Place,
    PointFeature,
    Rate,
    Reason,
    Segment,
    Treatment,
)

LON, LAT = -100.0, 45.0
MILE_DEG = 1609.344 / 111_320
TODAY = date(2026, 6, 15)


def small_network() -> Network:
    """Three gravel roads and a paved one meeting at a cross, a mile each."""
    step = MILE_DEG / np.cos(np.radians(LAT))
    nodes = (
        Node("n0", LON, LAT),
        Node("n1", LON + step, LAT),
        Node("n2", LON - step, LAT),
        Node("n3", LON, LAT + MILE_DEG),
        Node("n4", LON, LAT - MILE_DEG),
    )
    at = {node.id: (node.lon, node.lat) for node in nodes}

    def road(name: str, route: str, a: str, b: str, **more: object) -> Segment:
        bend = ((at[a][0] + at[b][0]) / 2 + 0.0008, (at[a][1] + at[b][1]) / 2 + 0.0006)
        return Segment(
            name, route, a, b, 0.0, 1609.3, (at[a], bend, at[b]), surface="gravel", **more
        )

    segments = (
        road("s1", "Osier Creek Road", "n0", "n1", gravel_mm=40.0, gravel_method="measured"),
        road("s2", "Willow Lane", "n2", "n0", width_m=6.4, adt=35.0),
        road("s3", "Heron Road", "n0", "n3", width_m=8.0, adt=140.0),
        Segment(
            "s4", "County Highway 4", "n4", "n0", 0.0, 1609.3, (at["n4"], at["n0"]),
            surface="paved", is_maintained=False,
        ),
    )  # fmt: skip

    def spot(key: str, kind: str, segment: str, at_m: float, **more: object) -> PointFeature:
        line = next(s.line for s in segments if s.id == segment)
        t = at_m / 1609.3
        lon = line[0][0] + t * (line[-1][0] - line[0][0])
        lat = line[0][1] + t * (line[-1][1] - line[0][1])
        return PointFeature(key, kind, lon, lat, segment, at_m, **more)

    features = (
        spot("f1", "culvert", "s1", 420.0, name="culvert 12"),
        spot("f2", "bridge", "s1", 800.0, name="Osier Creek bridge"),
        spot("f3", "rail_crossing", "s1", 1300.0),
        spot("f4", "driveway", "s1", 150.0),
        spot("f5", "driveway", "s1", 1100.0),
        spot("f6", "overhead_line", "s1", 600.0),
        spot("f7", "stream", "s1", 805.0),
        spot("f8", "culvert", "s2", 700.0),
        spot("f9", "cattle_guard", "s3", 900.0),
        spot("f10", "pipeline", "s3", 300.0),
    )
    return Network(nodes, segments, features)


def small_fleet() -> Fleet:
    yard = Place("yard", "North yard", "yard", LON, LAT)
    pit = Place("pit", "Osier pit", "pit", LON, LAT - MILE_DEG)
    well = Place("water", "Mill pond", "water", LON, LAT + MILE_DEG)
    price = Rate("surface gravel", 1500, "m3", "USD", 2022, "invented")
    machines = [
        Machine("g1", "Grader 1", "grader", "yard", 3.7, attachments=("scarifier",)),
        Machine("g2", "Grader 2", "grader", "yard", 4.3, attachments=("scarifier",)),
        Machine("w1", "Water truck", "water_truck", "yard", capacity=10_000.0),
        Machine("r1", "Roller", "roller", "yard"),
        *(
            Machine(f"t{n}", f"Truck {n}", "haul_truck", "yard", capacity=10.0, payload_t=14.0)
            for n in range(1, 7)
        ),
    ]
    everything = tuple(Treatment)
    names = ("Ash", "Birch", "Cedar", "Dogwood", "Elm", "Fir", "Hazel", "Juniper", "Linden")
    operators = [
        Operator(f"o{index}", name, machine.id, skills=everything)
        for index, (name, machine) in enumerate(zip((*names, "Maple"), machines, strict=True))
    ]
    return Fleet(
        (yard, pit, well),
        tuple(machines),
        tuple(operators),
        (GravelPit(pit, "19 mm minus", price, 20_000.0),),
    )


def need(
    treatment: Treatment, segment_id: str = "s1", *, first: tuple[Treatment, ...] = ()
) -> Need:
    return Need(
        f"N-{segment_id}-{treatment.value}",
        segment_id,
        treatment,
        "washboard from dry, loose gravel",
        (Reason("washboard", "Washboard of 30 mm was measured", "default"),),
        0.7,
        (BenefitPart("comfort", 6.0),),
        first,
    )


def condition(segment_id: str = "s1", **more: object) -> Condition:
    return Condition(segment_id, TODAY, 3.0, 3.0, 3.0, 2.0, 3.0, method="estimated", **more)


@dataclass
class Wetness:
    """Moisture as a design asks for it: one member, one day, the same everywhere."""

    segment_ids: tuple[str, ...]
    moisture_pct: np.ndarray
    posted_axle_t: np.ndarray


def wetness(network: Network, pct: float, *, posted_axle_t: float = np.inf) -> Wetness:
    ids = tuple(segment.id for segment in network.maintained)
    return Wetness(ids, np.full((3, len(ids), 5), pct), np.full((len(ids), 5), posted_axle_t))
