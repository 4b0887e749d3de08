"""One piece of road designed without a network: a foreman's figures in, a whole job out.

The same designers that lay out a planned week are given a straight piece of road, one grader and
the policy's figures for whatever the foreman does not say. What was not said is listed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from crossfall.design.jobs import design_job
from crossfall.errors import InfeasibleError, InputError
from crossfall.formulas.given import percent, within
from crossfall.model import (
    Condition,
    Fleet,
    Job,
    Machine,
    Need,
    Operator,
    PointFeature,
    Policy,
    Segment,
    Treatment,
)
from crossfall.model.policy.design import DesignPolicy

ALONE = tuple(each for each in Treatment if each not in (Treatment.NONE, Treatment.ENGINEER))
"""Treatments that can be designed."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of road and what there is to work it with; None takes the policy's figure."""

    length_m: float
    width_m: float = 7.0
    depth_mm: float | None = None
    """Compacted gravel to place [mm]."""
    gravel_mm: float | None = None
    """Gravel that is there [mm]."""
    crossfall_pct: float | None = None
    """Transverse slope that is there [%]."""
    washboard_mm: float | None = None
    """Trough to crest [mm]."""
    moisture_pct: float | None = None
    """Of the surface, by dry mass; None reckons no water for shaping [%]."""
    haul_km: float | None = None
    """From the pit to the middle of the work, one way [km]."""
    water_km: float | None = None
    trucks: int | None = None
    body_m3: float | None = None
    payload_t: float | None = None
    limit_t: float | None = None
    """Posted limit on the loaded truck, with ``truck_t`` the empty one [t]."""
    truck_t: float = 11.0
    tank_l: float | None = None
    blade_m: float | None = None
    shift_h: float | None = None
    bulking: float | None = None
    edge_slope: float | None = None
    sift_gap_mm: float | None = None
    """Of scarify and remix: gap between the teeth that screens the road in place [mm]."""
    widenings: Sequence[tuple[float, float, float]] = ()
    """From, to and width beyond the road's own [m]."""
    is_treated: bool = False
    """Dust control was sprayed on it not long ago."""
    culverts_at_m: Sequence[float] = ()
    bridges_at_m: Sequence[float] = ()
    rails_at_m: Sequence[float] = ()


def design_alone(treatment: Treatment, piece: Piece, *, policy: Policy | None = None) -> Job:
    """Design one treatment of a piece of road.

    Raises
    ------
    InputError
        If a figure is not possible, or nothing can be designed for the treatment.
    UnitsError
        If a figure looks like another unit.
    InfeasibleError
        If a posted limit lets no loaded truck in.

    Examples
    --------
    >>> job = design_alone(Treatment.REGRAVELLING, Piece(1600, 7, depth_mm=75, edge_slope=0))
    >>> [(row.name, round(row.value), row.unit) for row in job.quantities][2:4]
    [('gravel, dry mass', 1764, 't'), ('loads', 135, 'loads')]
    """
    if treatment not in ALONE:
        raise InputError(f"{treatment.label} cannot be designed; expected one of {_names()}")
    policy = policy or Policy()
    _check(piece)
    line = ((0.0, 0.0), (0.0, piece.length_m / 111_320))
    segment = Segment(
        "road",
        "this road",
        "start",
        "end",
        0.0,
        piece.length_m,
        line,
        width_m=piece.width_m,
        width_method="measured",
    )
    if piece.gravel_mm is not None:
        segment = replace(segment, gravel_mm=piece.gravel_mm, gravel_method="measured")
    need = Need("asked", "road", treatment, "asked for", (), 0.0, ())
    job = design_job(
        need,
        segment,
        fleet=_fleet(piece, policy),
        graph=_Nowhere(),
        policy=replace(policy, design=_practice(piece, segment.gravel_mm, policy.design)),
        condition=_condition(piece),
        features=_features(piece),
        driest_pct=piece.moisture_pct,
        posted_t=piece.limit_t,
        is_treated=piece.is_treated,
        widenings=tuple(piece.widenings),
    )
    if not job.stages:
        raise InfeasibleError(next((each for each in job.assumed if "not laid out" in each), ""))
    return replace(job, assumed=(*job.assumed, *_left_open(piece, policy.design, treatment)))


_CUTS = (
    Treatment.RESHAPING,
    Treatment.SCARIFY_REMIX,
    Treatment.SHOULDER_PULLING,
    Treatment.SECONDARY_DITCH_REMOVAL,
)


_POSSIBLE: dict[str, tuple[float, float, str]] = {
    "haul_km": (0.0, 300.0, "metres are divided by 1000"),
    "water_km": (0.0, 300.0, "metres are divided by 1000"),
    "body_m3": (1.0, 40.0, "loose gravel in one truck; litres are divided by 1000"),
    "payload_t": (1.0, 60.0, "kilograms are divided by 1000, pounds by 2205"),
    "limit_t": (1.0, 100.0, "kilograms are divided by 1000, pounds by 2205"),
    "truck_t": (1.0, 50.0, "kilograms are divided by 1000, pounds by 2205"),
    "tank_l": (200.0, 60_000.0, "cubic metres are times 1000, US gallons times 3.785"),
    "blade_m": (1.5, 8.0, "feet are times 0.3048"),
    "shift_h": (0.5, 16.0, "minutes are divided by 60"),
}
"""What a foreman's figure can be: outside it somebody meant another unit."""


class _Nowhere:
    """Distances of a road that is on no map; hauls come from the policy instead."""

    def nearest_node(self, lon: float, lat: float) -> str:
        return "start"

    def distance_km(self, from_node: str, to_node: str) -> float:
        return 0.0


def _check(piece: Piece) -> None:
    within("length_m", piece.length_m, 1.0, 200_000.0, hint="kilometres are times 1000")
    within("width_m", piece.width_m, 2.0, 20.0, hint="feet are times 0.3048")
    if piece.depth_mm is not None:
        hint = "inches are times 25.4, metres times 1000"
        within("depth_mm", piece.depth_mm, 10.0, 600.0, hint=hint)
    if piece.gravel_mm is not None:
        within("gravel_mm", piece.gravel_mm, 0.0, 600.0)
    if piece.crossfall_pct is not None:
        percent("crossfall_pct", piece.crossfall_pct, 0.5, 12.0, called="crossfall")
    if piece.washboard_mm is not None:
        within("washboard_mm", piece.washboard_mm, 0.0, 200.0)
    if piece.moisture_pct is not None:
        percent("moisture_pct", piece.moisture_pct, 0.5, 25.0, called="moisture")
    if piece.trucks is not None:
        within("trucks", piece.trucks, 1, 60)
    for name, (low, high, hint) in _POSSIBLE.items():
        value = getattr(piece, name)
        if value is not None:
            within(name, value, low, high, hint=hint)
    if piece.bulking is not None:
        within("bulking", piece.bulking, 1.0, 2.0, hint="loose volume over compacted")
    if piece.edge_slope is not None:
        within("edge_slope", piece.edge_slope, 0.0, 6.0)
    for from_m, to_m, extra_m in piece.widenings:
        within("widenings extra", extra_m, 0.1, 20.0, hint="metres beyond the road's own width")
        if not 0 <= from_m < to_m <= piece.length_m:
            raise InputError(
                f"widenings has one from {from_m:g} to {to_m:g} m; expected a stretch within 0 to"
                f" {piece.length_m:g}"
            )
    if piece.sift_gap_mm is not None:
        within("sift_gap_mm", piece.sift_gap_mm, 5.0, 150.0, hint="millimetres between the teeth")
    for name in ("culverts_at_m", "bridges_at_m", "rails_at_m"):
        for at_m in getattr(piece, name):
            within(name, at_m, 0.0, piece.length_m, hint="metres from the start of the road")


def _practice(piece: Piece, gravel_mm: float, design: DesignPolicy) -> DesignPolicy:
    gravel, haul, water = design.gravel, design.haul, design.water
    if piece.depth_mm is not None:
        gravel = replace(
            gravel,
            target_mm=gravel_mm + piece.depth_mm,
            least_mm=min(gravel.least_mm, piece.depth_mm),
            spot_mm=piece.depth_mm,
        )
    return replace(
        design,
        shape=replace(design.shape, **_given(sift_gap_mm=piece.sift_gap_mm)),
        gravel=replace(gravel, **_given(bulking=piece.bulking, edge_slope=piece.edge_slope)),
        haul=replace(
            haul,
            **_given(
                default_haul_km=piece.haul_km,
                default_n_trucks=piece.trucks,
                default_body_m3=piece.body_m3,
                default_payload_t=piece.payload_t,
            ),
        ),
        water=replace(water, **_given(default_haul_km=piece.water_km, default_tank_l=piece.tank_l)),
    )


def _given(**named: Any) -> dict[str, Any]:
    return {name: value for name, value in named.items() if value is not None}


def _fleet(piece: Piece, policy: Policy) -> Fleet:
    design = policy.design
    grader = Machine(
        "grader",
        "the grader",
        "grader",
        "yard",
        blade_m=piece.blade_m or design.grader.default_blade_m,
        attachments=("scarifier",),
    )
    operator = Operator(
        "operator", "", "grader", shift_h=piece.shift_h or design.stage.default_shift_h
    )
    machines = [grader]
    if piece.limit_t is not None:
        # A posted limit needs the mass of an empty truck
        n = piece.trucks or design.haul.default_n_trucks
        body = piece.body_m3 or design.haul.default_body_m3
        payload = piece.payload_t or design.haul.default_payload_t
        machines += [
            Machine(
                f"truck-{number}",
                "a truck",
                "haul_truck",
                "yard",
                capacity=body,
                payload_t=payload,
                mass_t=piece.truck_t,
            )
            for number in range(1, n + 1)
        ]
    return Fleet((), tuple(machines), (operator,))


def _condition(piece: Piece) -> Condition:
    return Condition(
        "road",
        date.min,
        3.0,
        3.0,
        3.0,
        3.0,
        3.0,
        "measured",
        crossfall_pct=piece.crossfall_pct,
        corrugation_mm=piece.washboard_mm,
    )


def _features(piece: Piece) -> tuple[PointFeature, ...]:
    kinds = (
        ("culvert", piece.culverts_at_m),
        ("bridge", piece.bridges_at_m),
        ("rail_crossing", piece.rails_at_m),
    )
    found = [
        PointFeature(f"{kind}-{at_m:g}", kind, 0.0, 0.0, "road", at_m)  # type: ignore[arg-type]
        for kind, places in kinds
        for at_m in places
    ]
    return tuple(sorted(found, key=lambda each: each.at_m or 0.0))


def _left_open(piece: Piece, design: DesignPolicy, treatment: Treatment) -> tuple[str, ...]:
    """What a foreman could have said and did not."""
    shape, haul = design.shape, design.haul
    told: list[tuple[float | None, str]] = [
        (piece.blade_m, f"moldboard {design.grader.default_blade_m:g} m"),
        (piece.shift_h, f"shift {design.stage.default_shift_h:g} h"),
    ]
    if treatment in (Treatment.REGRAVELLING, Treatment.SPOT_GRAVEL):
        told += [
            (piece.haul_km, f"haul {haul.default_haul_km:g} km"),
            (piece.body_m3, f"truck body {haul.default_body_m3:g} m3 loose"),
            (piece.payload_t, f"payload {haul.default_payload_t:g} t"),
            (piece.trucks, f"{haul.default_n_trucks} trucks at most"),
            (piece.bulking, f"loose over compacted {design.gravel.bulking:g}"),
        ]
    elif treatment in _CUTS:
        told += [
            (piece.crossfall_pct, f"crossfall now {shape.worn_crossfall_pct:g} %"),
            (piece.washboard_mm, f"cut {shape.default_cut_mm:g} mm"),
        ]
    return tuple(f"{words} (not said)" for value, words in told if value is None)


def _names() -> str:
    return ", ".join(each.value for each in ALONE)
