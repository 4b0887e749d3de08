"""Residents' requests on their way in: read, tied to roads and to each other, not yet written."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, tzinfo
from pathlib import Path

from crossfall.errors import Problem
from crossfall.io.requests import RequestFile, read_requests
from crossfall.judgement.requests import match_requests, merge_requests, unplaced
from crossfall.model import District, Request


@dataclass(frozen=True, slots=True)
class StagedRequests:
    """What a file would add; :func:`repository.add_requests` with ``new`` adds it."""

    read: RequestFile
    new: tuple[Request, ...]
    """Requests that are not known yet, with their segment and what they are merged into."""
    lost: tuple[Request, ...]
    """Of those, open ones that no road was found for."""

    @property
    def problems(self) -> tuple[Problem, ...]:
        return self.read.problems

    @property
    def n_known(self) -> int:
        return len(self.read.requests) - len(self.new)

    @property
    def n_merged(self) -> int:
        return sum(each.merged_into is not None for each in self.new)


def stage_requests(file: Path, district: District, *, today: date, zone: tzinfo) -> StagedRequests:
    """Read a file of requests and say what it would add.

    Raises
    ------
    InputError
        If the file cannot be read at all; single entries that cannot be used are problems.
    """
    read = read_requests(file, today=today, zone=zone)
    known = {each.id for each in district.requests}
    rules = district.policy.requests
    fresh = [each for each in read.requests if each.id not in known]
    placed = match_requests(fresh, district.network, rules)
    new = merge_requests(placed, district.requests, rules)
    return StagedRequests(read, new, unplaced(new))
