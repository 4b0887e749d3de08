"""A look at a road, told from its page, and the photos that were sent with it."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_GET, require_http_methods

from crossfall.errors import InputError, Problem
from crossfall.io.photo import refuse_size
from crossfall.io.survey_doubts import MEASURED
from crossfall.io.written import noun_of
from crossfall.model import Condition, Policy, Segment
from crossfall_app.store.inspections import (
    inspection_doubts,
    keep_inspection,
    photo_file,
    prepare_photos,
)
from crossfall_app.web.desk import Desk, this_morning
from crossfall_app.web.pages import measures, page
from crossfall_app.web.present.inspect import cells_of, inspection_form
from crossfall_app.workspace import current_workspace


@require_http_methods(["GET", "POST"])
def inspect(request: HttpRequest, segment_id: str) -> HttpResponse:
    """The form; posted, the look is kept whole or the form says what is wrong."""
    desk = this_morning()
    segment = desk.district.network.segment_by_id.get(segment_id)
    if segment is None or not segment.is_maintained:
        raise Http404
    if request.method == "GET":
        return _form(request, desk, segment, {}, [])
    problems: list[Problem] = []
    look = _look(request.POST, segment, problems)
    pictures = _pictures(request, desk.district.policy, problems)
    if look is not None:
        problems += inspection_doubts(
            look,
            network=desk.district.network,
            policy=desk.district.policy,
            earlier=desk.district.conditions,
            today=desk.today,
        )
    if look is None or problems:
        return _form(request, desk, segment, request.POST.dict(), problems)
    kept = keep_inspection(
        look,
        pictures,
        network=desk.district.network,
        policy=desk.district.policy,
        earlier=desk.district.conditions,
        today=desk.today,
        folder=current_workspace().photos,
        by=request.user.get_username(),
    )
    n = len(kept.photos)
    told = f", with {n} photo{'s' if n > 1 else ''}" if n else ""
    messages.success(request, f"Inspection of {segment.route} kept{told}.")
    following = _following(desk, segment)
    if "onward" in request.POST and following is not None:
        return redirect("inspect", segment_id=following.id)
    return redirect("road", segment_id=segment.id)


@require_GET
def photo(request: HttpRequest, name: str) -> FileResponse:
    """One photo."""
    found = photo_file(name, current_workspace().photos)
    if found is None:
        raise Http404
    file, media_type = found
    return FileResponse(
        file.open("rb"),
        content_type=media_type,
    )


def _look(posted: Mapping[str, str], segment: Segment, problems: list[Problem]) -> Condition | None:
    cells = cells_of(posted, segment.id, measures())
    look = noun_of(Condition, cells, "inspection", problems, is_text=True)
    if look is None:
        return None
    has_figure = any(getattr(look, name) is not None for name in MEASURED)
    return replace(look, method="measured" if has_figure else "estimated")


def _pictures(
    request: HttpRequest, policy: Policy, problems: list[Problem]
) -> list[tuple[str, bytes]]:
    """What was sent, read only when its size is believed, and judged before anything is kept."""
    sent: list[UploadedFile] = request.FILES.getlist("photos")
    read: list[tuple[str, bytes]] = []
    for each in sent:
        try:
            name = each.name or "without a name"
            refuse_size(each.size or 0, name, policy.entry)
            read.append((name, each.read()))
            prepare_photos(read[-1:], policy)
        except InputError as error:
            problems.append(Problem("inspection, photos", str(error)))
    if not problems:
        try:
            prepare_photos(read, policy)
        except InputError as error:
            problems.append(Problem("inspection, photos", str(error)))
    return read


def _form(
    request: HttpRequest,
    desk: Desk,
    segment: Segment,
    posted: Mapping[str, str],
    problems: list[Problem],
) -> HttpResponse:
    form = inspection_form(
        segment,
        posted,
        problems,
        today=desk.today,
        observer=request.user.get_username(),
        most_mb=desk.district.policy.entry.photo_max_mb,
        following=_following(desk, segment),
        measures=measures(),
    )
    status = 422 if problems else 200
    return page(
        request,
        "inspect.html",
        f"Inspect {segment.route}",
        here="roads",
        status=status,
        form=form,
    )


def _following(desk: Desk, segment: Segment) -> Segment | None:
    """The next stretch of the same road that is ours to look at."""
    ahead = [
        each
        for each in desk.district.network.maintained
        if each.route == segment.route and each.from_m > segment.from_m
    ]
    return min(ahead, key=lambda each: each.from_m, default=None)
