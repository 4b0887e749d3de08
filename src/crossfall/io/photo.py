"""Photos as they are kept: known by what is in them, without what a camera writes beside them.

Only JPEG, PNG and WebP are taken, and by their first bytes, never by the name. A camera writes
where and when a picture was taken, and often whose phone it was; a photo here belongs to a look at
a stretch of road, which says all of that itself, so everything beside the picture is left out
before it is stored. Only which way is up stays. The name is the hash of what is kept, so one
picture is stored once and a changed one is another.
"""

from __future__ import annotations

import hashlib
import re
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from crossfall.errors import InputError
from crossfall.model.policy import EntryPolicy

PhotoKind = Literal["jpg", "png", "webp"]

MEDIA_TYPE: dict[str, str] = {"jpg": "image/jpeg", "png": "image/png", "webp": "image/webp"}

_NAME = re.compile(r"[0-9a-f]{64}\.(jpg|png|webp)")
_MB = 1_000_000
_EXIF = b"Exif\x00\x00"
_UPRIGHT = 1
_PNG_HEAD = b"\x89PNG\r\n\x1a\n"
_PNG_KEPT = frozenset(
    {b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT"}
)
_WEBP_KEPT = frozenset({b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ANIM", b"ANMF", b"ICCP"})
_WEBP_HAS_EXIF_OR_XMP = 0x08 | 0x04


@dataclass(frozen=True, slots=True)
class Photo:
    """A picture ready to be stored."""

    name: str
    """SHA-256 of the data, and the ending that its first bytes call for."""
    data: bytes


def is_photo_name(name: str) -> bool:
    """Whether a text is a name that :func:`prepare_photo` gives.

    Examples
    --------
    >>> is_photo_name("ab" * 32 + ".jpg"), is_photo_name("../crossfall.toml")
    (True, False)
    """
    return _NAME.fullmatch(name) is not None


def refuse_size(n_bytes: int, name: str, policy: EntryPolicy) -> None:
    """Refuse a photo by its size, before anything of it is read.

    Raises
    ------
    InputError
        If it is empty or larger than the setting allows.
    """
    if n_bytes == 0:
        raise InputError(f"photo {name} is empty; take it again")
    if n_bytes > policy.photo_max_mb * _MB:
        raise InputError(
            f"photo {name} has {n_bytes / _MB:.1f} MB; expected at most"
            f" {policy.photo_max_mb:g} MB, so make it smaller first"
        )


def prepare_photo(data: bytes, name: str, policy: EntryPolicy) -> Photo:
    """A photo as it is kept. ``name`` is what the sender calls it, for what is said of it.

    Raises
    ------
    InputError
        If it is too large, no JPEG, PNG or WebP picture, or cut off.
    """
    refuse_size(len(data), name, policy)
    kind = _kind(data, name)
    try:
        kept = {"jpg": _jpeg, "png": _png, "webp": _webp}[kind](data)
    except (struct.error, IndexError, ValueError):
        raise InputError(f"photo {name} is cut off or damaged; send it again") from None
    return Photo(f"{hashlib.sha256(kept).hexdigest()}.{kind}", kept)


def _kind(data: bytes, name: str) -> PhotoKind:
    if data.startswith(b"\xff\xd8\xff"):
        return "jpg"
    if data.startswith(_PNG_HEAD):
        return "png"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "webp"
    if data[4:8] == b"ftyp" and data[8:12] in (b"heic", b"heix", b"mif1", b"hevc"):
        raise InputError(f"photo {name} is a HEIC picture; expected JPEG, so set the phone to JPEG")
    raise InputError(f"photo {name} is not a picture; expected JPEG, PNG or WebP")


def _jpeg(data: bytes) -> bytes:
    kept, orientation, has_scan = [b"\xff\xd8"], _UPRIGHT, False
    for marker, part in _jpeg_parts(data):
        if marker == 0xE1:
            orientation = _orientation(part[4:]) or orientation
        is_colour = marker == 0xE2 and part[4:].startswith(b"ICC_PROFILE\x00")
        is_extra = marker == 0xFE or (0xE1 <= marker <= 0xEF and marker != 0xEE)
        has_scan |= marker == 0xDA
        if is_colour or not is_extra:
            kept.append(part)
    if not has_scan:
        raise ValueError("no picture in it")
    if orientation != _UPRIGHT:
        kept.insert(1, _exif_part(orientation))
    return b"".join(kept)


def _jpeg_parts(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Marker and bytes of every part after the first marker, to the end of the picture."""
    at = 2
    while True:
        if data[at] != 0xFF:
            raise ValueError("no marker")
        while data[at + 1] == 0xFF:
            at += 1
        marker = data[at + 1]
        if marker == 0xD9:
            yield marker, data[at : at + 2]
            return
        end = at + 2 + struct.unpack_from(">H", data, at + 2)[0]
        if marker == 0xDA:
            end = _end_of_scan(data, end)
        if end > len(data) or end < at + 4:
            raise ValueError("cut off")
        yield marker, data[at:end]
        at = end


def _end_of_scan(data: bytes, at: int) -> int:
    while True:
        at = data.find(b"\xff", at)
        if at < 0:
            raise ValueError("cut off")
        following = data[at + 1]
        if following != 0x00 and not 0xD0 <= following <= 0xD7 and following != 0xFF:
            return at
        at += 1 if following == 0xFF else 2


def _orientation(exif: bytes) -> int | None:
    """Which way is up, 1 to 8, from the part a camera writes; None where it does not say."""
    if not exif.startswith(_EXIF):
        return None
    tiff = exif[len(_EXIF) :]
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None or len(tiff) < 10:
        return None
    start = struct.unpack_from(f"{order}I", tiff, 4)[0]
    if start + 2 > len(tiff):
        return None
    for n in range(struct.unpack_from(f"{order}H", tiff, start)[0]):
        at = start + 2 + 12 * n
        if at + 12 > len(tiff):
            return None
        tag, _, _, value = struct.unpack_from(f"{order}HHIH", tiff, at)
        if tag == 0x0112:
            return value if 1 <= value <= 8 else None
    return None


def _exif_part(orientation: int) -> bytes:
    """The smallest part that says which way is up, and nothing else."""
    entry = struct.pack(">HHIHH", 0x0112, 3, 1, orientation, 0)
    body = _EXIF + b"MM\x00\x2a" + struct.pack(">IH", 8, 1) + entry + struct.pack(">I", 0)
    return b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body


def _png(data: bytes) -> bytes:
    kept, at, kind = [_PNG_HEAD], len(_PNG_HEAD), b""
    while kind != b"IEND":
        length, kind = struct.unpack_from(">I4s", data, at)
        end = at + 12 + length
        body = data[at + 4 : end - 4]
        if end > len(data) or struct.unpack_from(">I", data, end - 4)[0] != zlib.crc32(body):
            raise ValueError("damaged")
        if kind in _PNG_KEPT:
            kept.append(data[at:end])
        at = end
    return b"".join(kept)


def _webp(data: bytes) -> bytes:
    end = 8 + struct.unpack_from("<I", data, 4)[0]
    if end > len(data):
        raise ValueError("cut off")
    kept, at, has_picture = [], 12, False
    while at < end:
        kind, length = struct.unpack_from("<4sI", data, at)
        following = at + 8 + length + length % 2
        if at + 8 + length > end:
            raise ValueError("cut off")
        part = data[at:following]
        if kind == b"VP8X":
            part = part[:8] + bytes([part[8] & ~_WEBP_HAS_EXIF_OR_XMP]) + part[9:]
        has_picture |= kind in (b"VP8 ", b"VP8L", b"ANMF")
        if kind in _WEBP_KEPT:
            kept.append(part)
        at = following
    if not has_picture:
        raise ValueError("no picture in it")
    body = b"WEBP" + b"".join(kept)
    return b"RIFF" + struct.pack("<I", len(body)) + body
