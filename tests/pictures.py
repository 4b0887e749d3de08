"""Small pictures made byte by byte, with or without what cameras write beside them."""

from __future__ import annotations

import base64
import struct
import zlib

_JPEG = base64.b64decode(
    "/9j/4AAQSkZJRgABAQEASABIAAD/2wBDAP//////////////////////////////////////////////////////////"
    "////////////////////////////wgALCAABAAEBAREA/8QAFBABAAAAAAAAAAAAAAAAAAAAAP/aAAgBAQABPxA="
)
"""A JPEG of one grey pixel, without its end."""


def jpeg(*, exif: bytes = b"", orientation: int | None = None, order: str = ">") -> bytes:
    """A JPEG of one pixel; ``exif`` is put into the part where a camera writes the place."""
    part = b""
    if exif or orientation is not None:
        body = b"Exif\x00\x00" + (b"MM\x00\x2a" if order == ">" else b"II\x2a\x00")
        entry = struct.pack(f"{order}HHIHH", 0x0112, 3, 1, orientation or 1, 0)
        body += struct.pack(f"{order}IH", 8, 1) + entry + bytes(4) + exif
        part = b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body
    return _JPEG[:2] + part + _JPEG[2:] + b"\xff\xd9"


def png(*, text: bytes = b"", width: int = 1, height: int = 1, grey: int = 200) -> bytes:
    """A grey PNG; ``text`` is put into a comment."""
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    rows = zlib.compress((b"\x00" + bytes([grey]) * width) * height)
    parts = [(b"IHDR", head), (b"IDAT", rows), (b"IEND", b"")]
    if text:
        parts.insert(1, (b"tEXt", b"Comment\x00" + text))
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(*each) for each in parts)


def webp(*, exif: bytes = b"") -> bytes:
    """A WebP of one pixel, lossless; with ``exif`` an extended one."""
    pixel = (
        b"VP8L" + struct.pack("<I", 13) + bytes.fromhex("2f0000001007101111888808") + b"\x08\x00"
    )
    parts = pixel
    if exif:
        extended = b"VP8X" + struct.pack("<I", 10) + bytes([0x08]) + bytes(9)
        parts = extended + pixel + b"EXIF" + struct.pack("<I", len(exif)) + exif
        parts += b"\x00" * (len(exif) % 2)
    return b"RIFF" + struct.pack("<I", len(parts) + 4) + b"WEBP" + parts


def _chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
