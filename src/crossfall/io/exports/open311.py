"""Residents' requests in the shape of Open311 GeoReport v2: services, requests, and one that comes.

Who asked is never given out, because it is never kept. Fields of people in a request that comes
in are passed over.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime, time, tzinfo
from typing import Any
from xml.sax.saxutils import escape

from crossfall.errors import InputError
from crossfall.model import Network, Request

SERVICES: tuple[tuple[str, str, str], ...] = (
    ("washboard", "Washboard", "Ripples across the road that shake vehicles"),
    ("potholes", "Potholes", "Holes or soft spots in the road"),
    ("dust", "Dust", "Dust from traffic at homes or fields"),
    ("drainage", "Water and ditches", "Water on the road, a blocked ditch or culvert"),
    ("loose", "Loose gravel or a windrow", "Loose stones, or a ridge of gravel left behind"),
    ("sign", "Sign", "A sign that is missing, bent or hidden"),
    ("other", "Something else on a gravel road", "Anything else about a gravel road"),
)
"""Code, name and description; ours."""
_LONGEST_TEXT = 4000
_NAME = re.compile(r"[a-z_]+")


def open311_services(*, agency: str) -> list[dict[str, Any]]:
    """What can be asked for; every answer is looked at by a person, so none is ``realtime``."""
    return [
        {
            "service_code": code,
            "service_name": name,
            "description": told,
            "metadata": False,
            "type": "batch",
            "keywords": "gravel,road",
            "group": agency,
        }
        for code, name, told in SERVICES
    ]


def open311_requests(
    requests: Iterable[Request],
    network: Network,
    *,
    zone: tzinfo,
    first_day: date | None = None,
    last_day: date | None = None,
    status: str | None = None,
    ids: Iterable[str] | None = None,
) -> list[dict[str, Any]]:
    """Requests as others read them, newest first.

    Parameters
    ----------
    requests : iterable of Request
    network : Network
        For the name of the road a request was matched to.
    zone : tzinfo
        The agency's, for requests that only have a day.
    first_day, last_day : date, optional
        Only those received between, both included.
    status : "open" or "closed", optional
    ids : iterable of str, optional
        Only these.

    Raises
    ------
    InputError
        If ``status`` is another word.
    """
    if status not in (None, "open", "closed"):
        raise InputError(f"status is {status!r}; expected open or closed")
    wanted = None if ids is None else set(ids)
    found = [
        each
        for each in requests
        if (status is None or each.status == status)
        and (first_day is None or each.received_on >= first_day)
        and (last_day is None or each.received_on <= last_day)
        and (wanted is None or each.id in wanted)
    ]
    found.sort(key=lambda each: (each.received_on, each.id), reverse=True)
    return [_as_open311(each, network, zone) for each in found]


def request_coming_in(given: Mapping[str, Any], *, key: str, now: datetime) -> tuple[Request, str]:
    """A request somebody sends, not yet accepted, and the code of its service.

    Raises
    ------
    InputError
        If the service is unknown, there is neither a place nor an address, or no description.
    """
    code = str(given.get("service_code", "")).strip()
    names = {service: name for service, name, _ in SERVICES}
    if code not in names:
        raise InputError(f"service_code is {code!r}; expected one of {', '.join(names)}")
    text = str(given.get("description", "")).strip()[:_LONGEST_TEXT]
    lon, lat = (_degrees(given.get(name), name) for name in ("long", "lat"))
    road = str(given.get("address_string", "")).strip()[:200]
    if (lon is None) != (lat is None):
        raise InputError("lat and long come together; one of them is missing")
    if lon is None and not road:
        raise InputError("where is it? give lat and long, or address_string")
    if not text:
        raise InputError("description is empty; say what is wrong with the road")
    request = Request(
        id=key,
        received_on=now.date(),
        text=f"{names[code]}: {text}",
        lon=lon,
        lat=lat,
        requested_at=now,
        road=road,
        source="Open311",
    )
    return request, code


def as_xml(rows: Iterable[Mapping[str, Any]], *, root: str, each: str) -> str:
    """Rows as the XML that GeoReport v2 asks for.

    Examples
    --------
    >>> as_xml([{"lat": 1.5, "address": None}], root="a", each="b").splitlines()[1]
    '<a><b><lat>1.5</lat><address/></b></a>'
    """
    inner = []
    for row in rows:
        cells = "".join(
            f"<{name}/>" if value in (None, "") else f"<{name}>{_cell(value)}</{name}>"
            for name, value in row.items()
            if _NAME.fullmatch(name)
        )
        inner.append(f"<{each}>{cells}</{each}>")
    return f'<?xml version="1.0" encoding="utf-8"?>\n<{root}>{"".join(inner)}</{root}>'


def _as_open311(request: Request, network: Network, zone: tzinfo) -> dict[str, Any]:
    segment = network.segment_by_id.get(request.segment_id or "")
    received = request.requested_at or datetime.combine(request.received_on, time(), zone)
    closed = request.closed_on
    updated = datetime.combine(closed, time(), zone) if closed else received
    service = next((s for s in SERVICES if request.text.startswith(f"{s[1]}: ")), SERVICES[-1])
    return {
        "service_request_id": request.id,
        "status": request.status,
        "status_notes": request.reply or None,
        "service_name": service[1],
        "service_code": service[0],
        "description": request.text,
        "agency_responsible": None,
        "service_notice": None,
        "requested_datetime": received.astimezone(UTC).isoformat(timespec="seconds"),
        "updated_datetime": updated.astimezone(UTC).isoformat(timespec="seconds"),
        "expected_datetime": None,
        "address": request.road or (segment.route if segment else None),
        "address_id": request.segment_id,
        "zipcode": None,
        "lat": request.lat,
        "long": request.lon,
        "media_url": None,
    }


def _degrees(value: Any, name: str) -> float | None:
    if value in (None, ""):
        return None
    limit = 180.0 if name == "long" else 90.0
    try:
        figure = float(value)
    except (TypeError, ValueError):
        raise InputError(f"{name} is {value!r}; expected degrees") from None
    if not -limit <= figure <= limit:
        raise InputError(f"{name} is {value}; expected -{limit:g} to {limit:g} degrees")
    return figure


def _cell(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return escape("".join(c for c in str(value) if c in "\t\n" or ord(c) >= 32))
