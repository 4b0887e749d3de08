"""What an import holds: everything is read and judged first, then written in one transaction."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from django.db import transaction

from crossfall.errors import InputError
from crossfall.io.conditions import Survey, read_survey, whole_survey, write_bad_rows
from crossfall.io.fleet import read_fleet
from crossfall.io.photo import Photo
from crossfall.io.policy import read_policy
from crossfall.io.weather import (
    ForecastImport,
    WeatherImport,
    import_forecast,
    import_weather,
)
from crossfall.io.weather.place import doubts_of_place_and_day
from crossfall.model import Condition, Fleet, Network, Policy, Station
from crossfall_app.cli.assumed import assumed_fleet
from crossfall_app.cli.places import usual_first_day
from crossfall_app.cli.speak import count
from crossfall_app.store import repository
from crossfall_app.store.incoming_roads import IncomingRoads, RoadFiles, read_roads
from crossfall_app.store.inspections import PhotosBeside, write_photos
from crossfall_app.store.network_rows import facts_on
from crossfall_app.workspace import Workspace


@dataclass(frozen=True)
class Intake:
    """Files that were read, compared with what is stored, and not yet written."""

    roads: IncomingRoads | None = None
    fleet: Fleet | None = None
    conditions: tuple[Condition, ...] = ()
    policy: Policy | None = None
    survey: Survey | None = None
    photos: tuple[Photo, ...] = ()
    workspace: Workspace | None = None

    @classmethod
    def read(
        cls,
        workspace: Workspace,
        *,
        roads: RoadFiles,
        fleet: Path | None,
        n_graders: int | None,
        yard: tuple[float, float] | None,
        conditions: Path | None,
        policy: Path | None,
        is_merge: bool,
        keep_good: bool = False,
    ) -> Intake:
        """Read every file; nothing is written.

        Raises
        ------
        InputError
            If one of them cannot be used.
        """
        stored, in_force = repository.load_network(), repository.load_policy()
        changed = read_policy(policy, in_force) if policy else None
        rules = changed or in_force
        said = [_OPTION[name] for name, value in roads.options.items() if value]
        if said and roads.roads is None:
            raise InputError(f"{', '.join(said)} is for roads, but no file of roads is given")
        found = None if roads.is_empty else read_roads(roads, stored, rules, is_merge=is_merge)
        network = found.network if found else stored
        survey, seen, photos = _survey(workspace, conditions, network, rules, keep_good=keep_good)
        return cls(
            roads=found,
            fleet=_fleet(workspace, network, fleet, n_graders, yard, rules),
            conditions=seen,
            policy=changed,
            survey=survey,
            photos=photos,
            workspace=workspace,
        )

    def accept(self, *, by: str) -> None:
        """Write all of it, or nothing."""
        if self.workspace is not None:
            write_photos(self.photos, self.workspace.photos)
            if self.bad_rows is not None and self.survey is not None:
                write_bad_rows(self.survey, self.bad_rows)
        with transaction.atomic():
            if self.policy is not None:
                repository.save_policy(self.policy, by=by)
            if self.roads is not None:
                repository.replace_network(
                    self.roads.network,
                    by=by,
                    source=self.roads.source,
                    is_merge=self.roads.is_merge,
                )
            if self.fleet is not None:
                repository.save_fleet(self.fleet, by=by)
            if self.conditions:
                repository.add_conditions(self.conditions, by=by, source="survey file")

    @property
    def bad_rows(self) -> Path | None:
        """The file in which rows that were not taken are handed back; None when all were."""
        if self.workspace is None or self.survey is None or not self.survey.bad:
            return None
        return self.workspace.out / f"{Path(self.survey.file).stem}-not-taken.csv"

    def lines(self, *, most: int) -> Iterator[str]:
        """What was read and what would change, for a person."""
        if self.roads is not None:
            yield from self.roads.lines(most=most)
            yield from self._kept_and_lost(self.roads)
        if self.fleet is not None:
            kinds: dict[str, int] = {}
            for machine in self.fleet.machines:
                kinds[machine.kind] = kinds.get(machine.kind, 0) + 1
            told = ", ".join(count(n, kind.replace("_", " ")) for kind, n in kinds.items())
            yield f"Fleet: {told}; {count(len(self.fleet.operators), 'operator')}"
            yield from _only_drawn(self.fleet)
            notes = {machine.note for machine in self.fleet.machines if "assumed" in machine.note}
            yield from (f"Assumed: graders {note}" for note in sorted(notes))
        if self.conditions:
            photos = f", with {count(len(self.photos), 'photo')}" if self.photos else ""
            yield f"Conditions: {len(self.conditions)}{photos}"
        if self.survey is not None and self.survey.bad:
            yield f"Not taken: {count(len(self.survey.bad), 'row')}"
            yield from (f"  {problem}" for problem in self.survey.problems)
            yield f"They go back to you in {self.bad_rows}"
        if self.policy is not None:
            yield f"Policy: version {self.policy.version}"

    def _kept_and_lost(self, roads: IncomingRoads) -> Iterator[str]:
        """What becomes of the facts of roads whose id is not in the file any more."""
        renamed = roads.renamed
        if renamed:
            some = ", ".join(f"{old} (there {new})" for new, old in list(renamed.items())[:3])
            yield (
                f"{count(len(renamed), 'road')} came back under another id and keep"
                f"{'s' if len(renamed) == 1 else ''} the one that facts hang on: {some}"
                + (" and more" if len(renamed) > 3 else "")
            )
        following = facts_on(roads.diff.replaced)
        if following:
            told = ", ".join(f"{n} {what}" for what, n in following.items())
            yield (
                f"{told} follow their road to the segments it lies on now (split, merged or"
                " renamed); permissions and signatures there are given anew"
            )
        lost = facts_on(roads.diff.lost)
        if lost:
            told = ", ".join(f"{n} {what}" for what, n in lost.items())
            yield (
                f"CAREFUL: {told} hang on segments that vanish and would count for nothing any"
                " more; if the roads are still there, name the column of their ids with"
                " --column id=..., or keep what the file does not mention with --merge"
            )

    def as_json(self) -> dict[str, Any]:
        """The same for a program."""
        told: dict[str, Any] = {}
        if self.roads is not None:
            diff = self.roads.diff
            told |= {
                "file": self.roads.source,
                "added": len(diff.added),
                "changed": len(diff.changed),
                "vanished": len(diff.vanished),
                "ids_kept": self.roads.renamed,
                "facts_on_vanished": facts_on(each.id for each in diff.vanished),
                "facts_that_follow": facts_on(diff.replaced),
                "facts_lost": facts_on(diff.lost),
                "laid_on": list(self.roads.told),
            }
        if self.roads is not None and self.roads.found is not None:
            report = self.roads.found.report
            told |= {
                "format": report.format,
                "segments": report.n_segments,
                "km": report.km,
                "maintained_km": report.maintained_km,
                "not_joined": list(report.parts),
                "gaps": len(report.gaps),
                "unknown_surface": len(report.unknown_surface),
                "assumed": list(report.assumed),
                "problems": [str(problem) for problem in report.problems],
                "marks": [
                    {"kind": kind, "lon": lon, "lat": lat, "text": text}
                    for kind, lon, lat, text in self.roads.marks
                ],
            }
        if self.fleet is not None:
            told["graders"] = len(self.fleet.graders)
            told["operators"] = len(self.fleet.operators)
        if self.conditions:
            told["conditions"] = len(self.conditions)
        if self.survey is not None and self.survey.bad:
            told["rows_not_taken"] = [str(problem) for problem in self.survey.problems]
            told["not_taken_file"] = str(self.bad_rows)
        if self.policy is not None:
            told["policy"] = self.policy.version
        return told


def read_observed(
    files: Sequence[Path],
    *,
    station: str | None,
    place: tuple[float, float],
    elevation_m: float,
    shape: dict[str, Any],
    keep_gaps: bool = False,
) -> list[WeatherImport]:
    """Read observed weather, one station for each file.

    Raises
    ------
    InputError
        If a file cannot be used, or rain is unknown for longer than the moisture of a road can be
        followed and nobody said ``keep_gaps``.
    """
    if station is not None and len(files) > 1:
        raise InputError("--station names one station, but there are several files; leave it out")
    found, policy = [], repository.load_policy()
    for file in files:
        name = station or file.name.split(".")[0]
        stands = Station(name, name, *place, elevation_m)
        with _named(file):
            made = import_weather(file, station=stands, policy=policy.weather, **shape)
        if not keep_gaps:
            _refuse_gap(made, most_days=policy.moisture.weather_gap_days)
        found.append(made)
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
        with _named(file):
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


def with_place_and_day(
    found: Sequence[WeatherImport | ForecastImport], *, today: date
) -> list[WeatherImport | ForecastImport]:
    """The same with what the roads and today make doubtful beside the other doubts."""
    segments = repository.load_network().maintained if repository.has_network() else ()
    policy = repository.load_policy().moisture
    told = []
    for each in found:
        weather = each.forecast if isinstance(each, ForecastImport) else each.record
        doubts = doubts_of_place_and_day(
            weather, segments, file=each.report.file, today=today, policy=policy
        )
        report = replace(each.report, doubts=(*each.report.doubts, *doubts))
        told.append(replace(each, report=report))
    return told


def store_weather(found: Sequence[WeatherImport | ForecastImport], *, by: str) -> None:
    """Write all records and forecasts, or none."""
    with transaction.atomic():
        for each in found:
            if isinstance(each, ForecastImport):
                repository.save_forecast(each.forecast, by=by)
            else:
                repository.merge_weather(each.record, by=by)


def _survey(
    workspace: Workspace,
    file: Path | None,
    network: Network,
    policy: Policy,
    *,
    keep_good: bool,
) -> tuple[Survey | None, tuple[Condition, ...], tuple[Photo, ...]]:
    if file is None:
        if keep_good:
            raise InputError("--keep-good is for a survey; name one with --conditions")
        return None, (), ()
    today = usual_first_day(workspace)
    beside = PhotosBeside(file.resolve().parent, folder=workspace.photos, policy=policy)
    found = read_survey(file, network=network, policy=policy.entry, today=today, also=beside.doubts)
    try:
        looks = found.looks if keep_good else whole_survey(found)
    except InputError as error:
        # UnitsError stays what it is
        listing = "--keep-good without --accept lists every one and writes nothing"
        raise type(error)(f"{error}; {listing}") from None
    if not looks:
        raise InputError(f"{file.name} has no row that can be used; {found.problems[0]}")
    return found, *beside.take(looks)


def _fleet(
    workspace: Workspace,
    network: Network,
    file: Path | None,
    n_graders: int | None,
    yard: tuple[float, float] | None,
    policy: Policy,
) -> Fleet | None:
    if file is not None and n_graders is not None:
        raise InputError(
            "--fleet and --graders are both given; a fleet file says how many there are"
        )
    if file is not None:
        return read_fleet(
            file, currency=workspace.config.currency, policy=repository.load_policy().entry
        )
    if n_graders is None:
        if yard is not None:
            raise InputError("--yard is given without graders; say how many with --graders")
        return None
    if not network.segments:
        raise InputError("--graders is given before any roads; import the roads first")
    return assumed_fleet(network, n_graders, yard, policy.network)


def _only_drawn(fleet: Fleet) -> Iterator[str]:
    """Places called pits of which nobody said what lies there."""
    dug = {pit.place.id for pit in fleet.pits}
    for place in fleet.places:
        if place.kind == "pit" and place.id not in dug:
            yield (
                f"CAREFUL: {place.name} is only drawn on the map; to take gravel from it, describe"
                f' it under [[pit]] with place = "{place.id}", material, stock_m3, price_per_m3 and'
                " price_year"
            )


_OPTION = {
    "columns": "--column",
    "surface_words": "--surface",
    "layer": "--layer",
    "crs": "--crs",
    "near": "--near",
    "width_unit": "--width-unit",
    "length_unit": "--length-unit",
    "maintained_by": "--maintained-by",
    "include_unknown": "--include-unknown",
    "join_crossings": "--join-crossings",
    "skip_bad": "--skip-bad",
}
"""How each option is written at the keyboard."""


@contextmanager
def _named(file: Path) -> Iterator[None]:
    """Every refusal names its file, even where the reader knew only the field."""
    try:
        yield
    except InputError as error:
        if file.name in str(error):
            raise
        raise type(error)(f"{file.name}: {error}") from error


def _refuse_gap(made: WeatherImport, *, most_days: int) -> None:
    record = made.record
    is_unknown = np.concatenate([[False], np.isnan(record.rain_mm), [False]])
    edges = np.flatnonzero(is_unknown[1:] != is_unknown[:-1]).reshape(-1, 2)
    lengths = edges[:, 1] - edges[:, 0]
    if not lengths.size or lengths.max() <= most_days:
        return
    start, n_days = int(edges[lengths.argmax(), 0]), int(lengths.max())
    first = record.first_day + timedelta(days=start)
    raise InputError(
        f"{made.report.file}: rain is unknown from {first} to {first + timedelta(days=n_days - 1)}"
        f" ({n_days} days); fill the gap, or keep it as unknown with --keep-gaps"
    )
