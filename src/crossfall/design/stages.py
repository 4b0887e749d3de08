"""Cutting a job into stages that each fit a shift and leave the road passable.

A stage is all passes of one kind of work over one length, by one grader in one shift. Longer
work is cut into equal lengths, so that no stage is a scrap; and no windrow is ever longer than
the policy allows.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from crossfall.design.clearances import DIGS
from crossfall.design.cost import Line
from crossfall.design.passes import PassSet
from crossfall.design.site import Site
from crossfall.design.water import DEPTH, water_row
from crossfall.design.zone import WorkZone, duration_of, work_zone
from crossfall.errors import InputError
from crossfall.model import Quantity, Stage, Stake, Support, Treatment
from crossfall.model.need import Task

N_FLAGGERS = 2
"""One at each end."""
PASSABLE = "Road full width or signed, windrow closed, no ridge, wheel tracks clear."


def cut_lengths(
    length_m: float, min_per_m: float, limit_min: float, *, longest_m: float = math.inf
) -> tuple[tuple[float, float], ...]:
    """Equal lengths, each done within ``limit_min`` and none over ``longest_m`` [m].

    Raises
    ------
    InputError
        If ``limit_min`` or ``longest_m`` is not positive.

    Examples
    --------
    >>> cut_lengths(1600.0, 0.4, 360.0)
    ((0.0, 800.0), (800.0, 1600.0))
    """
    if not (limit_min > 0 and longest_m > 0):
        raise InputError(
            f"a stage may take {limit_min:g} min over {longest_m:g} m; expected figures above 0"
        )
    n_parts = max(
        math.ceil(length_m * min_per_m / limit_min - 1e-9),
        math.ceil(length_m / longest_m - 1e-9),
        1,
    )
    each = length_m / n_parts
    ends = [number * each for number in range(n_parts)] + [length_m]
    return tuple((ends[number], ends[number + 1]) for number in range(n_parts))


def make_stage(
    site: Site,
    *,
    job_id: str,
    number: int,
    name: str,
    span_m: tuple[float, float],
    treatment: Treatment,
    task: Task,
    passes: PassSet,
    before: Sequence[str] = (),
    later: Sequence[str] = (),
    checks: Sequence[str] = (),
    end_state: str = PASSABLE,
    after: tuple[str, ...] = (),
    support: tuple[Support, ...] = (),
    quantities: tuple[Quantity, ...] = (),
    stakes: tuple[Stake, ...] = (),
    water_l: float = 0.0,
    wait_min: float = 0.0,
    least_min: float = 0.0,
    n_people: int = 1,
    materials: Sequence[Line] = (),
    needs_attachment: str = "",
) -> Stage:
    """One stage, with its passes timed one by one and its cost added up.

    ``least_min`` is how long the other machines take; the passes then go at their pace.
    """
    from_m, to_m = span_m
    minutes = passes.paced(to_m - from_m, least_min)
    stage_h = (sum(minutes) + wait_min) / 60
    zone = zone_of(site, treatment, task, 60 * stage_h)
    come_and_go = site.tools.policy.costs.mobilisation_h
    n_beside = N_FLAGGERS * zone.needs_flaggers + zone.needs_shadow
    lines: list[Line] = [
        ("grader", stage_h + come_and_go),
        ("operator", (n_people + n_beside) * (stage_h + come_and_go)),
    ]
    for each in support:
        machine_h = each.n_machines * (each.hours + come_and_go)
        lines.append((each.kind, machine_h))
        lines.append(("operator", machine_h))
    lines.extend(materials)
    return Stage(
        id=f"{job_id}-{number}",
        job_id=job_id,
        number=number,
        name=name,
        segment_id=site.segment.id,
        from_m=from_m,
        to_m=to_m,
        task=task,
        treatment=treatment,
        operations=passes.operations,
        pass_minutes=minutes,
        steps=(*zone.steps, *before, *passes.steps, *later),
        end_state=end_state,
        checks=tuple(checks),
        after=after,
        support=support,
        quantities=(*quantities, _crew(zone, n_people, support)),
        stakes=stakes,
        water_l=water_l,
        cost=site.tools.book.cost(lines),
        needs_attachment=needs_attachment,
        wait_min=wait_min,
    )


def _crew(zone: WorkZone, n_people: int, support: Sequence[Support]) -> Quantity:
    """Everybody the stage takes, by what they do."""
    parts = ["1 on the grader" if n_people == 1 else f"{n_people} with the grader"]
    n_all = n_people
    for each in support:
        many = "s" * (each.n_machines > 1)
        parts.append(f"{each.n_machines} {each.kind.replace('_', ' ')}{many}")
        n_all += each.n_machines
    if zone.needs_flaggers:
        parts.append(f"{N_FLAGGERS} flaggers")
        n_all += N_FLAGGERS
    if zone.needs_shadow:
        parts.append("1 shadow vehicle")
        n_all += 1
    return Quantity("crew", n_all, "each", ", ".join(parts))


def zone_of(site: Site, treatment: Treatment, task: Task, stay_min: float) -> WorkZone:
    """The work zone; work with the blade down moves on, hand work stays at each place."""
    tools, segment = site.tools, site.segment
    stays = {"light_blading": 0.0, "hand_work": tools.design.drain.culvert_min}
    practice, is_beside = tools.design.zone, treatment in DIGS
    stay_min = stays.get(task, stay_min)
    # A district has only a handful of zones, and thousands of stages
    key = (
        segment.road_class, segment.adt >= practice.flagger_adt, segment.adt >= practice.shadow_adt,
        task, duration_of(stay_min, practice), is_beside,
    )  # fmt: skip
    if key not in tools.zones:
        tools.zones[key] = work_zone(segment, task, stay_min, practice, is_beside=is_beside)
    return tools.zones[key]


def part_name(name: str, number: int, n_parts: int) -> str:
    """``Reshape`` or ``Reshape, part 2 of 3``."""
    return name if n_parts == 1 else f"{name}, part {number} of {n_parts}"


def depth_and_water(
    site: Site, length_m: float, depth_mm: float
) -> tuple[float, tuple[Quantity, ...]]:
    """Litres for a worked depth on the driest day of the window, and the card's lines for both."""
    water_l = site.water_l(length_m, depth_mm)
    rows: list[Quantity] = [Quantity(DEPTH, depth_mm, "mm")] if depth_mm > 0 else []
    if water_l > 0 and site.driest_pct is not None:
        area = length_m * site.segment.width_m
        tank = site.tools.outfit.tank_l
        rows.append(water_row(water_l, tank_l=tank, now_pct=site.driest_pct, area_m2=area))
    return water_l, tuple(rows)
