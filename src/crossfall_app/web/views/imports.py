"""The import page: a file is read, shown with the difference on a map, accepted or refused."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

import hashlib
import re
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST, require_safe

from crossfall.errors import InputError
from crossfall.io.network import compare
from crossfall.report.import_map import import_map
from crossfall_app.store import models, repository, tracks
from crossfall_app.store.incoming_roads import RoadFiles, draw, read_roads
from crossfall_app.store.network_rows import facts_on, fingerprint, staged_network
from crossfall_app.store.open311 import accept_request
from crossfall_app.web.pages import measures, page, sentence
from crossfall_app.web.present.imports import (
    difference,
    key_of,
    machine_choices,
    marks_of,
    stage_lines,
    work_rows,
)
from crossfall_app.workspace import current_workspace

_MOST_BYTES = 300_000_000
_MOST_SHOWN = 60
_LONGEST_NAME = 80


@require_safe
def imports(request: HttpRequest) -> HttpResponse:
    """What waits, what was settled, and two forms to bring a file in."""
    tracks.purge_tracks(by="retention")
    policy = repository.load_policy().tracks
    rows = models.ImportStage.objects.order_by("-pk").defer("payload")[:_MOST_SHOWN]
    return page(
        request,
        "imports.html",
        "Imports",
        here="roads",
        rows=stage_lines(rows),
        machines=machine_choices(repository.load_fleet().machines),
        are_tracks_on=policy.is_on,
        keep_days=policy.keep_days,
        home_zone=current_workspace().config.time_zone,
        has_network=repository.has_network(),
    )


@require_POST
def bring_roads(request: HttpRequest) -> HttpResponse:
    """Read a file of roads and keep it beside, until somebody accepts or refuses it."""
    try:
        stored, policy = repository.load_network(), repository.load_policy()
        options = {
            "crs": request.POST.get("crs", "").strip() or None,
            "layer": request.POST.get("layer", "").strip() or None,
            "include_unknown": "include_unknown" in request.POST,
        }
        with TemporaryDirectory() as folder:
            file, sha256 = _put(request, Path(folder))
            found = read_roads(
                RoadFiles(roads=file, options=options),
                stored,
                policy,
                is_merge="merge" in request.POST,
            )
        number = repository.stage_network(
            found.network,
            file_name=file.name,
            sha256=sha256,
            report={
                "lines": list(found.lines(most=0)),
                "marks": [list(mark) for mark in found.marks],
                "is_merge": found.is_merge,
                "ids_kept": len(found.renamed),
                "base": fingerprint(stored),
            },
            by=request.user.get_username(),
        )
    except InputError as error:
        messages.warning(request, sentence(error))
        return redirect("imports")
    return redirect("import", number)


@require_safe
def roads(request: HttpRequest, number: int) -> HttpResponse:
    """A staged network: the difference as it is now, on a map and in lists."""
    try:
        row, network = staged_network(number)
    except InputError as error:
        messages.warning(request, sentence(error))
        return redirect("imports")
    units, stored = measures(), repository.load_network()
    diff = compare(stored, network, policy=repository.load_policy().network)
    is_merge = bool(row.report.get("is_merge"))
    follow = frozenset[str]() if is_merge else diff.replaced
    lost = () if is_merge else diff.lost
    return page(
        request,
        "import_roads.html",
        f"Import of {row.file_name}",
        here="roads",
        row=row,
        lines=[units.words(line) for line in row.report.get("lines", [])],
        ids_kept=row.report.get("ids_kept", 0),
        is_merge=is_merge,
        is_stale=row.report.get("base") != fingerprint(stored),
        key=key_of(diff),
        lists=difference(diff, units),
        marks=marks_of(row.report, units),
        lost=[f"{n} {what}" for what, n in facts_on(lost).items()],
        follow=[f"{n} {what}" for what, n in facts_on(follow).items()],
    )


@require_safe
def roads_map(request: HttpRequest, number: int) -> HttpResponse:
    """The difference on a map."""
    try:
        row, network = staged_network(number)
    except InputError as error:
        return HttpResponse(sentence(error), status=404, content_type="text/plain; charset=utf-8")
    diff = compare(repository.load_network(), network, policy=repository.load_policy().network)
    marks = tuple((str(m[0]), float(m[1]), float(m[2]), str(m[3])) for m in row.report["marks"])
    drawn = draw(network, diff, marks, units=measures().system, width=1000.0)
    return HttpResponse(drawn, content_type="image/svg+xml")


@require_POST
def accept_roads(request: HttpRequest, number: int) -> HttpResponse:
    """Make the staged network the map."""
    try:
        change = repository.accept_stage(number, by=request.user.get_username())
    except InputError as error:
        messages.warning(request, sentence(error))
        return redirect("imports")
    messages.success(
        request,
        f"Accepted: {change.n_added} new, {change.n_changed} changed, {change.n_vanished} gone,"
        f" {change.n_same} as they were.",
    )
    return redirect("roads")


@require_POST
def refuse(request: HttpRequest, number: int) -> HttpResponse:
    """Forget what was staged."""
    try:
        repository.drop_stage(number)
        messages.success(request, "Refused; nothing was changed.")
    except InputError as error:
        messages.warning(request, sentence(error))
    return redirect("imports")


@require_POST
def bring_track(request: HttpRequest) -> HttpResponse:
    """Match a machine's track and keep the proposal, where the agency uses tracks."""
    from crossfall.io.tracks import TrackProfile
    from crossfall.io.tracks.profile import zone_named
    from crossfall_app.store.track_intake import TrackIntake

    try:
        tracks.refuse_when_off()
        home = current_workspace().config.time_zone
        said = request.POST.get("zone", "").strip()
        profile = TrackProfile(zone=zone_named(said) if said else None)
        with TemporaryDirectory() as folder:
            file, _ = _put(request, Path(folder))
            intake = TrackIntake.read(
                file,
                machine_id=request.POST.get("machine", ""),
                profile=profile,
                zone=ZoneInfo(home),
            )
            number = intake.stage(by=request.user.get_username())
    except InputError as error:
        messages.warning(request, sentence(error))
        return redirect("imports")
    return redirect("import-track", number)


@require_safe
def track(request: HttpRequest, number: int) -> HttpResponse:
    """What a track proposes."""
    try:
        staged = tracks.load_track(number)
    except InputError as error:
        messages.warning(request, sentence(error))
        return redirect("imports")
    units, network = measures(), repository.load_network()
    return page(
        request,
        "import_track.html",
        f"Track {staged.file}",
        here="roads",
        staged=staged,
        is_open=staged.status == "staged",
        lines=[units.words(line) for line in staged.report.get("lines", [])],
        rows=work_rows(staged.work, network, current_workspace().today(), units),
        keep_days=repository.load_policy().tracks.keep_days,
    )


@require_safe
def track_map(request: HttpRequest, number: int) -> HttpResponse:
    """The worked roads among the others."""
    try:
        staged = tracks.load_track(number)
    except InputError as error:
        return HttpResponse(sentence(error), status=404, content_type="text/plain; charset=utf-8")
    network = repository.load_network()
    drawn = import_map(
        network,
        added={work.segment_id for work in staged.work if not work.n_fast},
        changed={work.segment_id for work in staged.work if work.n_fast},
        units=measures().system,
        width=1000.0,
        most_height=420.0,
        title="Where the machine worked",
    )
    return HttpResponse(drawn, content_type="image/svg+xml")


@require_POST
def accept_track(request: HttpRequest, number: int) -> HttpResponse:
    """Write a track's proposal into the books, but for the rows that were left out."""
    left = {int(each) for each in request.POST.getlist("leave_out") if each.isdigit()}
    try:
        done = tracks.accept_track(number, by=request.user.get_username(), without=left)
    except InputError as error:
        messages.warning(request, sentence(error))
        return redirect("imports")
    messages.success(request, f"Accepted: {done.summary()}.")
    return redirect("ledger")


@require_POST
def accept_sent_request(request: HttpRequest, number: int) -> HttpResponse:
    """Take in a request that came over Open311."""
    try:
        taken = accept_request(number, by=request.user.get_username())
        messages.success(request, f"Request {taken.id} is in the ledger.")
    except InputError as error:
        messages.warning(request, sentence(error))
    return redirect("imports")


def _put(request: HttpRequest, folder: Path) -> tuple[Path, str]:
    """The file that was sent, on disk under a plain name, and its SHA-256."""
    sent: UploadedFile | None = request.FILES.get("file")
    if sent is None:
        raise InputError("no file was sent; choose one first")
    name = re.sub(r"[^\w .()-]", "_", Path(sent.name or "file").name)[-_LONGEST_NAME:]
    if (sent.size or 0) > _MOST_BYTES:
        raise InputError(
            f"{name} has {(sent.size or 0) / 1e6:.0f} MB; expected at most"
            f" {_MOST_BYTES / 1e6:.0f} MB here, so bring it in at the keyboard"
        )
    target = folder / (name.lstrip(".") or "file")
    digest: Any = hashlib.sha256()
    with target.open("wb") as file:
        for chunk in sent.chunks():
            digest.update(chunk)
            file.write(chunk)
    return target, digest.hexdigest()
