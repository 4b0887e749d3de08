"""How fast jobs are designed and a card is typeset.

Run ``python benchmarks/design.py`` for a table, ``--json`` for one JSON object on the last line.
Ten thousand jobs of every treatment are designed on the invented district, in the shares that
``MIX`` gives; gravel is hauled over its real graph. The card is one of a regravel's lifts, the
longest there is; the first, which loads the typesetter, is not counted.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime
from itertools import cycle, islice
from time import perf_counter

import numpy as np

from crossfall.cards.cautions import cautions_for
from crossfall.cards.sketch import Sketcher
from crossfall.demo import osier_valley
from crossfall.design import design_jobs
from crossfall.model import BenefitPart, CardStep, District, Job, JobCard, Need, Treatment
from crossfall.network import build_graph
from crossfall.report import cards_pdf

N_JOBS = 10_000
MIX = {
    Treatment.BLADING: 45,
    Treatment.RESHAPING: 25,
    Treatment.SPOT_GRAVEL: 8,
    Treatment.SCARIFY_REMIX: 5,
    Treatment.REGRAVELLING: 5,
    Treatment.DITCH_CLEANING: 3,
    Treatment.SHOULDER_PULLING: 3,
    Treatment.SECONDARY_DITCH_REMOVAL: 2,
    Treatment.CULVERT_CLEARING: 2,
    Treatment.DUST_CONTROL: 1,
    Treatment.WINDROW_PICKUP: 1,
}
"""Jobs of each treatment in a hundred."""
TARGETS = {"seconds": 3.0, "card_s": 0.3}
TODAY = date(2026, 5, 18)


class Dry:
    """A surface at one moisture everywhere, so that every cut needs water."""

    def __init__(self, district: District) -> None:
        self.segment_ids = tuple(segment.id for segment in district.network.maintained)
        self.moisture_pct = np.full((1, len(self.segment_ids), 1), 3.5)
        self.posted_axle_t = np.full((len(self.segment_ids), 1), np.inf)


def needs_for(district: District, n: int) -> list[Need]:
    """Needs in the shares of ``MIX``, over all maintained roads in turn."""
    treatments = [treatment for treatment, share in MIX.items() for _ in range(share)]
    roads = cycle(district.network.maintained)
    pairs = zip(islice(cycle(treatments), n), roads, strict=False)
    return [
        Need(f"n{i}", road.id, treatment, "benchmark", (), 0.5, (BenefitPart("all", 1.0),))
        for i, (treatment, road) in enumerate(pairs)
    ]


def time_jobs(district: District) -> tuple[float, tuple[Job, ...]]:
    """Seconds to design them all, the graph built beforehand."""
    graph, needs, dry = build_graph(district.network), needs_for(district, N_JOBS), Dry(district)
    begun = perf_counter()
    jobs = design_jobs(
        needs, district.conditions, district.network, graph, district.fleet, dry, district.policy
    )
    return perf_counter() - begun, jobs


def time_card(district: District, jobs: tuple[Job, ...]) -> float:
    """Seconds for one card after the first, the best of five."""
    job = next(job for job in jobs if job.treatment == Treatment.REGRAVELLING)
    stage = max(job.stages, key=lambda each: len(each.stakes))
    road = district.network.segment_by_id[stage.segment_id]
    features = district.network.features_by_segment.get(road.id, ())
    card = JobCard(
        id="b-001", number=1, version=1, status="issued",
        made_at=datetime(2026, 5, 18, 6, 15, tzinfo=UTC), plan_id="b", job_id=job.id,
        stage_id=stage.id, segment_id=road.id, day=TODAY, machine="Grader 1", operator="Alder",
        title=f"{stage.treatment.label}: {road.route}", where=stage.name, start_clock="07:00",
        moisture="Just right.", steps=tuple(CardStep(text) for text in stage.steps),
        quantities=stage.quantities, stakes=stage.stakes, cautions=cautions_for(stage, features),
        end_state=stage.end_state, checks=stage.checks, cost=stage.cost or job.cost,
        sketch=Sketcher.of(district.network).sketch(road, stage), assumed=job.assumed,
        is_invented=True, from_m=stage.from_m, to_m=stage.to_m,
    )  # fmt: skip
    taken = []
    for number in range(6):
        begun = perf_counter()
        cards_pdf([replace(card, number=number + 1)])
        taken.append(perf_counter() - begun)
    return min(taken[1:])


def main() -> None:
    """Measure, print, and say whether the targets are met."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true", help="one JSON object on the last line")
    parser.add_argument("--quick", action="store_true", help="the same; it is quick enough")
    asked = parser.parse_args()
    district = osier_valley(seed=1, today=TODAY)
    seconds, jobs = time_jobs(district)
    figures = {
        "jobs": len(jobs),
        "stages": sum(len(job.stages) for job in jobs),
        "seconds": round(seconds, 3),
        "card_s": round(time_card(district, jobs), 4),
    }
    met = all(figures[name] <= target for name, target in TARGETS.items())
    if asked.json:
        print(json.dumps({"name": "design", "figures": figures, "targets": TARGETS, "met": met}))
        return
    shares = Counter(job.treatment.label for job in jobs)
    print(f"{len(jobs)} jobs in {figures['stages']} stages: {figures['seconds']} s")
    print(", ".join(f"{label} {n}" for label, n in shares.most_common()))
    print(f"a card of a lift, after the first: {figures['card_s']} s")
    print("targets met" if met else f"a target is missed: {TARGETS}")


if __name__ == "__main__":
    main()
