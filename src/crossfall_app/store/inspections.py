"""A look at a road with its photos: judged as a whole, then kept as a whole."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

from crossfall.errors import InputError, Problem, refuse
from crossfall.io.photo import MEDIA_TYPE, Photo, is_photo_name, prepare_photo, refuse_size
from crossfall.io.survey_doubts import clashes, doubts_of
from crossfall.model import Condition, Network, Policy
from crossfall_app.store import repository


def keep_inspection(
    look: Condition,
    pictures: Sequence[tuple[str, bytes]],
    *,
    network: Network,
    policy: Policy,
    earlier: Iterable[Condition],
    today: date,
    folder: Path,
    by: str,
) -> Condition:
    """Keep one look and its photos; when anything is wrong, nothing is kept.

    Parameters
    ----------
    look : Condition
        Without photos.
    pictures : sequence of (name, data)
        As they were sent.
    earlier : iterable of Condition
        Looks that are known, among which it must have a place of its own.

    Raises
    ------
    InputError
        If the look cannot be so, was made already, or a photo cannot be used; names each slip.
    """
    problems = inspection_doubts(look, network=network, policy=policy, earlier=earlier, today=today)
    refuse(problems, most=len(problems))
    photos = prepare_photos(pictures, policy)
    kept = replace(look, photos=tuple(photo.name for photo in photos))
    # Pictures first: a look never names one that is not there
    write_photos(photos, folder)
    repository.add_conditions([kept], by=by, source="inspection")
    return kept


def inspection_doubts(
    look: Condition,
    *,
    network: Network,
    policy: Policy,
    earlier: Iterable[Condition],
    today: date,
) -> list[Problem]:
    """What cannot be so in a look, by itself and beside what is known."""
    problems = doubts_of(look, "inspection", network=network, policy=policy.entry, today=today)
    same_day = [
        ("an earlier inspection", each)
        for each in earlier
        if (each.segment_id, each.observed_on) == (look.segment_id, look.observed_on)
    ]
    clash = clashes([*same_day, ("inspection", look)], network).get("inspection")
    return [*problems, clash] if clash is not None else problems


def prepare_photos(pictures: Sequence[tuple[str, bytes]], policy: Policy) -> tuple[Photo, ...]:
    """Photos as they are kept, each once.

    Raises
    ------
    InputError
        If there are too many, or one is too large or no picture.
    """
    if len(pictures) > policy.entry.photos_max:
        raise InputError(
            f"{len(pictures)} photos are given; expected at most {policy.entry.photos_max} with"
            " one inspection"
        )
    made = [prepare_photo(data, name, policy.entry) for name, data in pictures]
    return tuple({photo.name: photo for photo in made}.values())


def write_photos(photos: Iterable[Photo], folder: Path) -> None:
    """Put photos into the folder; one that is there already is the same picture."""
    folder.mkdir(parents=True, exist_ok=True)
    for photo in photos:
        file = folder / photo.name
        if file.exists():
            continue
        half = folder / f".{photo.name}.{os.getpid()}"
        with half.open("wb") as stream:
            stream.write(photo.data)
            stream.flush()
            # Whoever sent it forgets it once it is answered for; a power cut must not
            os.fsync(stream.fileno())
        half.replace(file)


def photo_file(name: str, folder: Path) -> tuple[Path, str] | None:
    """Where a photo lies and its media type; None when there is none of this name."""
    if not is_photo_name(name) or not (folder / name).is_file():
        return None
    return folder / name, MEDIA_TYPE[name.rpartition(".")[2]]


class PhotosBeside:
    """Photos that a survey names as files beside it, judged row by row and taken in once.

    A photo that is kept already may be named by the name it is kept under.
    """

    def __init__(self, beside: Path, *, folder: Path, policy: Policy) -> None:
        """``beside`` is the survey's folder, ``folder`` the workspace's photos."""
        self._beside, self._folder, self._policy = beside, folder, policy
        self._read: dict[str, Photo | str] = {}

    def doubts(self, look: Condition) -> Iterable[tuple[str, str]]:
        """What is wrong with the photos of one row."""
        if len(look.photos) > self._policy.entry.photos_max:
            most = self._policy.entry.photos_max
            yield "photos", f"names {len(look.photos)}; expected at most {most} with one inspection"
            return
        for name in look.photos:
            found = self._photo(name)
            if isinstance(found, str):
                yield "photos", found

    def take(self, looks: Iterable[Condition]) -> tuple[tuple[Condition, ...], tuple[Photo, ...]]:
        """Looks without doubts with the names their photos will be kept under, and the photos."""
        taken: dict[str, Photo] = {}
        changed = []
        for look in looks:
            names = []
            for name in look.photos:
                found = self._photo(name)
                if isinstance(found, Photo):
                    taken[found.name] = found
                    names.append(found.name)
                elif found is None:
                    names.append(name)
            changed.append(
                replace(look, photos=tuple(dict.fromkeys(names))) if look.photos else look
            )
        return tuple(changed), tuple(taken.values())

    def _photo(self, name: str) -> Photo | str | None:
        """The photo, what is wrong with it, or None where it is kept already."""
        if photo_file(name, self._folder) is not None:
            return None
        if name not in self._read:
            self._read[name] = self._judged(name)
        return self._read[name]

    def _judged(self, name: str) -> Photo | str:
        file = self._beside / name
        if "/" in name or "\\" in name or not file.is_file():
            return f"{name} is not beside the survey; put it into the same folder"
        try:
            refuse_size(file.stat().st_size, name, self._policy.entry)
            return prepare_photo(file.read_bytes(), name, self._policy.entry)
        except InputError as error:
            return str(error).removeprefix("photo ")
