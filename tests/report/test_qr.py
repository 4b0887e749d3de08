"""The square code, taken apart again with its own rules and with no help from the maker's path."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.report.qr import (
    _codewords,
    _drawn,
    _interleaved,
    check_words,
    format_bits,
    free_places,
    is_masked,
    qr_grid,
    qr_svg,
)

BLOCKS = {1: (1, 16, 10), 2: (1, 28, 16), 3: (1, 44, 26), 4: (2, 32, 18), 5: (2, 43, 24),
          6: (4, 27, 16)}  # fmt: skip


def logs():
    exponent, value = [0] * 512, 1
    logarithm = [0] * 256
    for power in range(255):
        exponent[power] = exponent[power + 255] = value
        logarithm[value] = power
        value = value << 1 ^ (0x11D if value & 0x80 else 0)
    return exponent, logarithm


EXP, LOG = logs()


def syndromes(word: bytes, n_check: int) -> list[int]:
    """The received polynomial at each root of the generator; all zero when nothing is wrong."""
    found = []
    for power in range(n_check):
        total = 0
        for byte in word:
            total = (EXP[(LOG[total] + power) % 255] if total else 0) ^ byte
        found.append(total)
    return found


def read(grid) -> str:
    """Read a code the way a phone does, once it has squared it up."""
    size = len(grid)
    version = (size - 17) // 4
    places = [(8, c) for c in (0, 1, 2, 3, 4, 5, 7, 8)] + [(r, 8) for r in (7, 5, 4, 3, 2, 1, 0)]
    seen = int("".join("1" if grid[r][c] else "0" for r, c in places), 2)
    mask = min(range(8), key=lambda m: bin(format_bits(m) ^ seen).count("1"))
    assert format_bits(mask) == seen
    bits = [grid[r][c] != is_masked(mask, r, c) for r, c in free_places(version)]
    n_blocks, n_data, n_check = BLOCKS[version]
    total = n_blocks * (n_data + n_check)
    words = [
        sum(bit << (7 - i) for i, bit in enumerate(bits[8 * n : 8 * n + 8])) for n in range(total)
    ]
    data = b""
    for block in range(n_blocks):
        body = bytes(words[block : n_blocks * n_data : n_blocks])
        check = bytes(words[n_blocks * n_data + block :: n_blocks])
        assert not any(syndromes(body + check, n_check))
        data += body
    stream = int.from_bytes(data, "big")
    n_bits = 8 * len(data)
    assert stream >> (n_bits - 4) == 0b0100
    length = stream >> (n_bits - 12) & 0xFF
    return (
        (stream >> (n_bits - 12 - 8 * length) & (1 << 8 * length) - 1)
        .to_bytes(length, "big")
        .decode()
    )


@settings(max_examples=60, deadline=None)
@given(st.text(min_size=1, max_size=100).filter(lambda text: 1 <= len(text.encode()) <= 106))
def test_what_is_written_is_read(text):
    assert read(qr_grid(text)) == text


@pytest.mark.parametrize("n", [1, 14, 15, 26, 27, 42, 43, 62, 63, 84, 85, 106])
def test_every_version_is_read_up_to_its_last_letter(n):
    assert read(qr_grid("a" * n)) == "a" * n


@pytest.mark.parametrize(
    ("text", "version", "mask", "seal"),
    [
        ("a", 1, 2, "486939cafb082ffb"),
        ("https://roads.example/cards/14", 3, 7, "c0be4c1e86010c1a"),
        ("x" * 60, 4, 2, "4f3878a3552770dc"),
        ("y" * 80, 5, 7, "a9eb532a8897baea"),
        ("z" * 100, 6, 2, "562bb13090a7a128"),
    ],
)
def test_an_independent_encoder_draws_the_same(text, version, mask, seal):
    """Every module agrees with npm's qrcode-terminal 0.12 (its vendored encoder), level M."""
    words = _interleaved(_codewords(text.encode(), version), version)
    drawn = "".join("1" if each else "0" for row in _drawn(words, version, mask) for each in row)
    assert hashlib.sha256(drawn.encode()).hexdigest()[:16] == seal


def test_check_words_of_a_known_message():
    """Recalled: the check words of HELLO WORLD in version 1, level M, as tutorials give them."""
    data = bytes([32, 91, 11, 120, 209, 114, 220, 77, 67, 64, 236, 17, 236, 17, 236, 17])
    expected = bytes([196, 35, 39, 119, 235, 215, 231, 226, 93, 23])
    assert check_words(data, 10) == expected


def test_format_bits_are_five_apart():
    """A code with seven bits between any two words mends three (ISO/IEC 18004, recalled)."""
    words = [format_bits(mask) for mask in range(8)]
    apart = [bin(a ^ b).count("1") for a in words for b in words if a != b]
    assert min(apart) >= 5


def test_corners_and_timing_are_where_a_phone_looks():
    grid = qr_grid("https://roads.example/cards/14")
    size = len(grid)
    for top, left in ((0, 0), (0, size - 7), (size - 7, 0)):
        assert all(grid[top][left : left + 7])
        assert all(grid[top + i][left] for i in range(7))
        assert not any(grid[top + 1][left + 1 : left + 6])
        assert all(grid[top + 3][left + 2 : left + 5])
    assert [grid[6][i] for i in range(8, size - 8)] == [i % 2 == 0 for i in range(8, size - 8)]
    assert grid[size - 8][8]


@pytest.mark.parametrize(("text", "words"), [("", "empty"), ("a" * 107, "107 bytes")])
def test_what_does_not_fit_is_refused(text, words):
    with pytest.raises(InputError, match=words):
        qr_grid(text)


def test_the_drawing_has_a_quiet_zone():
    svg = qr_svg("a")
    assert 'viewBox="0 0 29 29"' in svg
    assert "M4 4h1" in svg
