"""What an import holds: everything is read and judged first, then written in one transaction."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from django.db import transaction

from crossfall.errors import InputError
from crossfall.io.network import NetworkOptions, compare, read_network
from crossfall.io.weather import (
    ForecastImport,
    WeatherImport,
    import_forecast,
    import_weather,
)
from crossfall.model import Condition, Fleet, Network, Policy, Station
from crossfall_app.cli import own_files
from crossfall_app.store import repository
from crossfall_app.workspace import Workspace


@dataclass(frozen=True)
class Intake:
    """Files that were read, compared with what is stored, and not yet written."""

    roads: Any = None
    """A :class:`crossfall.io.network.NetworkImport`, or None."""
    diff: Any = None
    is_merge: bool = False
    fleet: Fleet | None = None
    conditions: tuple[Condition, ...] = ()
    policy: Policy | None = None

    @classmethod
    def read(
        cls,
        workspace: Workspace,
        *,
        roads: Path | None,
        options: dict[str, Any],
        fleet: Path | None,
        n_graders: int | None,
        yard: tuple[float, float] | None,
        conditions: Path | None,
        policy: Path | None,
        is_merge: bool,
    ) -> Intake:
        """Read every file; nothing is written.

        Raises
        ------
        InputError
            If one of them cannot be used.
        """
        stored = repository.load_network()
        changed = own_files.read_policy(policy, repository.load_policy()) if policy else None
        found = None
        if roads is not None:
            in_force = changed or repository.load_policy()
            existing = stored if stored.segments else None
            made = NetworkOptions(**options, existing=existing, policy=in_force.network)
            found = read_network(roads, options=made)
        elif any(value for value in options.values()):
            raise InputError("options for roads are given without a file of roads")
        network = found.network if found else stored
        return cls(
            roads=found,
            diff=compare(stored, found.network) if found else None,
            is_merge=is_merge,
            fleet=_fleet(workspace, network, fleet, n_graders, yard),
            conditions=_conditions(conditions, network) if conditions else (),
            policy=changed,
        )

    def accept(self, *, by: str) -> None:
        """Write all of it, or nothing."""
        with transaction.atomic():
            if self.policy is not None:
                repository.save_policy(self.policy, by=by)
            if self.roads is not None:
                repository.replace_network(
                    self.roads.network,
                    by=by,
                    source=self.roads.report.file,
                    is_merge=self.is_merge,
                )
            if self.fleet is not None:
                repository.save_fleet(self.fleet, by=by)
            if self.conditions:
                repository.add_conditions(self.conditions, by=by, source="survey file")

    def lines(self, *, most: int) -> Iterator[str]:
        """What was read and what would change, for a person."""
        if self.roads is not None:
            yield self.roads.report.summary()
            parts = (("Added", self.diff.added), ("Changed", self.diff.changed))
            for name, ids in (*parts, ("Vanished", self._vanished)):
                told = ", ".join(str(each) for each in list(ids)[:most])
                rest = f" and {len(ids) - most} more" if len(ids) > most else ""
                yield f"{name}: {len(ids)} segments" + (f" ({told}{rest})" if ids else "")
        if self.fleet is not None:
            kinds: dict[str, int] = {}
            for machine in self.fleet.machines:
                kinds[machine.kind] = kinds.get(machine.kind, 0) + 1
            told = ", ".join(f"{n} {kind.replace('_', ' ')}" for kind, n in kinds.items())
            yield f"Fleet: {told}; {len(self.fleet.operators)} operators"
            notes = {machine.note for machine in self.fleet.machines if "assumed" in machine.note}
            yield from (f"Assumed: graders {note}" for note in sorted(notes))
        if self.conditions:
            yield f"Conditions: {len(self.conditions)}"
        if self.policy is not None:
            yield f"Policy: version {self.policy.version}"

    def as_json(self) -> dict[str, Any]:
        """The same for a program."""
        told: dict[str, Any] = {}
        if self.roads is not None:
            report = self.roads.report
            told |= {
                "file": report.file,
                "format": report.format,
                "segments": report.n_segments,
                "km": report.km,
                "maintained_km": report.maintained_km,
                "added": len(self.diff.added),
                "changed": len(self.diff.changed),
                "vanished": len(self._vanished),
                "gaps": len(report.gaps),
                "unknown_surface": len(report.unknown_surface),
                "assumed": list(report.assumed),
                "problems": [str(problem) for problem in report.problems],
            }
        if self.fleet is not None:
            told["graders"] = len(self.fleet.graders)
            told["operators"] = len(self.fleet.operators)
        if self.conditions:
            told["conditions"] = len(self.conditions)
        if self.policy is not None:
            told["policy"] = self.policy.version
        return told

    @property
    def _vanished(self) -> Sequence[Any]:
        return () if self.is_merge else tuple(self.diff.vanished)


def read_observed(
    files: Sequence[Path],
    *,
    station: str | None,
    place: tuple[float, float],
    elevation_m: float,
    shape: dict[str, Any],
) -> list[WeatherImport]:
    """Read observed weather, one station for each file."""
    if station is not None and len(files) > 1:
        raise InputError("station names one station, but there are several files; leave it out")
    found = []
    for file in files:
        name = station or file.name.split(".")[0]
        stands = Station(name, name, *place, elevation_m)
        found.append(
            import_weather(file, station=stands, policy=repository.load_policy().weather, **shape)
        )
    return found


def read_forecasts(
    files: Sequence[Path],
    *,
    station: str | None,
    place: tuple[float, float] | None,
    elevation_m: float,
    issued_on: date | None,
    time_zone: str | None,
) -> list[ForecastImport]:
    """Read forecasts; where they are for is in the file unless somebody says it."""
    found = []
    for file in files:
        stands = None
        if place is not None:
            name = station or file.name.split(".")[0]
            stands = Station(name, name, *place, elevation_m)
        found.append(
            import_forecast(
                file,
                station=stands,
                issued_on=issued_on,
                time_zone=time_zone,
                policy=repository.load_policy().weather,
            )
        )
    return found


def store_weather(found: Sequence[WeatherImport | ForecastImport], *, by: str) -> None:
    """Write all records and forecasts, or none."""
    with transaction.atomic():
        for each in found:
            if isinstance(each, ForecastImport):
                repository.save_forecast(each.forecast, by=by)
            else:
                repository.merge_weather(each.record, by=by)


def _fleet(
    workspace: Workspace,
    network: Network,
    file: Path | None,
    n_graders: int | None,
    yard: tuple[float, float] | None,
) -> Fleet | None:
    if file is not None and n_graders is not None:
        raise InputError("fleet and graders are both given; a fleet file says how many there are")
    if file is not None:
        return own_files.read_fleet(file, currency=workspace.config.currency)
    if n_graders is None:
        if yard is not None:
            raise InputError("yard is given without graders; say how many with --graders")
        return None
    if not network.segments:
        raise InputError("graders are given before any roads; import the roads first")
    return own_files.assumed_fleet(network, n_graders, yard)


def _conditions(file: Path, network: Network) -> tuple[Condition, ...]:
    found = own_files.read_conditions(file)
    unknown = [each for each in found if each.segment_id not in network.segment_by_id]
    if unknown:
        raise InputError(
            f"{file.name}: segment_id {unknown[0].segment_id!r} is not on the map"
            f" ({len(unknown)} of {len(found)} rows)"
        )
    return found
