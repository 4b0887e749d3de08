"""Requests brought in from a file: shown first, taken in by a second step."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

import re
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from crossfall.errors import InputError
from crossfall_app.store import repository
from crossfall_app.store.incoming import StagedRequests, stage_requests
from crossfall_app.web.desk import Desk, this_morning
from crossfall_app.web.pages import measures, page, sentence
from crossfall_app.web.present.measures import day_name
from crossfall_app.workspace import current_workspace

_MOST_BYTES = 1_000_000
_KINDS = (".csv", ".json")
_MOST_LISTED = 200
_LONGEST_NAME = 80


@require_POST
def bring_in(request: HttpRequest) -> HttpResponse:
    """A file: what it would add. The same text sent back with ``accept``: added."""
    desk = this_morning()
    try:
        name, text = _sent(request)
        staged = _staged(name, text, desk)
    except InputError as error:
        messages.warning(request, sentence(error))
        return redirect(f"{reverse('ledger')}#requests")
    if "accept" not in request.POST:
        return _shown(request, desk, staged, name, text, status=200)
    if staged.problems and "keep_good" not in request.POST:
        messages.warning(request, "Nothing was taken in: some entries cannot be used.")
        return _shown(request, desk, staged, name, text, status=422)
    n = repository.add_requests(staged.new, by=request.user.get_username())
    messages.success(
        request, f"{n} request{'' if n == 1 else 's'} taken in, {staged.n_merged} of them merged."
    )
    return redirect(f"{reverse('ledger')}#requests")


def _sent(request: HttpRequest) -> tuple[str, str]:
    sent: UploadedFile | None = request.FILES.get("file")
    if sent is None:
        return _plain(request.POST.get("name", "")), request.POST.get("text", "")
    name = _plain(sent.name or "")
    if (sent.size or 0) > _MOST_BYTES:
        raise InputError(
            f"{name} has {(sent.size or 0) / 1e6:.1f} MB; expected at most 1 MB here, so bring it"
            " in with: crossfall requests import"
        )
    try:
        return name, sent.read().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{name} is not UTF-8 text; save it as CSV UTF-8 or JSON") from None


def _plain(name: str) -> str:
    """A file's name as people see it, of characters that any disk holds."""
    return re.sub(r"[^\w .()-]", "_", name)[-_LONGEST_NAME:]


def _staged(name: str, text: str, desk: Desk) -> StagedRequests:
    if Path(name).suffix.lower() not in _KINDS:
        raise InputError(f"{name or 'the file'} is of another kind; expected .csv or .json")
    zone = current_workspace().now().tzinfo
    assert zone is not None, "a workspace has a time zone"
    with TemporaryDirectory() as folder:
        file = Path(folder) / name
        file.write_text(text, encoding="utf-8", newline="")
        return stage_requests(file, desk.district, today=desk.today, zone=zone)


def _shown(
    request: HttpRequest, desk: Desk, staged: StagedRequests, name: str, text: str, *, status: int
) -> HttpResponse:
    segments, units = desk.district.network.segment_by_id, measures()
    rows: list[dict[str, Any]] = [
        {
            "id": each.id,
            "received": day_name(each.received_on, desk.today),
            "text": each.text,
            "road": segments[each.segment_id].route if each.segment_id in segments else "",
            "segment_id": each.segment_id or "",
            "how": ""
            if each.distance_m is None
            else f"{units.show(each.distance_m, 'm')} from the place",
            "said": each.road,
            "merged_into": each.merged_into or "",
            "status": each.status,
        }
        for each in staged.new[:_MOST_LISTED]
    ]
    return page(
        request,
        "requests_in.html",
        "Bring requests in",
        here="ledger",
        status=status,
        file=name,
        text=text,
        told=staged.read.summary(),
        rows=rows,
        n_more=max(len(staged.new) - _MOST_LISTED, 0),
        n_new=len(staged.new),
        n_known=staged.n_known,
        n_merged=staged.n_merged,
        n_lost=len(staged.lost),
        problems=[units.words(str(each)) for each in staged.problems],
    )
