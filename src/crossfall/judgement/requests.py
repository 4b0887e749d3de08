"""Residents' requests tied to roads, and those about one matter brought together.

A request with a place goes to the nearest road the agency blades, with the distance kept; one with
a road's name goes to that road, and among its segments to the nearest. A name alone is enough only
where the road is one segment: else a person places it. Requests about one segment that come soon
after each other are one matter: each still counts as a voice, and all are answered together.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from crossfall.model import Network, Request
from crossfall.model.policy import RequestsPolicy
from crossfall.network.linear import LinearReference

_SHORT = {
    "rd": "road",
    "ave": "avenue",
    "av": "avenue",
    "st": "street",
    "ln": "lane",
    "dr": "drive",
    "hwy": "highway",
    "co": "county",
    "cr": "county road",
    "twp": "township",
    "n": "north",
    "s": "south",
    "e": "east",
    "w": "west",
    "ct": "court",
    "trl": "trail",
}


@dataclass(frozen=True, slots=True)
class Matter:
    """Requests about one thing, the first of them at the head."""

    head: Request
    others: tuple[Request, ...]

    @property
    def requests(self) -> tuple[Request, ...]:
        """All of them, in order."""
        return (self.head, *self.others)

    @property
    def n_voices(self) -> int:
        """How many residents asked."""
        return 1 + len(self.others)


def match_requests(
    requests: Iterable[Request], network: Network, policy: RequestsPolicy
) -> tuple[Request, ...]:
    """Requests with their segment, metre and distance, in the same order.

    One that is placed already stays where it is; one that fits no road keeps ``segment_id`` None.
    """
    by_name: dict[str, list[str]] = {}
    for segment in network.maintained:
        by_name.setdefault(plain_name(segment.route), []).append(segment.id)
    ours = Network(network.nodes, network.maintained)
    roads = LinearReference(ours) if ours.segments else None
    return tuple(_matched(each, roads, by_name, policy) for each in requests)


def merge_requests(
    new: Iterable[Request], known: Iterable[Request], policy: RequestsPolicy
) -> tuple[Request, ...]:
    """``new`` requests, each about an open matter merged into the request at its head.

    Examples
    --------
    >>> from datetime import date
    >>> told = [Request(key, date(2026, 5, day), "washboard", segment_id="s")
    ...         for key, day in (("a", 1), ("b", 9), ("c", 12))]
    >>> [each.merged_into for each in merge_requests(told, (), RequestsPolicy(merge_days=10))]
    [None, 'a', 'a']
    """
    heads: dict[str, tuple[str, int]] = {}
    for each in sorted(known, key=_when):
        _follow(each, heads, policy)
    given = tuple(new)
    merged: dict[str, Request] = {}
    for each in sorted(given, key=_when):
        merged[each.id] = _follow(each, heads, policy)
    return tuple(merged[each.id] for each in given)


def matters(requests: Iterable[Request], *, only_open: bool = True) -> tuple[Matter, ...]:
    """Requests brought together, most voices first, then the oldest."""
    told = [each for each in requests if each.status == "open" or not only_open]
    by_id = {each.id: each for each in told}
    groups: dict[str, list[Request]] = {}
    for each in told:
        into = each.merged_into
        groups.setdefault(into if into in by_id else each.id, []).append(each)
    made = []
    for head_id, members in groups.items():
        others = sorted((each for each in members if each.id != head_id), key=_when)
        made.append(Matter(by_id[head_id], tuple(others)))
    return tuple(sorted(made, key=lambda each: (-each.n_voices, _when(each.head))))


def plain_name(text: str) -> str:
    """A road's name without house number, short forms and signs.

    Examples
    --------
    >>> plain_name("4512 Osier Creek Rd."), plain_name("CR 12"), plain_name("180th Ave N")
    ('osier creek road', 'county road 12', '180th avenue north')
    """
    street = text.split(",", maxsplit=1)[0]
    words = re.sub(r"[^\w\s]", " ", street.lower()).split()
    if len(words) > 2 and words[0].isdigit():
        words = words[1:]
    return " ".join(_SHORT.get(word, word) for word in words)


def _matched(
    request: Request,
    roads: LinearReference | None,
    by_name: dict[str, list[str]],
    policy: RequestsPolicy,
) -> Request:
    if request.segment_id is not None or roads is None:
        return request
    named = by_name.get(plain_name(request.road), []) if request.road else []
    if request.lon is None or request.lat is None:
        return replace(request, segment_id=named[0]) if len(named) == 1 else request
    lon, lat = request.lon, request.lat
    near = [roads.project(segment_id, lon, lat) for segment_id in named]
    found = min(near, key=lambda place: place.offset_m, default=None)
    if found is None or found.offset_m > policy.nearest_m:
        # What the resident points at outweighs a name that lies elsewhere
        found = roads.snap(lon, lat, within_m=policy.nearest_m)
    if found is None:
        return request
    return replace(request, segment_id=found.segment_id, at_m=found.at_m, distance_m=found.offset_m)


def _follow(request: Request, heads: dict[str, tuple[str, int]], policy: RequestsPolicy) -> Request:
    """The request merged into the open matter on its segment, which now lasts until its day."""
    if request.segment_id is None or request.status != "open":
        return request
    day = request.received_on.toordinal()
    head = heads.get(request.segment_id)
    if request.merged_into is not None:
        heads[request.segment_id] = (request.merged_into, day)
        return request
    if head is None or day - head[1] > policy.merge_days:
        heads[request.segment_id] = (request.id, day)
        return request
    heads[request.segment_id] = (head[0], day)
    return replace(request, merged_into=head[0])


def _when(request: Request) -> tuple[int, str]:
    return request.received_on.toordinal(), request.id


def unplaced(requests: Sequence[Request]) -> tuple[Request, ...]:
    """Open requests that no road was found for; a person says which."""
    return tuple(each for each in requests if each.status == "open" and each.segment_id is None)
