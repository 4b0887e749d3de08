"""The years ahead on made networks: speed, gaps and baselines in the same run.

    python benchmarks/programme.py [--quick] [--json]

Networks are made from seeds (``crossfall.programme.made``); 20 years, 50 strategies (five ways of
blading two seasons, five of regravelling, dust control or not), limits of money, grader hours and
the gravel of three pits. Times are end to end, simulation, choice and certificate, and leave out
making the network; kernels are warm unless "cold" is said, which is a new process, started and
imported, with the kernel cache on disk. Baselines run here too: plain numpy for the simulation,
HiGHS on the full linear programme for the choice. Gaps are those of the certificate, worked out
again in double precision. ``--quick`` leaves out the two largest networks.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from crossfall.model.policy.programme import ProgrammePolicy
from crossfall.programme.certify import Certificate, certify
from crossfall.programme.choose import Choice, choose
from crossfall.programme.core import make_core, relaxed_bound
from crossfall.programme.kernel import simulate
from crossfall.programme.limits import Limits
from crossfall.programme.made import made_limits, made_table
from crossfall.programme.outcomes import Outcomes
from crossfall.programme.price import price
from crossfall.programme.prune import drop_dominated
from crossfall.programme.simulate import course, simulate_reference
from crossfall.programme.table import SegmentTable, strategy_set

POLICY = ProgrammePolicy()
N_YEARS = 20
YEARS = course(POLICY, N_YEARS)
BLADINGS = ((1.0, 0.0), (1.0, 1.0), (2.0, 2.0), (3.0, 5.0), (6.0, 8.0))
STRATEGIES = strategy_set(
    replace(POLICY.strategies, bladings_by_season=BLADINGS, with_drainage=(False,))
)
TARGETS = {
    "simulate_ratio_vs_numpy": (10.0, "at least"),
    "optimise_ratio_vs_highs": (15.0, "at least"),
    "county_warm_s": (2.0, "below"),
    "county_cold_s": (6.0, "below"),
    "gap_pct_worst": (0.1, "at most"),
    "avoidable_gap_pct_worst": (0.2, "at most"),
    "n500k_s": (10.0, "below"),
    "n2300k_s": (60.0, "below"),
    "n2300k_rss_gb": (3.0, "below"),
}
MONEY = {"tight": 0.65, "standard": 0.8, "loose": 0.95}
SEEDS = (1, 2, 3)


@dataclass
class Run:
    """One network under one set of limits, solved and certified."""

    n: int
    seed: int
    money: str
    simulate_s: float
    choose_s: float
    certify_s: float
    proof: Certificate
    choice: Choice

    @property
    def total_s(self) -> float:
        return self.simulate_s + self.choose_s + self.certify_s

    @property
    def avoidable_gap_pct(self) -> float:
        """Gap of the cost that more than the least work can avoid [%]."""
        avoidable = self.choice.least_done - self.proof.lower
        return 100 * (self.proof.upper - self.proof.lower) / avoidable

    def line(self) -> str:
        return (
            f"{self.n:>9} seed {self.seed} {self.money:<8} simulate {self.simulate_s:6.2f} s"
            f"  choose {self.choose_s:6.2f} s"
            f"  certify {self.certify_s:5.2f} s  gap {self.proof.gap_pct:.4f} %"
            f"  avoidable {self.avoidable_gap_pct:.4f} %"
        )


def free_use(outcomes: Outcomes, table: SegmentTable) -> np.ndarray:
    """What would be taken if nothing were limited (row, year)."""
    none = np.zeros((2 + len(table.pit_names), N_YEARS))
    return price(outcomes, table, STRATEGIES, none)[1].use[0]


def solve(n: int, seed: int, money: str) -> Run:
    """Make, simulate, choose and certify one network."""
    table = made_table(n, seed)
    began = time.perf_counter()
    outcomes = simulate(table, STRATEGIES, YEARS)
    drop_dominated(outcomes, STRATEGIES)
    simulated = time.perf_counter()
    limits = made_limits(free_use(outcomes, table), money=MONEY[money])
    limited = time.perf_counter()
    choice = choose(outcomes, table, STRATEGIES, limits, POLICY.solve)
    chosen = time.perf_counter()
    proof = certify(choice.strategy, choice.prices, limits.stacked(), outcomes, table, STRATEGIES)
    proven = time.perf_counter()
    if not proof.is_within_limits:
        raise SystemExit(f"{n} segments, seed {seed}, {money}: a limit is broken: {proof}")
    return Run(n, seed, money, simulated - began, chosen - limited, proven - chosen, proof, choice)


def warm_up() -> None:
    """Compile everything, or load it from the cache."""
    solve(400, 9, "standard")
    table = made_table(31_000, 9)
    outcomes = simulate(table, STRATEGIES, YEARS)
    free_use(outcomes, table)


def simulate_ratio() -> float:
    """Speed of the kernel over plain numpy, best of three each, same network."""
    table = made_table(60_000, 1)

    def best(run: Callable[..., Outcomes]) -> float:
        seconds = []
        for _ in range(3):
            began = time.perf_counter()
            run(table, STRATEGIES, YEARS)
            seconds.append(time.perf_counter() - began)
        return min(seconds)

    return best(simulate_reference) / best(simulate)


def optimise_ratio(n: int) -> tuple[float, float]:
    """Time of HiGHS on the full linear programme over ours, and how far the bounds differ [-]."""
    table = made_table(n, 1)
    outcomes = simulate(table, STRATEGIES, YEARS)
    limits: Limits = made_limits(free_use(outcomes, table))
    kept = simulate(table, STRATEGIES, YEARS)
    began = time.perf_counter()
    drop_dominated(kept, STRATEGIES)
    choice = choose(kept, table, STRATEGIES, limits, POLICY.solve)
    ours = time.perf_counter() - began
    active = np.flatnonzero(np.isfinite(limits.stacked()).ravel())
    began = time.perf_counter()
    core = make_core(
        outcomes,
        table,
        STRATEGIES,
        np.zeros_like(choice.prices),
        active,
        n_best=STRATEGIES.n,
    )
    bound = relaxed_bound(core, limits.stacked().ravel()[active])
    theirs = time.perf_counter() - began
    return theirs / ours, abs(bound - choice.lower) / bound


def county_cold() -> float:
    """A county of 3,000 end to end in a new process, kernels from the cache on disk [s]."""
    here = os.path.dirname(os.path.abspath(__file__))
    code = (
        f"import sys; sys.path.insert(0, {here!r}); from programme import solve;"
        " solve(3000, 1, 'standard')"
    )
    began = time.perf_counter()
    subprocess.run([sys.executable, "-c", code], check=True)
    return time.perf_counter() - began


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="leave out the two largest networks")
    parser.add_argument("--json", action="store_true", help="print the figures as JSON")
    options = parser.parse_args()

    def say(line: str) -> None:
        if not options.json:
            print(line, flush=True)

    warm_up()
    figures: dict[str, float] = {}
    figures["simulate_ratio_vs_numpy"] = simulate_ratio()
    say(f"simulate: {figures['simulate_ratio_vs_numpy']:.1f} times numpy")
    runs = []
    sizes = (3_000,) if options.quick else (3_000, 50_000)
    for n in sizes:
        for seed in SEEDS:
            for money in MONEY:
                runs.append(solve(n, seed, money))
                say(runs[-1].line())
    county = [run.total_s for run in runs if run.n == 3_000]
    figures["county_warm_s"] = float(np.median(county))
    figures["county_warm_s_worst"] = max(county)
    figures["county_cold_s"] = county_cold()
    say(
        f"county of 3,000: warm {figures['county_warm_s']:.2f} s"
        f" (worst {figures['county_warm_s_worst']:.2f}), cold {figures['county_cold_s']:.2f} s"
    )
    ratio, apart = optimise_ratio(3_000)
    figures["optimise_ratio_vs_highs"], figures["bounds_apart"] = ratio, apart
    say(f"choose: {ratio:.0f} times HiGHS on the full linear programme, bounds {apart:.1e} apart")
    if not options.quick:
        for n, name in ((500_000, "n500k_s"), (2_300_000, "n2300k_s")):
            runs.append(solve(n, 1, "standard"))
            say(runs[-1].line())
            figures[name] = runs[-1].total_s
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        figures["n2300k_rss_gb"] = peak / 1024**2
    figures["gap_pct_worst"] = max(run.proof.gap_pct for run in runs)
    figures["avoidable_gap_pct_worst"] = max(run.avoidable_gap_pct for run in runs)
    figures["load_average"] = os.getloadavg()[0]
    figures = {name: float(f"{value:.4g}") for name, value in figures.items()}
    if options.json:
        met = all(
            figures[name] >= target if how == "at least" else figures[name] <= target
            for name, (target, how) in TARGETS.items()
            if name in figures
        )
        targets = {name: target for name, (target, _) in TARGETS.items()}
        print(json.dumps({"name": "programme", "figures": figures, "targets": targets, "met": met}))
    else:
        for name, value in figures.items():
            print(f"{name:>26} {value:g}")


if __name__ == "__main__":
    main()
