"""What a cab shows of a card: one pass after the other, each with its way, angle and speed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from crossfall.cards.sketch import cut_line, heading
from crossfall.model import Leg, Segment, Stage
from crossfall.model.policy.cab import CabPolicy


@dataclass(frozen=True, slots=True)
class CabPass:
    """One pass as the operator drives it."""

    number: int
    n_passes: int
    operation: str
    is_forward: bool
    heading: str
    """Where the nose points, as the card says it: ``eastbound``."""
    from_m: float
    """Where it begins, metres from the segment's start [m]."""
    to_m: float
    moldboard_deg: float | None
    """From straight across the road [degrees]; None where the stage leaves it open."""
    speed_km_h: float
    """What the plan reckons with."""
    speed_low_km_h: float
    """Range of common practice; the surface and the machine decide."""
    speed_high_km_h: float
    note: str = ""


def cab_passes(
    stage: Stage, segment: Segment, legs: Iterable[Leg] = (), policy: CabPolicy | None = None
) -> tuple[CabPass, ...]:
    """The passes of a stage in the order they are driven.

    ``legs`` are those of the machine's day; without them passes go out and back in turn.

    Examples
    --------
    >>> from crossfall.model import Operation, Segment, Treatment
    >>> road = Segment("s1", "Mill Road", "a", "b", 0.0, 800.0, ((-104.0, 45.0), (-104.0, 45.01)))
    >>> stage = Stage("st", "j", 1, "blade", "s1", 0.0, 800.0, "light_blading", Treatment.BLADING,
    ...               (Operation("spread", 2, 6.5, 30.0),), (7.4, 7.4), (), "open")
    >>> [(each.number, each.heading, each.from_m) for each in cab_passes(stage, road)]
    [(1, 'northbound', 0.0), (2, 'southbound', 800.0)]
    """
    limits = policy or CabPolicy()
    operations = [each for each in stage.operations for _ in range(each.n_passes)]
    driven = {
        leg.pass_number: leg
        for leg in legs
        if leg.kind == "work" and leg.stage_id == stage.id and leg.pass_number is not None
    }
    numbers = range(1, stage.n_passes + 1)
    is_known = all(number in driven for number in numbers)
    order = sorted(numbers, key=lambda n: driven[n].start_min) if is_known else numbers
    line = cut_line(segment.line, segment.length_m, stage.from_m, stage.to_m)
    ways = {True: heading(line), False: heading(line[::-1])}
    passes = []
    for number in order:
        leg = driven.get(number)
        is_forward = number % 2 == 1 if leg is None else leg.is_forward
        ends = (stage.from_m, stage.to_m) if is_forward else (stage.to_m, stage.from_m)
        if leg is not None and leg.from_m is not None and leg.to_m is not None:
            ends = (leg.from_m, leg.to_m)
        operation = operations[number - 1] if number <= len(operations) else None
        passes.append(
            CabPass(
                number=number,
                n_passes=stage.n_passes,
                operation=operation.name if operation else stage.name,
                is_forward=is_forward,
                heading=ways[is_forward],
                from_m=ends[0],
                to_m=ends[1],
                moldboard_deg=operation.moldboard_deg if operation else None,
                speed_km_h=operation.speed_km_h if operation else limits.speed_low_km_h,
                speed_low_km_h=limits.speed_low_km_h,
                speed_high_km_h=limits.speed_high_km_h,
                note=operation.note if operation else "",
            )
        )
    return tuple(passes)
