"""A square code that a phone reads, so that a paper card opens its own page.

Bytes only, error correction M, versions 1 to 6, which hold addresses up to 106 letters. Written
from the public description of ISO/IEC 18004; the check words of each block and the format bits
are verified in the tests by dividing them out again.
"""

from __future__ import annotations

from collections.abc import Iterator

from crossfall.errors import InputError

Grid = list[list[bool]]

_BLOCKS = {1: (1, 16, 10), 2: (1, 28, 16), 3: (1, 44, 26), 4: (2, 32, 18), 5: (2, 43, 24),
           6: (4, 27, 16)}  # fmt: skip
"""For each version: blocks, data bytes in each, check bytes in each (level M)."""
_FORMAT_MASK = 0b101010000010010
_FORMAT_DIVISOR = 0b10100110111
_LEVEL_M = 0b00


def qr_grid(text: str) -> Grid:
    """The code of a text as rows of dark (True) and light modules, without the quiet zone.

    Raises
    ------
    InputError
        If the text is empty or longer than version 6 holds.

    Examples
    --------
    >>> grid = qr_grid("https://roads.example/card/14")
    >>> len(grid), all(grid[0][:7]), grid[1][1]
    (29, True, False)
    """
    data = text.encode("utf-8")
    version = _version_for(len(data))
    words = _interleaved(_codewords(data, version), version)
    return min(
        (_drawn(words, version, mask) for mask in range(8)),
        key=_penalty,
    )


def qr_svg(text: str, *, size_mm: float = 22.0) -> str:
    """The same as SVG with its quiet zone of four modules."""
    grid = qr_grid(text)
    n = len(grid) + 8
    path = "".join(
        f"M{x + 4} {y + 4}h1v1h-1z"
        for y, row in enumerate(grid)
        for x, is_dark in enumerate(row)
        if is_dark
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size_mm}mm" height="{size_mm}mm"'
        f' viewBox="0 0 {n} {n}" shape-rendering="crispEdges">'
        f'<rect width="{n}" height="{n}" fill="#ffffff"/><path d="{path}" fill="#000000"/></svg>'
    )


def check_words(data: bytes, n_check: int) -> bytes:
    """Reed-Solomon check bytes over GF(256) with the polynomial 0x11D.

    Examples
    --------
    >>> any(check_words(bytes(16), 10))
    False
    """
    divisor = _generator(n_check)
    rest = bytearray(n_check)
    for byte in data:
        factor = byte ^ rest[0]
        rest = rest[1:] + b"\0"
        for i, coefficient in enumerate(divisor):
            rest[i] ^= _multiply(coefficient, factor)
    return bytes(rest)


def format_bits(mask: int) -> int:
    """Fifteen bits that say level M and which mask, with their own check bits.

    Examples
    --------
    >>> f"{format_bits(0):015b}"
    '101010000010010'
    """
    data = _LEVEL_M << 3 | mask
    rest = data << 10
    for shift in range(4, -1, -1):
        if rest >> (shift + 10) & 1:
            rest ^= _FORMAT_DIVISOR << shift
    return (data << 10 | rest) ^ _FORMAT_MASK


def is_masked(mask: int, row: int, column: int) -> bool:
    """Whether a mask turns the module at a place."""
    product = row * column
    return (
        (row + column) % 2 == 0,
        row % 2 == 0,
        column % 3 == 0,
        (row + column) % 3 == 0,
        (row // 2 + column // 3) % 2 == 0,
        product % 2 + product % 3 == 0,
        (product % 2 + product % 3) % 2 == 0,
        ((row + column) % 2 + product % 3) % 2 == 0,
    )[mask]


def free_places(version: int) -> Iterator[tuple[int, int]]:
    """Places of the data modules in the order they are filled: two columns at a time, zigzag."""
    size, fixed = 17 + 4 * version, _fixed(version)
    rows = range(size)
    is_upward = True
    column = size - 1
    while column > 0:
        if column == 6:
            column -= 1
        for row in reversed(rows) if is_upward else rows:
            for at in (column, column - 1):
                if (row, at) not in fixed:
                    yield row, at
        is_upward = not is_upward
        column -= 2


def _version_for(n_bytes: int) -> int:
    if n_bytes == 0:
        raise InputError("text is empty; a code needs something to say")
    for version, (n_blocks, n_data, _) in _BLOCKS.items():
        # Four bits of mode and eight of length stand before the bytes
        if n_bytes + 2 <= n_blocks * n_data:
            return version
    raise InputError(f"text has {n_bytes} bytes; expected at most 106 for a code of this size")


def _codewords(data: bytes, version: int) -> bytes:
    n_blocks, n_data, _ = _BLOCKS[version]
    room = n_blocks * n_data
    bits = 0b0100 << 8 | len(data)
    for byte in data:
        bits = bits << 8 | byte
    words = bytearray((bits << 4).to_bytes(len(data) + 2, "big"))
    while len(words) < room:
        words.append(0xEC if (len(words) - len(data)) % 2 == 0 else 0x11)
    return bytes(words)


def _interleaved(words: bytes, version: int) -> bytes:
    n_blocks, n_data, n_check = _BLOCKS[version]
    blocks = [words[i * n_data : (i + 1) * n_data] for i in range(n_blocks)]
    checks = [check_words(block, n_check) for block in blocks]
    mixed = [block[i] for i in range(n_data) for block in blocks]
    mixed += [check[i] for i in range(n_check) for check in checks]
    return bytes(mixed)


def _drawn(words: bytes, version: int, mask: int) -> Grid:
    size, fixed = 17 + 4 * version, _fixed(version)
    grid = [[fixed.get((row, column), False) for column in range(size)] for row in range(size)]
    for number, (row, column) in enumerate(free_places(version)):
        is_dark = number < 8 * len(words) and bool(words[number // 8] >> (7 - number % 8) & 1)
        grid[row][column] = is_dark != is_masked(mask, row, column)
    bits = format_bits(mask)
    for number, (first, second) in enumerate(zip(*_format_places(size), strict=True)):
        is_dark = bool(bits >> (14 - number) & 1)
        grid[first[0]][first[1]] = grid[second[0]][second[1]] = is_dark
    return grid


def _fixed(version: int) -> dict[tuple[int, int], bool]:
    """Modules that are the same in every code of a version; format places are kept free of data."""
    size = 17 + 4 * version
    found: dict[tuple[int, int], bool] = {}
    for top, left in ((0, 0), (0, size - 7), (size - 7, 0)):
        for row in range(top - 1, top + 8):
            for column in range(left - 1, left + 8):
                if 0 <= row < size and 0 <= column < size:
                    ring = max(abs(row - top - 3), abs(column - left - 3))
                    found[row, column] = ring in (0, 1, 3)
    if version > 1:
        middle = size - 7
        for row in range(middle - 2, middle + 3):
            for column in range(middle - 2, middle + 3):
                found[row, column] = max(abs(row - middle), abs(column - middle)) != 1
    for at in range(8, size - 8):
        found[6, at] = found[at, 6] = at % 2 == 0
    for place in (*_format_places(size)[0], *_format_places(size)[1]):
        found.setdefault(place, False)
    found[size - 8, 8] = True
    return found


def _format_places(size: int) -> tuple[list[tuple[int, int]], list[tuple[int, int]]]:
    around = [(8, column) for column in (0, 1, 2, 3, 4, 5, 7, 8)]
    around += [(row, 8) for row in (7, 5, 4, 3, 2, 1, 0)]
    split = [(size - 1 - i, 8) for i in range(7)] + [(8, size - 8 + i) for i in range(8)]
    return around, split


def _penalty(grid: Grid) -> int:
    """How hard a code is to read: long runs, blocks, false corners, too dark or too light."""
    size = len(grid)
    lines = [*grid, *(list(column) for column in zip(*grid, strict=True))]
    score = 0
    for line in lines:
        run = 1
        for i in range(1, size + 1):
            if i < size and line[i] == line[i - 1]:
                run += 1
                continue
            score += run - 2 if run >= 5 else 0
            run = 1
        word = "".join("1" if each else "0" for each in line)
        score += 40 * (word.count("10111010000") + word.count("00001011101"))
    for row in range(size - 1):
        for column in range(size - 1):
            square = grid[row][column : column + 2] + grid[row + 1][column : column + 2]
            score += 3 if all(square) or not any(square) else 0
    dark = sum(sum(row) for row in grid)
    return score + 10 * int(abs(20 * dark / size**2 - 10))


def _generator(n_check: int) -> bytes:
    """Coefficients of (x - 1)(x - 2)(x - 4)... without the leading one."""
    result = [*([0] * (n_check - 1)), 1]
    root = 1
    for _ in range(n_check):
        for i in range(n_check):
            result[i] = _multiply(result[i], root)
            if i + 1 < n_check:
                result[i] ^= result[i + 1]
        root = _multiply(root, 2)
    return bytes(result)


def _multiply(a: int, b: int) -> int:
    """Product in GF(256)."""
    product = 0
    for shift in range(7, -1, -1):
        product = product << 1 ^ (product >> 7) * 0x11D
        product ^= (b >> shift & 1) * a
    return product
