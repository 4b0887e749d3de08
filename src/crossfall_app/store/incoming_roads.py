"""Roads on their way in: read, told apart from what is there, drawn, not yet written.

The command line and the import page both come through here, so that both show and write the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from crossfall.errors import InputError
from crossfall.io.network import (
    NetworkDiff,
    NetworkImport,
    NetworkOptions,
    add_features,
    carry_over,
    compare,
    keep_ids,
    read_calibrations,
    read_events,
    read_features,
    read_network,
)
from crossfall.io.network.marks import MARK_WORDS
from crossfall.io.text import count
from crossfall.model import Network, Policy
from crossfall.network import apply_events
from crossfall.report.figures import System
from crossfall.report.import_map import MOST_MARKS, Marks, import_map, import_page


@dataclass(frozen=True, slots=True)
class RoadFiles:
    """The files that make a network: roads, and what is known of stretches and places of them."""

    roads: Path | None = None
    events: Path | None = None
    features: Path | None = None
    calibration: Path | None = None
    options: dict[str, Any] = field(default_factory=dict)

    @property
    def is_empty(self) -> bool:
        return self.roads is None and self.events is None and self.features is None


@dataclass(frozen=True)
class IncomingRoads:
    """A network that came, and its difference to the one that is there."""

    network: Network
    diff: NetworkDiff
    found: NetworkImport | None
    """None where only facts were laid on the roads that are there."""
    renamed: dict[str, str]
    """Ids in the file to ids that are kept, of roads that came back under another one."""
    is_merge: bool
    source: str
    told: tuple[str, ...] = ()
    """What was laid on them."""

    @property
    def marks(self) -> Marks:
        """Numbered places to look at: kind in words, lon, lat, sentence."""
        if self.found is None:
            return ()
        return tuple(
            (MARK_WORDS[mark.kind], mark.lon, mark.lat, mark.text)
            for mark in self.found.report.marks
        )

    def drawing(self, *, units: System = "metric", width: float = 900.0) -> str:
        """The difference on a map, as SVG."""
        return draw(self.network, self.diff, self.marks, units=units, width=width)

    def lines(self, *, most: int) -> Iterator[str]:
        """What was read and what would change, for a person."""
        if self.found is not None:
            yield self.found.report.summary()
        yield from self.told
        yield self.diff.summary(most=most)

    def page(self, *, units: System = "metric") -> str:
        """A page of its own, to hand to whoever mends the file."""
        return import_page(
            f"{self.source}: what to look at",
            "\n".join(self.lines(most=40)),
            self.drawing(units=units),
            self.marks[:MOST_MARKS],
            kinds_of(self.diff),
        )


def read_roads(
    files: RoadFiles, stored: Network, policy: Policy, *, is_merge: bool = False
) -> IncomingRoads:
    """Read roads and what is laid on them; nothing is written.

    What people had settled and the file does not know is carried over; a road that came back under
    another id keeps the one that facts hang on.

    Raises
    ------
    InputError
        If a file cannot be used, or there is nothing to lay facts on.
    """
    found: NetworkImport | None = None
    renamed: dict[str, str] = {}
    network, sources = stored, []
    if files.roads is not None:
        found, renamed = _read(files.roads, files.options, stored, policy)
        network = found.network
        sources.append(found.report.file)
    if files.calibration is not None and files.events is None:
        raise InputError("--calibration says where the metres of events lie; name --events too")
    told: list[str] = []
    if files.features is not None:
        _need(network, files.features)
        made = read_features(files.features, network, options=_options(files, stored, policy))
        network = add_features(network, made.features)
        told.append(f"{files.features.name}: {count(len(made.features), 'feature')} on the roads.")
        told += [str(problem) for problem in made.problems]
        sources.append(files.features.name)
    if files.events is not None:
        _need(network, files.events)
        calibrations = read_calibrations(files.calibration, network) if files.calibration else None
        events = read_events(files.events, network, calibrations=calibrations)
        before = len(network.segments)
        network, _ = apply_events(network, events, policy.network)
        split = len(network.segments) - before
        told.append(
            f"{files.events.name}: {count(len(events), 'event')} laid on the roads"
            + (f", {split} more segments by their changes." if split else ".")
        )
        sources.append(files.events.name)
    diff = compare(stored, network, policy=policy.network)
    if is_merge:
        diff = replace(diff, vanished=(), features_vanished=(), lineage=())
    return IncomingRoads(network, diff, found, renamed, is_merge, ", ".join(sources), tuple(told))


def draw(
    network: Network,
    diff: NetworkDiff,
    marks: Marks = (),
    *,
    units: System = "metric",
    width: float = 900.0,
) -> str:
    """A difference on a map, as SVG."""
    return import_map(
        network,
        added={segment.id for segment in diff.added},
        changed={change.segment_id for change in diff.changed},
        gone=diff.vanished,
        marks=marks,
        units=units,
        width=width,
    )


def kinds_of(diff: NetworkDiff) -> set[str]:
    """Kinds of roads that a drawing of the difference shows."""
    there = {"added": diff.added, "changed": diff.changed, "gone": diff.vanished}
    return {kind for kind, what in there.items() if what} | ({"same"} if diff.n_same else set())


def _read(
    file: Path, options: dict[str, Any], stored: Network, policy: Policy
) -> tuple[NetworkImport, dict[str, str]]:
    existing = stored if stored.segments else None
    made = NetworkOptions(**options, existing=existing, policy=policy.network)
    found = read_network(file, options=made)
    if existing is None:
        return found, {}
    network, renamed = keep_ids(stored, found.network, policy=policy.network)
    return replace(found, network=carry_over(stored, network)), renamed


def _options(files: RoadFiles, stored: Network, policy: Policy) -> NetworkOptions:
    """Of the options for roads, those that hold for points as well."""
    kept = {name: files.options[name] for name in ("crs", "near") if files.options.get(name)}
    return NetworkOptions(**kept, policy=policy.network)


def _need(network: Network, file: Path) -> None:
    if not network.segments:
        raise InputError(f"{file.name} speaks of roads, and there are none yet; import them first")
