"""The clock on cards and sheets."""

from __future__ import annotations


def clock(minutes: float) -> str:
    """Minutes after midnight as a clock: ``07:05``.

    Examples
    --------
    >>> clock(425.4)
    '07:05'
    """
    whole = int(minutes)
    return f"{whole // 60 % 24:02d}:{whole % 60:02d}"
