"""What was done in the last months, what was left, who complained, and two dangers."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import numpy as np

from crossfall.demo.crew import PRICE_YEAR
from crossfall.demo.recipe import INVENTED
from crossfall.model import (
    Condition,
    Hazard,
    Money,
    Network,
    Observation,
    Request,
    Segment,
    Treatment,
    WorkRecord,
)

MONTHS_BACK_DAYS = 150
_HOUR_MINOR = 14_200
"""Grader with operator, minor units an hour, invented."""
_CREW = ("A. Alder", "B. Birch", "C. Cress", "E. Elder")


def work_records(
    network: Network, since_blading: dict[str, int], *, today: date, rng: np.random.Generator
) -> tuple[WorkRecord, ...]:
    """Blading of the last months, a few reshapings and regravellings, and two windrows left."""
    done: list[WorkRecord] = []
    for segment in network.maintained:
        days, board = since_blading[segment.id], int(segment.district[-1]) % len(_CREW)
        interval = max(12, days + int(rng.integers(4, 20)))
        while days <= MONTHS_BACK_DAYS:
            is_reshaped = rng.uniform() < 0.05
            treatment = Treatment.RESHAPING if is_reshaped else Treatment.BLADING
            n_passes = int(rng.choice([6, 8])) if is_reshaped else int(rng.choice([2, 2, 2, 3, 4]))
            done.append(
                _record(segment, today - timedelta(days=days), treatment, n_passes, _CREW[board])
            )
            days += interval + int(rng.integers(-5, 6))
    done += _gravel(network, today, rng)
    done.sort(key=lambda record: (record.done_on, record.segment_id))
    done = _leave_windrows(done)
    return tuple(replace(record, id=f"R{n:05d}") for n, record in enumerate(done, start=1))


def hazards(network: Network, *, today: date) -> tuple[Hazard, ...]:
    """A washout behind barricades, and a stop sign that is down."""
    culverts = [f for f in network.features if f.kind == "culvert" and f.segment_id is not None]
    washed = next(f for f in culverts if network.segment_by_id[f.segment_id or ""].is_maintained)
    busy = max(network.maintained, key=lambda segment: (segment.adt, segment.id))
    yesterday = today - timedelta(days=1)
    return (
        Hazard(
            "H1",
            washed.segment_id or "",
            washed.at_m or 0.0,
            "washout",
            noticed_at=_at(yesterday, 12, 40),
            barricaded_at=_at(yesterday, 13, 25),
            note="Half the road is gone over the pipe; closed with barricades. Invented.",
        ),
        Hazard(
            "H2",
            busy.id,
            0.0,
            "sign_missing",
            noticed_at=_at(today, 5, 20),
            note="Stop sign is down at the junction. Invented.",
        ),
    )


def requests(
    network: Network, conditions: tuple[Condition, ...], *, today: date
) -> tuple[Request, ...]:
    """One open complaint about the worst washboard, two that are closed."""
    worst = sorted(
        conditions, key=lambda c: (c.deformation, -network.segment_by_id[c.segment_id].adt)
    )
    texts = (
        (3, "Washboard shakes the school van to pieces.", "open"),
        (26, "Loose gravel on the hill.", "closed"),
        (47, "Water stands in the road after every rain.", "closed"),
    )
    made = []
    for number, ((days, text, status), condition) in enumerate(
        zip(texts, worst[:3], strict=True), start=1
    ):
        lon, lat = _middle(network.segment_by_id[condition.segment_id])
        made.append(
            Request(
                f"Q{number}",
                today - timedelta(days=days),
                f"{text} Invented.",
                lon,
                lat,
                condition.segment_id,
                "open" if status == "open" else "closed",
            )
        )
    return tuple(made)


def observations(
    network: Network, *, today: date, rng: np.random.Generator
) -> tuple[Observation, ...]:
    """How some roads felt yesterday, and two private gauges after the storm."""
    yesterday, storm = today - timedelta(days=1), today - timedelta(days=2)
    made = []
    picks = rng.choice(len(network.maintained), 6, replace=False)
    for number, index in enumerate(picks, start=1):
        segment = network.maintained[int(index)]
        lon, lat = _middle(segment)
        is_gauge = number > 4
        made.append(
            Observation(
                id=f"O{number}",
                observed_on=storm if is_gauge else yesterday,
                lon=lon,
                lat=lat,
                felt=None
                if is_gauge
                else "too_wet"
                if segment.drainage == "poor"
                else "just_right",
                rain_mm=round(float(rng.uniform(15, 25)), 1) if is_gauge else None,
                segment_id=segment.id,
                observer="N. Clover",
                note="invented",
            )
        )
    return tuple(made)


def _record(
    segment: Segment, day: date, treatment: Treatment, n_passes: int, by: str
) -> WorkRecord:
    hours = round(n_passes * segment.length_m / 1000 / 6.5 / 0.8, 2)
    return WorkRecord(
        id="",
        segment_id=segment.id,
        done_on=day,
        treatment=treatment,
        n_passes=n_passes,
        hours=hours,
        by=by,
        cost=Money(round(hours * _HOUR_MINOR), "USD", PRICE_YEAR),
        note=INVENTED,
    )


def _gravel(network: Network, today: date, rng: np.random.Generator) -> list[WorkRecord]:
    thick = sorted(network.maintained, key=lambda segment: (-segment.gravel_mm, segment.id))
    made = []
    for segment in thick[:8]:
        day = today - timedelta(days=int(rng.integers(40, MONTHS_BACK_DAYS)))
        loose_m3 = round(segment.width_m * segment.length_m * 0.05 * 1.25)
        record = _record(segment, day, Treatment.REGRAVELLING, 10, "A. Alder")
        made.append(replace(record, loose_gravel_m3=float(loose_m3), n_loads=-(-loose_m3 // 10)))
    return made


def _leave_windrows(done: list[WorkRecord]) -> list[WorkRecord]:
    """The two latest reshapings or bladings ended with material still lying along the road."""
    kept = list(done)
    kept[-1] = replace(
        kept[-1],
        is_finished=False,
        windrow_side="right",
        note=f"Rain stopped the last pass; low windrow on the right edge. {INVENTED}",
    )
    kept[-2] = replace(
        kept[-2],
        windrow_side="left",
        note=f"Windrow kept on the left shoulder for the next blading. {INVENTED}",
    )
    return kept


def _middle(segment: Segment) -> tuple[float, float]:
    (lon_a, lat_a), (lon_b, lat_b) = segment.line[0], segment.line[1]
    return round((lon_a + lon_b) / 2, 6), round((lat_a + lat_b) / 2, 6)


def _at(day: date, hour: int, minute: int) -> datetime:
    return datetime.combine(day, time(hour, minute), tzinfo=UTC)
