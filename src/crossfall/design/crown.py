"""Raising a crown with the gravel that is there, and what of it is missing.

Cutting the edges and lifting the centre moves gravel and brings none. The cut grows evenly with the
rise, so where the gravel stops it early, that says how far the crown comes. What is missing then
is the shape correction: gravel of its own, thick at the centre and nothing at the edges.
"""

from __future__ import annotations

from crossfall.design.site import Site
from crossfall.design.words import NBSP, no_deeper_than, percent
from crossfall.formulas.gravel import crown_edge_cut, crown_move


def edge_cut_mm(site: Site) -> float:
    """Cut at the edges that raises the crown, no deeper than any cut may go [mm]."""
    wanted = site.tools.design.shape.crossfall_pct
    if site.crossfall_pct >= wanted:
        return 0.0
    return min(crown_edge_cut(site.segment.width_m, site.crossfall_pct, wanted), site.cuttable_mm)


def reached_pct(site: Site) -> float:
    """Transverse slope that the gravel there can be shaped to, at most what is wanted [%]."""
    wanted, now = site.tools.design.shape.crossfall_pct, site.crossfall_pct
    # W (c1 - c0) / 4 turned round, with the cut in mm and slopes in percent
    return max(now, min(wanted, now + edge_cut_mm(site) / (site.segment.width_m * 2.5)))


def missing_crown_m(site: Site) -> float:
    """Height at the centre that only new gravel can add; 0 where hardly any is missing [m]."""
    shape = site.tools.design.shape
    short_pct = shape.crossfall_pct - reached_pct(site)
    return site.segment.width_m / 2 * short_pct / 100 if short_pct >= shape.least_rise_pct else 0.0


def crown_steps(site: Site) -> tuple[str, ...]:
    """What to cut at the edges and move to the centre, and what the gravel is short of."""
    shape, now = site.tools.design.shape, site.crossfall_pct
    wanted, cut, reached = shape.crossfall_pct, edge_cut_mm(site), reached_pct(site)
    if now >= wanted:
        return ()
    if reached >= wanted - 1e-9:
        return (_raise_crown(site, wanted, cut),)
    short = f"for {percent(wanted)} the gravel is short, bring some in"
    if reached < now + shape.least_rise_pct:
        return (f"Keep the crown of {percent(now)} and do not cut the edges: {short}",)
    return (f"{_raise_crown(site, reached, cut)}; {short}",)


def _raise_crown(site: Site, to_pct: float, cut_mm: float) -> str:
    moved = crown_move(site.segment.width_m, site.crossfall_pct, to_pct)
    return (
        f"Crown from {percent(site.crossfall_pct)} to {percent(to_pct)}: cut"
        f" {no_deeper_than(cut_mm)} at the edges, from the old surface down, move"
        f" {moved * 100:.1f}{NBSP}m3 for each 100{NBSP}m to the centre"
    )
