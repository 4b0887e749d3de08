"""Residents' requests at the keyboard: brought in, placed, and answered by a named person."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from crossfall.errors import InputError
from crossfall_app.cli.places import (
    AcceptOption,
    JsonOption,
    WorkspaceOption,
    the_person,
    the_workspace,
    usual_first_day,
    usual_moment,
)
from crossfall_app.cli.speak import new_table, remark, say, say_json, say_table

GROUP_HELP = "Residents' requests, tied to roads and answered."


def import_(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="CSV, or JSON in the shape of Open311.")
    ],
    accept: AcceptOption = False,
    keep_good: Annotated[
        bool, typer.Option("--keep-good", help="Take what can be used; list the rest.")
    ] = False,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Bring requests in, tied to roads and to each other.

    Who the residents are is never taken in. Requests that are known already are passed over.
    """
    opened = the_workspace(None, workspace)
    from crossfall.errors import refuse
    from crossfall_app.store import repository
    from crossfall_app.store.incoming import stage_requests

    district = _district()
    zone = opened.now().tzinfo
    assert zone is not None, "a workspace has a time zone"
    staged = stage_requests(file, district, today=usual_first_day(opened), zone=zone)
    if staged.problems and not keep_good:
        try:
            refuse(staged.problems)
        except InputError as error:
            listing = "--keep-good without --accept lists every one and writes nothing"
            raise InputError(f"{error}; {listing}") from None
    if accept:
        repository.add_requests(staged.new, by=the_person())
    if as_json:
        say_json(
            {
                "accepted": accept,
                "new": len(staged.new),
                "known_already": staged.n_known,
                "merged": staged.n_merged,
                "unplaced": [each.id for each in staged.lost],
                "problems": [str(problem) for problem in staged.problems],
                "requests": [_row(each, district) for each in staged.new],
            }
        )
        return
    say(staged.read.summary())
    for problem in staged.problems:
        say(f"  {problem}")
    known = f"; {staged.n_known} are known already" if staged.n_known else ""
    say(f"{len(staged.new)} are new, {staged.n_merged} of them about a matter that is open{known}.")
    if staged.lost:
        say(
            f"No road was found for {len(staged.lost)}:"
            f" {', '.join(each.id for each in staged.lost)}."
        )
        remark("place them with: crossfall requests place REQUEST SEGMENT")
    if not accept:
        remark("nothing was written; add --accept to write it")


def list_(
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Open matters, most voices first, and the work that answers."""
    opened = the_workspace(None, workspace)
    from crossfall.judgement.requests import matters

    district = _district()
    drafts = {each.matter.head.id: each for each in _drafts(district, opened)}
    found = matters(district.requests)
    if as_json:
        rows = [
            {
                **_row(each.head, district),
                "voices": each.n_voices,
                "with": [other.id for other in each.others],
                "draft": drafts[each.head.id].text if each.head.id in drafts else None,
                "record": drafts[each.head.id].record.id if each.head.id in drafts else None,
            }
            for each in found
        ]
        say_json({"matters": rows})
        return
    table = new_table("Key", "Voices", "Since", "Road", "About", "Work", right=("Voices",))
    for each in found:
        row, draft = _row(each.head, district), drafts.get(each.head.id)
        done = f"{draft.record.treatment.label}, {draft.record.done_on}" if draft else ""
        table.add_row(
            each.head.id,
            str(each.n_voices),
            str(row["received_on"]),
            row["road"] or "not placed",
            each.head.text[:60],
            done,
        )
    say_table(table)
    say(f"{len(found)} matters are open; work answers {len(drafts)} of them.")
    if drafts:
        remark("read a draft with: crossfall requests reply REQUEST")


def place(
    request: Annotated[str, typer.Argument(metavar="REQUEST", help="Its key.")],
    segment: Annotated[str, typer.Argument(metavar="SEGMENT", help="The segment it is about.")],
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say which segment a request is about."""
    the_workspace(None, workspace)
    from crossfall_app.store import repository

    moved = repository.place_request(request, segment, by=the_person())
    if as_json:
        say_json(_row(moved, _district()))
    else:
        say(f"Request {moved.id} is about {segment}.")


def reply(
    request: Annotated[str, typer.Argument(metavar="REQUEST", help="Its key.")],
    approve: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="The person who approves the words and closes it."),
    ] = None,
    text: Annotated[
        str | None, typer.Option(help="Words of your own instead of the draft.")
    ] = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Read the draft of a reply; approve it by name.

    crossfall never sends anything: the approved words are printed for whoever tells the resident.
    """
    opened = the_workspace(None, workspace)
    from crossfall.judgement.requests import matters
    from crossfall_app.store import repository

    district = _district()
    matter = next(
        (
            each
            for each in matters(district.requests)
            if request in [asked.id for asked in each.requests]
        ),
        None,
    )
    if matter is None:
        raise InputError(f"request {request!r} is not open; see: crossfall requests list")
    draft = next(
        (each for each in _drafts(district, opened) if each.matter.head.id == matter.head.id), None
    )
    words = text or (draft.text if draft else None)
    if words is None:
        raise InputError(
            f"no finished work answers request {request!r} yet; wait for its record, or give the"
            " words with --text"
        )
    record_id = draft.record.id if draft else None
    ids = [each.id for each in matter.requests]
    if approve is not None:
        repository.answer_requests(
            ids,
            words,
            approved_by=approve,
            approved_at=usual_moment(opened),
            closed_on=usual_first_day(opened),
            record_id=record_id,
            by=the_person(),
        )
    if as_json:
        say_json({"requests": ids, "reply": words, "record": record_id, "approved_by": approve})
        return
    say(words)
    if approve is None:
        remark(f"a draft for {', '.join(ids)}; approve it with: --approve NAME")
    else:
        remark(f"approved by {approve}; {', '.join(ids)} closed. Nothing was sent: tell them")


def _district() -> Any:
    from crossfall_app.store import repository

    if not repository.has_network():
        raise InputError("the workspace has no network; bring one in with: crossfall import")
    return repository.load_district()


def _drafts(district: Any, opened: Any) -> Any:
    from crossfall.records.replies import draft_replies

    return draft_replies(
        district.requests, district.records, district.network, today=usual_first_day(opened)
    )


def _row(request: Any, district: Any) -> dict[str, Any]:
    segment = district.network.segment_by_id.get(request.segment_id or "")
    return {
        "request": request.id,
        "received_on": request.received_on.isoformat(),
        "text": request.text,
        "status": request.status,
        "segment": request.segment_id,
        "road": segment.route if segment is not None else "",
        "distance_m": None if request.distance_m is None else round(request.distance_m, 1),
        "merged_into": request.merged_into,
    }


COMMANDS = (
    ("requests import", import_, False),
    ("requests list", list_, False),
    ("requests place", place, False),
    ("requests reply", reply, False),
)
