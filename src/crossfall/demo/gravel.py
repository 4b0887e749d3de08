"""Invented sheets of an invented laboratory, a ledger, and the edges on the graders."""

from __future__ import annotations

from datetime import date, timedelta

from crossfall.demo.recipe import INVENTED
from crossfall.model import FittedEdge, Fleet, MaterialTest, PileEntry

_SIEVES = (37.5, 26.5, 25.0, 19.0, 12.5, 4.75, 2.36, 2.0, 0.425, 0.075)
_SHEETS = (
    # Crushed and short of fines; creek gravel with oversize and no fines; clayey
    ((100, 100, 100, 98, 84, 52, 37, 34, 17, 4.5), 3.0, 2.0),
    ((92, 86, 84, 76, 66, 50, 40, 38, 18, 3), 0.0, 0.0),
    ((100, 100, 100, 96, 84, 62, 49, 46, 36, 24), 11.0, 8.0),
)
_EDGES = (
    (0, "plain", 52, 520.0),
    (0, "plain", 21, 520.0),
    (1, "hardened", 44, 950.0),
    (2, "carbide", 150, 3400.0),
    (3, "plain", 41, 520.0),
)
"""Grader, edge, days since it was fitted, and what it should go [km]; the last has none entered."""


def material_tests(fleet: Fleet, *, today: date) -> tuple[MaterialTest, ...]:
    """A sheet for each pit."""
    return tuple(
        MaterialTest(
            id=f"test-{number}",
            pit_id=pit.place.id,
            taken_on=today - timedelta(days=60 + 11 * number),
            passing_pct=tuple(zip(_SIEVES, map(float, passing), strict=True)),
            plasticity=plasticity or None,
            is_non_plastic=plasticity == 0,
            linear_shrinkage_pct=shrinkage,
            laboratory="Any Laboratory",
            note=INVENTED,
        )
        for number, (pit, (passing, plasticity, shrinkage)) in enumerate(
            zip(fleet.pits, _SHEETS, strict=False), start=1
        )
    )


def pile_entries(fleet: Fleet, *, today: date) -> tuple[PileEntry, ...]:
    """What was crushed in spring, and a first load taken."""
    if not fleet.pits:
        return ()
    pit_id = fleet.pits[0].place.id
    return (
        PileEntry(pit_id, today - timedelta(days=40), 900.0, f"crushed ({INVENTED})", "pile-1"),
        PileEntry(pit_id, today - timedelta(days=12), -120.0, f"spots ({INVENTED})", "pile-2"),
    )


def fitted_edges(fleet: Fleet, *, today: date) -> tuple[FittedEdge, ...]:
    """An edge on each grader but the last."""
    graders = fleet.graders
    return tuple(
        FittedEdge(
            graders[at].id,
            name,
            today - timedelta(days=days),
            life_km,
            f"edge-{number}",
            INVENTED,
        )
        for number, (at, name, days, life_km) in enumerate(_EDGES, start=1)
        if at < len(graders)
    )
