"""Plan the week of the invented district, over many seeds: is every plan legal, and how quick?

The baseline in the same run is the plan a foreman makes by hand, most pressing road first; the
dispatcher starts from it, so its worth is the worth after no search at all.

Run ``python benchmarks/week.py [--seeds N] [--seconds S] [--json]``.
"""

from __future__ import annotations

import argparse
import json
import statistics
import time
from datetime import UTC, date, datetime

from crossfall.demo import osier_valley
from crossfall.workflow import plan_week

MONDAY = date(2026, 6, 8)
MADE_AT = datetime(2026, 6, 8, 6, tzinfo=UTC)
TARGETS = {"violations": 0, "plan_s_worst": 60.0}


def one_week(seed: int, seconds: float) -> dict[str, float]:
    """Plan one seed's week twice: with no time to search, and with ``seconds``."""
    district = osier_valley(seed=seed, today=MONDAY)
    started = time.perf_counter()
    week = plan_week(
        district, first_day=MONDAY, n_days=5, made_at=MADE_AT, seconds=seconds, seed=seed
    )
    wall = time.perf_counter() - started
    by_hand = plan_week(district, first_day=MONDAY, n_days=5, made_at=MADE_AT, seconds=0, seed=seed)
    return {
        "violations": len(week.violations) + len(by_hand.violations),
        "plan_s": wall,
        "gap_pct": week.plan.gap_pct,
        "gain_pct": 100 * (week.plan.benefit_h / by_hand.plan.benefit_h - 1),
        "served": len(week.plan.served),
        "unserved_without_reason": sum(not left.reason for left in week.plan.unserved),
    }


def main() -> None:
    """Measure, and print what was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--json", action="store_true")
    arguments = parser.parse_args()
    weeks = []
    for seed in range(1, arguments.seeds + 1):
        weeks.append(one_week(seed, arguments.seconds))
        if not arguments.json:
            print(f"seed {seed}: {weeks[-1]}")
    figures = {
        "seeds": arguments.seeds,
        "search_s": arguments.seconds,
        "violations": sum(week["violations"] for week in weeks),
        "unserved_without_reason": sum(week["unserved_without_reason"] for week in weeks),
        "plan_s_median": statistics.median(week["plan_s"] for week in weeks),
        "plan_s_worst": max(week["plan_s"] for week in weeks),
        "gap_pct_median": statistics.median(week["gap_pct"] for week in weeks),
        "gain_over_by_hand_pct_median": statistics.median(week["gain_pct"] for week in weeks),
    }
    met = {name: figures[name] <= limit for name, limit in TARGETS.items()}
    print(json.dumps({"name": "week", "figures": figures, "targets": TARGETS, "met": met}))


if __name__ == "__main__":
    main()
