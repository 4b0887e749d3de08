"""Weeks made by chance: crews, trucks, rollers, signs, windrows, days off, wet roads."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from crossfall.model import (
    CrewCalendar,
    Fleet,
    Job,
    Machine,
    Network,
    Operator,
    OtherWork,
    Place,
    Reservation,
    RoadBan,
    Support,
    Treatment,
)
from crossfall.model.policy import Policy
from dispatch.small_weeks import MONDAY, OpenGates, grid, job_of, rules, stage

N_DAYS = 7


@dataclass(frozen=True)
class RandomWeek:
    network: Network
    jobs: tuple[Job, ...]
    fleet: Fleet
    gates: OpenGates
    policy: Policy
    calendar: CrewCalendar | None = None


def busy_week(seed: int) -> RandomWeek:
    """A random week with reservations, other work, barred hours, overtime and home beats."""
    week, rng = random_week(seed), np.random.default_rng([seed, 1])
    ids = [segment.id for segment in week.network.segments]
    machines = [machine.id for machine in week.fleet.machines]
    people = [operator.id for operator in week.fleet.operators]
    reservations = []
    for k in range(int(rng.integers(0, 8))):
        start = float(rng.integers(300, 1000))
        reservations.append(
            Reservation(
                f"R{k}", MONDAY + timedelta(days=int(rng.integers(0, N_DAYS))), start,
                start + float(rng.integers(20, 400)), "shop",
                machine_id=str(rng.choice(machines)) if rng.random() < 0.6 else None,
                operator_id=str(rng.choice(people)),
            )
        )  # fmt: skip
    other = tuple(
        OtherWork(
            f"O{k}", "mowing", float(rng.uniform(0.5, 6.0)),
            tuple(str(x) for x in rng.choice(machines + people, 2)),
            MONDAY, MONDAY + timedelta(days=int(rng.integers(0, N_DAYS))),
        )
        for k in range(int(rng.integers(0, 4)))
    )  # fmt: skip
    bans = []
    for k in range(int(rng.integers(0, 6))):
        start = float(rng.integers(360, 900))
        bans.append(
            RoadBan(
                f"B{k}", tuple(str(x) for x in rng.choice(ids, 3)), start,
                start + float(rng.integers(20, 200)), "school bus",
            )
        )  # fmt: skip
    fleet = replace(
        week.fleet,
        operators=tuple(
            replace(
                each,
                max_overtime_h=float(rng.choice([0.0, 1.0, 2.0])),
                home_district=str(rng.choice(["", "East", "West"])),
            )
            for each in week.fleet.operators
        ),
    )
    if rng.random() < 0.5:
        spot = week.network.nodes[int(rng.integers(0, len(week.network.nodes)))]
        camp = Place("camp", "Camp", "camp", spot.lon, spot.lat)
        fleet = replace(fleet, places=(*fleet.places, camp))
    network = replace(
        week.network,
        segments=tuple(
            replace(each, district=str(rng.choice(["", "East", "West"])))
            for each in week.network.segments
        ),
    )
    policy = replace(
        week.policy,
        dispatch=replace(
            week.policy.dispatch,
            is_overtime_planned=bool(rng.random() < 0.5),
            overtime_price=float(rng.choice([0.0, 1.5])),
            may_stay_out=bool(rng.random() < 0.6),
            least_saved_min=0.0,
            pickup_km_h=110.0,
        ),
    )
    calendar = CrewCalendar(tuple(reservations), other, tuple(bans))
    return replace(week, fleet=fleet, network=network, policy=policy, calendar=calendar)


def random_week(seed: int) -> RandomWeek:
    """The same week for the same seed; about a third of them have every road of one length."""
    rng = np.random.default_rng(seed)
    network = _network(rng)
    fleet = _fleet(rng, network)
    jobs = tuple(_job(rng, k, network) for k in range(int(rng.integers(6, 26))))
    policy = rules(
        pretrip_min=float(rng.choice([0.0, 15.0])),
        break_min=float(rng.choice([0.0, 30.0])),
        windrow_open_max_min=float(rng.choice([25.0, 45.0, 90.0])),
        open_windrow_m=float(rng.choice([0.0, 1700.0, 8000.0])),
        work_weekdays=(0, 1, 2, 3, 4) if rng.random() < 0.7 else (0, 2, 5),
        hour_price=float(rng.choice([0.0, 0.25])),
    )
    ids = [segment.id for segment in network.segments]
    some = lambda share: {  # noqa: E731 - one line for three draws
        (i, d) for i in ids for d in range(N_DAYS) if rng.random() < share
    }
    chance = {(i, d): float(rng.uniform(0.5, 1.0)) for i in ids for d in range(N_DAYS)}
    gates = OpenGates(network, n_days=N_DAYS, closed=some(0.3), wet=some(0.4), chance=chance)
    return RandomWeek(network, jobs, fleet, gates, policy)


def _network(rng: np.random.Generator) -> Network:
    network = grid(int(rng.integers(2, 4)), int(rng.integers(2, 5)), turn_min=None)
    if rng.random() < 0.35:
        return network
    segments = tuple(
        replace(
            segment,
            length_m=float(rng.uniform(500, 2500)),
            travel_km_h=float(rng.choice([20.0, 40.0, 60.0])),
            is_oneway=bool(rng.random() < 0.05),
            max_mass_t=25.0 if rng.random() < 0.1 else None,
        )
        for segment in network.segments
    )
    nodes = tuple(
        replace(node, turn_min=float(rng.choice([0.5, 2.0, 5.0, np.inf], p=[0.3, 0.4, 0.2, 0.1])))
        for node in network.nodes
    )
    return replace(network, segments=segments, nodes=nodes)


def _fleet(rng: np.random.Generator, network: Network) -> Fleet:
    spots = [network.nodes[int(k)] for k in rng.integers(0, len(network.nodes), 2)]
    places = tuple(
        Place(f"yard{k}", f"Yard {k}", "yard", spot.lon, spot.lat) for k, spot in enumerate(spots)
    )
    kinds = ["grader"] * int(rng.integers(1, 4)) + ["water_truck"] * int(rng.integers(0, 3))
    kinds += ["roller"] * int(rng.integers(0, 2)) + ["haul_truck"] * int(rng.integers(0, 5))
    machines, people = [], []
    for k, kind in enumerate(kinds):
        machines.append(
            Machine(
                f"M{k}", f"Machine {k}", kind, places[int(rng.integers(0, 2))].id,
                capacity=9000.0, travel_km_h=float(rng.choice([8.0, 30.0, 60.0])),
                mass_t=float(rng.choice([12.0, 18.0, 30.0])),
            )
        )  # fmt: skip
        if kind == "grader":
            machines[-1] = replace(machines[-1], travel_km_h=float(rng.choice([30.0, 40.0])))
        for j in range(int(rng.choice([1, 1, 1, 2]))):
            off = tuple(MONDAY + timedelta(days=d) for d in range(N_DAYS) if rng.random() < 0.2)
            people.append(
                Operator(
                    f"P{k}-{j}", f"Person {k} {j}", f"M{k}",
                    shift_h=float(rng.choice([5.0, 8.0, 10.0])),
                    shift_start_h=float(rng.choice([6.0, 6.5, 9.0])),
                    is_trainee=bool(rng.random() < 0.15), off_days=off,
                )
            )  # fmt: skip
    return Fleet(places, tuple(machines), tuple(people))


def _job(rng: np.random.Generator, k: int, network: Network) -> Job:
    segment = network.segments[int(rng.integers(0, len(network.segments)))]
    n_stages = int(rng.choice([1, 1, 1, 2, 3]))
    stages = []
    for number in range(1, n_stages + 1):
        from_m, to_m = 0.0, segment.length_m
        if rng.random() < 0.3:
            from_m, to_m = sorted(float(x) for x in rng.uniform(0, segment.length_m, 2))
            to_m = max(to_m, from_m + 50.0)
        needs = []
        if rng.random() < 0.4:
            for kind in ("roller", "water_truck", "haul_truck"):
                if rng.random() < 0.5:
                    count = int(rng.integers(1, 4)) if kind == "haul_truck" else 1
                    needs.append(Support(kind, count, float(rng.uniform(0.2, 4.0))))
        whole = to_m - from_m
        pace = float(rng.choice([0.006, 0.01, 0.015]))
        if rng.random() < 0.2:
            pace = 0.0015
        stages.append(
            stage(
                f"J{k}", segment.id, number=number, from_m=from_m, to_m=min(to_m, segment.length_m),
                passes=tuple([whole * pace] * int(rng.integers(1, 7))),
                after=(f"J{k}-{number - 1}",) if number > 1 and rng.random() < 0.8 else (),
                support=tuple(needs),
                treatment=Treatment(rng.choice([Treatment.BLADING, Treatment.RESHAPING])),
                wait_min=float(rng.choice([0.0, 0.0, 12.0])),
            )
        )  # fmt: skip
    return job_of(f"J{k}", *stages, benefit_h=float(rng.uniform(0.5, 8.0)))
