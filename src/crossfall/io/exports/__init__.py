"""Giving back what others can read: open formats of roads, work, requests and everything kept."""

from __future__ import annotations

from crossfall.io.exports.calendar import crew_calendar
from crossfall.io.exports.crew_work import CrewWork, crew_work
from crossfall.io.exports.everything import write_everything
from crossfall.io.exports.open311 import open311_requests, open311_services
from crossfall.io.exports.routes import day_gpx
from crossfall.io.exports.tables import read_tables, write_tables
from crossfall.io.exports.work_zones import work_zone_feed

__all__ = [
    "CrewWork",
    "crew_calendar",
    "crew_work",
    "day_gpx",
    "open311_requests",
    "open311_services",
    "read_tables",
    "work_zone_feed",
    "write_everything",
    "write_tables",
]
