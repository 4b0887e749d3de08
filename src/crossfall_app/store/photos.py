"""Whether the photos that looks speak of are there, whole, and whether others lie beside them."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from django.apps import apps

from crossfall.errors import InputError
from crossfall.io.photo import is_photo_name
from crossfall_app.store import models

_MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class PhotoCheck:
    """The photo folder held against the store."""

    n_named: int
    missing: tuple[str, ...]
    """Named by a look or a report, and not in the folder."""
    altered: tuple[str, ...]
    """In the folder, and no longer what its name says."""
    orphans: tuple[str, ...]
    """In the folder, and named by nothing."""

    def complain(self) -> None:
        """Refuse to call it well when a photo is missing or altered.

        Raises
        ------
        InputError
            If one is; names the first of them.
        """
        for names, words in (
            (self.missing, "not in the folder; put them back from a backup"),
            (self.altered, "altered or damaged since they were taken in; restore a backup"),
        ):
            if names:
                more = "" if len(names) <= _MOST_NAMED else f" and {len(names) - _MOST_NAMED} more"
                raise InputError(f"{', '.join(names[:_MOST_NAMED])}{more}: {words}")

    def summary(self) -> str:
        """One clause."""
        told = f"{self.n_named} photos, each there and as it was taken in"
        if self.orphans:
            told += f"; {len(self.orphans)} files that nothing speaks of, such as {self.orphans[0]}"
        return told


def check_photos(folder: Path) -> PhotoCheck:
    """Read every photo once and compare it with its name, which is the hash of what is in it."""
    named = _named()
    there = {each.name: each for each in folder.iterdir() if each.is_file()}
    altered = [
        name
        for name in sorted(named & there.keys())
        if _hash(there[name]) != name.partition(".")[0]
    ]
    orphans = sorted(name for name in there.keys() - named if not name.startswith("."))
    return PhotoCheck(
        n_named=len(named),
        missing=tuple(sorted(named - there.keys())),
        altered=tuple(altered),
        orphans=tuple(orphans),
    )


def _named() -> set[str]:
    """Photos that anything in the store speaks of."""
    looks = models.Condition.objects.exclude(photos=[]).values_list("photos", flat=True)
    named = {name for photos in looks for name in photos}
    if apps.is_installed("crossfall_app.field"):
        sent_in = apps.get_model("field", "Photo").objects.values_list("name", flat=True)
        named.update(sent_in)
    return {name for name in named if is_photo_name(name)}


def _hash(file: Path) -> str:
    with file.open("rb") as data:
        return hashlib.file_digest(data, "sha256").hexdigest()
