"""Photos: taken by what is in them, kept without what a camera writes beside them."""

from __future__ import annotations

import hashlib
import struct
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.io.photo import is_photo_name, prepare_photo
from crossfall.model.policy import EntryPolicy
from pictures import jpeg, png, webp

POLICY = EntryPolicy()


def _kept(data: bytes) -> bytes:
    photo = prepare_photo(data, "p", POLICY)
    assert is_photo_name(photo.name)
    assert photo.name.split(".")[0] == hashlib.sha256(photo.data).hexdigest()
    return photo.data


@pytest.mark.parametrize(
    ("data", "ending"), [(jpeg(), "jpg"), (png(), "png"), (webp(), "webp")], ids=["j", "p", "w"]
)
def test_a_plain_picture_is_kept_as_it_is(data, ending):
    photo = prepare_photo(data, "road.txt", POLICY)
    assert photo.data == data
    assert photo.name.endswith(ending), "the name the sender gives says nothing"
    assert prepare_photo(data, "again", POLICY).name == photo.name


@pytest.mark.parametrize(
    "data",
    [jpeg(exif=b"SECRET PLACE 45N"), png(text=b"SECRET PLACE"), webp(exif=b"SECRET PLACE")],
    ids=["jpeg", "png", "webp"],
)
def test_what_a_camera_writes_beside_is_left_out(data):
    kept = _kept(data)
    assert b"SECRET" in data
    assert b"SECRET" not in kept


@pytest.mark.parametrize("order", ["<", ">"])
def test_which_way_is_up_stays(order):
    kept = _kept(jpeg(exif=b"SECRET", orientation=6, order=order))
    at = kept.index(b"Exif\x00\x00MM")
    assert struct.unpack_from(">HHIH", kept, at + 16) == (0x0112, 3, 1, 6)
    assert b"SECRET" not in kept
    assert _kept(kept) == kept, "what is kept is kept as it is the next time"


def test_a_second_picture_behind_the_first_is_left_out():
    assert _kept(jpeg() + jpeg(exif=b"SECRET")) == jpeg()


def test_a_png_without_its_extras_is_still_whole():
    kept = _kept(png(text=b"x"))
    at, names = 8, []
    while at < len(kept):
        length, kind = struct.unpack_from(">I4s", kept, at)
        body = kept[at + 4 : at + 8 + length]
        assert struct.unpack_from(">I", kept, at + 8 + length)[0] == zlib.crc32(body)
        names.append(kind)
        at += 12 + length
    assert names == [b"IHDR", b"IDAT", b"IEND"]


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "is empty"),
        (b"%PDF-1.7 not a picture", "is not a picture; expected JPEG, PNG or WebP"),
        (b"GIF89a" + bytes(40), "is not a picture"),
        (b"\x00\x00\x00\x18ftypheic" + bytes(30), "is a HEIC picture; expected JPEG"),
        (jpeg()[:-6], "is cut off or damaged"),
        (png()[:-6], "is cut off or damaged"),
        (webp()[:-6], "is cut off or damaged"),
        (b"\xff\xd8\xff\xd9", "is cut off or damaged"),
    ],
)
def test_what_is_no_photo_is_refused_in_one_sentence(data, message):
    with pytest.raises(InputError, match=message) as told:
        prepare_photo(data, "IMG_1.jpg", POLICY)
    assert "photo IMG_1.jpg" in str(told.value)


def test_fifty_megabytes_are_refused():
    with pytest.raises(InputError, match=r"has 50\.0 MB; expected at most 15 MB"):
        prepare_photo(b"\xff\xd8\xff" + bytes(50_000_000 - 3), "big.jpg", POLICY)


@settings(max_examples=300, deadline=None)
@given(
    st.sampled_from([jpeg(exif=b"abc", orientation=3), png(text=b"abc"), webp(exif=b"abc")]),
    st.integers(0, 400),
    st.binary(max_size=6),
)
def test_damage_is_refused_or_survived_never_a_crash(data, at, junk):
    damaged = data[:at] + junk + data[at + len(junk) :]
    try:
        kept = _kept(damaged)
    except InputError:
        return
    assert _kept(kept) == kept


def test_names_cannot_lead_elsewhere():
    name = prepare_photo(jpeg(), "p", POLICY).name
    assert is_photo_name(name)
    for bad in (name.upper(), f"../{name}", name + "\n", name[1:], name.replace("jpg", "svg")):
        assert not is_photo_name(bad)
