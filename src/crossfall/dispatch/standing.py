"""Where everything stands in the middle of a day, so that the rest of it can be planned anew."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from crossfall.model import Itinerary, Leg, Network, Plan


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a machine is, which way it came and when it can go on."""

    machine_id: str
    node: str
    clock_min: float
    """Minutes after midnight."""
    came: tuple[str, bool] | None = None
    """Segment it last moved along, and whether forward; None in the yard."""
    has_eaten: bool = False


@dataclass(frozen=True, slots=True)
class HalfDone:
    """A stage with some of its passes made: it is finished the same day or flagged."""

    stage_id: str
    machine_id: str
    n_done: int
    n_forward: int
    """How many of those ran along increasing measure."""


@dataclass(frozen=True, slots=True)
class Since:
    """What has been done up to a moment, and where the machines are then."""

    day: date
    clock_min: float
    done: frozenset[str] = frozenset()
    """Stages that are finished."""
    half_done: tuple[HalfDone, ...] = ()
    standings: tuple[Standing, ...] = ()

    def half(self, stage_id: str) -> HalfDone | None:
        return next((each for each in self.half_done if each.stage_id == stage_id), None)

    def standing(self, machine_id: str, day: date) -> Standing | None:
        """The machine's standing, on the day itself."""
        if day != self.day:
            return None
        return next((each for each in self.standings if each.machine_id == machine_id), None)


def since_of(plan: Plan, network: Network, now: datetime) -> Since:
    """Where everything stands at ``now`` if the plan was followed so far.

    A machine ends what it is in the middle of and goes on to the next junction, so each stands
    at a node at ``now`` or a little later.
    """
    day, clock = now.date(), now.hour * 60 + now.minute + now.second / 60
    made: list[tuple[Itinerary, Leg]] = []
    standings: list[Standing] = []
    for itinerary in plan.itineraries:
        if itinerary.day < day:
            made += [(itinerary, leg) for leg in itinerary.legs]
        elif itinerary.day == day:
            legs = _begun(itinerary.legs, network, clock)
            made += [(itinerary, leg) for leg in legs]
            if legs:
                standings.append(_standing(itinerary, legs, clock))
    done, half_done = _stages(plan, made)
    return Since(day, clock, done, half_done, tuple(standings))


def _begun(legs: tuple[Leg, ...], network: Network, clock: float) -> list[Leg]:
    """Legs begun by ``clock``, and on to where the machine is at a node."""
    begun: list[Leg] = []
    for leg in legs:
        if leg.start_min >= clock and (not begun or _is_at_node(begun[-1], network)):
            break
        begun.append(leg)
    return begun


def _is_at_node(leg: Leg, network: Network) -> bool:
    if leg.segment_id is None or leg.to_m is None:
        return True
    length_m = network.segment_by_id[leg.segment_id].length_m
    return leg.to_m <= 0 or leg.to_m >= length_m


def _standing(itinerary: Itinerary, legs: list[Leg], clock: float) -> Standing:
    last = legs[-1]
    moves = [leg for leg in legs if leg.kind in ("travel", "work")]
    came = (str(moves[-1].segment_id), moves[-1].is_forward) if moves else None
    is_home = len(legs) == len(itinerary.legs)
    return Standing(
        itinerary.machine_id,
        last.to_node,
        max(clock, last.end_min),
        None if is_home else came,
        any(leg.kind == "break" for leg in legs),
    )


def _stages(
    plan: Plan, made: Iterable[tuple[Itinerary, Leg]]
) -> tuple[frozenset[str], tuple[HalfDone, ...]]:
    """Stages whose planned passes are all made, and those with some of them."""
    planned: dict[str, int] = {}
    for itinerary in plan.itineraries:
        for leg in itinerary.legs:
            if leg.kind == "work" and leg.stage_id is not None:
                planned[leg.stage_id] = max(planned.get(leg.stage_id, 0), leg.pass_number or 0)
    passes: dict[str, list[tuple[str, bool, int]]] = {}
    for itinerary, leg in made:
        if leg.kind == "work" and leg.stage_id is not None:
            passes.setdefault(leg.stage_id, []).append(
                (itinerary.machine_id, leg.is_forward, leg.pass_number or 0)
            )
    done = {s for s, each in passes.items() if max(n for _, _, n in each) == planned[s]}
    half = tuple(
        HalfDone(s, each[0][0], len(each), sum(forward for _, forward, _ in each))
        for s, each in passes.items()
        if s not in done
    )
    return frozenset(done), half
