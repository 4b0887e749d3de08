"""Invented counties: the dispatcher's weeks against manual plans and against its bound.

Usage::

    python benchmarks/county.py [--quick] [--sizes 200,800,3000] [--seeds 1,2,3,4,5] [--seconds 30]
                                [--cases serve_all,prizes,replan] [--windrow-min 600]
                                [--open-windrow 8000] [--json]

Three cases on mile-grid counties with 2, 3 or 4 passes a road (65, 20, 15 %) at 6 km/h, several
yards and graders, shifts of 8 h on every day with walk-round and meal, turns of 2 min:

``serve_all``
    Everything is to be done, no windows; the fewest hours count. ``gap_pct`` is how far the hours
    lie above a bound for any plan at all, ``gap_pct_patterns`` above one for plans that drive a
    road's passes in the declared blocks (whole, or one pass out and the rest on the way back).
``prizes``
    Ten days (five for 200 roads), storm cells that leave about 60 % of the road-days fit, more
    work than hours; the benefit counts. ``gap_pct`` is the distance to a bound for any plan at all,
    of the bound.

``replan``
    The week of ``prizes``; at noon of the second day a grader breaks down until the next evening
    and rain closes a quarter of the roads for two days. Benefit lost is against planning the rest
    freely, with more time.

Windrows are closed before the shift ends. The product also limits what one grader leaves open to
1,700 m and the time between passes of a stage to 90 min; ``--open-windrow 1700 --windrow-min 90``
measures with that. Here 8 km and 600 min are allowed, for crews that grade out along one side for
miles: the bounds know nothing of either, and the question is how good the search is.

The baselines run in the same process on the same network, windows and turns: nearest first,
priority first, best for the hour from here, and whole roads out and back. Every plan is checked.
``seconds`` is what the search was given; bound, baselines and travel times come on top and are
listed. ``--quick`` runs 200 and 800 roads, one seed, within two minutes.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import time
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np

from crossfall.demo import section_grid
from crossfall.dispatch.baselines import BASELINES
from crossfall.dispatch.bound import upper_bound
from crossfall.dispatch.checker import check_plan
from crossfall.dispatch.problem import Problem, build_problem
from crossfall.dispatch.replan import replan_week
from crossfall.dispatch.serve_all import least_hours
from crossfall.dispatch.solve import Solution, improve
from crossfall.dispatch.week import dispatch_week, plan_of
from crossfall.model import (
    CostRange,
    Fleet,
    Job,
    Machine,
    Money,
    Network,
    Operation,
    Operator,
    Place,
    Policy,
    Stage,
    Treatment,
)
from crossfall.model.policy import DispatchPolicy
from crossfall.network import build_graph

FIRST_DAY = date(2026, 6, 1)
MADE_AT = datetime(2026, 6, 1, 6)  # noqa: DTZ001
GRADERS = {200: 2, 800: 4, 3000: 8}
YARDS = {200: 2, 800: 2, 3000: 4}
PASSES = ((2, 0.65), (3, 0.20), (4, 0.15))
WORK_KM_H = 6.0
SHIFT_H = 8.0
N_DAYS = {200: 5, 800: 10, 3000: 10}
OPEN_SHARE = 0.6
MANY_H = 500.0
RULES = {"windrow_min": 600.0, "open_windrow_m": 8000.0}


@dataclass
class StormGates:
    """Windows from invented storm cells; answers what the gate answers."""

    segment_ids: tuple[str, ...]
    first_day: date
    n_days: int
    is_open: np.ndarray

    def __post_init__(self) -> None:
        self.row = {segment_id: i for i, segment_id in enumerate(self.segment_ids)}

    def index(self, segment_id: str) -> int:
        return self.row[segment_id]

    def allowed(self, task: str) -> np.ndarray:
        return self.is_open

    def needs_water(self, task: str) -> np.ndarray:
        return np.zeros_like(self.is_open)

    def worth(self, task: str) -> np.ndarray:
        return np.ones(self.is_open.shape)

    def verdict(self, segment_id: str, day: date, task: str):
        is_open = self.is_open[self.row[segment_id], (day - self.first_day).days]
        return Verdict("allowed" if is_open else "refused", 1.0, "A storm cell passed.")


@dataclass(frozen=True)
class Verdict:
    decision: str
    p: float
    reason: str
    worth: float = 1.0


def county(size: int, seed: int, case: str):
    """Network, fleet, jobs, gates and policy of one invented county."""
    network = section_grid(size, seed=seed)
    rng = np.random.default_rng([seed, size])
    fleet = fleet_of(network, size, rng)
    jobs = tuple(job_of(s.id, s.length_m, rng, case) for s in network.maintained)
    n_days = N_DAYS[size]
    jobs = reached(jobs, network, fleet)
    work_h = sum(job.work_h for job in jobs)
    if case == "serve_all":
        n_days = int(np.ceil(1.35 * work_h / (GRADERS[size] * (SHIFT_H - 0.75))))
    gates = gates_of(network, n_days, rng, case)
    price = 1.0 if case == "serve_all" else 0.25
    rules = DispatchPolicy(
        hour_price=price,
        work_weekdays=tuple(range(7)),
        windrow_open_max_min=RULES["windrow_min"],
        open_windrow_m=RULES["open_windrow_m"],
    )
    policy = Policy(dispatch=rules)
    return network, fleet, jobs, gates, policy, n_days


def reached(jobs: tuple[Job, ...], network: Network, fleet: Fleet) -> tuple[Job, ...]:
    """Only roads that a grader can get to and home from; the others lie behind weak bridges."""
    gates = StormGates(
        tuple(s.id for s in network.segments),
        FIRST_DAY,
        1,
        np.ones((len(network.segments), 1), bool),
    )
    problem = build_problem(
        jobs, network, build_graph(network), fleet, gates, DispatchPolicy(),
        first_day=FIRST_DAY, n_days=1,
    )  # fmt: skip
    there = problem.may_serve_now.any(axis=1)
    return tuple(job for job, is_there in zip(jobs, there, strict=True) if is_there)


def fleet_of(network: Network, size: int, rng: np.random.Generator) -> Fleet:
    """Yards spread over the county, graders shared among them."""
    points = np.array([(node.lon, node.lat) for node in network.nodes])
    n_yards = YARDS[size]
    centres = points[rng.choice(len(points), n_yards, replace=False)]
    for _ in range(20):
        nearest = np.argmin(((points[:, None] - centres) ** 2).sum(axis=2), axis=1)
        centres = np.array([points[nearest == k].mean(axis=0) for k in range(n_yards)])
    places = tuple(
        Place(f"Y{k}", f"Yard {k}", "yard", *map(float, c)) for k, c in enumerate(centres)
    )
    machines = tuple(
        Machine(f"G{g}", f"Grader {g}", "grader", f"Y{g % n_yards}") for g in range(GRADERS[size])
    )
    people = tuple(
        Operator(f"P{g}", f"Person {g}", f"G{g}", shift_h=SHIFT_H) for g in range(GRADERS[size])
    )
    return Fleet(places, machines, people)


def job_of(segment_id: str, length_m: float, rng: np.random.Generator, case: str) -> Job:
    """One stage of 2, 3 or 4 passes over the whole road; worth scattered about its hours."""
    n_passes = int(rng.choice([k for k, _ in PASSES], p=[p for _, p in PASSES]))
    minutes = length_m * 0.06 / WORK_KM_H
    worth = n_passes * minutes / 60 * float(np.exp(rng.normal(0.4, 0.8)))
    nothing = Money(0, "USD", 2026)
    stage = Stage(
        id=f"{segment_id}-1",
        job_id=segment_id,
        number=1,
        name="blade",
        segment_id=segment_id,
        from_m=0.0,
        to_m=length_m,
        task="light_blading",
        treatment=Treatment.BLADING,
        operations=(Operation("blade", n_passes, WORK_KM_H),),
        pass_minutes=(minutes,) * n_passes,
        steps=("Blade.",),
        end_state="Traffic can pass.",
    )
    return Job(
        id=segment_id,
        need_id=segment_id,
        segment_id=segment_id,
        treatment=Treatment.BLADING,
        stages=(stage,),
        benefit_h=MANY_H if case == "serve_all" else worth,
        quantities=(),
        cost=CostRange(nothing, nothing, nothing),
    )


def gates_of(network: Network, n_days: int, rng: np.random.Generator, case: str) -> StormGates:
    """Storm cells wet what lies near them for one to three days."""
    middle = np.array([np.mean(segment.line, axis=0) for segment in network.segments])
    low, span = middle.min(axis=0), np.ptp(middle, axis=0)
    is_open = np.ones((len(network.segments), n_days), dtype=bool)
    ids = tuple(segment.id for segment in network.segments)
    while case == "prizes" and is_open.mean() > OPEN_SHARE:
        centre = low + rng.random(2) * span
        reach = (0.15 + 0.25 * rng.random()) * span.max()
        near = ((middle - centre) ** 2).sum(axis=1) < reach**2
        day = int(rng.integers(-2, n_days))
        is_open[near, max(0, day) : max(0, day + int(rng.integers(1, 4)))] = False
    return StormGates(ids, FIRST_DAY, n_days, is_open)


def measure(size: int, seed: int, case: str, seconds: float, search_seed: int) -> dict:
    """One row of figures."""
    network, fleet, jobs, gates, policy, n_days = county(size, seed, case)
    clock = [time.perf_counter()]

    def lap() -> float:
        clock.append(time.perf_counter())
        return round(clock[-1] - clock[-2], 2)

    problem = build_problem(
        jobs,
        network,
        build_graph(network),
        fleet,
        gates,
        policy.dispatch,
        first_day=FIRST_DAY,
        n_days=n_days,
    )
    times = {"travel_times": lap()}
    manual = {name: make(problem) for name, make in BASELINES.items()}
    times["baselines"] = lap()
    start = max(manual.values(), key=lambda solution: solution.worth_h)
    cpu = time.process_time()
    # When everything is done only hours count, so a third of a stage's own hours sets the scale
    scale = float(problem.work_min.mean()) / 180 if case == "serve_all" else None
    found = improve(
        problem, start.blocks, seconds=seconds, seed=search_seed, scale=scale, n_searches=2
    )
    times |= {"search": lap(), "search_cpu": round(time.process_time() - cpu, 2)}
    row = {"size": size, "seed": seed, "case": case} | RULES
    if case == "serve_all":
        row |= hours_row(problem, found, manual, seconds)
    else:
        row |= benefit_row(problem, found, manual, seconds)
    times["bound"] = lap()
    violations = 0
    for solution in (found, *manual.values()):
        plan = plan_of(
            problem, solution, fleet, gates, bound_h=np.inf, made_at=MADE_AT, seed=search_seed
        )
        broken = check_plan(plan, jobs, network, fleet, gates, policy)
        violations += len(broken)
        for each in broken[:3]:
            print(each, file=sys.stderr)
    times["checks"] = lap()
    row |= {"violations": violations, "seconds": times["search"]}
    return row | {"times": times, "rounds": found.n_rounds}


def measure_replan(size: int, seed: int, seconds: float, search_seed: int) -> dict:
    """At noon of the second day a grader is out for that day and the next; rain closes roads."""
    network, fleet, jobs, gates, policy, n_days = county(size, seed, "prizes")
    graph = build_graph(network)
    plan = dispatch_week(
        jobs, network, graph, fleet, gates, policy, first_day=FIRST_DAY, n_days=n_days,
        made_at=MADE_AT, seconds=seconds, seed=search_seed,
    )  # fmt: skip
    now = datetime(2026, 6, 2, 12)  # noqa: DTZ001
    days_out = (now.date(), now.date() + timedelta(days=1))
    people = tuple(
        replace(o, off_days=days_out) if o.machine_id == "G0" else o for o in fleet.operators
    )
    is_open = gates.is_open.copy()
    wet = np.random.default_rng([seed, 77]).random(len(gates.segment_ids)) < 0.25
    is_open[wet, 1:3] = False
    changed = {"fleet": replace(fleet, operators=people), "gates": replace(gates, is_open=is_open)}
    rows = {}
    for name, keep in (("kept", True), ("free", False)):
        rules = policy
        if not keep:
            free = replace(policy.dispatch, keep_machine_h=0.0, keep_day_h=0.0)
            rules = replace(policy, dispatch=free)
        began, cpu = time.perf_counter(), time.process_time()
        found = replan_week(
            plan, jobs, network, graph, changed["fleet"], changed["gates"], rules, now=now,
            made_at=now, seconds=4.0 if keep else seconds, seed=search_seed,
        )  # fmt: skip
        wall = time.perf_counter() - began
        rows[name] = (found, wall, time.process_time() - cpu)
    found, wall, cpu = rows["kept"]
    violations = check_plan(
        found.plan, jobs, network, changed["fleet"], changed["gates"], policy, since=found.since
    )
    for each in violations[:3]:
        print(each, file=sys.stderr)
    untouched, kept = untouched_kept(plan, found, changed["gates"], days_out)
    free = rows["free"][0].plan.benefit_h
    return {
        "size": size,
        "seed": seed,
        "case": "replan",
        "untouched": untouched,
        "kept_pct": round(100.0 * kept / max(1, untouched), 1),
        "moves": len(found.moves),
        "open_windrows": len(found.open_windrows),
        "benefit": round(found.plan.benefit_h, 2),
        "free_benefit": round(free, 2),
        "benefit_lost_pct": round(100.0 * (1 - found.plan.benefit_h / free), 2),
        "violations": len(violations),
        "seconds": round(wall, 2),
        "times": {"replan": round(wall, 2), "replan_cpu": round(cpu, 2)},
        "baselines": {},
    }


def untouched_kept(plan, found, gates: StormGates, days_out) -> tuple[int, int]:
    """Stages still to come whose machine runs and whose road stays fit, and how many stay put."""
    after = {(s, i.machine_id, i.day) for i in found.plan.itineraries for s in i.stage_ids}
    before = {
        (s, i.machine_id, i.day)
        for i in plan.itineraries
        for s in i.stage_ids
        if not (i.machine_id == "G0" and i.day in days_out)
        and i.day >= found.since.day
        and s not in found.since.done
    }
    segment = {s: s.rsplit("-", 1)[0] for s, _, _ in before}
    untouched = {
        (s, m, d)
        for s, m, d in before
        if gates.is_open[gates.row[segment[s]], (d - gates.first_day).days]
    }
    return len(untouched), len(untouched & after)


def out_hours(problem: Problem, solution: Solution) -> tuple[float, float, int]:
    """Hours out of the yard, hours blade up, and stages left over."""
    stages = solution.stage_shift(problem)
    worth = sum(float(problem.worth_h[s, h]) for s, h in stages.items())
    hours = (worth - solution.worth_h) / problem.policy.hour_price
    work = sum(problem.stages[s].work_min for s in stages) / 60
    return hours, hours - work, len(problem.stages) - len(stages)


def hours_row(
    problem: Problem, found: Solution, manual: dict[str, Solution], seconds: float
) -> dict:
    hours, idle, left = out_hours(problem, found)
    bound = least_hours(problem, seconds=min(20.0, seconds))
    others = {name: out_hours(problem, solution) for name, solution in manual.items()}
    return {
        "hours": round(hours, 2),
        "non_work_hours": round(idle, 2),
        "left": left,
        "bound_hours": round(bound.any_plan_h, 2),
        "gap_pct": round(100 * (hours / bound.any_plan_h - 1), 2),
        "gap_pct_patterns": round(100 * (hours / bound.block_plan_h - 1), 2),
        "baselines": {name: round(other[1], 2) for name, other in others.items()},
        "baselines_left": {name: other[2] for name, other in others.items()},
        "benefit": None,
        "benefit_bound": None,
    }


def benefit_row(
    problem: Problem, found: Solution, manual: dict[str, Solution], seconds: float
) -> dict:
    hours, idle, _ = out_hours(problem, found)
    bound = upper_bound(problem, seconds=min(20.0, seconds)).worth_h
    in_blocks = upper_bound(problem, seconds=min(20.0, seconds), in_blocks=True).worth_h
    values = {name: round(solution.worth_h, 2) for name, solution in manual.items()}
    best = max(values.values())
    return {
        "hours": round(hours, 2),
        "non_work_hours": round(idle, 2),
        "gap_pct": round(100 * (1 - found.worth_h / bound), 2),
        "gap_pct_patterns": round(100 * (1 - found.worth_h / in_blocks), 2),
        "baselines": values,
        "benefit": round(found.worth_h, 2),
        "benefit_bound": round(bound, 2),
        "over_best_baseline_pct": round(100 * (found.worth_h / best - 1), 2),
        "closed_pct": round(100 * (found.worth_h - best) / max(1e-9, bound - best), 1),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="200 and 800 roads, one seed")
    parser.add_argument("--sizes", default="200,800,3000")
    parser.add_argument("--seeds", default="1,2,3,4,5")
    parser.add_argument("--cases", default="serve_all,prizes,replan")
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--windrow-min", type=float, default=RULES["windrow_min"])
    parser.add_argument("--open-windrow", type=float, default=RULES["open_windrow_m"])
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    RULES["windrow_min"], RULES["open_windrow_m"] = given.windrow_min, given.open_windrow
    sizes = [int(size) for size in given.sizes.split(",")]
    seeds = [int(seed) for seed in given.seeds.split(",")]
    seconds = given.seconds
    if given.quick:
        sizes, seeds, seconds = [200, 800], [1], 8.0
    unknown = [size for size in sizes if size not in GRADERS]
    if unknown:
        raise SystemExit(f"size {unknown[0]} is unknown; expected one of {sorted(GRADERS)}")
    warm_up()
    figures = []
    for size in sizes:
        for case in given.cases.split(","):
            for seed in seeds:
                if case == "replan":
                    row = measure_replan(size, seed, seconds, seed)
                else:
                    row = measure(size, seed, case, seconds, seed)
                figures.append(row)
                if not given.json:
                    print(line_of(row), flush=True)
    if given.json:
        middle = medians(figures)
        found = {"figures": figures, "medians": middle, "targets": targets_of(middle)}
        print(json.dumps(found | {"is_met": all(each["is_met"] for each in found["targets"])}))
    else:
        for row in medians(figures):
            print("median", line_of(row))


def warm_up() -> None:
    """Compile outside the measurements."""
    network, fleet, jobs, gates, policy, n_days = county(200, 1, "prizes")
    problem = build_problem(
        jobs[:20], network, build_graph(network), fleet, gates, policy.dispatch,
        first_day=FIRST_DAY, n_days=n_days,
    )  # fmt: skip
    improve(replace(problem), [()] * len(problem.shifts), seconds=0.1, seed=1, iterations=5)
    for make in BASELINES.values():
        make(problem)


GAPS = {200: 3.0, 800: 5.0, 3000: 8.0}
BETTER = {200: 10.0, 800: 10.0, 3000: 15.0}


def targets_of(rows: list[dict]) -> list[dict]:
    """What was aimed at, what was reached, case by case."""
    targets = []

    def add(row: dict, name: str, value: float, most: float) -> None:
        what = f"{row['size']} {row['case']}: {name}"
        targets.append({"target": what, "value": value, "most": most, "is_met": value <= most})

    for row in rows:
        add(row, "violations", row["violations"], 0)
        if row["case"] == "serve_all":
            add(row, "gap_pct_patterns", row["gap_pct_patterns"], GAPS[row["size"]])
            idle, manual = row["non_work_hours"], row["baselines"]
            nearest = manual["nearest_first"]
            add(row, "non_work of nearest_first, %", round(100 * idle / nearest, 1), 50.0)
            best = min(manual.values())
            add(row, "non_work of the best baseline, %", round(100 * idle / best, 1), 80.0)
        elif row["case"] == "prizes":
            either = min(
                BETTER[row["size"]] - row["over_best_baseline_pct"], 50.0 - row["closed_pct"]
            )
            add(
                row,
                "points short of the lead, or of half the way to the bound",
                round(either, 1),
                0.0,
            )
            add(row, "gap_pct", row["gap_pct"], 5.0)
        else:
            add(row, "seconds", row["seconds"], 5.0)
            add(row, "moved of untouched, %", round(100 - row["kept_pct"], 1), 10.0)
            add(row, "benefit lost, %", row["benefit_lost_pct"], 2.0)
    return targets


def line_of(row: dict) -> str:
    head = f"{row['size']:5} {row['case']:9} seed {row.get('seed', '-')}"
    if row["case"] == "serve_all":
        return (
            f"{head}: {row['hours']:.1f} h, {row['non_work_hours']:.1f} h not working;"
            f" gap {row['gap_pct']:.2f} % any plan, {row['gap_pct_patterns']:.2f} % these patterns;"
            f" manual {row['baselines']}; {row['violations']} violations"
        )
    if row["case"] == "replan":
        return (
            f"{head}: {row['seconds']:.1f} s, {row['kept_pct']:.1f} % of untouched work kept,"
            f" {row['benefit_lost_pct']:+.2f} % benefit lost, {row['moves']} moves,"
            f" {row['violations']} violations"
        )
    return (
        f"{head}: benefit {row['benefit']:.1f} h of at most {row['benefit_bound']:.1f} h,"
        f" gap {row['gap_pct']:.2f} % any plan, {row['gap_pct_patterns']:.2f} % these patterns;"
        f" {row['over_best_baseline_pct']:+.1f} % over the best of"
        f" {row['baselines']}, {row['closed_pct']:.0f} % of the way to the bound;"
        f" {row['violations']} violations"
    )


def medians(figures: list[dict]) -> list[dict]:
    """The middle of the seeds, figure by figure."""
    found = []
    for size, case in dict.fromkeys((row["size"], row["case"]) for row in figures):
        rows = [row for row in figures if (row["size"], row["case"]) == (size, case)]
        middle = {"size": size, "case": case, "violations": sum(r["violations"] for r in rows)}
        for key, value in rows[0].items():
            if isinstance(value, (int, float)) and key not in ("size", "seed", "violations"):
                middle[key] = round(statistics.median(row[key] for row in rows), 2)
        middle["baselines"] = {
            name: round(statistics.median(row["baselines"][name] for row in rows), 2)
            for name in rows[0]["baselines"]
        }
        found.append(middle)
    return found


if __name__ == "__main__":
    main()
