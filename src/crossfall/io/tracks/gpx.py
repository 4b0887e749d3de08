"""GPX 1.0 and 1.1 tracks, read piece by piece.

Files that declare a document type or an entity are refused before anything of them is expanded:
no device writes one, and small files have been made that way to fill a machine's memory.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from xml.sax import SAXParseException
from xml.sax.handler import ContentHandler
from xml.sax.xmlreader import AttributesImpl

from defusedxml.common import DefusedXmlException
from defusedxml.sax import make_parser

from crossfall.errors import InputError
from crossfall.io.tracks.profile import TrackProfile
from crossfall.io.tracks.stream import Collector, ZoneMissingError, seconds_of
from crossfall.network.fixes import DOWN, UNKNOWN, UP, Fixes

_BLOCK = 1 << 18
_LONGEST_TEXT = 64
_BLADE_NAMES = frozenset({"blade", "blade_down", "bladedown", "implement", "pto"})
"""Names of an element below ``extensions`` that says whether the blade is down."""


def read_gpx(path: Path, profile: TrackProfile, left_out: Counter[str]) -> Iterator[Fixes]:
    """Track points in order of the file; waypoints and routes are no track and are counted."""
    parser = make_parser()
    parser.forbid_dtd = True
    handler = _Points(profile, left_out)
    parser.setContentHandler(handler)
    try:
        with path.open("rb") as file:
            while block := file.read(_BLOCK):
                parser.feed(block)
                if handler.found.is_full:
                    yield handler.found.take()
        parser.close()
    except DefusedXmlException:
        raise InputError(
            f"{path.name} declares a document type or an entity, which no track needs; it was not"
            " read"
        ) from None
    except SAXParseException as error:
        raise InputError(
            f"{path.name} is not whole GPX (line {error.getLineNumber()}: {error.getMessage()});"
            " export it again"
        ) from None
    except ZoneMissingError as error:
        raise InputError(f"{path.name}: {error}") from None
    if not handler.is_gpx:
        raise InputError(f"{path.name} is XML but not GPX; expected <gpx> with tracks")
    yield handler.found.take()


class _Points(ContentHandler):
    """Keeps the point that is open; a point is added when it closes."""

    def __init__(self, profile: TrackProfile, left_out: Counter[str]) -> None:
        super().__init__()
        self.found = Collector()
        self.is_gpx = False
        self._profile, self._left_out = profile, left_out
        self._point: tuple[str, str] | None = None
        self._time = self._blade = ""
        self._text: list[str] | None = None
        self._depth = 0

    def startElement(self, name: str, attrs: AttributesImpl) -> None:  # noqa: N802
        self._depth += 1
        local = name.rpartition(":")[2]
        if self._depth == 1:
            self.is_gpx = local == "gpx"
        elif local == "trkpt":
            self._point = (attrs.get("lat", ""), attrs.get("lon", ""))
            self._time = self._blade = ""
        elif local in {"wpt", "rtept"}:
            self._left_out["waypoints and route points"] += 1
        elif self._point is not None and (local == "time" or local.lower() in _BLADE_NAMES):
            self._text = []

    def characters(self, content: str) -> None:
        if self._text is not None and len(self._text) < _LONGEST_TEXT:
            self._text.append(content[:_LONGEST_TEXT])

    def endElement(self, name: str) -> None:  # noqa: N802
        self._depth -= 1
        if self._point is None:
            return
        local = name.rpartition(":")[2]
        if self._text is not None:
            said = "".join(self._text).strip()
            if local == "time":
                self._time = said
            else:
                self._blade = said.lower()
            self._text = None
        elif local == "trkpt":
            self._add(*self._point)
            self._point = None

    def _add(self, lat: str, lon: str) -> None:
        if not self._time:
            self._left_out["no time"] += 1
            return
        try:
            when = seconds_of(self._time, self._profile.zone)
            place = float(lon), float(lat)
        except ZoneMissingError:
            raise
        except ValueError:
            self._left_out["time or place that cannot be read"] += 1
            return
        blade = UNKNOWN
        if self._blade:
            blade = DOWN if self._blade in self._profile.blade_down else UP
        self.found.add(when, *place, blade)
