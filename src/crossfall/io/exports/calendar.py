"""Crews' days as iCalendar (RFC 5545): a stable name for each card, and news that replace the old.

A card keeps its UID for life. Its SEQUENCE is its version, and one more when it is withdrawn, so
that a calendar which has an older one takes the newer. Withdrawn work is told as cancelled; with
``method="CANCEL"`` the file holds only that (RFC 5546), for calendars that take cancellations.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import Literal

from crossfall.errors import InputError
from crossfall.io.exports.crew_work import CrewWork

_STATUS = {
    "planned": "TENTATIVE",
    "ordered": "CONFIRMED",
    "active": "CONFIRMED",
    "done": "CONFIRMED",
    "cancelled": "CANCELLED",
}
_OCTETS = 75


def crew_calendar(
    works: Sequence[CrewWork],
    *,
    name: str,
    domain: str,
    made_at: datetime,
    method: Literal["PUBLISH", "CANCEL"] = "PUBLISH",
) -> str:
    """The text of an ``.ics`` file.

    Parameters
    ----------
    works : sequence of CrewWork
        From :func:`~crossfall.io.exports.crew_work.crew_work`.
    name : str
        What the calendar is called.
    domain : str
        Something that belongs to the workspace alone and never changes; part of every UID.
    made_at : datetime
        When this was written, with its zone.
    method : "PUBLISH" or "CANCEL"
        ``CANCEL`` keeps withdrawn work only.

    Raises
    ------
    InputError
        If ``made_at`` has no zone or ``domain`` is empty.

    Examples
    --------
    >>> text = crew_calendar([], name="Crews", domain="d", made_at=datetime(2026, 5, 4, tzinfo=UTC))
    >>> text.splitlines()[:2]
    ['BEGIN:VCALENDAR', 'VERSION:2.0']
    """
    if made_at.tzinfo is None:
        raise InputError(f"made_at is {made_at}, a time without a zone; say which zone")
    if not domain.strip():
        raise InputError("domain is empty; expected something that belongs to the workspace alone")
    wanted = [work for work in works if method == "PUBLISH" or work.status == "cancelled"]
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//crossfall//crew calendar//EN",
        "CALSCALE:GREGORIAN",
        f"METHOD:{method}",
        f"X-WR-CALNAME:{_text(name)}",
    ]
    for work in _newest(wanted):
        lines += _event(work, domain, made_at)
    lines.append("END:VCALENDAR")
    return "".join(f"{_folded(line)}\r\n" for line in lines)


def _newest(works: Iterable[CrewWork]) -> list[CrewWork]:
    """Of several versions of one card the newest: a calendar holds each UID once."""
    newest: dict[int, CrewWork] = {}
    for work in works:
        known = newest.get(work.card.number)
        if known is None or work.card.version >= known.card.version:
            newest[work.card.number] = work
    return list(newest.values())


def _event(work: CrewWork, domain: str, made_at: datetime) -> list[str]:
    card = work.card
    told = [card.where, f"{card.machine}, {card.operator}", card.end_state]
    told += [f"Caution: {caution.text}" for caution in card.cautions]
    if card.withdrawn_because:
        told.insert(0, f"Withdrawn: {card.withdrawn_because}")
    lon, lat = card.sketch.line[0] if card.sketch.line else (None, None)
    return [
        "BEGIN:VEVENT",
        f"UID:card-{card.number}@{_text(domain)}",
        f"SEQUENCE:{card.version - 1 + (work.status == 'cancelled')}",
        f"DTSTAMP:{_utc(made_at)}",
        f"DTSTART:{_utc(work.start)}",
        f"DTEND:{_utc(work.end)}",
        f"SUMMARY:{_text(card.title)}",
        f"LOCATION:{_text(card.where)}",
        *([f"GEO:{lat:.6f};{lon:.6f}"] if lon is not None and lat is not None else []),
        f"DESCRIPTION:{_text(chr(10).join(line for line in told if line))}",
        f"STATUS:{_STATUS[work.status]}",
        "TRANSP:OPAQUE",
        "END:VEVENT",
    ]


def _utc(when: datetime) -> str:
    return f"{when.astimezone(UTC):%Y%m%dT%H%M%SZ}"


def _text(value: str) -> str:
    r"""Text as RFC 5545 escapes it.

    Examples
    --------
    >>> _text("a, b; c")
    'a\\, b\\; c'
    """
    clean = "".join(c for c in value if c in "\n\t" or (ord(c) >= 32 and c != "\x7f"))
    for plain, escaped in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        clean = clean.replace(plain, escaped)
    return clean


def _folded(line: str) -> str:
    """A line cut into pieces of at most 75 octets, never inside a letter."""
    pieces: list[str] = []
    piece, size = "", 0
    for letter in line:
        n = len(letter.encode("utf-8"))
        if size + n > _OCTETS:
            pieces.append(piece)
            piece, size = " ", 1
        piece, size = piece + letter, size + n
    return "\r\n".join([*pieces, piece])
