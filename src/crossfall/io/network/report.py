"""What an import found, left out and could not settle, for a person to read before accepting."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from crossfall.errors import Problem
from crossfall.io.text import count
from crossfall.model import Network

if TYPE_CHECKING:
    from crossfall.io.network.marks import Mark
    from crossfall.network.noding import Gap


_MOST_PARTS = 8


@dataclass(frozen=True, slots=True)
class ImportReport:
    """Counts, and everything that somebody should look at."""

    file: str
    """Name of the file, without its folder."""
    format: str
    n_lines: int
    """Road lines read."""
    n_nodes: int
    n_segments: int
    km: float
    maintained_km: float
    km_by_surface: dict[str, float]
    n_by_surface_source: dict[str, int]
    n_components: int
    """Connected parts of the network, one-way streets ignored."""
    largest_component_pct: float
    """Share of the nodes that lie in the largest part [%]."""
    n_dead_ends: int
    n_duplicates: int
    n_zero_length: int
    n_slivers: int
    n_crossings: int
    """Places where lines cross without a junction; a bridge nobody marked, or a gap."""
    features: dict[str, int]
    """Point features on roads, by kind."""
    features_left_out: dict[str, int]
    """Features that lie on no road, by kind."""
    left_out: dict[str, int]
    """Lines that are no road for machines, by what they are."""
    gaps: tuple[Gap, ...] = ()
    unknown_surface: tuple[str, ...] = ()
    """Ids of segments whose surface somebody has to settle."""
    unused_columns: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()
    assumed: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    """Parts that the largest does not reach: their roads, and a place on them."""
    marks: tuple[Mark, ...] = ()
    """Places on the map to look at."""

    def summary(self) -> str:
        """A paragraph and a list for a person."""
        surfaces = ", ".join(
            f"{km:.1f} km {name}" for name, km in sorted(self.km_by_surface.items())
        )
        lines = [
            f"{self.file} ({self.format}): {count(self.n_lines, 'line')} became"
            f" {count(self.n_segments, 'segment')} and {count(self.n_nodes, 'node')},"
            f" {self.km:.1f} km in all ({surfaces});"
            f" {self.maintained_km:.1f} km are maintained."
        ]
        if self.features:
            found = ", ".join(f"{n} {kind}" for kind, n in sorted(self.features.items()))
            lines.append(f"On the roads: {found}.")
        if self.left_out:
            out = ", ".join(f"{n} {what}" for what, n in sorted(self.left_out.items()))
            lines.append(f"Left out: {out}.")
        if self.n_components > 1:
            lines.append(
                f"The network is in {self.n_components} parts; the largest holds"
                f" {self.largest_component_pct:.1f} % of the nodes."
            )
            lines += [f"Not joined to it: {each}" for each in self.parts[:_MOST_PARTS]]
            if len(self.parts) > _MOST_PARTS:
                lines.append(f"and {len(self.parts) - _MOST_PARTS} more parts that are not joined")
        counted = (
            (self.n_dead_ends, "dead end", "dead ends"),
            (self.n_duplicates, "doubled line", "doubled lines"),
            (self.n_zero_length, "line of no length", "lines of no length"),
            (self.n_slivers, "sliver", "slivers"),
            (self.n_crossings, "crossing without a junction", "crossings without a junction"),
            (len(self.gaps), "near miss to confirm", "near misses to confirm"),
            (
                len(self.unknown_surface),
                "segment of unknown surface to settle",
                "segments of unknown surface to settle",
            ),
        )
        said = [count(n, one, many) for n, one, many in counted if n]
        if said:
            lines.append(f"To look at: {', '.join(said)}.")
        lines += [f"Assumed: {each}" for each in self.assumed]
        lines += [str(problem) for problem in self.problems[:10]]
        if len(self.problems) > 10:
            lines.append(f"and {count(len(self.problems) - 10, 'more problem')}")
        return "\n".join(lines)


@dataclass(frozen=True)
class NetworkImport:
    """A network read from a file, not yet accepted, with its report."""

    network: Network
    report: ImportReport = field(repr=False)
