"""The doctor holds the photo folder against the store."""

from __future__ import annotations

from dataclasses import replace

from crossfall.io.photo import prepare_photo
from crossfall.model.policy import EntryPolicy
from crossfall_app.store import doctor, repository
from crossfall_app.store.inspections import write_photos
from pictures import jpeg, png
from small_district import TODAY, small_condition, small_district


def _told(workspace):
    return next(each for each in doctor.examine(workspace) if each.check == "photos")


def test_missing_altered_and_forgotten_photos(any_workspace):
    folder = any_workspace.photos
    repository.store_district(small_district(), by="test")
    first, second, third = (
        prepare_photo(data, "a photo", EntryPolicy())
        for data in (jpeg(), png(), jpeg(orientation=6))
    )
    write_photos([first, second], folder)
    look = replace(small_condition(), observed_on=TODAY, photos=(first.name, second.name))
    repository.add_conditions([look], by="test")
    well = _told(any_workspace)
    assert well.is_well
    assert "2 photos, each there" in well.told
    write_photos([third], folder)
    forgotten = _told(any_workspace)
    assert forgotten.is_well
    assert third.name in forgotten.told
    (folder / second.name).write_bytes(png() + b"more")
    altered = _told(any_workspace)
    assert not altered.is_well
    assert second.name in altered.told
    assert "altered" in altered.told
    (folder / first.name).unlink()
    missing = _told(any_workspace)
    assert not missing.is_well
    assert f"{first.name}: not in the folder" in missing.told
