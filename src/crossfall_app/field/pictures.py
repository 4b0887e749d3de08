"""Photos after the text: in parts that can be sent again from where they stopped.

A photo is announced by a fact, with its size and hash. Its parts go into the workspace's folder
``incoming``; when all are there and the hash fits, it is kept like every photo, stripped of what a
camera writes beside it. A part that comes twice changes nothing.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from uuid import UUID

from django.db import transaction

from crossfall.errors import InputError
from crossfall.io.photo import prepare_photo, refuse_size
from crossfall.model import Policy
from crossfall_app.field.models import Device, Photo
from crossfall_app.store.inspections import write_photos
from crossfall_app.workspace import Workspace, keep_private

FOLDER = "incoming"


@dataclass(frozen=True, slots=True)
class Progress:
    """How much of a photo is here."""

    have: int
    n_bytes: int
    is_complete: bool
    refused: str = ""
    """Why it will never be taken."""


def progress_of(device: Device, key: str, workspace: Workspace) -> Progress | None:
    """How much is here; None when no fact of this phone announced such a photo."""
    photo = _photo(device, key)
    return None if photo is None else _progress(photo, workspace)


def put_part(
    device: Device,
    key: str,
    offset: int,
    data: bytes,
    *,
    workspace: Workspace,
    policy: Policy,
    now: datetime,
) -> Progress | None:
    """Write one part at its place and, when all are there, keep the photo.

    None when no fact of this phone announced such a photo. A part that would leave a gap is not
    written: the answer says how much is here, and the phone goes on from there.
    """
    with transaction.atomic():
        photo = _photo(device, key, for_change=True)
        if photo is None:
            return None
        is_settled = photo.complete_at is not None or bool(photo.refused)
        part = _part(photo, workspace)
        here = part.stat().st_size if part.exists() else 0
        fits = 0 <= offset <= here and offset + len(data) <= photo.n_bytes
        if not is_settled and fits:
            _write(part, offset, data)
            _keep_when_whole(photo, part, workspace, policy, now)
        return _progress(photo, workspace)


def _keep_when_whole(
    photo: Photo, part: Path, workspace: Workspace, policy: Policy, now: datetime
) -> None:
    if part.stat().st_size < photo.n_bytes:
        return
    data = part.read_bytes()
    if hashlib.sha256(data).hexdigest() != photo.sha256:
        # Damaged on the way: from the start again
        part.unlink()
        return
    try:
        refuse_size(len(data), "from the cab", policy.entry)
        kept = prepare_photo(data, "from the cab", policy.entry)
    except InputError as error:
        photo.refused = str(error)
        photo.save(update_fields=["refused"])
    else:
        write_photos([kept], workspace.photos)
        photo.name, photo.complete_at = kept.name, now
        photo.save(update_fields=["name", "complete_at"])
    part.unlink(missing_ok=True)


def _write(part: Path, offset: int, data: bytes) -> None:
    if not part.parent.is_dir():
        part.parent.mkdir(exist_ok=True)
        keep_private(part.parent)
    part.touch(mode=0o600)
    with part.open("r+b") as stream:
        stream.seek(offset)
        stream.write(data)


def _progress(photo: Photo, workspace: Workspace) -> Progress:
    if photo.complete_at is not None:
        return Progress(photo.n_bytes, photo.n_bytes, True)
    if photo.refused:
        return Progress(0, photo.n_bytes, False, photo.refused)
    part = _part(photo, workspace)
    return Progress(part.stat().st_size if part.exists() else 0, photo.n_bytes, False)


def _part(photo: Photo, workspace: Workspace) -> Path:
    return workspace.path / FOLDER / str(UUID(photo.key))


def _photo(device: Device, key: str, *, for_change: bool = False) -> Photo | None:
    rows = Photo.objects.select_related("fact")
    if for_change:
        rows = rows.select_for_update(of=("self",))
    photo: Photo | None = rows.filter(key=key).first()
    if photo is None:
        return None
    own = device.machines.filter(machine_id=photo.fact.machine_key).exists()
    return photo if own or photo.fact.device_id == device.pk else None
