"""The invented crew: three yards, three pits, five graders and what goes with them."""

from __future__ import annotations

import numpy as np

from crossfall.demo.land import Points, on_globe
from crossfall.demo.recipe import INVENTED
from crossfall.demo.sheet import Sheet
from crossfall.model import Fleet, GravelPit, Machine, Operator, Place, Rate, Treatment

PRICE_YEAR = 2022  # of the default rates, since money of two years does not add up
_PIT_PRICE_MINOR = (780, 900, 840)
_PIT_STOCK_M3 = (14_000.0, 5_500.0, 2_200.0)


def make_fleet(sheet: Sheet) -> Fleet:
    """Yards at three villages, pits by the creek and the highway, machines and people."""
    yards, pits, water = _places(sheet)
    return Fleet(
        places=(*yards, *pits, *water),
        machines=_machines(yards),
        operators=_operators(),
        pits=tuple(
            GravelPit(
                place=pit,
                material="surface gravel",
                price=Rate("surface gravel", price, "m3", "USD", PRICE_YEAR, INVENTED),
                stock_m3=stock,
            )
            for pit, price, stock in zip(pits, _PIT_PRICE_MINOR, _PIT_STOCK_M3, strict=True)
        ),
    )


def _places(sheet: Sheet) -> tuple[list[Place], list[Place], list[Place]]:
    land = sheet.land
    homes = [sheet.villages[index] for index in (0, 1, -1)]
    yard_xy = np.array([[village.x - 60.0, village.y - 45.0] for village in homes])
    w, h = land.width_m, land.height_m
    wished = np.array([[0.30 * w, 0.60 * h], [0.78 * w, 0.33 * h], [0.57 * w, 0.86 * h]])
    pit_xy = _beside_a_road(wished, sheet)
    creek = land.creeks[0]
    water_xy = np.array([creek[int(len(creek) * share)] for share in (0.25, 0.75)])
    kinds = (("yard", yard_xy), ("pit", pit_xy), ("water", water_xy))
    names = {
        "yard": [f"{village.name} yard" for village in homes],
        "pit": ["Cutbank pit", "Stony Rise pit", "North pit"],
        "water": ["Upper creek water point", "Lower creek water point"],
    }
    made: dict[str, list[Place]] = {}
    for kind, xy in kinds:
        globe = on_globe(xy, w, h).tolist()
        made[kind] = [
            Place(f"{kind}-{number}", name, kind, lon, lat)  # type: ignore[arg-type]
            for number, (name, (lon, lat)) in enumerate(zip(names[kind], globe, strict=True), 1)
        ]
    return made["yard"], made["pit"], made["water"]


def _beside_a_road(wished: Points, sheet: Sheet) -> Points:
    """Just off the junction of gravel roads nearest to each wished place."""
    ends = sheet.junctions
    nearest = [int(np.argmin(np.hypot(*(ends - place).T))) for place in wished]
    beside: Points = ends[nearest] + np.array([90.0, 70.0])
    return beside


def _machines(yards: list[Place]) -> tuple[Machine, ...]:
    home = [yard.id for yard in yards]
    graders = [
        ("G1", "Grader 1", home[0], 4.3, ("scarifier",), 40.0),
        ("G2", "Grader 2", home[0], 4.3, ("scarifier",), 40.0),
        ("G3", "Grader 3", home[1], 3.7, ("scarifier",), 38.0),
        ("G4", "Grader 4", home[1], 3.7, (), 38.0),
        ("G5", "Grader 5", home[2], 3.7, ("scarifier",), 35.0),
    ]
    machines = [
        Machine(
            id_, name, "grader", place, blade_m=blade, travel_km_h=speed, mass_t=17.5,
            attachments=attachments, note=INVENTED,
        )
        for id_, name, place, blade, attachments, speed in graders
    ]  # fmt: skip
    machines += [
        Machine(f"W{n}", f"Water truck {n}", "water_truck", home[n - 1], travel_km_h=55.0,
                capacity=capacity, payload_t=capacity / 1000, mass_t=11.0, note=INVENTED)
        for n, capacity in ((1, 15_000.0), (2, 11_000.0))
    ]  # fmt: skip
    machines.append(
        Machine("R1", "Roller", "roller", home[0], travel_km_h=11.0, mass_t=11.5, note=INVENTED)
    )
    machines += [
        Machine(f"T{n}", f"Truck {n}", "haul_truck", home[(n - 1) // 2], travel_km_h=65.0,
                capacity=10.0 if n < 5 else 7.6, payload_t=15.0 if n < 5 else 11.5, mass_t=11.0,
                note=INVENTED)
        for n in range(1, 7)
    ]  # fmt: skip
    machines.append(
        Machine("L1", "Loader", "loader", home[0], travel_km_h=30.0, capacity=2.6, mass_t=16.0,
                note=INVENTED)
    )  # fmt: skip
    return tuple(machines)


def _operators() -> tuple[Operator, ...]:
    every = (
        Treatment.BLADING,
        Treatment.RESHAPING,
        Treatment.SCARIFY_REMIX,
        Treatment.REGRAVELLING,
        Treatment.SPOT_GRAVEL,
        Treatment.SHOULDER_PULLING,
        Treatment.SECONDARY_DITCH_REMOVAL,
        Treatment.DITCH_CLEANING,
        Treatment.WINDROW_PICKUP,
    )
    light = (Treatment.BLADING, Treatment.WINDROW_PICKUP)
    support = (
        ("P6", "F. Reed", "W1"), ("P7", "G. Sorrel", "W2"), ("P8", "H. Thistle", "R1"),
        ("P9", "I. Vetch", "L1"), ("P10", "J. Willow", "T1"), ("P11", "K. Yarrow", "T2"),
        ("P12", "L. Aster", "T3"), ("P13", "M. Briar", "T4"),
    )  # fmt: skip
    return (
        Operator("P1", "A. Alder", "G1", 10.0, 6.5, 1.0, every, home_district="District 5"),
        Operator("P2", "B. Birch", "G2", 10.0, 6.5, 1.0, every, home_district="District 2"),
        Operator("P3", "C. Cress", "G3", 10.0, 6.5, 0.0, every, home_district="District 1"),
        Operator("P4", "D. Dock", "G4", 8.0, 7.0, 0.0, light, True, home_district="District 1"),
        Operator("P5", "E. Elder", "G5", 10.0, 6.5, 1.0, every, home_district="District 4"),
        *(Operator(id_, name, machine, 10.0, 6.5, 1.0, ()) for id_, name, machine in support),
    )
