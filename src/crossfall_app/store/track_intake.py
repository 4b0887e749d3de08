"""What a track or a snapshot would put into the books: read and judged, not yet written."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, tzinfo
from pathlib import Path
from typing import Any

from django.db import transaction

from crossfall.errors import InputError, Problem
from crossfall.io.tracks import (
    TrackMatch,
    TrackProfile,
    hours_between,
    match_file,
    read_snapshots,
)
from crossfall.io.tracks.run import sha256_of
from crossfall.io.written import likely
from crossfall.model import Fleet, Machine, MachineDay, Progress, quiet
from crossfall.records.from_tracks import ProposedWork, machine_days, propose_work
from crossfall_app.store import repository, tracks

_MOST_DOUBTS = 12


@dataclass(frozen=True)
class TrackIntake:
    """A track that was matched, with what it proposes."""

    file: str
    sha256: str
    machine: Machine
    found: TrackMatch | None
    work: tuple[ProposedWork, ...]
    days: tuple[MachineDay, ...]
    problems: tuple[Problem, ...] = ()

    @classmethod
    def read(
        cls,
        file: Path,
        *,
        machine_id: str,
        profile: TrackProfile,
        zone: tzinfo,
        snapshots: Path | None = None,
        only: str | None = None,
        progress: Progress = quiet,
    ) -> TrackIntake:
        """Read and match; nothing is written.

        Raises
        ------
        InputError
            If the machine is unknown or a file cannot be used.
        """
        fleet = repository.load_fleet()
        machine = _machine(fleet, machine_id)
        policy = repository.load_policy().tracks
        if file.suffix.lower() == ".xml":
            if snapshots is not None:
                raise InputError(f"{file.name} is a snapshot itself; leave --snapshots away")
            hours, fuel, problems = _counters(file, machine, only, zone)
            sha256 = sha256_of(file)
            days = tuple(
                MachineDay(
                    id=f"{machine.id}-{day:%Y%m%d}-{tracks.track_name(sha256)}"[:150],
                    machine_id=machine.id, day=day, work_h=0.0, travel_h=0.0, standing_h=0.0,
                    work_km=0.0, travel_km=0.0, engine_h=hours[day], fuel_l=fuel.get(day),
                    source=file.name,
                )
                for day in sorted(hours)
            )  # fmt: skip
            return cls(file.name, sha256, machine, None, (), days, problems)
        network = repository.load_network()
        if not network.segments:
            raise InputError("there are no roads yet to lay a track on; import them first")
        found = match_file(file, network, policy, profile=profile, zone=zone, progress=progress)
        hours, fuel, problems = {}, {}, ()
        if snapshots is not None:
            hours, fuel, problems = _counters(snapshots, machine, only, zone)
        operator = next((each for each in fleet.operators if each.machine_id == machine.id), None)
        work = propose_work(
            found.days, network, tracks.open_orders(machine), machine, operator, policy
        )
        name = tracks.track_name(found.sha256)
        days = machine_days(
            found.days, machine.id, track=name, source=found.file, engine_h=hours, fuel_l=fuel
        )
        return cls(found.file, found.sha256, machine, found, work, days, problems)

    def rows_of(self, segment_ids: Sequence[str]) -> tuple[int, ...]:
        """Numbers of the rows on some segments.

        Raises
        ------
        InputError
            If a segment was not worked.
        """
        worked = {work.segment_id for work in self.work}
        for each in segment_ids:
            if each not in worked:
                raise InputError(
                    f"--without names {each!r}, which the track has no work on"
                    f"{likely(each, tuple(sorted(worked))) if worked else ''}"
                )
        return tuple(n for n, work in enumerate(self.work) if work.segment_id in segment_ids)

    def stage(self, *, by: str) -> int:
        """Keep the proposal until a person accepts or refuses it."""
        return tracks.stage_track(
            self.work,
            self.days,
            file_name=self.file,
            sha256=self.sha256,
            report={"lines": list(self.lines()), "machine": self.machine.id},
            by=by,
        )

    def accept(self, *, by: str, without: Sequence[int] = ()) -> tracks.AcceptedTrack:
        """Write it, all or nothing."""
        with transaction.atomic():
            return tracks.accept_track(self.stage(by=by), by=by, without=without)

    def lines(self) -> Iterator[str]:
        """What was read, for a person."""
        if self.found is not None:
            yield from self.found.summary().splitlines()
        for day in self.days:
            parts = []
            if day.work_km or day.travel_km:
                parts.append(
                    f"{day.work_h:.1f} h and {day.work_km:.1f} km with the blade down,"
                    f" {day.travel_h:.1f} h and {day.travel_km:.1f} km travelling,"
                    f" {day.standing_h:.1f} h standing"
                )
            if day.engine_h is not None:
                parts.append(f"{day.engine_h:.1f} h on the hour meter")
            if day.fuel_l is not None:
                parts.append(f"{day.fuel_l:.0f} L of fuel")
            yield f"{self.machine.name}, {day.day:%a %d %b %Y}: {', '.join(parts)}"

    def doubts(self) -> Iterator[str]:
        """What to look at before accepting."""
        known = {
            (each.machine_id, each.day)
            for each in repository.load_district().machine_days
            if each.work_km > 0
        }
        for day in self.days:
            if (day.machine_id, day.day) in known:
                yield (
                    f"{self.machine.name} already has a track on {day.day}; accept this one only"
                    " if it is of other hours"
                )
        told = [f"{work.road}, {doubt}" for work in self.work for doubt in work.doubts]
        told += [str(problem) for problem in self.problems]
        yield from told[:_MOST_DOUBTS]
        if len(told) > _MOST_DOUBTS:
            yield f"and {len(told) - _MOST_DOUBTS} more; --json lists them all"

    def as_json(self) -> dict[str, Any]:
        """Everything, for a program."""
        found = self.found
        return {
            "file": self.file,
            "machine": self.machine.id,
            "fixes": found.n_fixes if found else 0,
            "set_aside": found.set_aside if found else {},
            "off_road_pct": found.off_road_pct if found else 0.0,
            "days": [
                {
                    "day": day.day.isoformat(), "work_h": day.work_h, "travel_h": day.travel_h,
                    "standing_h": day.standing_h, "work_km": day.work_km,
                    "travel_km": day.travel_km, "engine_h": day.engine_h, "fuel_l": day.fuel_l,
                    "blade": day.blade,
                }
                for day in self.days
            ],
            "work": [
                {
                    "day": work.day.isoformat(), "segment_id": work.segment_id, "road": work.road,
                    "passes_forward": work.n_forward, "passes_backward": work.n_backward,
                    "from_m": work.from_m, "to_m": work.to_m, "covered_m": work.covered_m,
                    "hours": work.hours, "blade": work.blade, "card": work.card_number,
                    "ordered_passes": work.planned_passes, "is_finished": work.is_finished,
                    "speed_km_h": work.speed_km_h, "speed_error_km_h": work.speed_error_km_h,
                    "fast_legs": work.n_fast, "would": work.would, "doubts": list(work.doubts),
                }
                for work in self.work
            ],
            "problems": [str(problem) for problem in self.problems],
        }  # fmt: skip


def _machine(fleet: Fleet, machine_id: str) -> Machine:
    for machine in fleet.machines:
        if machine_id in (machine.id, machine.name):
            return machine
    known = tuple(machine.id for machine in fleet.machines)
    if not known:
        raise InputError("there are no machines yet; bring in a fleet first")
    raise InputError(f"machine {machine_id!r} is not in the fleet{likely(machine_id, known)}")


def _counters(
    file: Path, machine: Machine, only: str | None, zone: tzinfo
) -> tuple[dict[date, float], dict[date, float], tuple[Problem, ...]]:
    """Hours and fuel by the local day on which the machine began to use them."""
    found = read_snapshots(file)
    name = only or next((n for n in (machine.id, machine.name) if n in found.machines), None)
    if name is None and len(found.machines) == 1:
        name = found.machines[0]
    if name not in found.machines:
        raise InputError(
            f"{file.name} has {', '.join(found.machines) or 'no machine that can be used'}; say"
            " which is meant with --only"
        )
    spans, wrong = hours_between([each for each in found.readings if each.machine == name])
    hours: dict[date, float] = {}
    fuel: dict[date, float] = {}
    for span in spans:
        day = span.start.astimezone(zone).date()
        hours[day] = hours.get(day, 0.0) + span.hours
        if span.fuel_l is not None:
            fuel[day] = fuel.get(day, 0.0) + span.fuel_l
    return hours, fuel, (*found.problems, *wrong)
