"""Residents' requests from a table or from JSON in the shape of Open311, without who they are.

Open311 names the fields (``service_request_id``, ``requested_datetime``, ``lat``, ``long`` and so
on); a CSV may use those or plain words. Names, numbers and mail addresses of residents are passed
over and never stored. Every entry is judged; what cannot be used is named and can be left out.
"""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, tzinfo
from pathlib import Path
from typing import Any

from crossfall.errors import InputError, Problem
from crossfall.io.text import open_text
from crossfall.io.written import likely
from crossfall.model import Request

_FIELDS: dict[str, tuple[str, ...]] = {
    "id": ("service_request_id", "id", "request_id", "number"),
    "requested": ("requested_datetime", "received_on", "received", "date"),
    "text": ("description", "text", "complaint", "message"),
    "what": ("service_name", "category", "kind"),
    "status": ("status",),
    "lat": ("lat", "latitude"),
    "lon": ("long", "lon", "longitude", "lng"),
    "road": ("address", "road", "address_string", "street"),
    "updated": ("updated_datetime", "closed_on"),
}
"""Ours, and the words for it in files; the first is Open311's (GeoReport v2)."""
_PRIVATE = frozenset(
    {"first_name", "last_name", "name", "email", "phone", "account_id", "device_id", "contact"}
)
_PASSED_OVER = frozenset(
    {
        "service_code",
        "agency_responsible",
        "service_notice",
        "status_notes",
        "expected_datetime",
        "address_id",
        "zipcode",
        "media_url",
        "token",
        "attributes",
        "extended_attributes",
    }
)
"""Open311's other fields: known, and nothing here goes by them."""
_LONGEST_TEXT = 4000
_LONGEST_ID = 120


@dataclass(frozen=True, slots=True)
class RequestFile:
    """Requests of one file, not yet tied to roads, and what was wrong or left aside."""

    file: str
    requests: tuple[Request, ...]
    problems: tuple[Problem, ...]
    n_bad: int
    n_private: int
    """Entries that carried who the resident is; that was not taken in."""

    def summary(self) -> str:
        """One sentence."""
        words = f"{self.file}: {len(self.requests)} requests"
        if self.n_bad:
            words += f", {self.n_bad} that cannot be used"
        if self.n_private:
            words += f"; who the resident is was left out of {self.n_private}"
        return words


def read_requests(path: str | Path, *, today: date, zone: tzinfo) -> RequestFile:
    """Read requests from ``.csv`` or ``.json``; nothing later than ``today`` is believed.

    Raises
    ------
    InputError
        If the file cannot be read, is in no known shape, or holds no request.
    """
    path = Path(path)
    entries = _json_entries(path) if path.suffix.lower() == ".json" else _csv_entries(path)
    found: list[Request] = []
    problems: list[Problem] = []
    seen: dict[str, str] = {}
    n_bad = 0
    for where, entry in entries:
        wrong: list[Problem] = []
        request = _request(entry, where, path.name, today, zone, wrong)
        if request is not None and request.id in seen:
            wrong.append(Problem(where, f"has the key {request.id!r} of {seen[request.id]}"))
        if wrong or request is None:
            n_bad += 1
            problems += wrong
            continue
        seen[request.id] = where
        found.append(request)
    if not entries:
        raise InputError(f"{path.name} holds no request")
    n_private = sum(any(_said(entry.get(key)) for key in _PRIVATE) for _, entry in entries)
    return RequestFile(path.name, tuple(found), tuple(problems), n_bad, n_private)


_Entries = list[tuple[str, Mapping[str, Any]]]


def _json_entries(path: Path) -> _Entries:
    with open_text(path) as lines:
        try:
            given = json.load(lines)
        except (json.JSONDecodeError, RecursionError) as error:
            raise InputError(f"{path.name} is not JSON ({error})") from None
    for key in ("service_requests", "requests"):
        if isinstance(given, dict) and key in given:
            given = given[key]
    if isinstance(given, dict) and "service_request_id" in given:
        given = [given]
    if not isinstance(given, list) or not all(isinstance(each, dict) for each in given):
        raise InputError(f"{path.name} is not in the shape of Open311; expected a list of requests")
    return [(f"{path.name} entry {n}", each) for n, each in enumerate(given, start=1)]


def _csv_entries(path: Path) -> _Entries:
    known = tuple(word for words in _FIELDS.values() for word in words)
    with open_text(path) as lines:
        table = csv.reader(lines, strict=True)
        try:
            rows = [(table.line_num, row) for row in table]
        except csv.Error as error:
            raise InputError(f"{path.name} row {table.line_num} is not CSV ({error})") from None
    if not rows:
        raise InputError(f"{path.name} is empty; expected a header and requests")
    header = [name.strip().lower() for name in rows[0][1]]
    for name in header:
        if name not in known and name not in _PRIVATE | _PASSED_OVER:
            raise InputError(f"{path.name}: column {name!r} is unknown{likely(name, known)}")
        if header.count(name) > 1:
            raise InputError(f"{path.name}: column {name!r} is there twice")
    entries: _Entries = []
    for number, cells in rows[1:]:
        if any(cell.strip() for cell in cells):
            # A row of another length is told apart below by what it lacks
            named = dict(zip(header, (cell.strip() for cell in cells), strict=False))
            if len(cells) > len(header):
                named = {}
            entries.append((f"{path.name} row {number}", named))
    return entries


def _request(
    entry: Mapping[str, Any],
    where: str,
    file: str,
    today: date,
    zone: tzinfo,
    problems: list[Problem],
) -> Request | None:
    told = {ours: _first(entry, words) for ours, words in _FIELDS.items()}
    key = told["id"]
    if not key or len(key) > _LONGEST_ID:
        problems.append(Problem(f"{where}, service_request_id", f"is {key!r}; expected a key"))
        return None
    moment = _moment(told["requested"], zone)
    if moment is None:
        words = f"is {told['requested']!r}; expected like 2026-05-12T07:30:00-05:00"
        problems.append(Problem(f"{where}, requested_datetime", words))
        return None
    when, day = moment
    if day > today:
        problems.append(Problem(f"{where}, requested_datetime", f"is {day}, after today ({today})"))
    text = (told["text"] or told["what"])[:_LONGEST_TEXT]
    if not text:
        problems.append(Problem(f"{where}, description", "is missing; what is it about?"))
    if told["status"].lower() not in ("", "open", "closed"):
        words = f"is {told['status']!r}; expected open or closed"
        problems.append(Problem(f"{where}, status", words))
    place = _place(told["lat"], told["lon"], where, problems)
    if problems:
        return None
    made = Request(
        id=key,
        received_on=day,
        text=text,
        lon=place[0] if place else None,
        lat=place[1] if place else None,
        requested_at=when,
        road=told["road"],
        source=file,
    )
    if told["status"].lower() != "closed":
        return made
    closed = _moment(told["updated"], zone)
    return replace(made, status="closed", closed_on=closed[1] if closed else day)


def _first(entry: Mapping[str, Any], words: tuple[str, ...]) -> str:
    return next((said for word in words if (said := _said(entry.get(word)))), "")


def _said(value: Any) -> str:
    return "" if value is None or isinstance(value, dict | list) else str(value).strip()


def _moment(text: str, zone: tzinfo) -> tuple[datetime | None, date] | None:
    """Time, where there is one, and the civil day at the roads."""
    try:
        if len(text) == len("2026-05-12"):
            return None, date.fromisoformat(text)
        when = datetime.fromisoformat(text)
    except ValueError:
        return None
    if when.tzinfo is None:
        when = when.replace(tzinfo=zone)
    return when, when.astimezone(zone).date()


def _place(lat: str, lon: str, where: str, problems: list[Problem]) -> tuple[float, float] | None:
    if not lat and not lon:
        return None
    try:
        north, east = float(lat), float(lon)
    except ValueError:
        north = east = math.nan
    if math.isfinite(north) and abs(north) <= 90 and abs(east) <= 180:
        return east, north
    hint = "; latitude and longitude look exchanged" if abs(north) > 90 >= abs(east) else ""
    words = f"is {lat!r} and long {lon!r}; expected degrees{hint}"
    problems.append(Problem(f"{where}, lat", words))
    return None
