"""Small weeks whose best plan is found by something else entirely."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from crossfall.dispatch import dispatch_week
from dispatch.small_weeks import MADE_AT, MONDAY, NearGraph, OpenGates, crew, grid, job, rules


def best_found(jobs, network, fleet, policy, *, n_days=1, gates=None, iterations=1500):
    return dispatch_week(
        jobs, network, NearGraph(network), fleet, gates or OpenGates(network, n_days=n_days),
        policy, first_day=MONDAY, n_days=n_days, made_at=MADE_AT, seconds=5.0, seed=1,
        iterations=iterations,
    )  # fmt: skip


def minutes_between(network) -> dict[tuple[str, str], float]:
    """Travel minutes between nodes by Floyd and Warshall's method, turns free."""
    nodes = [n.id for n in network.nodes]
    dist = {(a, b): 0.0 if a == b else math.inf for a in nodes for b in nodes}
    for s in network.segments:
        minutes = s.length_m * 0.06 / s.travel_km_h
        dist[s.from_node, s.to_node] = min(dist[s.from_node, s.to_node], minutes)
        dist[s.to_node, s.from_node] = min(dist[s.to_node, s.from_node], minutes)
    for k, a, b in itertools.product(nodes, repeat=3):
        dist[a, b] = min(dist[a, b], dist[a, k] + dist[k, b])
    return dist


def brute_force(jobs, network, *, price: float, most_min: float, yard: str) -> float:
    """Best worth of one shift over every order of single passes, either side first."""
    dist = minutes_between(network)
    ends = {s.id: (s.from_node, s.to_node) for s in network.segments}
    best = 0.0
    for n in range(1, len(jobs) + 1):
        for chosen in itertools.combinations(jobs, n):
            worth = sum(j.benefit_h for j in chosen)
            moves = []
            for j in chosen:
                passes = j.stages[0].pass_minutes
                if len(passes) == 2:
                    moves += [(j.segment_id, True, passes[0]), (j.segment_id, False, passes[1])]
                else:
                    moves += [(j.segment_id, None, passes[0])]
            for order in itertools.permutations(moves):
                at, spent = {yard: 0.0}, 0.0
                for segment, forward, minutes in order:
                    a, b = ends[segment]
                    reached = {}
                    for f in (True, False) if forward is None else (forward,):
                        start, end = (a, b) if f else (b, a)
                        reached[end] = min(t + dist[p, start] for p, t in at.items()) + minutes
                    at = reached
                spent = min(t + dist[p, yard] for p, t in at.items())
                if spent <= most_min:
                    best = max(best, worth - price * spent / 60)
    return best


@pytest.mark.parametrize("seed", range(6))
def test_tiny_weeks_equal_brute_force(seed: int) -> None:
    rng = np.random.default_rng(seed)
    network = grid(2, 3, turn_min=0.0)
    picked = rng.choice(len(network.segments), size=4, replace=False)
    jobs = []
    for n, i in enumerate(picked):
        minutes = float(rng.uniform(10, 25))
        passes = (minutes, minutes) if n < 2 else (minutes,)
        jobs.append(job(network.segments[i].id, passes=passes, benefit_h=float(rng.uniform(0, 2))))
    hours = float(rng.uniform(1.0, 2.2))
    made = best_found(
        jobs, network, crew(shift_h=hours), rules(turn_min=0.0, open_windrow_m=1e6, hour_price=0.8)
    )
    best = brute_force(jobs, network, price=0.8, most_min=60 * hours - 0.05, yard="n0-0")
    assert made.benefit_h == pytest.approx(best, abs=1e-6)
    assert made.benefit_bound_h >= best - 1e-9


@pytest.mark.parametrize("seed", range(3))
def test_small_weeks_equal_a_mixed_integer_programme(seed: int) -> None:
    """Five single passes, two shifts with windows: HiGHS proves what is best (times as flows)."""
    rng = np.random.default_rng(100 + seed)
    network = grid(3, 3, turn_min=0.0)
    picked = rng.choice(len(network.segments), size=5, replace=False)
    jobs = [
        job(
            network.segments[i].id,
            passes=(float(rng.uniform(20, 40)),),
            benefit_h=float(rng.uniform(0.5, 2)),
        )
        for i in picked
    ]
    closed = {(jobs[0].segment_id, 0), (jobs[1].segment_id, 1)}
    gates = OpenGates(network, n_days=2, closed=closed)
    policy = rules(turn_min=0.0, hour_price=0.8)
    made = best_found(jobs, network, crew(shift_h=1.6), policy, n_days=2, gates=gates)
    best = integer_best(jobs, network, gates, price=0.8, most_min=1.6 * 60 - 0.05, n_shifts=2)
    assert made.benefit_h == pytest.approx(best, abs=1e-4)
    assert made.benefit_bound_h >= best - 1e-6


def integer_best(jobs, network, gates, *, price, most_min, n_shifts) -> float:
    """Arc routing as node routing: two nodes (directions) a job, one visited at most."""
    dist = minutes_between(network)
    visits = [("yard", "n0-0", "n0-0", 0.0, -1)]
    for k, j in enumerate(jobs):
        s = network.segment_by_id[j.segment_id]
        for a, b in ((s.from_node, s.to_node), (s.to_node, s.from_node)):
            visits.append((j.segment_id, a, b, j.stages[0].pass_minutes[0], k))
    n = len(visits)
    arcs = [
        (h, i, m)
        for h in range(n_shifts)
        for i in range(n)
        for m in range(n)
        if i != m and (visits[i][4] != visits[m][4])
    ]
    n_x = len(arcs)
    # Variables: x (arc used), then f (minutes gone by when the arc's end is left)
    cost = np.zeros(2 * n_x)
    takes = np.array([dist[visits[i][2], visits[m][1]] + visits[m][3] for _, i, m in arcs])
    gain = np.array([jobs[visits[m][4]].benefit_h if m else 0.0 for _, _, m in arcs])
    cost[:n_x] = -(gain - price * takes / 60)
    rows, low, high = [], [], []

    def row(entries, lo, hi):
        line = np.zeros(2 * n_x)
        for k, v in entries:
            line[k] += v
        rows.append(line)
        low.append(lo)
        high.append(hi)

    for k in range(len(jobs)):
        row([(a, 1) for a, (_, _, m) in enumerate(arcs) if visits[m][4] == k], 0, 1)
    for h in range(n_shifts):
        row([(a, 1) for a, (g, i, _) in enumerate(arcs) if g == h and i == 0], 0, 1)
        for v in range(n):
            into = [(a, 1) for a, (g, _, m) in enumerate(arcs) if g == h and m == v]
            out = [(a, -1) for a, (g, i, _) in enumerate(arcs) if g == h and i == v]
            row(into + out, 0, 0)
            if v:
                gone = [(n_x + a, 1) for a, (g, _, m) in enumerate(arcs) if g == h and m == v]
                left = [(n_x + a, -1) for a, (g, i, _) in enumerate(arcs) if g == h and i == v]
                spent = [(a, takes[a]) for a, (g, i, _) in enumerate(arcs) if g == h and i == v]
                row(gone + left + spent, 0, 0)
    for a, (_, i, _) in enumerate(arcs):
        row([(n_x + a, 1), (a, -most_min)], -np.inf, 0)
        if i == 0:
            row([(n_x + a, 1), (a, -takes[a])], 0, 0)
    most = np.concatenate([np.ones(n_x), np.full(n_x, most_min)])
    for a, (h, _, m) in enumerate(arcs):
        if m and (jobs[visits[m][4]].segment_id, h) in gates.closed:
            most[a] = 0
    found = milp(
        cost,
        constraints=LinearConstraint(np.array(rows), low, high),
        integrality=np.concatenate([np.ones(n_x), np.zeros(n_x)]),
        bounds=Bounds(np.zeros(2 * n_x), most),
        options={"mip_rel_gap": 1e-9},
    )
    assert found.status == 0
    return -found.fun
