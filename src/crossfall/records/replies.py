"""What may be said to residents, from what the records say was done; a draft, never sent.

A finished record on the segment that is not older than the request answers it. The draft says what
was done, where and when, and nothing that the record does not: whether it helped is for the
resident to say. A named person reads it, changes it if need be, and approves it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from crossfall.judgement.requests import Matter, matters
from crossfall.model import Network, Request, Treatment, WorkRecord

_DONE = {
    Treatment.BLADING: "smoothed the surface with a grader",
    Treatment.RESHAPING: "cut the surface and shaped it again",
    Treatment.SCARIFY_REMIX: "loosened the gravel, mixed it and shaped it again",
    Treatment.REGRAVELLING: "brought new gravel and shaped it",
    Treatment.SPOT_GRAVEL: "put gravel on the worn places",
    Treatment.SHOULDER_PULLING: "pulled the shoulders in",
    Treatment.SECONDARY_DITCH_REMOVAL: "took out the ridge along the edge, so that water runs off",
    Treatment.DITCH_CLEANING: "cleaned the ditch",
    Treatment.CULVERT_CLEARING: "cleared the culvert",
    Treatment.DUST_CONTROL: "treated the surface against dust",
    Treatment.WINDROW_PICKUP: "picked up the ridge of gravel",
    Treatment.ENGINEER: "had an engineer look at the road",
}


@dataclass(frozen=True, slots=True)
class ReplyDraft:
    """Words for one matter, and the record they rest on."""

    matter: Matter
    record: WorkRecord
    text: str

    @property
    def request_ids(self) -> tuple[str, ...]:
        """Requests that the words answer."""
        return tuple(each.id for each in self.matter.requests)


def draft_replies(
    requests: Iterable[Request], records: Iterable[WorkRecord], network: Network, *, today: date
) -> tuple[ReplyDraft, ...]:
    """Drafts for open requests that a record answers; superseded and unfinished work does not."""
    known = tuple(records)
    superseded = {each.supersedes for each in known if each.supersedes}
    done: dict[str, list[WorkRecord]] = {}
    for record in sorted(known, key=lambda each: (each.done_on, each.id)):
        counts = record.is_finished and record.treatment is not Treatment.NONE
        if counts and record.id not in superseded and record.done_on <= today:
            done.setdefault(record.segment_id, []).append(record)
    drafts = []
    for matter in matters(requests):
        head = matter.head
        last = max(each.received_on for each in matter.requests)
        for record in done.get(head.segment_id or "", ()):
            if record.done_on >= last and _reaches(record, head):
                drafts.append(ReplyDraft(matter, record, _words(matter, record, network)))
                break
    return tuple(drafts)


def _reaches(record: WorkRecord, request: Request) -> bool:
    """Whether work on a part of the segment was done where the request points."""
    if request.at_m is None:
        return True
    from_m = record.from_m or 0.0
    return from_m <= request.at_m and (record.to_m is None or request.at_m <= record.to_m)


def _words(matter: Matter, record: WorkRecord, network: Network) -> str:
    segment = network.segment_by_id.get(record.segment_id)
    road = segment.route if segment is not None else record.segment_id
    asked = matter.head.received_on
    done = f"{record.done_on:%A} {record.done_on.day} {record.done_on:%B %Y}"
    where = ""
    if record.from_m is not None and record.to_m is not None:
        where = f" over {record.to_m - record.from_m:.0f} m of it"
    text = (
        f"Thank you for telling us about {road} on {asked.day} {asked:%B}. On {done} our crew"
        f" {_DONE.get(record.treatment, 'worked on it')}{where}."
    )
    if record.loose_gravel_m3:
        text += f" {record.loose_gravel_m3:.0f} m3 of gravel were placed."
    if record.windrow_side is not None:
        text += " A ridge of gravel is left along the side for now; please drive with care there."
    return f"{text} If it troubles you still, tell us again and name request {matter.head.id}."
